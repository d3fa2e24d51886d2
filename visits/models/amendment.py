"""A correction that stands beside a sealed visit; the old words stay."""

from uuid import UUID

from django.db import models

from accounts.models import User
from accounts.models.base import Record
from visits.models.visit import Visit


class Amendment(Record):
    """Sealed like the visit, chained to the visit's seal or to the amendment before it."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="amendments")
    number = models.PositiveSmallIntegerField()
    author = models.ForeignKey(User, on_delete=models.PROTECT, related_name="amendments")
    at = models.DateTimeField()
    about = models.CharField(max_length=160, help_text="What in the record this concerns.")
    correction = models.TextField()
    reason = models.TextField()
    sealed_record = models.TextField(editable=False)
    previous_seal = models.CharField(max_length=64, editable=False)
    seal = models.CharField(max_length=64, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "number"], name="amendment_number_once"),
        ]

    def __str__(self) -> str:
        return f"Amendment {self.number} to {self.visit}"

    @property
    def trail_site_id(self) -> UUID:
        return self.visit.site_id
