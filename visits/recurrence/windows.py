"""From a rule to due windows: the days on which a visit counts as on time.

Days are dates in the site's own zone.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

from visits.recurrence.rules import occurrences

DAY = timedelta(days=1)
ALL_WEEKDAYS = frozenset(range(7))

HolidayRule = Literal["keep", "next", "previous"]


@dataclass(frozen=True, slots=True)
class Line:
    """What a service line says of its days. ``last_on`` is inclusive; None is open-ended."""

    rule: str
    first_on: date
    last_on: date | None = None
    days_before: int = 0
    days_after: int = 0


@dataclass(frozen=True, slots=True)
class Closed:
    """Days on which a site cannot be entered.

    ``weekdays`` (Monday is 0) are always closed; ``holidays`` are unless the rule is ``keep``. A
    visit that falls on a closed day moves to the next open day, or, by ``previous``, back.
    """

    weekdays: frozenset[int] = frozenset()
    holidays: frozenset[date] = field(default_factory=frozenset)
    rule: HolidayRule = "keep"

    def __post_init__(self) -> None:
        if self.weekdays >= ALL_WEEKDAYS:
            raise ValueError("a site that is closed on every weekday cannot be visited")

    def is_closed(self, day: date) -> bool:
        return day.weekday() in self.weekdays or (self.rule != "keep" and day in self.holidays)

    def open_day(self, day: date, step: timedelta) -> date:
        """The day itself if it is open, else the nearest open one in the direction of the step."""
        while self.is_closed(day):
            day += step
        return day


OPEN_ALWAYS = Closed()


@dataclass(frozen=True, slots=True)
class DueWindow:
    """``occurrence_on``, the rule's own day, is what the visit is known by; it never moves."""

    occurrence_on: date
    due_on: date
    opens_on: date
    closes_on: date


def due_windows(
    line: Line, from_on: date, to_on: date, closed: Closed = OPEN_ALWAYS
) -> list[DueWindow]:
    """The windows of the occurrences between two days, inclusive; oldest first.

    Due days strictly follow each other: one that would meet the one before moves on to the next
    open day. Where tolerances would overlap, the days between two due days are shared, the middle
    one to the earlier; so each day belongs to at most one window of a line.
    """
    last = to_on if line.last_on is None else min(to_on, line.last_on)
    # One more on either side, so that a window is the same whatever range is asked for.
    beyond = last + timedelta(days=line.days_before + line.days_after + 62)
    if line.last_on is not None:
        beyond = min(beyond, line.last_on)
    days = occurrences(line.rule, line.first_on, to_on=beyond)
    windows = _shared_out(_window(line, day, due) for day, due in _due_days(days, closed))
    return [window for window in windows if from_on <= window.occurrence_on <= last]


def _due_days(days: Iterable[date], closed: Closed) -> Iterable[tuple[date, date]]:
    step = -DAY if closed.rule == "previous" else DAY
    before = date.min
    for day in days:
        due = closed.open_day(day, step)
        if due <= before:
            due = closed.open_day(before + DAY, DAY)
        before = due
        yield day, due


def _window(line: Line, day: date, due: date) -> DueWindow:
    return DueWindow(
        occurrence_on=day,
        due_on=due,
        opens_on=due - timedelta(days=line.days_before),
        closes_on=due + timedelta(days=line.days_after),
    )


def _shared_out(windows: Iterable[DueWindow]) -> list[DueWindow]:
    shared: list[DueWindow] = []
    for window in windows:
        if shared and shared[-1].closes_on >= window.opens_on:
            earlier = shared[-1]
            between = (window.due_on - earlier.due_on).days - 1
            # Each side keeps at least its due day, and no more than its own tolerance.
            middle = earlier.due_on + timedelta(days=(between + 1) // 2)
            closes = min(earlier.closes_on, max(middle, window.opens_on - DAY))
            closes = min(closes, window.due_on - DAY)
            shared[-1] = replace(earlier, closes_on=closes)
            window = replace(window, opens_on=max(window.opens_on, closes + DAY))
        shared.append(window)
    return shared


def is_overdue(window: DueWindow, today: date) -> bool:
    """Whether the last day on which it counted as on time has passed."""
    return today > window.closes_on


def days_late(window: DueWindow, today: date) -> int:
    """Days since the window closed; 0 while it is open or still to come."""
    return max((today - window.closes_on).days, 0)
