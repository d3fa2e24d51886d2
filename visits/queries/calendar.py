"""What a person's calendar shows of each visit.

A calendar is often kept by a service of somebody else. So it tells kind, site, address and time,
and nothing that somebody wrote: no notes, no reasons, nothing of how to get in.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Q, QuerySet
from django.db.models.functions import Coalesce

from accounts.models import Role, User
from accounts.sealing import canonical, digest
from sites.access import technician_days
from visits.access import visits_on_calendar_of
from visits.calendar_file import Event, Status
from visits.models import CalendarEntry, Visit
from visits.queries.objections import words_of
from visits.recurrence.instants import local_instant

MOST_EVENTS = 1000
CANCELLED_FOR = timedelta(days=31)
"""How long a calendar goes on saying that a visit is off; a month for one that is seldom open."""

DAYS: Mapping[str, tuple[int, int]] = {
    Role.OFFICE: (7, 62),
    Role.TECHNICIAN: (31, 92),
    Role.CLIENT_MANAGER: (31, 366),
}
"""How many days before today and after it a calendar reaches, by role."""

WIDEST = (max(before for before, _ in DAYS.values()), max(after for _, after in DAYS.values()))

STATUS: Mapping[str, Status] = {
    Visit.State.PLANNED: Status.TENTATIVE,
    Visit.State.CALLED_OFF: Status.CANCELLED,
    Visit.State.MISSED: Status.CANCELLED,
}
"""Every other state is confirmed."""

BEFORE: Mapping[str, str] = {
    Visit.State.PLANNED: "Due: ",
    Visit.State.CALLED_OFF: "Called off: ",
    Visit.State.MISSED: "Missed: ",
}
"""What stands before the name of a visit, as not every reader shows its status."""

_DRAWN = (
    "state",
    "kind",
    "opens_on",
    "closes_on",
    "booked_on",
    "booked_at_time",
    "minutes",
    "started_at",
    "closed_at",
    "site__name",
    "site__address",
    "site__postcode",
    "site__time_zone",
    "technician__name",
    "calendar_entry",
)


@dataclass(frozen=True, slots=True)
class Shown:
    """All that any calendar shows of a visit: days, or instants in UTC, the end left out."""

    starts: date
    ends: date
    status: Status
    summary: str
    description: str
    location: str
    category: str
    technician: str

    @property
    def fingerprint(self) -> str:
        """The same for the same words and times; see ``CalendarEntry``."""
        facts = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return digest(canonical(facts))


def shown_of(visit: Visit) -> Shown:
    """What is told of a visit; ``site`` and ``technician`` should be at hand."""
    starts, ends = _span(visit)
    kind = visit.get_kind_display()
    return Shown(
        starts=starts,
        ends=ends,
        status=STATUS.get(visit.state, Status.CONFIRMED),
        summary=f"{BEFORE.get(visit.state, '')}{kind}, {visit.site.name}",
        description=_description(visit),
        location=_one_line(visit.site.address, visit.site.postcode),
        category=kind,
        technician=visit.technician.name if visit.technician else "",
    )


def _span(visit: Visit) -> tuple[date, date]:
    """When it was, is to be, or is due. What has no hour yet takes whole days."""
    if visit.started_at and visit.closed_at:
        # Calendars know no fractions of a second (RFC 5545, section 3.3.12), and no empty spans.
        starts, ends = (at.replace(microsecond=0) for at in (visit.started_at, visit.closed_at))
        if starts < ends:
            return starts, ends
    if visit.booked_on is None:
        return visit.opens_on, visit.closes_on + timedelta(days=1)
    if visit.booked_at_time is None:
        return visit.booked_on, visit.booked_on + timedelta(days=1)
    starts = local_instant(visit.booked_on, visit.booked_at_time, visit.site.zone_info)
    return starts, starts + timedelta(minutes=visit.minutes)


def _description(visit: Visit) -> str:
    """One sentence on how it stands."""
    if visit.state == Visit.State.PLANNED:
        window = f"{words_of(visit.opens_on)} to {words_of(visit.closes_on)}"
        return f"Due {window}; not booked for a day yet."
    if visit.state == Visit.State.BOOKED and visit.booked_on:
        when = words_of(visit.booked_on)
        if visit.booked_at_time:
            when += f" at {visit.booked_at_time:%H:%M} ({visit.site.time_zone})"
        return f"Booked for {when}, about {visit.minutes} minutes."
    return f"{visit.get_state_display()}."


def _one_line(*parts: str) -> str:
    lines = (line.strip(" ,") for part in parts for line in part.splitlines())
    return ", ".join(line for line in lines if line)


def visits_of_calendar(person: User, *, now: datetime) -> list[Visit]:
    """The visits of a person's calendar, earliest first, with what calendars last said of each.

    Days are counted from today where the person is. The first thousand; one query, and those of
    the person's rights.
    """
    today = now.astimezone(ZoneInfo(person.time_zone)).date()
    rows = _within(visits_on_calendar_of(person), today, DAYS.get(person.role, (0, 0)))
    return list(drawn(rows).order_by(Coalesce("booked_on", "opens_on"), "pk")[:MOST_EVENTS])


def visits_told(*, now: datetime) -> QuerySet[Visit]:
    """The visits of which a calendar has told and may tell again; one query."""
    told = Visit.objects.filter(calendar_entry__isnull=False)
    return drawn(_within(told, now.date(), WIDEST)).order_by("pk")


def drawn(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    """Visits with all that a calendar asks of them."""
    return visits.select_related("site", "technician", "calendar_entry").only(*_DRAWN)


def _within(visits: QuerySet[Visit], today: date, reach: tuple[int, int]) -> QuerySet[Visit]:
    first, last = today - timedelta(days=reach[0]), today + timedelta(days=reach[1])
    due = Q(booked_on=None, opens_on__lte=last, closes_on__gte=first)
    return visits.filter(Q(booked_on__range=(first, last)) | due)


def entry_of(visit: Visit) -> CalendarEntry | None:
    """What calendars last said of it, if any did. No query where ``drawn`` has read it."""
    return getattr(visit, "calendar_entry", None)


def is_behind(visit: Visit) -> bool:
    """Whether calendars have said something else of a visit, or nothing."""
    entry = entry_of(visit)
    return entry is None or entry.fingerprint != shown_of(visit).fingerprint


def events_of(person: User, visits: Iterable[Visit], *, now: datetime) -> list[Event]:
    """Visits as one person's calendar shows them, in the order given; no query.

    Left out is what calendars have not told of yet, and what was taken back long ago.
    """
    events = []
    for visit in visits:
        entry = entry_of(visit)
        if entry and not _is_over_and_told(visit, entry, now):
            events.append(_event(person, visit, entry, now))
    return events


def _is_over_and_told(visit: Visit, entry: CalendarEntry, now: datetime) -> bool:
    """Whether a visit that is off need not be said to be off, or no longer."""
    if STATUS.get(visit.state) != Status.CANCELLED:
        return False
    return entry.cancelled_at is None or entry.cancelled_at < now - CANCELLED_FOR


def _event(person: User, visit: Visit, entry: CalendarEntry, now: datetime) -> Event:
    shown = shown_of(visit)
    named = shown.technician if _is_told_who(person, visit) else ""
    return Event(
        uid=str(visit.pk),
        sequence=entry.sequence,
        changed_at=entry.changed_at,
        starts=shown.starts,
        ends=shown.ends,
        status=shown.status,
        summary=shown.summary,
        description=f"{shown.description}\nTechnician: {named}." if named else shown.description,
        location=shown.location,
        category=shown.category,
        url=settings.BASE_URL + visit.get_absolute_url() if _may_open(person, visit, now) else "",
        busy=person.role == Role.TECHNICIAN
        and isinstance(shown.starts, datetime)
        and shown.status == Status.CONFIRMED,
    )


def _is_told_who(person: User, visit: Visit) -> bool:
    """The office always; a client once the visit is closed, as on their pages."""
    return person.role == Role.OFFICE or (
        person.role == Role.CLIENT_MANAGER and visit.state == Visit.State.CLOSED
    )


def _may_open(person: User, visit: Visit, now: datetime) -> bool:
    """Whether the page of a visit on one's calendar opens; ``visits_visible_to`` decides there."""
    if person.role == Role.TECHNICIAN:
        first, last = technician_days(now.date())
        return visit.booked_on is not None and first <= visit.booked_on <= last
    return person.role == Role.OFFICE or visit.state == Visit.State.CLOSED
