"""Visits as a calendar that other programs read. Pure: no Django, no clock, no models.

Source: RFC 5545 (iCalendar), RFC 7986 (the calendar's name and how often to ask again).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from icalendar import Calendar
from icalendar import Event as Written

PRODUCT = "-//Kickplate//Visits//EN"
ASK_AGAIN_AFTER = timedelta(hours=1)


class Status(StrEnum):
    """RFC 5545, section 3.8.1.11, for events."""

    TENTATIVE = "TENTATIVE"
    CONFIRMED = "CONFIRMED"
    CANCELLED = "CANCELLED"


@dataclass(frozen=True, slots=True)
class Event:
    """One visit. ``starts`` and ``ends`` are both days or both instants, the end left out (3.6.1).

    ``changed_at`` is when what is shown last became different, ``sequence`` how often it has.
    ``busy``: whether it takes the reader's own time.
    """

    uid: str
    sequence: int
    changed_at: datetime
    starts: date
    ends: date
    status: Status
    summary: str
    description: str
    location: str
    category: str
    url: str = ""
    busy: bool = False


def calendar_file(name: str, events: Sequence[Event]) -> bytes:
    """The calendar as bytes: UTF-8, lines folded at 75 octets, in the order given.

    Instants are written in UTC, so that no reader needs our rules of a time zone. It says no
    METHOD: it is no message, and DTSTAMP is then the last change of an event (3.8.7.2), so that
    the same visits make the same bytes whenever they are asked for.

    Raises ``ValueError`` for an event that ends before it starts, or mixes days and instants.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)  # older readers know it by this (common practice, no source)
    calendar.add("refresh-interval", ASK_AGAIN_AFTER, parameters={"VALUE": "DURATION"})
    for event in events:
        calendar.add_component(_written(event))
    written: bytes = calendar.to_ical(sorted=False)
    return written


def _written(event: Event) -> Written:
    if isinstance(event.starts, datetime) is not isinstance(event.ends, datetime):
        raise ValueError(f"{event.uid} mixes days and instants")
    if event.ends <= event.starts:
        raise ValueError(f"{event.uid} ends at {event.ends}, before it has started")
    written = Written()
    written.add("uid", event.uid)
    written.add("sequence", event.sequence)
    written.add("dtstamp", event.changed_at)
    written.add("last-modified", event.changed_at)
    written.add("dtstart", event.starts)
    written.add("dtend", event.ends)
    written.add("status", event.status.value)
    written.add("summary", event.summary)
    written.add("description", event.description)
    written.add("location", event.location)
    written.add("categories", [event.category])
    written.add("class", "PRIVATE")
    written.add("transp", "OPAQUE" if event.busy else "TRANSPARENT")
    if event.url:
        written.add("url", event.url)
    return written
