"""A site's plan month by month: what each zone and monitor caught of one pest.

Everything that the page's script can change is made here in words, for every month, so that page
and script never say different things.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Max, Q, Sum
from django.urls import reverse

from accounts.models import User
from compliance.access import place_months_visible_to
from compliance.models import MonthCount, PlaceMonth
from compliance.trends.exposure import month_number, numbered
from compliance.trends.rates import short
from compliance.trends.tints import Tints, plan_tints
from sites.access import monitors_visible_to, zones_visible_to
from sites.models import Monitor, Site, Zone
from visits.models import Pest

MONTHS = 24
MOST_NAMED = 10
"""Monitors that are named below the plan, those with most first."""

State = PlaceMonth.State


@dataclass(frozen=True, slots=True)
class Caught:
    """What was caught somewhere in one month, ``days`` in trap-days; 0 days: nobody looked."""

    count: int
    days: float
    at_least: bool

    @property
    def per_100(self) -> float | None:
        return 100 * self.count / self.days if self.days else None

    @property
    def rate(self) -> str:
        """The rate in words, without its unit."""
        if self.per_100 is None:
            return "not read"
        return f"{'at least ' if self.at_least else ''}{short(self.per_100)}"

    @property
    def words(self) -> str:
        if not self.days:
            return "not read"
        least = "at least " if self.at_least else ""
        return f"{least}{self.count} in {short(self.days)} trap-days"


NOTHING = Caught(0, 0.0, at_least=False)


@dataclass(frozen=True, slots=True)
class ZoneShown:
    """One zone in one month. ``tint``: None where nobody looked; ``bar``: share of the highest."""

    zone: Zone
    caught: Caught
    state: str
    tint: int | None
    bar: float

    @property
    def stands(self) -> str:
        """How it stands, in words."""
        return str(State(self.state).label).lower()

    @property
    def label(self) -> str:
        """What stands in it on the plan."""
        if self.caught.per_100 is None:
            return "not read"
        return f"{self.caught.rate}, {self.stands}"

    @property
    def is_alarm(self) -> bool:
        return self.state == State.ALARM


@dataclass(frozen=True, slots=True)
class MonitorShown:
    """One monitor in one month; ``size``: how many times its usual size its pin is drawn."""

    monitor: Monitor
    caught: Caught
    size: float

    @property
    def words(self) -> str:
        return (
            f"Monitor {self.monitor.number}, {self.monitor.get_kind_display().lower()}, "
            f"{self.monitor.zone.name}: {self.caught.words}"
        )


@dataclass(frozen=True, slots=True)
class MonthShown:
    """All of one month. ``stands``: how the site stands as a whole, in words."""

    month: date
    caught: Caught
    stands: str
    zones: Sequence[ZoneShown]
    monitors: Mapping[UUID, MonitorShown]

    @property
    def key(self) -> str:
        return f"{self.month:%Y-%m}"

    @property
    def name(self) -> str:
        return f"{self.month:%B %Y}"

    @property
    def words(self) -> str:
        """What is said when somebody comes to this month."""
        said = f"{self.name}: {self.caught.words}"
        if self.caught.days:
            said += f", {self.caught.rate} per 100 trap-days"
        if self.stands:
            said += f", {self.stands}"
        more = [one.zone.name for one in self.zones if one.is_alarm]
        return f"{said}. More than usual in {_listed(more)}." if more else f"{said}."

    @property
    def most(self) -> list[MonitorShown]:
        """The monitors with most, highest rate first."""
        found = [one for one in self.monitors.values() if one.caught.count]
        found.sort(key=lambda one: (-(one.caught.per_100 or 0), one.monitor.number))
        return found[:MOST_NAMED]


@dataclass(frozen=True, slots=True)
class PlanMonths:
    """A site's months of one pest, oldest first, and the pests that there are."""

    site: Site
    pest: Pest
    pests: Sequence[Pest]
    months: Sequence[MonthShown]
    tints: Tints

    def place(self, key: str) -> int:
        """The place of the month that is called so (2026-10); where there is none, of the last in
        which anything was read: a month that has only begun tells nobody anything."""
        named = next((place for place, one in enumerate(self.months) if one.key == key), None)
        if named is not None:
            return named
        read = [place for place, one in enumerate(self.months) if one.caught.days]
        return read[-1] if read else len(self.months) - 1

    def for_script(self) -> list[dict[str, Any]]:
        """The months in plain values, everything that changes with them in words."""
        return [_plain(one) for one in self.months]


def plan_months(site: Site, user: User, *, pest: str = "") -> PlanMonths | None:
    """Up to two years of a site's zones and monitors for one pest; None where nothing is counted.

    An unknown or empty pest gives the one that most was caught of. An auditor sees the months of
    the pass's period only. Eight queries, however much there is.
    """
    seen = place_months_visible_to(user).filter(site=site)
    last = seen.aggregate(last=Max("month"))["last"]
    if last is None:
        return None
    seen = seen.filter(month__gte=_first(last))
    days = sorted(seen.values_list("month", flat=True).distinct())
    totals = dict(
        seen.filter(zone__isnull=False)
        .values_list("pest")
        .annotate(caught=Sum("count"))
        .values_list("pest", "caught")
    )
    pests = list(Pest.counted.filter(pk__in=totals).order_by("name", "pk"))
    if not pests:
        return None
    chosen = next((one for one in pests if one.slug == pest), None) or max(
        pests, key=lambda one: totals[one.pk]
    )
    rows = list(seen.filter(pest=chosen))
    of_zones = [row for row in rows if row.zone_id]
    zones = list(
        zones_visible_to(user)
        .filter(site=site)
        .filter(Q(retired_on=None) | Q(pk__in={row.zone_id for row in of_zones}))
        .order_by("walk_order", "name", "pk")
    )
    # Between the periods of two passes an auditor may not look: that is not "not read".
    months = days if user.is_auditor else _every(days)
    counts = list(
        MonthCount.objects.filter(
            series__site=site,
            series__pest=chosen,
            month__in={month_number((day.year, day.month)) for day in days},
        ).values_list("series__monitor_id", "month", "count", "half_days", "at_least")
    )
    monitors = list(
        monitors_visible_to(user)
        .filter(pk__in={row[0] for row in counts}, removed_on=None)
        .select_related("zone")
        .order_by("number", "pk")
    )
    by_monitor = {
        (monitor, month): Caught(count, half_days / 2, at_least=at_least)
        for monitor, month, count, half_days, at_least in counts
    }
    tints = plan_tints([row.per_100 for row in of_zones])
    sizes = plan_tints([caught.per_100 for caught in by_monitor.values()])
    by_place = {(row.zone_id, row.month): row for row in rows}
    return PlanMonths(
        site=site,
        pest=chosen,
        pests=pests,
        months=[
            _month(month, zones, monitors, by_place, by_monitor, tints, sizes) for month in months
        ],
        tints=tints,
    )


def _first(last: date) -> date:
    return _day(month_number((last.year, last.month)) - MONTHS + 1)


def _every(seen: Sequence[date]) -> list[date]:
    first, last = seen[0], seen[-1]
    numbers = range(
        month_number((first.year, first.month)), month_number((last.year, last.month)) + 1
    )
    return [_day(number) for number in numbers]


def _day(number: int) -> date:
    year, month = numbered(number)
    return date(year, month, 1)


def _month(
    month: date,
    zones: Sequence[Zone],
    monitors: Sequence[Monitor],
    by_place: Mapping[tuple[UUID | None, date], PlaceMonth],
    by_monitor: Mapping[tuple[UUID, int], Caught],
    tints: Tints,
    sizes: Tints,
) -> MonthShown:
    number = month_number((month.year, month.month))
    shown = [_zone(zone, by_place.get((zone.pk, month)), tints) for zone in zones]
    site = by_place.get((None, month))
    read = [one for one in shown if one.caught.days]
    stands = State(site.state).label.lower() if site and site.state != State.NOT_READ else ""
    if not stands and len(read) == 1:
        stands = read[0].stands
    caught = {one.pk: by_monitor.get((one.pk, number), NOTHING) for one in monitors}
    return MonthShown(
        month=month,
        caught=_sum(one.caught for one in shown),
        stands=stands,
        zones=shown,
        monitors={
            one.pk: MonitorShown(one, caught[one.pk], sizes.size(caught[one.pk].per_100))
            for one in monitors
        },
    )


def _zone(zone: Zone, row: PlaceMonth | None, tints: Tints) -> ZoneShown:
    if row is None or not row.half_days:
        return ZoneShown(zone, NOTHING, State.NOT_READ, None, 0.0)
    caught = Caught(row.count, row.trap_days, at_least=row.at_least)
    rate = caught.per_100 or 0.0
    bar = min(rate / tints.ends[-1], 1.0) if tints.ends else 0.0
    return ZoneShown(zone, caught, row.state, tints.of(rate), round(100 * bar, 1))


def _sum(caught: Iterable[Caught]) -> Caught:
    every = list(caught)
    return Caught(
        sum(one.count for one in every),
        sum(one.days for one in every),
        at_least=any(one.at_least for one in every),
    )


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _plain(month: MonthShown) -> dict[str, Any]:
    return {
        "key": month.key,
        "name": month.name,
        "words": month.words,
        "zones": {
            str(one.zone.pk): {
                "tint": one.tint,
                "label": one.label,
                "rate": one.caught.rate,
                "caught": one.caught.words,
                "stands": one.stands,
                "alarm": one.is_alarm,
                "bar": one.bar,
            }
            for one in month.zones
        },
        "monitors": {str(pk): [one.size, one.caught.words] for pk, one in month.monitors.items()},
        "most": [
            [one.words, reverse("sites:monitor", args=[one.monitor.pk])] for one in month.most
        ],
    }
