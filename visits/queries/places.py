"""What stands at a site to be looked at on a day, in walking order, and what a visit said of it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Q

from sites.models import Boundary, Checkpoint, Height, Monitor, Zone
from visits.coverage import Coverage, DueZone, Said, coverage
from visits.models import Finding, Look, NotReached, Reading, Visit


@dataclass(frozen=True, slots=True)
class ZonePlaces:
    """A zone and what stands in it: checkpoints from low to overhead, monitors by number.

    ``due`` are the ids of the places that coverage counts. A zone outside our remit has none, and
    a monitor that was placed on the day itself is read next time.
    """

    zone: Zone
    checkpoints: Sequence[Checkpoint]
    monitors: Sequence[Monitor]
    due: frozenset[UUID]


HEIGHTS = {Height.LOW: 0, Height.REACH: 1, Height.OVERHEAD: 2}


def day_of_visit(visit: Visit) -> date:
    """The day on the site's calendar on which a visit was, or else is to be, made. No query."""
    if visit.started_at:
        return visit.site.day_of(visit.started_at)
    return visit.booked_on or visit.due_on


def places_of(visits: Sequence[Visit]) -> dict[UUID, list[ZonePlaces]]:
    """By visit, what stands at its site on its day, zones in walking order.

    Three queries, however many visits. The visits must have their site at hand.
    """
    days = {visit.pk: day_of_visit(visit) for visit in visits}
    first = min(days.values(), default=date.max)
    still = Q(retired_on=None) | Q(retired_on__gt=first)
    zones = defaultdict(list)
    for zone in Zone.objects.filter(still, site__in={visit.site_id for visit in visits}).order_by(
        "walk_order", "name", "pk"
    ):
        zones[zone.site_id].append(zone)
    every_zone = [zone.pk for of_site in zones.values() for zone in of_site]
    checkpoints = defaultdict(list)
    for one in Checkpoint.objects.filter(still, zone__in=every_zone).order_by("walk_order", "pk"):
        checkpoints[one.zone_id].append(one)
    monitors = defaultdict(list)
    for monitor in Monitor.objects.filter(
        Q(removed_on=None) | Q(removed_on__gt=first), zone__in=every_zone
    ).order_by("number", "pk"):
        monitors[monitor.zone_id].append(monitor)
    return {
        visit.pk: [
            _on_the_day(zone, checkpoints[zone.pk], monitors[zone.pk], days[visit.pk])
            for zone in zones[visit.site_id]
            if _stands(zone.retired_on, days[visit.pk])
        ]
        for visit in visits
    }


def _on_the_day(
    zone: Zone, checkpoints: Iterable[Checkpoint], monitors: Iterable[Monitor], on: date
) -> ZonePlaces:
    there = [one for one in checkpoints if _stands(one.retired_on, on)]
    standing = [one for one in monitors if one.placed_on <= on and _stands(one.removed_on, on)]
    due = {one.pk for one in there} | {one.pk for one in standing if one.placed_on < on}
    return ZonePlaces(
        zone=zone,
        checkpoints=sorted(there, key=lambda one: HEIGHTS[Height(one.height)]),
        monitors=standing,
        due=frozenset() if zone.boundary == Boundary.OUTSIDE else frozenset(due),
    )


def _stands(gone_on: date | None, on: date) -> bool:
    return gone_on is None or gone_on > on


def due_zones(places: Iterable[ZonePlaces]) -> list[DueZone]:
    """The same as coverage counts it. No query."""
    return [
        DueZone(
            id=one.zone.pk,
            name=one.zone.name,
            kind=one.zone.kind,
            boundary=one.zone.boundary,
            boundary_note=one.zone.boundary_note,
            checkpoints=[place.pk for place in one.checkpoints if place.pk in one.due],
            monitors=[monitor.pk for monitor in one.monitors if monitor.pk in one.due],
        )
        for one in places
    ]


def said_on(visit_ids: Iterable[UUID]) -> Mapping[UUID, Said]:
    """By visit, which places it speaks of. Four queries, however many visits."""
    wanted = list(visit_ids)
    looked: dict[UUID, set[UUID]] = defaultdict(set)
    read: dict[UUID, set[UUID]] = defaultdict(set)
    missed: dict[UUID, set[UUID]] = defaultdict(set)
    looks = Look.objects.filter(visit__in=wanted)
    findings = Finding.objects.filter(visit__in=wanted, checkpoint__isnull=False)
    for rows in (looks, findings):
        for visit_id, place_id in rows.values_list("visit_id", "checkpoint_id"):
            looked[visit_id].add(place_id)
    readings = Reading.objects.filter(visit__in=wanted)
    for visit_id, monitor_id, condition in readings.values_list(
        "visit_id", "monitor_id", "condition"
    ):
        told = missed if condition == Reading.Condition.BLOCKED else read
        told[visit_id].add(monitor_id)
    named = NotReached.objects.filter(visit__in=wanted)
    for visit_id, checkpoint_id, monitor_id, zone_id in named.values_list(
        "visit_id", "checkpoint_id", "monitor_id", "zone_id"
    ):
        missed[visit_id].add(checkpoint_id or monitor_id or zone_id)
    return {
        visit_id: Said(
            looked=frozenset(looked[visit_id]),
            read=frozenset(read[visit_id]),
            not_reached=frozenset(missed[visit_id]),
        )
        for visit_id in wanted
    }


def coverage_now(visit: Visit) -> Coverage:
    """How much of what is due was looked at so far, zone by zone. Seven queries, any size."""
    places = places_of([visit])[visit.pk]
    return coverage(due_zones(places), said_on([visit.pk])[visit.pk])
