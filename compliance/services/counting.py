"""What monitors caught, summed up month by month, kept in step with the readings.

Which readings count: those of closed visits, and those without a visit (imported, typed in, from
electronic traps). Which pests a monitor has a series of: every pest it ever held; every pest of a
group it watches for (``visits.watched``) that any monitor of its site ever held; and the likeliest
pest of its first group. Bait that was taken is a pest of its own (``visits.models.pest``), one for
each reading that found it, so that rodents that nobody saw are not lost. Each reading gives a count
of each series, 0 included, since whoever read the trap would have seen it. Exposure:
``compliance.trends.exposure``, here in half trap-days; no day of a monitor is counted twice
(``visits.services.standing.own_days``), though the days that a visit has sealed stay as they are.
Docs: docs/algorithms/rates-and-effects.md (Exposure).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

import numpy as np
from django.db import transaction
from django.db.models import BigIntegerField, Count, F, Max, Min, Q, Sum
from django.db.models.functions import Cast, ExtractMonth, ExtractYear
from django.utils import timezone

from compliance.models import CountSeries, MonthCount, SiteCounted
from compliance.trends.exposure import (
    CONDITIONS,
    STOPS_WHEN_SPRUNG,
    exposures,
    month_number,
    month_of,
)
from sites.models import Monitor
from visits.models import Pest, Reading, ReadingCount, Visit
from visits.models.pest import BAIT_TAKEN
from visits.services.standing import own_days
from visits.watched import WITH_BAIT, likeliest, watches

AGAIN_AFTER = timedelta(days=1)
"""A site is counted again so long after the last time, whatever its fingerprint says."""

_BATCH = 500
_TAKEN = (Reading.Bait.PART, Reading.Bait.ALL)

COUNTED = Q(visit__isnull=True) | Q(visit__state=Visit.State.CLOSED)
"""Readings that are counted: what is still being written down on a visit is not."""

OF_COUNTED = Q(reading__visit__isnull=True) | Q(reading__visit__state=Visit.State.CLOSED)
"""What was counted at such readings."""


@dataclass(frozen=True, slots=True)
class Sums:
    """What one monitor caught of one pest in one month."""

    count: int
    half_days: int
    readings: int
    at_least: bool


SeriesKey = tuple[UUID, UUID]
"""A monitor and a pest."""

Months = dict[int, Sums]


def count_sites(*, limit: int = 200, everything: bool = False, now: datetime | None = None) -> int:
    """Sum up the readings of the sites where they have changed, and say how many sites those were.

    Safe twice, late, or never; at most ``limit`` sites, the longest uncounted first. Which have
    changed is told by a fingerprint of sums over all sites' readings, in four queries. What sums
    cannot tell apart (two readings of one month that swap their counts in an edit) is found a day
    later, when a site is counted again in any case; ``everything`` does that to all sites at once.
    """
    now = now or timezone.now()
    prints = fingerprints()
    known = {one.site_id: one for one in SiteCounted.objects.all()}

    def due(site_id: UUID) -> bool:
        one = known.get(site_id)
        return (
            everything
            or one is None
            or one.fingerprint != prints[site_id]
            or now - one.counted_at >= AGAIN_AFTER
        )

    def since(site_id: UUID) -> tuple[float, UUID]:
        one = known.get(site_id)
        return (one.counted_at.timestamp() if one else 0.0, site_id)

    # A site that has lost its last monitor and reading is counted too: to nothing.
    gone = set(known) - set(prints)
    prints.update(dict.fromkeys(gone, ""))
    wanted = sorted((site_id for site_id in prints if due(site_id)), key=since)
    if not everything:
        wanted = wanted[:limit]
    for site_id in wanted:
        count_site(site_id, fingerprint=prints[site_id], now=now)
    return len(wanted)


@transaction.atomic
def count_site(site_id: UUID, *, fingerprint: str, now: datetime) -> None:
    """Make series and months of one site anew from its readings, writing only what differs.

    ``fingerprint`` must have been taken before, so that a reading that comes meanwhile is found by
    the next turn. The earliest month that differs is noted for whoever judges.
    """
    SiteCounted.objects.get_or_create(
        site_id=site_id, defaults={"fingerprint": "", "counted_at": now}
    )
    counted = SiteCounted.objects.select_for_update().get(pk=site_id)
    monitors = {one.pk: one for one in Monitor.objects.filter(site_id=site_id)}
    changed = _write(site_id, monitors, _summed(site_id, monitors))
    if changed is not None:
        counted.changed_from = min(changed, counted.changed_from or changed)
    counted.fingerprint, counted.counted_at = fingerprint, now
    counted.save(update_fields=["changed_from", "fingerprint", "counted_at"])


def fingerprints() -> dict[UUID, str]:
    """For each site with monitors, a hash of what its counts depend on. Three queries.

    Not seen: changes that leave numbers, days, conditions and counts of a site's months as they
    were in sum, and add no row.
    """
    parts: dict[UUID, list[Any]] = defaultdict(list)
    monitors = Monitor.objects.order_by("site_id", "pk").values_list(
        "site_id", "pk", "zone_id", "kind"
    )
    for site_id, *one in monitors:
        parts[site_id].append(one)
    readings = Reading.objects.filter(COUNTED)
    month = ExtractYear("read_on") * 12 + ExtractMonth("read_on")
    by_site = (
        readings.values("monitor__site_id")
        .annotate(
            many=Count("pk"),
            days=Sum("stood_days"),
            days_by_month=Sum(F("stood_days") * month),
            first=Min("read_on"),
            last=Max("read_on"),
            newest=Max("created_at"),
            **{f"is_{one}": Sum("stood_days", filter=Q(condition=one)) for one in CONDITIONS[1:]},
            **{f"bait_{one}": Count("pk", filter=Q(bait_taken=one)) for one in _TAKEN},
        )
        .order_by("monitor__site_id")
    )
    for of_readings in by_site:
        parts[of_readings["monitor__site_id"]].append(sorted(of_readings.items()))
    large = Cast("count", BigIntegerField())
    # Joined, not sought among the readings: a database that has not yet looked at what was just
    # imported would compare each count with each reading.
    counts = (
        ReadingCount.objects.filter(OF_COUNTED)
        .values("reading__monitor__site_id", "pest_id")
        .annotate(
            many=Count("pk"),
            total=Sum("count"),
            squares=Sum(large * large),
            newest=Max("pk"),
        )
        .order_by("reading__monitor__site_id", "pest_id")
    )
    for of_pest in counts:
        parts[of_pest["reading__monitor__site_id"]].append(sorted(of_pest.items()))
    return {site_id: sha256(repr(one).encode()).hexdigest() for site_id, one in parts.items()}


def _summed(site_id: UUID, monitors: Mapping[UUID, Monitor]) -> dict[SeriesKey, Months]:
    """Every series of a site with its months. Four queries."""
    # A monitor placed after ours were read waits, with its readings, for the next turn.
    rows = [row for row in _rows(site_id) if row[1] in monitors]
    held: dict[UUID, dict[UUID, int]] = defaultdict(dict)
    counts = ReadingCount.objects.filter(OF_COUNTED, reading__monitor__site_id=site_id, count__gt=0)
    for reading_id, pest_id, count in counts.values_list("reading_id", "pest_id", "count"):
        held[reading_id][pest_id] = count
    pests = _watched_by(monitors, [(row[1], held.get(row[0], {})) for row in rows])
    for take in Pest.counted.filter(slug=BAIT_TAKEN).values_list("pk", flat=True):
        for row in rows:
            if row[5] in _TAKEN and monitors[row[1]].kind in WITH_BAIT:
                held[row[0]][take] = 1
    read: dict[UUID, list[tuple[Any, ...]]] = defaultdict(list)
    for row in rows:
        read[row[1]].append(row)
    return {
        (monitor_id, pest_id): months
        for monitor_id, of_monitor in read.items()
        for pest_id, months in _months(
            monitors[monitor_id].kind, of_monitor, held, pests[monitor_id]
        ).items()
    }


def _rows(site_id: UUID) -> list[tuple[Any, ...]]:
    """Of each reading that counts: key, monitor, day, its own days, condition, bait. One query.

    What people wrote down on a visit that is not closed yet counts for nothing, and ends the days
    of the next reading all the same, as everywhere in ``visits.services.standing``.
    """
    rows = list(
        Reading.objects.filter(monitor__site_id=site_id)
        .order_by("pk")
        .values_list(
            *("pk", "monitor_id", "read_on", "stood_days", "condition", "bait_taken"),
            *("source", "visit__state"),
        )
    )
    by_people: dict[UUID, list[tuple[UUID, date, int | None]]] = defaultdict(list)
    for pk, monitor_id, read_on, stood, *_, source, _state in rows:
        if source in Reading.BY_PEOPLE:
            by_people[monitor_id].append((pk, read_on, stood))
    own = {pk: days for read in by_people.values() for pk, days in own_days(read).items()}
    return [
        (pk, monitor_id, read_on, own.get(pk, stood), condition, bait)
        for pk, monitor_id, read_on, stood, condition, bait, _, state in rows
        if state in (None, Visit.State.CLOSED)
    ]


def _watched_by(
    monitors: Mapping[UUID, Monitor], caught: Iterable[tuple[UUID, Mapping[UUID, int]]]
) -> dict[UUID, list[UUID]]:
    """Which pests each monitor has a series of. One query."""
    own: dict[UUID, set[UUID]] = {monitor_id: set() for monitor_id in monitors}
    for monitor_id, pests in caught:
        own[monitor_id].update(pests)
    likely = {likeliest(kind) for kind in {one.kind for one in monitors.values()}}
    anywhere: set[UUID] = set().union(*own.values())
    facts = Pest.counted.filter(Q(pk__in=anywhere) | Q(slug__in=likely))
    by_slug: dict[str, UUID] = {}
    groups: dict[UUID, str] = {}
    for pest_id, slug, group in facts.values_list("pk", "slug", "group"):
        by_slug[slug], groups[pest_id] = pest_id, group
    for monitor_id, monitor in monitors.items():
        own[monitor_id].update(
            pest_id for pest_id in anywhere if watches(monitor.kind, groups[pest_id])
        )
        if (first := by_slug.get(likeliest(monitor.kind))) is not None:
            own[monitor_id].add(first)
    return {monitor_id: sorted(pests) for monitor_id, pests in own.items()}


def _months(
    kind: str,
    rows: Sequence[tuple[Any, ...]],
    held: Mapping[UUID, Mapping[UUID, int]],
    pests: list[UUID],
) -> dict[UUID, Months]:
    """The months of each pest of one monitor; readings without exposure are left out."""
    condition = np.array([CONDITIONS.index(row[4]) for row in rows], dtype=np.int64)
    stood = np.array([-1 if row[3] is None else row[3] for row in rows], dtype=np.int64)
    stops = kind in STOPS_WHEN_SPRUNG
    sprung = np.array([stops and row[0] in held for row in rows], dtype=np.bool_)
    months = np.array([month_number(month_of(row[2])) for row in rows], dtype=np.int64)
    found: dict[UUID, Months] = {}
    for pest_id in pests:
        count = np.array([held.get(row[0], {}).get(pest_id, 0) for row in rows], dtype=np.int64)
        counted, days, full = exposures(stood, condition, sprung, count)
        seen = days > 0
        if not seen.any():
            continue
        half_days = np.rint(2 * days).astype(np.int64)
        first = int(months[seen].min())
        place = months - first
        size = int(place[seen].max()) + 1
        sums = [
            np.bincount(place[seen], one[seen], size).astype(np.int64)
            for one in (counted, half_days, seen, full)
        ]
        found[pest_id] = {
            first + month: Sums(
                count=int(sums[0][month]),
                half_days=int(sums[1][month]),
                readings=int(sums[2][month]),
                at_least=bool(sums[3][month]),
            )
            for month in np.flatnonzero(sums[2]).tolist()
        }
    return found


def _write(
    site_id: UUID, monitors: Mapping[UUID, Monitor], wanted: Mapping[SeriesKey, Months]
) -> int | None:
    """Bring a site's rows to what is wanted; the earliest month that differed, None for none.

    Two queries where nothing differs; five or so, in batches, where something does.
    """
    series = {
        (one.monitor_id, one.pest_id): one for one in CountSeries.objects.filter(site_id=site_id)
    }
    kept: dict[int, dict[int, MonthCount]] = defaultdict(dict)
    for row in MonthCount.objects.filter(series__site_id=site_id):
        kept[row.series_id][row.month] = row
    changed: set[int] = set()
    stale = [one.pk for key, one in series.items() if key not in wanted]
    changed.update(month for one in stale for month in kept[one])
    moved = []
    for key, one in series.items():
        zone_id = monitors[key[0]].zone_id if key in wanted else one.zone_id
        if one.zone_id != zone_id:
            one.zone_id = zone_id
            moved.append(one)
            changed.update(wanted[key])
    new = [
        CountSeries(
            site_id=site_id, zone_id=monitors[key[0]].zone_id, monitor_id=key[0], pest_id=key[1]
        )
        for key in wanted
        if key not in series
    ]
    CountSeries.objects.filter(pk__in=stale).delete()
    CountSeries.objects.bulk_update(moved, ["zone"], batch_size=_BATCH)
    CountSeries.objects.bulk_create(new, batch_size=_BATCH)
    series.update({(one.monitor_id, one.pest_id): one for one in new})
    over: list[int] = []
    fresh: list[MonthCount] = []
    other: list[MonthCount] = []
    for key, months in wanted.items():
        of = kept[series[key].pk]
        over += [one.pk for month, one in of.items() if month not in months]
        changed.update(month for month in of if month not in months)
        for month, sums in months.items():
            known = of.get(month)
            if known is None:
                fresh.append(MonthCount(series=series[key], month=month, **_fields(sums)))
            elif _fields(sums) != {name: getattr(known, name) for name in _FIELDS}:
                for name, value in _fields(sums).items():
                    setattr(known, name, value)
                other.append(known)
            else:
                continue
            changed.add(month)
    for at in range(0, len(over), _BATCH):
        MonthCount.objects.filter(pk__in=over[at : at + _BATCH]).delete()
    MonthCount.objects.bulk_create(fresh, batch_size=_BATCH)
    MonthCount.objects.bulk_update(other, _FIELDS, batch_size=_BATCH)
    return min(changed, default=None)


_FIELDS = ("count", "half_days", "readings", "at_least")


def _fields(sums: Sums) -> dict[str, Any]:
    return {name: getattr(sums, name) for name in _FIELDS}
