"""How places stand month by month: judged, alarmed, and reviewed by a person."""

from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record
from sites.models import Site, Zone
from visits.models import Pest


class JudgedMonth(models.Model):
    """One month of the whole company, judged at once. ``month`` is its first day.

    ``looked_at``: places × pests with a baseline and a reading in that month; ``could_alarm``:
    those that had caught enough for an alarm to be possible.
    """

    month = models.DateField(unique=True)
    looked_at = models.PositiveIntegerField()
    could_alarm = models.PositiveIntegerField()
    alarms = models.PositiveIntegerField()
    judged_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.month:%B %Y}"


class PlaceMonth(models.Model):
    """One zone, or a whole site (no zone), and pest in one month: what was caught, and how it
    stands against what is usual there.

    ``per_100`` and the other rates are per 100 trap-days. ``centre``: what was usual; ``alarm_at``:
    the count from which this month would have been an alarm by itself; ``allows``: the largest rate
    that the count still allows (one-sided 95 %), empty where a trap was full or nobody looked.
    ``compared`` says what it was compared with (``judge.Comparison`` as plain values).
    """

    class State(models.TextChoices):
        NOT_READ = "not_read", "Not read"
        NOT_YET_KNOWN = "not_yet_known", "Not yet known"
        CALM = "calm", "As usual"
        ALARM = "alarm", "More than usual"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    zone = models.ForeignKey(
        Zone, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    pest = models.ForeignKey(Pest, on_delete=models.PROTECT, related_name="+")
    month = models.DateField(help_text="Its first day.")
    count = models.PositiveIntegerField()
    half_days = models.PositiveIntegerField(help_text="Half trap-days.")
    readings = models.PositiveIntegerField()
    at_least = models.BooleanField(default=False, help_text="A trap was full.")
    state = models.CharField(max_length=14, choices=State.choices)
    centre = models.FloatField(null=True, blank=True)
    alarm_at = models.PositiveIntegerField(null=True, blank=True)
    allows = models.FloatField(null=True, blank=True)
    k = models.FloatField(null=True, blank=True, help_text="How clumped; empty: not at all.")
    chance = models.FloatField(null=True, blank=True)
    adjusted = models.FloatField(null=True, blank=True)
    compared = models.JSONField(null=True, blank=True)
    words = models.CharField(max_length=500)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["zone", "pest", "month"],
                condition=Q(zone__isnull=False),
                name="place_month_once_per_zone",
            ),
            models.UniqueConstraint(
                fields=["site", "pest", "month"],
                condition=Q(zone__isnull=True),
                name="place_month_once_per_site",
            ),
        ]
        indexes = [
            models.Index(fields=["site", "month"], name="place_month_site"),
            models.Index(fields=["month", "state"], name="place_month_state"),
        ]

    def __str__(self) -> str:
        return self.words

    @property
    def trap_days(self) -> float:
        return self.half_days / 2

    @property
    def per_100(self) -> float | None:
        """Individuals per 100 trap-days, None where nobody could look."""
        return 100 * self.count / self.trap_days if self.half_days else None

    @property
    def limit(self) -> float | None:
        """The rate from which this month would have been an alarm by itself."""
        if self.alarm_at is None or not self.half_days:
            return None
        return 100 * self.alarm_at / self.trap_days


class TrendReview(Record):
    """What a competent person wrote and signed about a site's counts of one quarter.

    ``content`` is canonical JSON of what was shown and written, ``content_hash`` its SHA-256. A
    second review of a quarter is a further one beside the first, never instead of it.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="trend_reviews")
    quarter = models.DateField(help_text="Its first day.")
    number = models.PositiveSmallIntegerField(default=1)
    seen = models.TextField(help_text="What the counts show.")
    cause = models.TextField(blank=True, help_text="Why, as far as it is known.")
    plan = models.TextField(help_text="What is done about it, or why nothing needs to be.")
    signed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="trend_reviews")
    signed_name = models.CharField(max_length=120)
    signed_role = models.CharField(max_length=120)
    competence = models.CharField(max_length=200, help_text="By what they were competent that day.")
    signed_at = models.DateTimeField()
    zone = models.CharField(max_length=64, help_text="The site's zone, in which the time is shown.")
    content = models.TextField()
    content_hash = models.CharField(max_length=64)
    method = models.CharField(
        max_length=20, help_text="How the person was known: password, passkey."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "quarter", "number"], name="trend_review_number_once"
            ),
        ]
        indexes = [models.Index(fields=["site", "quarter"], name="trend_review_quarter")]

    def __str__(self) -> str:
        return f"Trend review {self.quarter.year} Q{(self.quarter.month + 2) // 3}"


class Alarm(Record):
    """More of a pest in a place than is usual there, in one month, until a review explains it.

    ``pointers``: the monitors to look at first, as plain values. An alarm that later readings of
    the month took back is ``gone``; what was explained stays so. ``set_aside``: the review says
    that this month was an outbreak, so that it does not count as usual from then on.
    """

    class State(models.TextChoices):
        OPEN = "open", "Open"
        EXPLAINED = "explained", "Explained by a review"
        GONE = "gone", "Gone with later readings"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="alarms")
    zone = models.ForeignKey(
        Zone, null=True, blank=True, on_delete=models.PROTECT, related_name="alarms"
    )
    pest = models.ForeignKey(Pest, on_delete=models.PROTECT, related_name="+")
    month = models.DateField(help_text="Its first day.")
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    words = models.CharField(max_length=500)
    chance = models.FloatField()
    pointers = models.JSONField(default=list, blank=True)
    raised_at = models.DateTimeField()
    gone_at = models.DateTimeField(null=True, blank=True)
    review = models.ForeignKey(
        TrendReview, null=True, blank=True, on_delete=models.PROTECT, related_name="alarms"
    )
    explanation = models.CharField(max_length=300, blank=True)
    set_aside = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["zone", "pest", "month"],
                condition=Q(zone__isnull=False),
                name="alarm_once_per_zone",
            ),
            models.UniqueConstraint(
                fields=["site", "pest", "month"],
                condition=Q(zone__isnull=True),
                name="alarm_once_per_site",
            ),
            models.CheckConstraint(
                condition=Q(state="explained", review__isnull=False)
                | (~Q(state="explained") & Q(review__isnull=True, set_aside=False)),
                name="alarm_explained_has_review",
            ),
            models.CheckConstraint(
                condition=Q(state="gone", gone_at__isnull=False)
                | (~Q(state="gone") & Q(gone_at__isnull=True)),
                name="alarm_gone_has_instant",
            ),
        ]
        indexes = [models.Index(fields=["state", "month"], name="alarm_state_month")]

    def __str__(self) -> str:
        return self.words
