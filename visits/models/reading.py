"""What a monitor showed."""

from django.db import models
from django.db.models import Q

from accounts.models.base import Record
from sites.models import Monitor
from visits.models.pest import Pest
from visits.models.visit import Visit


class Reading(Record):
    """What a monitor showed on one visit, or on one day without a visit.

    A person saw it on a visit, for an import or for an entry by hand; ``DEVICE`` is all that an
    electronic trap reported of a day. ``stood_days`` is the exposure in days since the last reading
    by a person, or since it was placed; for a device the days that no person counted, see
    ``services.standing``. No count rows means that nothing was caught.
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
        HAND = "hand", "Entered by hand"

    # A person saw it; not so what a device reports.
    BY_PEOPLE = (Source.VISIT, Source.IMPORT, Source.HAND)

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
    bait_taken_g = models.DecimalField(
        "bait taken, g", max_digits=8, decimal_places=2, null=True, blank=True
    )
    bait_lifted_g = models.DecimalField(
        "bait lifted, g", max_digits=8, decimal_places=2, null=True, blank=True
    )
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
                condition=Q(source__in=["import", "hand"]),
                name="reading_by_eye_once_per_day",
            ),
            models.UniqueConstraint(
                fields=["monitor", "read_on"],
                condition=Q(source="device"),
                name="reading_by_device_once_per_day",
            ),
            models.CheckConstraint(
                condition=Q(source="visit", visit__isnull=False)
                | (~Q(source="visit") & Q(visit__isnull=True)),
                name="reading_of_visit_has_visit",
            ),
            models.CheckConstraint(
                condition=(Q(bait_taken_g__isnull=True) | Q(bait_taken_g__gte=0))
                & (Q(bait_lifted_g__isnull=True) | Q(bait_lifted_g__gte=0)),
                name="reading_bait_not_negative",
            ),
        ]
        indexes = [
            models.Index(fields=["monitor", "read_on"], name="reading_monitor_day"),
            # For what looks at the last weeks of the whole company.
            models.Index(fields=["read_on"], name="reading_day"),
        ]

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
