"""Places that were not looked at and that nobody has reached since: how long, and whose move."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from accounts.models import User
from sites.models import Site
from visits.access import visits_visible_to
from visits.models import Finding, Look, NotReached, Reading, Visit

MOST_READ = 500


def standing_not_reached() -> QuerySet[NotReached]:
    """Not-reached records of closed visits whose place nobody has reached since.

    A look or a finding reaches a checkpoint, a reading reaches a monitor unless it was blocked, and
    any of them reaches a zone that was shut as a whole. Without order.
    """
    later = Q(visit__state=Visit.State.CLOSED, visit__closed_at__gt=OuterRef("visit__closed_at"))
    looks = Look.objects.filter(later)
    findings = Finding.objects.filter(later)
    readings = Reading.objects.filter(later).exclude(condition=Reading.Condition.BLOCKED)
    whole_zone = Q(checkpoint=None, monitor=None)
    reached = (
        Exists(looks.filter(checkpoint=OuterRef("checkpoint")))
        | Exists(findings.filter(checkpoint=OuterRef("checkpoint")))
        | Exists(readings.filter(monitor=OuterRef("monitor")))
        | whole_zone & Exists(looks.filter(checkpoint__zone=OuterRef("zone")))
        | whole_zone & Exists(findings.filter(zone=OuterRef("zone")))
        | whole_zone & Exists(readings.filter(monitor__zone=OuterRef("zone")))
    )
    return NotReached.objects.filter(~reached, visit__state=Visit.State.CLOSED)


@dataclass(slots=True)
class Standing:
    """One place, over the visits that did not reach it. ``last`` says why and whose move it is."""

    last: NotReached
    since: date
    times: int
    days: int


def standing_at(site: Site, user: User, *, today: date) -> Sequence[Standing]:
    """What still waits to be reached at a site, by zone in walking order, longest first.

    Places, zones and monitors that no longer stand are left out. One query, and those of the
    person's rights.
    """
    rows = _still_standing([site]).filter(visit__in=visits_visible_to(user))
    return _by_place(rows[:MOST_READ], site, today)


def standing_at_each(sites: Sequence[Site], now: datetime) -> dict[UUID, Sequence[Standing]]:
    """The same of many sites by their id, for whoever may see all of them. One query."""
    of_site: dict[UUID, list[NotReached]] = defaultdict(list)
    for one in _still_standing(sites):
        of_site[one.visit.site_id].append(one)
    return {site.pk: _by_place(of_site[site.pk], site, site.day_of(now)) for site in sites}


def _still_standing(sites: Sequence[Site]) -> QuerySet[NotReached]:
    """Standing records of places, zones and monitors that still stand, oldest first."""
    still = Q(zone__retired_on=None) & (
        Q(checkpoint=None, monitor=None)
        | Q(checkpoint__isnull=False, checkpoint__retired_on=None)
        | Q(monitor__isnull=False, monitor__removed_on=None)
    )
    return (
        standing_not_reached()
        .filter(still, visit__site__in=sites)
        .select_related("zone", "checkpoint", "monitor", "visit")
        .order_by("visit__closed_at", "at", "pk")
    )


def _by_place(rows: Iterable[NotReached], site: Site, today: date) -> Sequence[Standing]:
    """One for each place, longest first, from records with the oldest first."""
    found: dict[UUID, Standing] = {}
    for one in rows:
        closed_at = one.visit.closed_at
        if closed_at is None:
            continue
        on = site.day_of(closed_at)
        key = one.checkpoint_id or one.monitor_id or one.zone_id
        known = found.setdefault(key, Standing(one, on, 0, (today - on).days))
        known.last, known.times = one, known.times + 1
    return sorted(
        found.values(), key=lambda one: (-one.days, one.last.zone.walk_order, str(one.last.pk))
    )
