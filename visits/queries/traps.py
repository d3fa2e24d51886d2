"""Which electronic traps of a site report, and which have gone silent."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, F, OuterRef, QuerySet, Subquery

from sites.models import Monitor, Site
from visits.models import TrapReport, TrapSender

SILENT_AFTER = timedelta(days=3)
"""From when on a trap counts as silent that has not been heard of (ours)."""

BATTERY_LOW = 20
"""Per cent (ours)."""


@dataclass(frozen=True, slots=True)
class TrapShown:
    """One electronic trap: up to when it has spoken, and of what."""

    monitor: Monitor
    spoke_up_to: datetime
    battery: int | None
    condition_words: str
    silent_days: int
    """Whole days since then, 0 unless it is silent."""

    @property
    def battery_is_low(self) -> bool:
        return self.battery is not None and self.battery <= BATTERY_LOW


def traps_at(site: Site) -> QuerySet[Any]:
    """The standing monitors that have ever reported, the longest silent first. One query."""
    latest = _reports().order_by("-read_on", "-at")
    traps: QuerySet[Any] = (
        _speaking()
        .filter(site=site)
        .select_related("zone")
        .annotate(
            battery=Subquery(latest.filter(battery__isnull=False).values("battery")[:1]),
            trap_condition=Subquery(latest.values("condition")[:1]),
        )
        .order_by("spoke_up_to", "number")
    )
    return traps


def silent_traps(now: datetime) -> QuerySet[Any]:
    """Standing traps of open sites whose sender is still let in, yet silent; by site and number."""
    let_in = TrapSender.objects.filter(site=OuterRef("site"), ended_at=None)
    return (
        _speaking()
        .filter(Exists(let_in), site__closed_on=None, spoke_up_to__lte=now - SILENT_AFTER)
        .select_related("site")
        .order_by("site_id", "number", "pk")
    )


def _reports() -> QuerySet[TrapReport]:
    return TrapReport.objects.filter(monitor=OuterRef("pk"), state=TrapReport.State.APPLIED)


def _speaking() -> QuerySet[Any]:
    """Standing monitors that have ever reported, with ``spoke_up_to``: up to when."""
    latest = _reports().order_by("-read_on", "-at").values("at")
    return Monitor.objects.filter(Exists(_reports()), removed_on=None).annotate(
        spoke_up_to=Subquery(latest[:1])
    )


def trap_shown(monitor: Monitor, now: datetime) -> TrapShown:
    """A monitor of ``traps_at`` as a page shows it. No query."""
    row: dict[str, object] = vars(monitor)
    spoke_up_to = row["spoke_up_to"]
    assert isinstance(spoke_up_to, datetime)  # noqa: S101 (tells the type checker only)
    battery = row["battery"]
    silent = now - spoke_up_to
    words = dict(TrapReport._meta.get_field("condition").flatchoices)
    return TrapShown(
        monitor=monitor,
        spoke_up_to=spoke_up_to,
        battery=battery if isinstance(battery, int) else None,
        condition_words=str(words.get(row["trap_condition"], "")),
        silent_days=silent.days if silent >= SILENT_AFTER else 0,
    )


def senders_at(site: Site) -> QuerySet[TrapSender]:
    """The senders of a site, those that work first."""
    return TrapSender.objects.filter(site=site).order_by(
        F("ended_at").desc(nulls_first=True), "name", "pk"
    )


def refused_of(sender: TrapSender) -> QuerySet[TrapReport]:
    """The refused reports of a sender, the latest first."""
    refused = TrapReport.objects.filter(sender=sender, state=TrapReport.State.REFUSED)
    return refused.order_by("-received_at", "-pk")
