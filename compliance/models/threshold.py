"""From how much on something must be done, and where that was reached."""

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record
from compliance.models.action import CorrectiveAction
from sites.models import Contract, Monitor, Site, Zone
from visits.models import Pest, Visit


class ActionThreshold(Record):
    """What a company, a site, a zone or a contract has agreed to act upon.

    Individuals in one monitor at one reading, or a rate per 100 trap-days over a zone's month.
    Without a site it holds for all; without pest and group for any pest. It is never changed, only
    ended, so that what was breached can still be read.
    """

    class Per(models.TextChoices):
        READING = "reading", "Individuals in one monitor at one reading"
        ZONE_MONTH = "zone_month", "Rate per 100 trap-days of a zone in a month"

    class Then(models.TextChoices):
        FLAG = "flag", "Flag it for the office"
        ACTION = "action", "Flag it and raise an action"
        FOLLOW_UP = "follow_up", "Flag it and put a follow-up visit on the plan"

    name = models.CharField(max_length=120)
    per = models.CharField(max_length=12, choices=Per.choices, default=Per.READING)
    least = models.DecimalField(
        "to act from", max_digits=8, decimal_places=2, validators=[MinValueValidator(0.01)]
    )
    then = models.CharField(max_length=10, choices=Then.choices, default=Then.FLAG)
    pest = models.ForeignKey(
        Pest, null=True, blank=True, on_delete=models.PROTECT, related_name="thresholds"
    )
    group = models.CharField(max_length=20, choices=Pest.Group.choices, blank=True)
    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="thresholds"
    )
    zone = models.ForeignKey(
        Zone, null=True, blank=True, on_delete=models.PROTECT, related_name="thresholds"
    )
    contract = models.ForeignKey(
        Contract,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="thresholds",
        help_text="Where it was agreed.",
    )
    zone_kinds = models.JSONField(
        default=list, blank=True, help_text="Kinds of zones it holds for; empty for all."
    )
    begins_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True, help_text="The first day it did not hold.")
    set_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(least__gt=0), name="threshold_above_nothing"),
            models.CheckConstraint(
                condition=Q(pest__isnull=True) | Q(group=""), name="threshold_pest_or_group"
            ),
            models.CheckConstraint(
                condition=Q(zone__isnull=True) | Q(site__isnull=False),
                name="threshold_zone_has_site",
            ),
            models.CheckConstraint(
                condition=Q(contract__isnull=True) | Q(site__isnull=False),
                name="threshold_contract_has_site",
            ),
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=models.F("begins_on")),
                name="threshold_ends_after_start",
            ),
        ]
        indexes = [models.Index(fields=["site", "ended_on"], name="threshold_site")]

    def __str__(self) -> str:
        return self.name

    @property
    def pest_words(self) -> str:
        """Of which pests it is asked."""
        if self.pest:
            return self.pest.name
        return f"Each of: {self.get_group_display().lower()}" if self.group else "Each pest"

    @property
    def place_words(self) -> str:
        """In which places it holds, without the site."""
        if self.zone:
            return self.zone.name
        kinds = [str(Zone.Kind(kind).label) for kind in self.zone_kinds]
        return ", ".join(sorted(kinds)) if kinds else "Every zone"

    @property
    def least_words(self) -> str:
        """From how much on something must be done."""
        number = f"{self.least.normalize():f}"
        if self.per == self.Per.READING:
            return f"{number} at one reading"
        return f"{number} per 100 trap-days in a month"


class Breach(Record):
    """A threshold that was reached: by one reading of a monitor, or by a zone's month.

    ``on`` is the day of the reading, or the first day of the month. A breach of figures that have
    since been corrected is ``gone``; else it is open until the office answers it.
    """

    class State(models.TextChoices):
        OPEN = "open", "Open"
        ANSWERED = "answered", "Answered"
        GONE = "gone", "Gone with corrected readings"

    threshold = models.ForeignKey(
        ActionThreshold, on_delete=models.PROTECT, related_name="breaches"
    )
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="breaches")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="breaches")
    monitor = models.ForeignKey(
        Monitor, null=True, blank=True, on_delete=models.PROTECT, related_name="breaches"
    )
    pest = models.ForeignKey(Pest, on_delete=models.PROTECT, related_name="+")
    on = models.DateField()
    count = models.PositiveIntegerField()
    half_days = models.PositiveIntegerField(help_text="Half trap-days.")
    at_least = models.BooleanField(default=False)
    words = models.CharField(max_length=400)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    raised_at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answer = models.CharField(max_length=300, blank=True)
    action = models.ForeignKey(
        CorrectiveAction, null=True, blank=True, on_delete=models.PROTECT, related_name="breaches"
    )
    follow_up = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="after_breaches",
        help_text="The visit that was planned because of it.",
    )

    class Meta:
        verbose_name_plural = "breaches"
        constraints = [
            models.UniqueConstraint(
                fields=["threshold", "monitor", "pest", "on"],
                condition=Q(monitor__isnull=False),
                name="breach_once_per_reading",
            ),
            models.UniqueConstraint(
                fields=["threshold", "zone", "pest", "on"],
                condition=Q(monitor__isnull=True),
                name="breach_once_per_zone_month",
            ),
            models.CheckConstraint(
                condition=~Q(state="answered") | (Q(answered_at__isnull=False) & ~Q(answer="")),
                name="breach_answered_says_how",
            ),
        ]
        indexes = [models.Index(fields=["state", "on"], name="breach_state_day")]

    def __str__(self) -> str:
        return self.words

    @property
    def trap_days(self) -> float:
        return self.half_days / 2
