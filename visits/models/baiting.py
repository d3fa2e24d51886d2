"""Why baiting goes on: the review that is due while bait lies at a site."""

from uuid import UUID

from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record
from sites.models import Site


class BaitingReview(Record):
    """One review of all the bait that lies at a site; ``cause`` says why it stays, if it does."""

    class Outcome(models.TextChoices):
        GO_ON = "go_on", "Baiting goes on"
        LIFT = "lift", "Bait is to be lifted"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="baiting_reviews")
    reviewed_on = models.DateField(help_text="Day in the site's own zone.")
    outcome = models.CharField(max_length=6, choices=Outcome.choices)
    cause = models.TextField()
    reviewed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(cause=""), name="baiting_review_has_cause"),
        ]
        indexes = [models.Index(fields=["site", "reviewed_on"], name="baiting_review_site_day")]

    def __str__(self) -> str:
        return f"Baiting review of {self.reviewed_on}"

    @property
    def trail_site_id(self) -> UUID:
        return self.site_id
