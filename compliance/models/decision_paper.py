"""The paper of a decision, which goes to both sides."""

from uuid import UUID

from django.db import models
from django.db.models import Q

from accounts.models.base import Record
from compliance.models.decision import Decision


class DecisionPaper(Record):
    """Drawn once by a job from the text that was signed, and kept with its hash.

    The row stands from the first try on; until the paper is made it says when to try again.
    """

    decision = models.OneToOneField(Decision, on_delete=models.PROTECT, related_name="paper")
    file = models.FileField(upload_to="decision_papers/%Y/%m/", max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    pages = models.PositiveIntegerField(null=True, blank=True)
    size = models.PositiveBigIntegerField(null=True, blank=True)
    made_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    problem = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(made_at__isnull=True, file="", sha256="")
                | (Q(made_at__isnull=False) & ~Q(file="") & ~Q(sha256="")),
                name="decision_paper_made_has_file",
            ),
        ]
        indexes = [
            models.Index(
                fields=["next_try_at"],
                condition=Q(made_at__isnull=True),
                name="decision_paper_queue",
            )
        ]

    def __str__(self) -> str:
        return f"Paper of: {self.decision}"

    @property
    def trail_site_id(self) -> UUID:
        return self.decision.action.site_id
