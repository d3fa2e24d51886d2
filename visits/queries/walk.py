"""What a technician's phone shows: the stops of a day, and what to know before a visit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F, OuterRef, Subquery

from accounts.models import User
from sites.models import AccessWindow, Contact
from visits.cautions import DROPPINGS
from visits.coverage import Coverage, Tally, coverage, from_counts
from visits.models import (
    Finding,
    NotReached,
    ParkedOperation,
    Pest,
    Visit,
)
from visits.queries.package import left_by
from visits.queries.places import ZonePlaces, due_zones, places_of, said_on

STILL_TO_DO = (Visit.State.BOOKED, Visit.State.UNDER_WAY)


# --- my day ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stop:
    """One visit of the day. ``left_open`` counts what its site's last visit could not reach."""

    visit: Visit
    covered: Tally
    left_open: int
    is_next: bool

    @property
    def address(self) -> str:
        """The address on one line."""
        site = self.visit.site
        return ", ".join(line for line in [*site.address.splitlines(), site.postcode] if line)

    @property
    def is_done(self) -> bool:
        return self.visit.state == Visit.State.CLOSED


@dataclass(frozen=True, slots=True)
class Day:
    """A technician's day, by the technician's own calendar."""

    on: date
    is_today: bool
    stops: Sequence[Stop]
    unfinished: Sequence[Visit]
    parked: Sequence[ParkedOperation]


def day_of(technician: User, *, on: date | None, now: datetime) -> Day:
    """The stops of a day in order of their times; without a day, of today.

    ``unfinished`` are visits of earlier days that were begun and not closed. Twelve queries,
    however many stops.
    """
    today = now.astimezone(ZoneInfo(technician.time_zone)).date()
    on = on or today
    own = Visit.objects.filter(technician=technician).select_related("site__client", "line")
    visits = list(
        own.filter(booked_on=on)
        .exclude(state__in=[Visit.State.PLANNED, Visit.State.MISSED])
        .order_by(F("booked_at_time").asc(nulls_last=True), "created_at", "pk")
    )
    begun = [visit for visit in visits if visit.state == Visit.State.UNDER_WAY]
    counted = coverages(begun)
    left = _left_open(visits)
    upcoming = [visit.pk for visit in visits if visit.state in STILL_TO_DO and on == today]
    stops = [
        Stop(
            visit=visit,
            covered=(counted.get(visit.pk) or from_counts(visit.coverage)).all,
            left_open=left.get(visit.site_id, 0),
            is_next=visit.pk in upcoming[:1],
        )
        for visit in visits
    ]
    unfinished = own.filter(state=Visit.State.UNDER_WAY).exclude(booked_on=on)
    return Day(
        on=on,
        is_today=on == today,
        stops=stops,
        unfinished=list(unfinished.order_by("booked_on", "pk")),
        parked=list(
            ParkedOperation.objects.filter(person=technician, settled_at=None)
            .select_related("visit__site")
            .order_by("created_at", "pk")[:20]
        ),
    )


def coverages(visits: Sequence[Visit]) -> dict[UUID, Coverage]:
    """By visit that is not closed, its coverage so far. Seven queries, or none for no visit."""
    if not visits:
        return {}
    places, said = places_of(visits), said_on(visit.pk for visit in visits)
    return {visit.pk: coverage(due_zones(places[visit.pk]), said[visit.pk]) for visit in visits}


def _left_open(visits: Sequence[Visit]) -> dict[UUID, int]:
    """By site, how many places its last closed visit did not reach. Two queries at most."""
    last = last_visits({visit.site_id for visit in visits})
    return {
        site_id: visit.coverage.get("checkpoints_not_reached", 0)
        + visit.coverage.get("monitors_not_reached", 0)
        for site_id, visit in last.items()
    }


def last_visits(site_ids: Iterable[UUID]) -> dict[UUID, Visit]:
    """By site, the visit that was closed last. One query."""
    newest = (
        Visit.objects.filter(site=OuterRef("site"), state=Visit.State.CLOSED)
        .order_by("-closed_at", "-pk")
        .values("pk")[:1]
    )
    found = Visit.objects.filter(
        site__in=list(site_ids), state=Visit.State.CLOSED, pk=Subquery(newest)
    ).defer("sealed_record")
    return {visit.site_id: visit for visit in found.select_related("technician")}


# --- before a visit -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Briefing:
    """What to know at the door."""

    visit: Visit
    contacts: Sequence[Contact]
    windows: Sequence[AccessWindow]
    zones: Sequence[ZonePlaces]
    last: Visit | None
    not_reached: Sequence[NotReached]
    remedies: Sequence[Finding]
    rodents: bool
    droppings: str

    @property
    def places(self) -> int:
        return sum(len(one.due) for one in self.zones)


def briefing(visit: Visit) -> Briefing:
    """Hazards, access, who to ask for, and what the last visit left open. Eight queries.

    The visit must have its site and line at hand.
    """
    last = last_visits([visit.site_id]).get(visit.site_id)
    not_reached, remedies = left_by([last])[last.pk] if last else ([], [])
    return Briefing(
        visit=visit,
        contacts=list(visit.site.contacts.order_by("-is_premises_manager", "name", "pk")),
        windows=list(visit.site.access_windows.order_by("weekday", "opens", "pk")),
        zones=places_of([visit])[visit.pk],
        last=last,
        not_reached=not_reached,
        remedies=remedies,
        rodents=any(one.pest and one.pest.group == Pest.Group.RODENT for one in remedies),
        droppings=DROPPINGS,
    )
