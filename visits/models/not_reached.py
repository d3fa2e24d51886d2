"""A checkpoint or monitor that could not be looked at, why, and whose move it is."""

from django.db import models
from django.db.models import Q

from accounts.models.base import Record
from sites.models import Checkpoint, Monitor, Zone
from visits.models.finding import WhoseMove
from visits.models.visit import Visit


class NotReached(Record):
    """Names a checkpoint, a monitor, or (neither given) the whole zone."""

    class Reason(models.TextChoices):
        LOCKED = "locked", "Locked"
        BLOCKED = "blocked", "Blocked by goods or equipment"
        IN_USE = "in_use", "In use"
        UNSAFE = "unsafe", "Not safe to reach"
        HEIGHT = "height", "Too high without equipment"
        OUTSIDE_REMIT = "outside_remit", "Outside our remit"
        REFUSED = "refused", "Entry refused"
        OTHER = "other", "Other"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="not_reached")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="not_reached")
    checkpoint = models.ForeignKey(
        Checkpoint, null=True, blank=True, on_delete=models.PROTECT, related_name="not_reached"
    )
    monitor = models.ForeignKey(
        Monitor, null=True, blank=True, on_delete=models.PROTECT, related_name="not_reached"
    )
    reason = models.CharField(max_length=14, choices=Reason.choices)
    note = models.CharField(max_length=500, blank=True)
    whose_move = models.CharField(max_length=12, choices=WhoseMove.choices)
    at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "not reached"
        constraints = [
            models.CheckConstraint(
                condition=Q(checkpoint__isnull=True) | Q(monitor__isnull=True),
                name="not_reached_names_one_place",
            ),
            models.UniqueConstraint(
                fields=["visit", "checkpoint"],
                condition=Q(checkpoint__isnull=False),
                name="not_reached_checkpoint_once",
            ),
            models.UniqueConstraint(
                fields=["visit", "monitor"],
                condition=Q(monitor__isnull=False),
                name="not_reached_monitor_once",
            ),
            models.UniqueConstraint(
                fields=["visit", "zone"],
                condition=Q(checkpoint__isnull=True, monitor__isnull=True),
                name="not_reached_zone_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.checkpoint or self.monitor or self.zone} not reached"
