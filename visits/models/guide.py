"""The method guide: which formulation suits which place, as a table that the office amends."""

from django.db import models
from django.db.models import Q

from accounts.models.base import Record


class GuideLine(Record):
    """One row of the guide; the lists are conditions, and an empty one always holds.

    ``zone_kinds``, ``surfaces``, ``pest_groups`` and ``pests`` must contain the situation's value;
    all of ``surroundings`` must hold and none of ``but_not``. ``key`` names a row of the starting
    set, so that a new release can tell what the office has amended.
    """

    class Verdict(models.TextChoices):
        PREFER = "prefer", "Suits"
        RULE_OUT = "rule_out", "Does not suit"
        PRECONDITION = "precondition", "First see to it that"
        CAUTION = "caution", "Mind"

    key = models.CharField(max_length=60, unique=True)
    position = models.PositiveSmallIntegerField(default=0)
    verdict = models.CharField(max_length=14, choices=Verdict.choices)
    zone_kinds = models.JSONField(default=list, blank=True)
    surfaces = models.JSONField(default=list, blank=True)
    pest_groups = models.JSONField(default=list, blank=True)
    pests = models.JSONField(default=list, blank=True)
    surroundings = models.JSONField(default=list, blank=True)
    but_not = models.JSONField(default=list, blank=True)
    formulation = models.CharField(max_length=12, blank=True)
    method = models.CharField(max_length=20, blank=True)
    rank = models.PositiveSmallIntegerField(default=0)
    words = models.TextField()
    source = models.CharField(max_length=300, blank=True)
    amended = models.BooleanField(default=False, help_text="The office has changed or added it.")
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(words=""), name="guide_line_has_words"),
            models.CheckConstraint(
                condition=~Q(verdict__in=["prefer", "rule_out"]) | ~Q(formulation=""),
                name="guide_line_names_formulation",
            ),
        ]

    def __str__(self) -> str:
        return self.words[:80]
