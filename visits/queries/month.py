"""The office's month: what is due, booked, closed and late, and how full everybody's days are."""

import calendar
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import (
    Case,
    Count,
    DateField,
    F,
    IntegerField,
    Q,
    QuerySet,
    Sum,
    When,
    Window,
)
from django.db.models.functions import RowNumber

from accounts.models import User
from visits.models import Visit
from visits.queries.lateness import with_lateness

LATE = "late"
SHOWN_A_DAY = 4

# What neither a list nor a grid shows, and may be large.
LEFT_OUT = ("sealed_record", "signature", "summary", "reported_problem", "office_note")


@dataclass(frozen=True, slots=True)
class MonthFilter:
    """What a month is narrowed to. ``state`` is a visit's state, ``late`` or nothing.

    ``late`` looks at every month: what is late must be found wherever it hides.
    """

    first: date
    state: str = ""
    technician_id: UUID | None = None
    client_id: UUID | None = None
    branch_id: UUID | None = None
    day: date | None = None

    @property
    def last(self) -> date:
        return self.first.replace(day=calendar.monthrange(self.first.year, self.first.month)[1])

    @property
    def previous(self) -> date:
        return (self.first - timedelta(days=1)).replace(day=1)

    @property
    def next(self) -> date:
        return self.last + timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Counts:
    """How many visits of the month stand in each state; ``late`` counts every month."""

    by_state: dict[str, int]
    late: int

    @property
    def all(self) -> int:
        return sum(self.by_state.values())


@dataclass(frozen=True, slots=True)
class Day:
    """One square of the grid: the first few visits and how many there are."""

    on: date
    within: bool
    visits: list[Visit] = field(default_factory=list)
    count: int = 0

    @property
    def more(self) -> int:
        return self.count - len(self.visits)


@dataclass(frozen=True, slots=True)
class Load:
    """One technician's month: minutes booked per day, as far as there are any."""

    technician: User
    minutes: list[int]

    @property
    def total(self) -> int:
        return sum(self.minutes)


def narrowed(visits: QuerySet[Visit], wanted: MonthFilter) -> QuerySet[Visit]:
    """Visits of one technician, client and branch, whatever the month and the state."""
    if wanted.technician_id:
        visits = visits.filter(technician_id=wanted.technician_id)
    if wanted.client_id:
        visits = visits.filter(site__client_id=wanted.client_id)
    if wanted.branch_id:
        visits = visits.filter(site__branch_id=wanted.branch_id)
    return visits


def within_month(wanted: MonthFilter) -> Q:
    """Due in the month or booked for a day of it."""
    days = (wanted.first, wanted.last)
    return Q(due_on__range=days) | Q(booked_on__range=days)


def month_visits(visits: QuerySet[Visit], wanted: MonthFilter, late: Q) -> QuerySet[Any]:
    """The visits of the list, unbooked ones first, then by day, time and site; one query.

    Each has ``late`` and ``shown_on``: the day booked if that is in the month, else the day due.
    """
    days = (wanted.first, wanted.last)
    rows = with_lateness(narrowed(visits, wanted), late).annotate(
        shown_on=Case(
            When(booked_on__range=days, then=F("booked_on")),
            When(due_on__range=days, then=F("due_on")),
            When(booked_on__isnull=False, then=F("booked_on")),
            default=F("due_on"),
            output_field=DateField(),
        ),
        bookedness=Case(
            When(state=Visit.State.PLANNED, then=0), default=1, output_field=IntegerField()
        ),
    )
    if wanted.state == LATE:
        rows = rows.filter(late)
    else:
        rows = rows.filter(within_month(wanted))
        if wanted.state:
            rows = rows.filter(state=wanted.state)
    if wanted.day:
        rows = rows.filter(shown_on=wanted.day)
    return (
        rows.select_related("site__client", "technician", "line")
        .defer(*LEFT_OUT)
        .order_by(
            "bookedness",
            "shown_on",
            F("booked_at_time").asc(nulls_last=True),
            "site__name",
            "pk",
        )
    )


def month_counts(visits: QuerySet[Visit], wanted: MonthFilter, late: Q) -> Counts:
    """How many visits stand in each state, whatever state and day are asked for. Two queries."""
    mine = narrowed(visits, wanted)
    by_state = dict.fromkeys(Visit.State.values, 0)
    rows = mine.filter(within_month(wanted)).order_by().values("state").annotate(n=Count("pk"))
    by_state |= {row["state"]: row["n"] for row in rows}
    return Counts(by_state, mine.filter(late).count())


def month_grid(rows: QuerySet[Any], wanted: MonthFilter) -> list[list[Day]]:
    """Weeks from Monday to Sunday with the first few visits of each day, from ``month_visits``.

    One query; however many visits a month has, it reads no more than is shown.
    """
    a_day = [F("shown_on")]
    order: list[Any] = [
        "bookedness",
        F("booked_at_time").asc(nulls_last=True),
        "site__name",
        "pk",
    ]
    first_few = (
        rows.annotate(
            place=Window(RowNumber(), partition_by=a_day, order_by=order),
            of_day=Window(Count("pk"), partition_by=a_day),
        )
        .filter(place__lte=SHOWN_A_DAY)
        .order_by("shown_on", "place")
    )
    by_day: dict[date, list[Any]] = defaultdict(list)
    for visit in first_few:
        by_day[visit.shown_on].append(visit)
    weeks = calendar.Calendar().monthdatescalendar(wanted.first.year, wanted.first.month)
    return [
        [
            Day(
                on=on,
                within=on.month == wanted.first.month,
                visits=by_day[on],
                count=by_day[on][0].of_day if by_day[on] else 0,
            )
            for on in week
        ]
        for week in weeks
    ]


def month_load(
    visits: QuerySet[Visit], technicians: Sequence[User], wanted: MonthFilter
) -> list[Load]:
    """Minutes booked per technician and day of the month, in the order given. One query.

    A technician's whole load counts, whatever client or branch the list is narrowed to.
    """
    busy = [Visit.State.BOOKED, Visit.State.UNDER_WAY, Visit.State.CLOSED]
    rows = (
        visits.filter(booked_on__range=(wanted.first, wanted.last), state__in=busy)
        .order_by()
        .values("technician_id", "booked_on")
        .annotate(sum=Sum("minutes"))
    )
    minutes = {(row["technician_id"], row["booked_on"]): int(row["sum"]) for row in rows}
    days = list(days_of(wanted))
    return [
        Load(technician, [minutes.get((technician.pk, on), 0) for on in days])
        for technician in technicians
        if technician.is_active or any((technician.pk, on) in minutes for on in days)
    ]


def days_of(wanted: MonthFilter) -> Iterable[date]:
    """Every day of the month, in order."""
    return (wanted.first + timedelta(days=n) for n in range(wanted.last.day))


def technicians_known() -> list[User]:
    """All technicians by name, those who left last; one query."""
    people = User.objects.filter(role=User.Role.TECHNICIAN)
    return list(people.order_by("-is_active", "name", "pk"))
