"""What monitors caught month by month, summed up from readings so that pages need not read them.

Nothing here is a record of its own: every row is made again from the readings when they change.
Months are numbers (12 × year + month - 1), so that whole companies fit into arrays of integers.
"""

from django.db import models
from django.db.models import Q

from sites.models import Monitor, Site, Zone
from visits.models import Pest


class CountSeries(models.Model):
    """One pest that one monitor watches for. ``zone`` is where the monitor stands now."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="+")
    monitor = models.ForeignKey(Monitor, on_delete=models.CASCADE, related_name="+")
    pest = models.ForeignKey(Pest, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["monitor", "pest"], name="series_once_per_pest"),
        ]
        indexes = [models.Index(fields=["site", "pest"], name="series_site_pest")]

    def __str__(self) -> str:
        return f"{self.pest_id} in {self.monitor_id}"


class MonthCount(models.Model):
    """What one monitor caught of one pest in one month, over how many half trap-days.

    Half days are whole numbers, since a sprung or damaged trap counts half (Nelson & Clark 1973).
    Readings without exposure are left out; ``at_least``: a trap was full.
    """

    series = models.ForeignKey(CountSeries, on_delete=models.CASCADE, related_name="months")
    month = models.PositiveIntegerField(help_text="12 × year + month - 1.")
    count = models.PositiveIntegerField()
    half_days = models.PositiveIntegerField()
    readings = models.PositiveIntegerField()
    at_least = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["series", "month"], name="month_count_once"),
            models.CheckConstraint(condition=Q(half_days__gt=0), name="month_count_has_exposure"),
        ]

    def __str__(self) -> str:
        return f"{self.count} in {self.half_days} half days"


class SiteCounted(models.Model):
    """Up to which state of its readings a site has been counted.

    ``fingerprint`` is computed from the readings; another one means that they have changed.
    ``changed_from`` is the earliest month whose sums have changed since it was last judged.
    """

    site = models.OneToOneField(
        Site, primary_key=True, on_delete=models.CASCADE, related_name="counted"
    )
    fingerprint = models.CharField(max_length=64)
    counted_at = models.DateTimeField()
    changed_from = models.PositiveIntegerField(
        null=True, blank=True, help_text="12 × year + month - 1; empty once judged."
    )

    def __str__(self) -> str:
        return f"{self.site_id} counted at {self.counted_at}"
