"""Finished work: the gaps that were closed, and the visits that did not bring it to its end."""

from uuid import UUID

from django.db import models
from django.db.models import F, Q

from accounts.models.base import Record
from compliance.models.action import CorrectiveAction
from compliance.proofing import gaps
from visits.models import Visit


class SealedGap(Record):
    """A gap that proofing closed, in millimetres before and after.

    ``attempt`` is the action's when the work was reported: work that was sent back and done again
    keeps the gaps of each report. ``risk`` is whom the gap is to keep out.
    """

    class Risk(models.TextChoices):
        MOUSE = gaps.MOUSE, "Mice"
        RAT = gaps.RAT, "Rats"
        OTHER = gaps.OTHER, "Insects and others"

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="gaps")
    attempt = models.PositiveSmallIntegerField()
    position = models.PositiveSmallIntegerField()
    place = models.CharField(max_length=160)
    material = models.CharField(max_length=160)
    before_mm = models.DecimalField(max_digits=5, decimal_places=1)
    after_mm = models.DecimalField(max_digits=5, decimal_places=1)
    risk = models.CharField(max_length=6, choices=Risk.choices)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["action", "attempt", "position"], name="gap_position_once"
            ),
            models.CheckConstraint(
                condition=Q(after_mm__gte=0) & Q(before_mm__gt=0) & Q(after_mm__lte=F("before_mm")),
                name="gap_is_not_wider_than_before",
            ),
            models.CheckConstraint(
                condition=(~Q(risk="mouse") | Q(after_mm__lte=gaps.WIDEST_MM[gaps.MOUSE]))
                & (~Q(risk="rat") | Q(after_mm__lte=gaps.WIDEST_MM[gaps.RAT])),
                name="gap_keeps_rodents_out",
            ),
        ]

    def __str__(self) -> str:
        before, after = gaps.in_words(self.before_mm), gaps.in_words(self.after_mm)
        return f"{self.place}: {before}, now {after}, {self.material}"

    @property
    def trail_site_id(self) -> UUID:
        return self.action.site_id


class PastWorkVisit(Record):
    """A visit that was to do an ordered job and did not bring it to its end.

    It was called off, missed, or the work was sent back after it. The visit that does the job now
    is the action's own ``work_visit``.
    """

    action = models.ForeignKey(
        CorrectiveAction, on_delete=models.PROTECT, related_name="past_work_visits"
    )
    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, related_name="past_work")

    def __str__(self) -> str:
        return f"{self.visit} for {self.action}"

    @property
    def trail_site_id(self) -> UUID:
        return self.action.site_id
