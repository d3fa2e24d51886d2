"""One premises of a client."""

from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.urls import reverse

from accounts.models import Branch, Client
from accounts.models.base import Record


class Site(Record):
    """Days of a site are days in its own ``time_zone``."""

    class HolidayRule(models.TextChoices):
        KEEP = "keep", "Visits may fall on public holidays"
        NEXT = "next", "Move to the next open day"
        PREVIOUS = "previous", "Move to the open day before"

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    branch = models.ForeignKey(
        Branch, null=True, blank=True, on_delete=models.PROTECT, related_name="sites"
    )
    reference = models.CharField(
        max_length=40, help_text="Your own short reference; spreadsheets are matched by it."
    )
    name = models.CharField(max_length=120)
    address = models.TextField()
    postcode = models.CharField(max_length=16, blank=True)
    time_zone = models.CharField(max_length=64, default="Europe/London")
    latitude = models.DecimalField(
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(-90), MaxValueValidator(90)],
    )
    longitude = models.DecimalField(
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
    )
    holiday_region = models.CharField(
        max_length=12,
        blank=True,
        help_text="Country and region whose public holidays count, such as GB-ENG.",
    )
    holiday_rule = models.CharField(
        max_length=10, choices=HolidayRule.choices, default=HolidayRule.KEEP
    )
    access_note = models.TextField(blank=True, help_text="Keys, alarms, where to sign in.")
    hazards = models.TextField(blank=True, help_text="What may hurt the person who comes.")
    internal_note = models.TextField(blank=True, help_text="Never shown to the client.")
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("reference"),
                name="site_reference_once",
                violation_error_code="reference_taken",
                violation_error_message="Another site has this reference.",
            ),
            models.CheckConstraint(
                condition=models.Q(latitude__isnull=True, longitude__isnull=True)
                | models.Q(latitude__isnull=False, longitude__isnull=False),
                name="site_position_whole",
                violation_error_message="Give latitude and longitude together.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("sites:site", args=[self.pk])

    @property
    def trail_site_id(self) -> UUID:
        return self.pk

    @property
    def zone_info(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def day_of(self, instant: datetime) -> date:
        """The day on the site's own calendar at an instant."""
        return instant.astimezone(self.zone_info).date()


class AccessWindow(Record):
    """When the premises can be entered on one weekday (Monday is 0); no rows means any time."""

    class Weekday(models.IntegerChoices):
        MONDAY = 0, "Monday"
        TUESDAY = 1, "Tuesday"
        WEDNESDAY = 2, "Wednesday"
        THURSDAY = 3, "Thursday"
        FRIDAY = 4, "Friday"
        SATURDAY = 5, "Saturday"
        SUNDAY = 6, "Sunday"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="access_windows")
    weekday = models.PositiveSmallIntegerField(choices=Weekday.choices)
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "weekday", "opens"],
                name="access_window_once",
                violation_error_code="window_twice",
                violation_error_message="This day and time is there twice.",
            ),
            models.CheckConstraint(
                condition=models.Q(weekday__lte=6), name="access_window_weekday"
            ),
            models.CheckConstraint(
                condition=models.Q(closes__gt=models.F("opens")),
                name="access_window_in_order",
                violation_error_message="It closes before it opens; use two rows over midnight.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M}–{self.closes:%H:%M}"


class Contact(Record):
    """A person at the premises; need not sign in."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="contacts")
    name = models.CharField(max_length=120)
    job_title = models.CharField(max_length=80, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    is_premises_manager = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"{self.name}, {self.job_title}" if self.job_title else self.name
