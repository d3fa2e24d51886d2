"""From a rule to due windows: the days on which a visit counts as on time.

Days are dates in the site's own zone.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

from visits.recurrence.rules import occurrences, parts_of, until_of

DAY = timedelta(days=1)
_LONGEST_CLOSED = timedelta(days=62)  # no site is closed for longer on end by weekdays and holidays
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

    def __post_init__(self) -> None:
        if self.days_before < 0 or self.days_after < 0:
            raise ValueError("a due day lies within its own window")


@dataclass(frozen=True, slots=True)
class Closed:
    """Days on which a site cannot be entered.

    ``weekdays`` (Monday is 0) are always closed; ``holidays`` are unless the rule is ``keep``. A
    visit that falls on a closed day moves to the next open day, or, by ``previous``, back, as far
    as its line leaves room.
    """

    weekdays: frozenset[int] = frozenset()
    holidays: frozenset[date] = field(default_factory=frozenset)
    rule: HolidayRule = "keep"

    def __post_init__(self) -> None:
        if self.weekdays >= ALL_WEEKDAYS:
            raise ValueError("a site that is closed on every weekday cannot be visited")

    def is_closed(self, day: date) -> bool:
        return day.weekday() in self.weekdays or (self.rule != "keep" and day in self.holidays)

    def due_day(self, day: date, earliest: date, latest: date) -> date:
        """The day itself if it is open, else the nearest open one this way; itself if none is."""
        step = -DAY if self.rule == "previous" else DAY
        due = day
        while self.is_closed(due):
            due += step
            if not earliest <= due <= latest:
                return day
        return due


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

    A due day moves off closed days without reaching the line's next occurrence (by ``previous``,
    the one before) or leaving the line's own days; without an open day there it stays, closed or
    not, for the office to settle. Were it pushed on instead, a rule with more days than the site is
    open would fall ever further behind. Where tolerances would overlap, the days between two due
    days are shared, the middle one to the earlier; so each day belongs to at most one window of a
    line. A tolerance may reach beyond the line's own days.
    """
    ends = [day for day in (line.last_on, until_of(parts_of(line.rule))) if day is not None]
    line_ends = min(ends, default=date.max)
    last = min(to_on, line_ends)
    if last < max(from_on, line.first_on):
        return []
    # More on either side, so that a window is the same whatever range is asked for.
    around = _LONGEST_CLOSED + timedelta(days=line.days_before + line.days_after)
    days = occurrences(
        line.rule, line.first_on, from_on=from_on - around, to_on=min(last + around, line_ends)
    )
    due_days = _due_days(days, line.first_on, line_ends, closed)
    windows = _shared_out(_window(line, *pair) for pair in zip(days, due_days, strict=True))
    return [window for window in windows if from_on <= window.occurrence_on <= last]


def _due_days(
    days: Sequence[date], line_begins: date, line_ends: date, closed: Closed
) -> Iterator[date]:
    for at, day in enumerate(days):
        earliest = days[at - 1] + DAY if at else line_begins
        latest = days[at + 1] - DAY if at + 1 < len(days) else line_ends
        yield closed.due_day(day, earliest, latest)


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
