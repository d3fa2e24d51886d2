"""A checkpoint that was looked at and where nothing was found."""

from django.db import models

from accounts.models.base import Record
from sites.models import Checkpoint
from visits.models.visit import Visit


class Look(Record):
    """One tap: "looked, nothing". ``at`` is the phone's clock."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="looks")
    checkpoint = models.ForeignKey(Checkpoint, on_delete=models.PROTECT, related_name="looks")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "checkpoint"], name="look_once_per_visit"),
        ]

    def __str__(self) -> str:
        return f"{self.checkpoint}: looked, nothing"
