"""Numbered devices that show what pests do between visits."""

import secrets

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from accounts.models.base import Record
from sites.models.plan import SitePlan
from sites.models.site import Site
from sites.models.zone import Zone

LABEL_ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"


def label_code() -> str:
    """Sixteen characters that are hard to confuse: 78 random bits, and nothing about the site."""
    return "".join(secrets.choice(LABEL_ALPHABET) for _ in range(16))


class Monitor(Record):
    """``x`` and ``y`` are fractions (0 to 1) of the plan's width and height, from the top left."""

    class Kind(models.TextChoices):
        STICKY = "sticky", "Crawling-insect sticky trap"
        BAIT_STATION = "bait_station", "Rodent bait station"
        SNAP_TRAP = "snap_trap", "Rodent snap trap"
        LIVE_TRAP = "live_trap", "Rodent live trap"
        INDICATOR = "indicator", "Non-toxic indicator"
        FLY_LIGHT = "fly_light", "Fly light trap"
        PHEROMONE = "pheromone", "Pheromone trap"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="monitors")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="monitors")
    number = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    kind = models.CharField(max_length=20, choices=Kind.choices)
    place = models.CharField(max_length=160, blank=True, help_text="Where exactly it stands.")
    label_code = models.CharField(max_length=20, unique=True, default=label_code, editable=False)
    plan = models.ForeignKey(
        SitePlan, null=True, blank=True, on_delete=models.SET_NULL, related_name="monitors"
    )
    x = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1)]
    )
    y = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1)]
    )
    placed_on = models.DateField()
    removed_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "number"],
                name="monitor_number_once_per_site",
                violation_error_code="number_taken",
                violation_error_message="This site has, or had, a monitor with this number.",
            ),
            models.CheckConstraint(
                condition=models.Q(number__gte=1), name="monitor_number_positive"
            ),
            models.CheckConstraint(
                condition=models.Q(x__isnull=True, y__isnull=True)
                | models.Q(x__range=(0, 1), y__range=(0, 1)),
                name="monitor_position_on_plan",
                violation_error_message="Give both x and y, each within the plan.",
            ),
            models.CheckConstraint(
                condition=models.Q(removed_on__isnull=True)
                | models.Q(removed_on__gte=models.F("placed_on")),
                name="monitor_removed_after_placed",
                violation_error_message="The monitor is removed before it is placed.",
            ),
        ]

    def __str__(self) -> str:
        return f"Monitor {self.number}"
