"""Between the days and clocks of a site and instants in UTC."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo


def local_instant(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The UTC instant at which clocks in a zone show this time on this day.

    A time that the clocks skip in spring is moved on by what they skip (01:30 becomes 02:30); of a
    time that they show twice in autumn the first is meant. (RFC 5545, section 3.3.5, decides both
    in the same way for a single date-time.)
    """
    return datetime.combine(day, at.replace(fold=0), tzinfo=zone).astimezone(UTC)


def today_in(zone: ZoneInfo, now: datetime) -> date:
    """The day it is in a zone at an instant (aware)."""
    if now.tzinfo is None:
        raise ValueError("the instant must say its zone")
    return now.astimezone(zone).date()
