"""Readings from before the program, and thresholds, for tests."""

from datetime import date
from decimal import Decimal
from typing import Any

from accounts.models import User
from compliance.models import ActionThreshold, CountSeries, MonthCount
from compliance.services.thresholds import ThresholdGiven, set_threshold
from sites.models import Monitor, Zone
from tests.builders.accounts import make_office
from visits.models import Pest, Reading, ReadingCount


def pest(slug: str = "house-mouse") -> Pest:
    return Pest.objects.get(slug=slug)


def catch(
    monitor: Monitor, on: date, count: int = 1, *, slug: str = "house-mouse", **fields: Any
) -> Reading:
    """An imported reading, as a spreadsheet would leave it."""
    reading, _ = Reading.objects.get_or_create(
        monitor=monitor,
        read_on=on,
        visit=None,
        defaults={"source": Reading.Source.IMPORT, "stood_days": 30, **fields},
    )
    ReadingCount.objects.update_or_create(
        reading=reading, pest=pest(slug), defaults={"count": count}
    )
    return reading


def count_month(
    monitor: Monitor, month: date, count: int, half_days: int, *, slug: str = "fruit-fly"
) -> MonthCount:
    """A month as the counting leaves it."""
    series, _ = CountSeries.objects.get_or_create(
        monitor=monitor, pest=pest(slug), defaults={"site": monitor.site, "zone": monitor.zone}
    )
    counted, _ = MonthCount.objects.update_or_create(
        series=series,
        month=month.year * 12 + month.month - 1,
        defaults={"count": count, "half_days": half_days, "readings": 1},
    )
    return counted


def make_threshold(
    zone: Zone | None = None,
    *,
    begins_on: date | None = None,
    by: User | None = None,
    **fields: Any,
) -> ActionThreshold:
    """Any mouse at one reading, company-wide, or in a zone; since ``begins_on`` whatever it is."""
    facts = {
        "name": "Any mouse",
        "per": "reading",
        "least": Decimal(1),
        "pest_id": None if fields.get("group") else pest().pk,
        "site_id": zone.site_id if zone else None,
        "zone_id": zone.pk if zone else None,
        **fields,
    }
    made = set_threshold(ThresholdGiven(**facts), by=by or make_office(is_administrator=True))
    if begins_on:
        made.begins_on = begins_on
        made.save(update_fields=["begins_on"])
    return made
