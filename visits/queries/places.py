"""What stands at a site to be looked at on a day, in walking order, and what a visit said of it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Q

from sites.models import Boundary, Checkpoint, Monitor, Zone
from visits.coverage import Coverage, DueZone, Said, coverage
from visits.models import Finding, Look, NotReached, Reading, Visit


@dataclass(frozen=True, slots=True)
class ZonePlaces:
    """A zone and what stands in it: checkpoints from low to overhead, monitors by number."""

    zone: Zone
    checkpoints: Sequence[Checkpoint]
    monitors: Sequence[Monitor]


HEIGHTS = {"low": 0, "reach": 1, "overhead": 2}


def day_of_visit(visit: Visit) -> date:
    """The day on the site's calendar on which a visit was, or else is to be, made. No query."""
    if visit.started_at:
        return visit.site.day_of(visit.started_at)
    return visit.booked_on or visit.due_on


def places_at(site_ids: Iterable[UUID], on: date) -> dict[UUID, list[ZonePlaces]]:
    """By site, what stands there on a day, zones in walking order. Three queries, any size.

    A monitor that was placed on the day itself is not due to be read on it.
    """
    wanted = list(site_ids)
    still = Q(retired_on=None) | Q(retired_on__gt=on)
    zones = list(Zone.objects.filter(still, site__in=wanted).order_by("walk_order", "name", "pk"))
    checkpoints = defaultdict(list)
    for one in Checkpoint.objects.filter(still, zone__in=zones).order_by("walk_order", "pk"):
        checkpoints[one.zone_id].append(one)
    monitors = defaultdict(list)
    for monitor in Monitor.objects.filter(
        Q(removed_on=None) | Q(removed_on__gt=on), zone__in=zones, placed_on__lt=on
    ).order_by("number", "pk"):
        monitors[monitor.zone_id].append(monitor)
    found: dict[UUID, list[ZonePlaces]] = {site_id: [] for site_id in wanted}
    for zone in zones:
        low_first = sorted(checkpoints[zone.pk], key=lambda one: HEIGHTS[one.height])
        found[zone.site_id].append(ZonePlaces(zone, low_first, monitors[zone.pk]))
    return found


def due_zones(places: Iterable[ZonePlaces]) -> list[DueZone]:
    """The same as coverage counts it: nothing is due in a zone outside our remit. No query."""
    return [
        DueZone(
            id=one.zone.pk,
            name=one.zone.name,
            kind=one.zone.kind,
            boundary=one.zone.boundary,
            boundary_note=one.zone.boundary_note,
            checkpoints=[place.pk for place in one.checkpoints] if _is_ours(one.zone) else (),
            monitors=[monitor.pk for monitor in one.monitors] if _is_ours(one.zone) else (),
        )
        for one in places
    ]


def _is_ours(zone: Zone) -> bool:
    return zone.boundary != Boundary.OUTSIDE


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
    places = places_at([visit.site_id], day_of_visit(visit))[visit.site_id]
    return coverage(due_zones(places), said_on([visit.pk])[visit.pk])
