"""What a monitor showed."""

from django.db import models
from django.db.models import Q

from accounts.models.base import Record
from sites.models import Monitor
from visits.models.pest import Pest
from visits.models.visit import Visit


class Reading(Record):
    """One reading on one visit, or one past reading that came by import (no visit).

    ``stood_days`` is the exposure in days since the last reading, or since it was placed.
    No count rows means that nothing was caught.
    """

    class Condition(models.TextChoices):
        SOUND = "sound", "Sound"
        DAMAGED = "damaged", "Damaged"
        MISSING = "missing", "Missing"
        BLOCKED = "blocked", "Blocked"
        FULL = "full", "Full"

    class Bait(models.TextChoices):
        NONE = "none", "None taken"
        PART = "part", "Part taken"
        ALL = "all", "All taken"

    class Source(models.TextChoices):
        VISIT = "visit", "Visit"
        IMPORT = "import", "Import"
        DEVICE = "device", "Electronic trap"

    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="readings"
    )
    monitor = models.ForeignKey(Monitor, on_delete=models.PROTECT, related_name="readings")
    source = models.CharField(max_length=10, choices=Source.choices, default=Source.VISIT)
    read_on = models.DateField(help_text="Day in the site's own zone.")
    at = models.DateTimeField(null=True, blank=True)
    stood_days = models.PositiveIntegerField(null=True, blank=True)
    condition = models.CharField(max_length=10, choices=Condition.choices, default=Condition.SOUND)
    bait_taken = models.CharField(max_length=6, choices=Bait.choices, blank=True)
    renewed = models.BooleanField(default=False, help_text="Trap, board or bait was renewed.")
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "monitor"],
                condition=Q(visit__isnull=False),
                name="reading_once_per_visit",
            ),
            models.UniqueConstraint(
                fields=["monitor", "read_on"],
                condition=Q(visit__isnull=True),
                name="reading_import_once_per_day",
            ),
            models.CheckConstraint(
                condition=Q(source="visit", visit__isnull=False)
                | (~Q(source="visit") & Q(visit__isnull=True)),
                name="reading_of_visit_has_visit",
            ),
        ]
        indexes = [models.Index(fields=["monitor", "read_on"], name="reading_monitor_day")]

    def __str__(self) -> str:
        return f"{self.monitor} on {self.read_on}"


class ReadingCount(models.Model):
    """How many of one pest a monitor held."""

    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="counts")
    pest = models.ForeignKey(Pest, on_delete=models.PROTECT, related_name="+")
    count = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["reading", "pest"], name="reading_pest_once"),
        ]

    def __str__(self) -> str:
        return f"{self.count} × {self.pest}"
