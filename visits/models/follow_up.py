"""A day on which somebody should look again after a treatment."""

from uuid import UUID

from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record
from visits.models.pest import Pest
from visits.models.visit import Visit


class FollowUp(Record):
    """Proposed from the pest's biology when a visit with treatments closes: one per visit and pest.

    ``first_on`` and ``by_on`` are days in the site's own zone.
    """

    class State(models.TextChoices):
        PROPOSED = "proposed", "Proposed"
        ACCEPTED = "accepted", "Accepted"
        PASSED_OVER = "passed_over", "Passed over"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="follow_ups")
    pest = models.ForeignKey(Pest, on_delete=models.PROTECT, related_name="+")
    first_on = models.DateField()
    by_on = models.DateField()
    reason = models.CharField(max_length=300)
    state = models.CharField(max_length=12, choices=State.choices, default=State.PROPOSED)
    booked = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="follows_up"
    )
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answer = models.CharField(max_length=300, blank=True, help_text="Why it was passed over.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "pest"], name="follow_up_once_per_pest"),
            models.CheckConstraint(
                condition=Q(by_on__gte=models.F("first_on")), name="follow_up_days_in_order"
            ),
            models.CheckConstraint(
                condition=Q(state="accepted", booked__isnull=False)
                | (~Q(state="accepted") & Q(booked__isnull=True)),
                name="follow_up_accepted_has_visit",
            ),
        ]
        indexes = [models.Index(fields=["state", "first_on"], name="follow_up_state_day")]

    def __str__(self) -> str:
        return f"Follow-up on {self.pest} from {self.first_on}"

    @property
    def trail_site_id(self) -> UUID:
        return self.visit.site_id
