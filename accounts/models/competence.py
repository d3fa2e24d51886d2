"""What a technician is licensed or certified to do, and until when."""

from datetime import date

from django.db import models
from django.db.models.functions import Lower

from accounts.models.base import Record
from accounts.models.user import User


class CompetenceKind(Record):
    """A licence or certificate that work may require."""

    name = models.CharField(max_length=80)
    issuer = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(Lower("name"), name="competence_kind_once")]

    def __str__(self) -> str:
        return self.name


class Competence(Record):
    """One person's licence or certificate. Days are inclusive; no end means it does not lapse."""

    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="competences")
    kind = models.ForeignKey(CompetenceKind, on_delete=models.PROTECT, related_name="held")
    number = models.CharField(max_length=60, blank=True)
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)
    withdrawn_on = models.DateField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "competences"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_until__isnull=True)
                | models.Q(valid_until__gte=models.F("valid_from")),
                name="competence_ends_after_start",
                violation_error_message="The last valid day is before the first.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind_id and self.kind.name} {self.number}".strip()

    def is_valid_on(self, day: date) -> bool:
        """Whether it counted on that day."""
        return (
            self.valid_from <= day
            and (self.valid_until is None or day <= self.valid_until)
            and (self.withdrawn_on is None or day < self.withdrawn_on)
        )
