"""Visits that come due: kept in step with service lines, contracts, sites and their holidays.

What is planned is compared with what is due, and only the difference is written, so that planning
may run twice, late, or never. A visit that is booked, under way, closed, called off or missed, or
whose days the office set by hand, is left as it is.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from accounts.models import User
from accounts.trail import record
from sites.models import ServiceLine
from visits.models import CalendarEntry, Visit
from visits.queries.due import HORIZON, LOOK_BACK, windows_of
from visits.recurrence.windows import DueWindow

LINES_AT_ONCE = 100
ROWS_AT_ONCE = 500

MOVED_FIELDS = ("kind", "due_on", "opens_on", "closes_on", "minutes")


@dataclass(slots=True)
class Difference:
    """What planning one line would change: visits to add, to move, and to withdraw."""

    line: ServiceLine
    new: list[DueWindow] = field(default_factory=list)
    moved: list[tuple[Visit, DueWindow]] = field(default_factory=list)
    withdrawn: list[Visit] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.new or self.moved or self.withdrawn)


def lines_to_plan(now: datetime) -> QuerySet[ServiceLine]:
    """Lines that have not ended, and ended ones that still have visits planned for later days."""
    recently = now.date() - LOOK_BACK
    still_planned = Visit.objects.filter(
        line=OuterRef("pk"),
        state=Visit.State.PLANNED,
        moved_by_hand=False,
        closes_on__gte=now.date() - timedelta(days=1),  # some sites are a day behind
    )
    going_on = (
        (Q(last_on__isnull=True) | Q(last_on__gte=recently))
        & (Q(contract__ends_on__isnull=True) | Q(contract__ends_on__gte=recently))
        & (Q(contract__site__closed_on__isnull=True) | Q(contract__site__closed_on__gte=recently))
    )
    return ServiceLine.objects.filter(going_on | Exists(still_planned))


def differences(lines: Iterable[ServiceLine], *, now: datetime) -> list[Difference]:
    """What differs between plan and due days, for lines whose contract, site and access windows
    are at hand. One query, however many lines; lines without a difference are left out.
    """
    lines = list(lines)
    planned: dict[UUID, list[Visit]] = defaultdict(list)
    visits = (
        Visit.objects.filter(
            line__in=[line.pk for line in lines],
            occurrence_on__gte=now.date() - 2 * LOOK_BACK,
        )
        .defer("sealed_record", "signature", "summary")
        .order_by("occurrence_on", "pk")
    )
    for visit in visits:
        if visit.line_id:
            planned[visit.line_id].append(visit)
    found = (_difference(line, planned[line.pk], now) for line in lines)
    return [difference for difference in found if difference]


def _difference(line: ServiceLine, visits: Sequence[Visit], now: datetime) -> Difference:
    today = line.contract.site.day_of(now)
    windows = windows_of(line, from_on=today - LOOK_BACK, to_on=today + HORIZON)
    by_occurrence = {visit.occurrence_on: visit for visit in visits}
    difference = Difference(line)
    for window in windows:
        visit = by_occurrence.get(window.occurrence_on)
        if visit is None:
            if window.closes_on >= today:
                difference.new.append(window)
        elif _follows_the_rule(visit, today) and _differs(visit, line, window):
            difference.moved.append((visit, window))
    due = {window.occurrence_on for window in windows}
    difference.withdrawn = [
        visit
        for visit in visits
        if visit.occurrence_on not in due and _follows_the_rule(visit, today)
    ]
    return difference


def _follows_the_rule(visit: Visit, today: date) -> bool:
    """Whether planning may still move it: what is late stays until somebody settles it."""
    return (
        visit.state == Visit.State.PLANNED and not visit.moved_by_hand and visit.closes_on >= today
    )


def _differs(visit: Visit, line: ServiceLine, window: DueWindow) -> bool:
    return (visit.kind, visit.due_on, visit.opens_on, visit.closes_on, visit.minutes) != (
        line.kind,
        window.due_on,
        window.opens_on,
        window.closes_on,
        line.minutes,
    )


def put_on(visit: Visit, line: ServiceLine, window: DueWindow) -> None:
    """Give a visit the days of a window, and what its line says of it. Saves nothing."""
    visit.kind, visit.minutes = line.kind, line.minutes
    visit.due_on, visit.opens_on, visit.closes_on = (
        window.due_on,
        window.opens_on,
        window.closes_on,
    )
    visit.version += 1


def with_what_planning_needs(lines: QuerySet[ServiceLine]) -> QuerySet[ServiceLine]:
    """Lines with contract, site and access windows at hand. Two queries."""
    return lines.select_related("contract__site").prefetch_related("contract__site__access_windows")


@transaction.atomic
def plan_lines(line_ids: Sequence[UUID], *, by: User | None, now: datetime | None = None) -> int:
    """Plan the visits of some lines for the next 400 days, and say how many lines changed.

    Days are those of each site. One entry on the trail for each line that changed anything. About
    a dozen queries, and four more for each line that changed.
    """
    now = now or timezone.now()
    # The locks come first: of two planners the second sees what the first has done.
    locked = list(
        ServiceLine.objects.select_for_update(no_key=True)
        .filter(pk__in=line_ids)
        .order_by("pk")
        .values_list("pk", flat=True)
    )
    list(_still_planned(locked).select_for_update(no_key=True).values_list("pk", flat=True))
    lines = with_what_planning_needs(ServiceLine.objects.filter(pk__in=locked).order_by("pk"))
    changes = differences(lines, now=now)
    if not changes:
        return 0
    withdrawn = _withdraw(changes)
    Visit.objects.bulk_create(_new_visits(changes), ignore_conflicts=True)
    moved = []
    for change in changes:
        for visit, window in change.moved:
            put_on(visit, change.line, window)
            moved.append(visit)
    Visit.objects.bulk_update(moved, [*MOVED_FIELDS, "version"], batch_size=100)
    told = 0
    for change in changes:
        gone = [visit for visit in change.withdrawn if visit.pk in withdrawn]
        if change.new or change.moved or gone:
            _tell(by, change, gone)
            told += 1
    return told


def _still_planned(line_ids: Sequence[UUID]) -> QuerySet[Visit]:
    return Visit.objects.filter(
        line__in=line_ids, state=Visit.State.PLANNED, moved_by_hand=False
    ).order_by("pk")


def _new_visits(changes: Iterable[Difference]) -> Iterator[Visit]:
    for change in changes:
        for window in change.new:
            yield Visit(
                site_id=change.line.contract.site_id,
                line=change.line,
                kind=change.line.kind,
                occurrence_on=window.occurrence_on,
                due_on=window.due_on,
                opens_on=window.opens_on,
                closes_on=window.closes_on,
                minutes=change.line.minutes,
            )


def _withdraw(changes: Iterable[Difference]) -> set[UUID]:
    """Delete what no longer occurs, save what something else refers to; says which are gone.

    A planned visit nobody has touched proves nothing; the trail keeps the day it was meant for.
    """
    unwanted = [visit.pk for change in changes for visit in change.withdrawn]
    gone: set[UUID] = set()
    for start in range(0, len(unwanted), ROWS_AT_ONCE):
        free = _nothing_refers_to(
            Visit.objects.filter(pk__in=unwanted[start : start + ROWS_AT_ONCE])
        )
        keys = list(free.values_list("pk", flat=True))
        Visit.objects.filter(pk__in=keys).delete()
        gone.update(keys)
    return gone


def _nothing_refers_to(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    for relation in Visit._meta.related_objects:
        pointing: Any = relation.related_model
        if pointing is CalendarEntry:  # says what calendars showed of it, and goes with it
            continue
        refers = pointing.objects.filter(**{relation.field.name: OuterRef("pk")})
        visits = visits.exclude(Exists(refers))
    return visits


def _tell(by: User | None, change: Difference, gone: Sequence[Visit]) -> None:
    record(
        by,
        "visits.planned",
        change.line,
        planned=len(change.new),
        moved=len(change.moved),
        withdrawn=len(gone),
        first=change.new[0].due_on if change.new else None,
        last=change.new[-1].due_on if change.new else None,
        withdrawn_days=[visit.due_on for visit in gone],
    )


def plan_due_visits(*, now: datetime | None = None) -> int:
    """Plan every line, a hundred at a time, and say how many lines changed.

    Lines with nothing to change cost three queries for each hundred and take no lock.
    """
    now = now or timezone.now()
    changed = 0
    for batch in _batches(with_what_planning_needs(lines_to_plan(now))):
        stale = [difference.line.pk for difference in differences(batch, now=now)]
        if stale:
            changed += plan_lines(stale, by=None, now=now)
    return changed


def _batches(lines: QuerySet[ServiceLine]) -> Iterator[list[ServiceLine]]:
    """By key, so that lines agreed while this runs neither shift nor repeat a batch."""
    last: UUID | None = None
    while True:
        rest = lines.filter(pk__gt=last) if last else lines
        batch = list(rest.order_by("pk")[:LINES_AT_ONCE])
        if not batch:
            return
        yield batch
        last = batch[-1].pk
