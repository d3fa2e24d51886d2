"""When the visits of a service line are due: its rule, its contract and its site's own days."""

import logging
from dataclasses import replace
from datetime import date, timedelta

from sites.models import ServiceLine, Site
from visits.recurrence.public_holidays import holiday_dates
from visits.recurrence.windows import Closed, DueWindow, Line, due_windows

log = logging.getLogger(__name__)

HORIZON = timedelta(days=400)
# How far back an occurrence may lie whose window is still open: 60 days of tolerance and a holiday
# season, with room to spare.
LOOK_BACK = timedelta(days=90)


def closed_days(site: Site, first_year: int, last_year: int) -> Closed:
    """The days on which a site cannot be entered: weekdays without access, and public holidays.

    No query where the site's access windows were prefetched.
    """
    open_weekdays = {window.weekday for window in site.access_windows.all()}
    weekdays = frozenset(range(7)) - open_weekdays if open_weekdays else frozenset()
    try:
        holidays = holiday_dates(site.holiday_region, first_year, last_year)
    except ValueError:
        # Regions are checked when they are typed; a later release of the library may drop one.
        log.warning("no holidays are known for %s of site %s", site.holiday_region, site.pk)
        holidays = frozenset()
    # ``holiday_rule`` holds one of the three words by its choices.
    return Closed(weekdays, holidays, site.holiday_rule)  # type: ignore[arg-type]


def service_ends(line: ServiceLine) -> date | None:
    """The last day on which anybody may come: the contract's, or the day before the site closed."""
    closed_on = line.contract.site.closed_on
    ends = (line.contract.ends_on, closed_on - timedelta(days=1) if closed_on else None)
    return min((day for day in ends if day), default=None)


def windows_of(line: ServiceLine, *, from_on: date, to_on: date) -> list[DueWindow]:
    """The due windows of a line between two days of its site's calendar; oldest first.

    The line's last day is that of its last visit, whose window may reach beyond it; nothing counts
    as on time before the contract starts or after its end. No query where contract, site and access
    windows are at hand; the line need not be saved.
    """
    starts, ends = line.contract.starts_on, service_ends(line)
    last = min((day for day in (line.last_on, ends) if day), default=None)
    holds = Line(line.rule, line.first_on, last, line.days_before, line.days_after)
    closed = closed_days(line.contract.site, from_on.year - 1, to_on.year + 2)
    return [
        replace(
            window,
            opens_on=max(window.opens_on, starts),
            closes_on=min(window.closes_on, ends or date.max),
        )
        for window in due_windows(holds, max(from_on, starts), to_on, closed)
        if window.due_on >= starts
    ]


def next_windows(line: ServiceLine, today: date, count: int) -> list[DueWindow]:
    """The next so many windows that are not over, for a preview. No query, as ``windows_of``."""
    years = 1
    while True:
        found = [
            window
            for window in windows_of(
                line,
                from_on=max(today, line.first_on) - LOOK_BACK,
                to_on=max(today, line.first_on) + timedelta(days=366 * years),
            )
            if window.closes_on >= today
        ]
        if len(found) >= count or years >= 16:
            return found[:count]
        years *= 4
