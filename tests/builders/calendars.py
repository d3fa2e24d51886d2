"""Reads a calendar as RFC 5545 asks, and fails with the section where it is not one.

Written for these tests and sharing nothing with what writes calendars. It knows what a calendar of
visits may hold: one VCALENDAR of VEVENTs, in days or UTC.
"""

import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

ONCE = [
    "CLASS",
    "CREATED",
    "DESCRIPTION",
    "DTSTART",
    "DTSTAMP",
    "GEO",
    "LAST-MODIFIED",
    "LOCATION",
    "ORGANIZER",
    "PRIORITY",
    "RECURRENCE-ID",
    "SEQUENCE",
    "STATUS",
    "SUMMARY",
    "TRANSP",
    "UID",
    "URL",
    "DTEND",
    "DURATION",
]
ONE_OF = {
    "STATUS": {"TENTATIVE", "CONFIRMED", "CANCELLED"},  # 3.8.1.11
    "TRANSP": {"OPAQUE", "TRANSPARENT"},  # 3.8.2.7
}
TEXTS = {"SUMMARY", "DESCRIPTION", "LOCATION", "UID", "PRODID", "NAME"}
LINE = re.compile(
    r'(?P<name>[A-Za-z0-9-]+)(?P<params>(?:;[A-Za-z0-9-]+=(?:"[^"\x00-\x08]*"|[^";:,\x00-\x08]*))*)'
    r":(?P<value>[^\x00-\x08\x0a-\x1f\x7f]*)"
)


class NotACalendar(AssertionError):
    """Says which section is not kept, and where."""


@dataclass
class Lines:
    """A component: its properties as (parameters, value) by name, and what it holds."""

    name: str
    properties: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    inside: list["Lines"] = field(default_factory=list)

    def __getitem__(self, name: str) -> str:
        """The value of a property that occurs once; text without its escapes."""
        [(_, value)] = self.properties[name]
        return text_of(value) if name in TEXTS else value

    def get(self, name: str) -> str | None:
        return self[name] if name in self.properties else None

    def day_or_instant(self, name: str) -> date:
        [(params, value)] = self.properties[name]
        return _instant_of(name, params, value)

    @property
    def events(self) -> dict[str, "Lines"]:
        """Events by the start of their summary, before the site."""
        return {one["SUMMARY"].partition(", ")[0]: one for one in self.inside}


def _must(holds: object, section: str, what: object) -> None:
    if not holds:
        raise NotACalendar(f"RFC 5545, {section}: {what}")


def unfolded(data: bytes) -> list[str]:
    """Content lines: each ends with CRLF and is folded before its 76th octet (3.1)."""
    _must(data.endswith(b"\r\n"), "3.1", "the last line has no end")
    raw = data[:-2].split(b"\r\n")
    whole: list[str] = []
    for one in raw:
        _must(b"\r" not in one and b"\n" not in one, "3.1", f"half a line break in {one!r}")
        _must(len(one) <= 75, "3.1", f"{len(one)} octets in {one!r}")
        _must(one, "3.1", "an empty line")
        text = one.decode("utf-8")  # 6: UTF-8; a fold within a character would fail here
        if text[0] in " \t":
            whole[-1] += text[1:]
        else:
            whole.append(text)
    return whole


def text_of(value: str) -> str:
    """TEXT without its escapes (3.3.11)."""
    _must(re.fullmatch(r"(?:[^\\;,]|\\[\\;,nN])*", value), "3.3.11", f"unescaped in {value!r}")
    return re.sub(r"\\(.)", lambda it: "\n" if it[1] in "nN" else it[1], value)


def _instant_of(name: str, params: str, value: str) -> date:
    if "VALUE=DATE" in params.upper().split(";"):
        _must(re.fullmatch(r"\d{8}", value), "3.3.4", f"{name}:{value}")
        return datetime.strptime(value, "%Y%m%d").date()
    _must(re.fullmatch(r"\d{8}T\d{6}Z", value), "3.3.5, form 2", f"{name}:{value}")
    return datetime.strptime(value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


def read_strictly(data: bytes) -> Lines:
    """The calendar, once everything in it has been looked at."""
    stack = [Lines("")]
    for line in unfolded(data):
        match = LINE.fullmatch(line)
        _must(match, "3.1", f"no content line: {line!r}")
        assert match
        name, params, value = match["name"].upper(), match["params"], match["value"]
        if name == "BEGIN":
            stack.append(Lines(value))
        elif name == "END":
            _must(stack[-1].name == value, "3.6", f"END:{value} of {stack[-1].name}")
            done = stack.pop()
            stack[-1].inside.append(done)
        else:
            stack[-1].properties.setdefault(name, []).append((params, value))
    _must(len(stack) == 1 and not stack[0].properties, "3.4", "lines outside")
    _must([one.name for one in stack[0].inside] == ["VCALENDAR"], "3.4", "one calendar")
    [calendar] = stack[0].inside
    _look_at_calendar(calendar)
    return calendar


def _look_at_calendar(calendar: Lines) -> None:
    for name in ("PRODID", "VERSION"):
        _must(len(calendar.properties.get(name, [])) == 1, "3.6", f"{name} once")
    _must(calendar["VERSION"] == "2.0", "3.7.4", calendar["VERSION"])
    _must(calendar.get("CALSCALE") in (None, "GREGORIAN"), "3.7.1", "calendar scale")
    uids = []
    for event in calendar.inside:
        _must(event.name == "VEVENT", "3.6.1", event.name)
        _look_at_event(event, has_method="METHOD" in calendar.properties)
        uids.append(event["UID"])
    _must(len(uids) == len(set(uids)), "3.8.4.7", "an identifier twice")


def _look_at_event(event: Lines, *, has_method: bool) -> None:
    has = event.properties
    for name in ("UID", "DTSTAMP") if has_method else ("UID", "DTSTAMP", "DTSTART"):
        _must(name in has, "3.6.1", f"no {name}")
    for name in ONCE:
        _must(len(has.get(name, [])) <= 1, "3.6.1", f"{name} twice")
    _must(not ("DTEND" in has and "DURATION" in has), "3.6.1", "DTEND and DURATION")
    for name in ("DTSTAMP", "LAST-MODIFIED"):
        if name in has:
            at = event.day_or_instant(name)
            _must(isinstance(at, datetime), "3.8.7", f"{name} is no instant")
    if "DTEND" in has:
        starts, ends = event.day_or_instant("DTSTART"), event.day_or_instant("DTEND")
        _must(type(starts) is type(ends), "3.8.2.2", "days and instants")
        _must(starts < ends, "3.8.2.2", f"{ends} is not after {starts}")
    for name, allowed in ONE_OF.items():
        _must(event.get(name) in {None, *allowed}, "3.8", f"{name}:{event.get(name)}")
    _must(re.fullmatch(r"\d+", event.get("SEQUENCE") or "0"), "3.8.7.4", "SEQUENCE")
    for name in TEXTS & has.keys():
        text_of(has[name][0][1])
