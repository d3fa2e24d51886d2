"""An auditor's time-limited right to read named sites of one client for one period."""

from datetime import datetime

from django.db import models

from accounts.models.base import Record
from accounts.models.client import Client
from accounts.models.user import User


class AuditorPass(Record):
    """Which sites it names is kept beside the sites (``sites.PassSite``).

    ``valid_from`` and ``valid_until`` are instants; the period is in days, inclusive.
    """

    auditor = models.ForeignKey(User, on_delete=models.PROTECT, related_name="passes")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="passes")
    period_from = models.DateField()
    period_to = models.DateField()
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField()
    issued_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="passes_issued")
    revoked_at = models.DateTimeField(null=True, blank=True)
    purpose = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name_plural = "auditor passes"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_until__gt=models.F("valid_from")),
                name="pass_ends_after_start",
                violation_error_message="The pass must end after it starts.",
            ),
            models.CheckConstraint(
                condition=models.Q(period_to__gte=models.F("period_from")),
                name="pass_period_in_order",
                violation_error_message="The period's last day is before its first.",
            ),
        ]

    def __str__(self) -> str:
        return f"Pass of {self.auditor} for {self.client}"

    def is_valid_at(self, at: datetime) -> bool:
        """Whether the pass opens anything at that instant."""
        return self.revoked_at is None and self.valid_from <= at < self.valid_until
