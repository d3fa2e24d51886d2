"""Calendars of visits against RFC 5545 (2009), read by two readers that share nothing with them.

One reader is the library ``ical``, the other ``tests/builders/calendars.py``, which cites the
section that is not kept. What is printed in the RFC is marked with its section; clock changes are
those of its section 3.3.5.
"""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from ical.calendar_stream import IcsCalendarStream

from sites.models import Site
from tests.builders.calendars import NotACalendar, read_strictly, text_of, unfolded
from visits.calendar_file import Event, Status, calendar_file
from visits.models import Visit
from visits.queries.calendar import shown_of

# Section 4, the first example, as printed.
EXAMPLE = (
    "BEGIN:VCALENDAR\r\n"
    "PRODID:-//xyz Corp//NONSGML PDA Calendar Version 1.0//EN\r\n"
    "VERSION:2.0\r\n"
    "BEGIN:VEVENT\r\n"
    "DTSTAMP:19960704T120000Z\r\n"
    "UID:uid1@example.com\r\n"
    "ORGANIZER:mailto:jsmith@example.com\r\n"
    "DTSTART:19960918T143000Z\r\n"
    "DTEND:19960920T220000Z\r\n"
    "STATUS:CONFIRMED\r\n"
    "CATEGORIES:CONFERENCE\r\n"
    "SUMMARY:Networld+Interop Conference\r\n"
    "DESCRIPTION:Networld+Interop Conference\r\n"
    "  and Exhibit\\nAtlanta World Congress Center\\n\r\n"
    " Atlanta\\, Georgia\r\n"
    "END:VEVENT\r\n"
    "END:VCALENDAR\r\n"
)
NOON = datetime(2026, 11, 29, 12, tzinfo=UTC)
NEW_YORK = "America/New_York"


def event(**fields):
    usual = {
        "uid": "0198d4c5-1f2e-7a3b-8c4d-5e6f70819203",
        "sequence": 0,
        "changed_at": NOON,
        "starts": datetime(2026, 12, 8, 9, tzinfo=UTC),
        "ends": datetime(2026, 12, 8, 9, 45, tzinfo=UTC),
        "status": Status.CONFIRMED,
        "summary": "Routine inspection, Harbour Bakery",
        "description": "Booked.",
        "location": "1 Harbour Row, Port Marlow",
        "category": "Routine inspection",
    }
    return Event(**{**usual, **fields})


def written(*events):
    return calendar_file("Visits", events)


def read_by_both(data):
    """What the library makes of it, once our own reader has found nothing."""
    read_strictly(data)
    return IcsCalendarStream.calendar_from_ics(data.decode()).events


# --- the strict reader itself ---------------------------------------------------------------------


def test_the_example_of_section_4_is_read_as_it_is_meant():
    [event] = read_strictly(EXAMPLE.encode()).inside

    assert event["DESCRIPTION"] == (
        "Networld+Interop Conference and Exhibit\nAtlanta World Congress Center\nAtlanta, Georgia"
    )


def test_a_folded_line_is_one_line_as_in_section_3_1():
    folded = b"DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"

    assert unfolded(folded) == [
        "DESCRIPTION:This is a long description that exists on a long line."
    ]


def test_text_is_read_as_in_section_3_3_11():
    printed = "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."

    assert text_of(printed).splitlines() == [
        "Project XYZ Final Review",
        "Conference Room - 3B",
        "Come Prepared.",
    ]


@pytest.mark.parametrize(
    ("there", "instead", "section"),
    [
        ("\r\nVERSION", "\nVERSION", "3.1"),
        ("SUMMARY:", f"SUMMARY:{'x' * 70}", "3.1"),
        ("SUMMARY:", "SUMMARY ", "3.1"),
        ("END:VEVENT", "END:VTODO", "3.6"),
        ("VERSION:2.0\r\n", "", "3.6"),
        ("VERSION:2.0", "VERSION:1.0", "3.7.4"),
        ("DTSTAMP:19960704T120000Z\r\n", "", "3.6.1"),
        ("UID:uid1@example.com\r\n", "", "3.6.1"),
        ("DTSTART:19960918T143000Z\r\n", "", "3.6.1"),
        ("SUMMARY:", "SUMMARY:a\r\nSUMMARY:", "3.6.1"),
        ("DTEND:19960920T220000Z", "DTEND:19960918T143000Z", "3.8.2.2"),
        ("DTEND:19960920T220000Z", "DTEND;VALUE=DATE:19960920", "3.8.2.2"),
        ("DTSTART:19960918T143000Z", "DTSTART:19960918T143000", "3.3.5"),
        ("Atlanta\\,", "Atlanta,", "3.3.11"),
        ("STATUS:CONFIRMED", "STATUS:BOOKED", "3.8"),
        ("STATUS:", "SEQUENCE:-1\r\nSTATUS:", "3.8.7.4"),
    ],
)
def test_what_the_rfc_forbids_is_found(there, instead, section):
    assert there in EXAMPLE

    with pytest.raises(NotACalendar, match=f"RFC 5545, {section}"):
        read_strictly(EXAMPLE.replace(there, instead, 1).encode())


# --- what is written ------------------------------------------------------------------------------

AWKWARD = "Grand; Hotel, “Möwe” \\ Söhne\nBack door: ring twice " + "café " * 30 + "🐀" * 40 + "end"


def test_awkward_words_come_through_both_readers_unharmed():
    data = written(event(summary=AWKWARD, description=AWKWARD, location=AWKWARD))

    [ours] = read_strictly(data).inside
    [theirs] = read_by_both(data)

    assert ours["SUMMARY"] == ours["DESCRIPTION"] == ours["LOCATION"] == AWKWARD
    assert theirs.summary == theirs.description == theirs.location == AWKWARD


def test_words_cannot_add_lines_of_their_own():
    data = written(event(summary="Bakery\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:forged"))

    assert len(read_strictly(data).inside) == 1


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("dtstart", {}, datetime(2026, 12, 8, 9, tzinfo=UTC)),
        ("dtend", {}, datetime(2026, 12, 8, 9, 45, tzinfo=UTC)),
        ("dtstamp", {}, NOON),
        ("last_modified", {}, NOON),
        ("sequence", {"sequence": 7}, 7),
        ("status", {"status": Status.TENTATIVE}, "TENTATIVE"),
        ("status", {"status": Status.CANCELLED}, "CANCELLED"),
        ("transparency", {}, "TRANSPARENT"),
        ("transparency", {"busy": True}, "OPAQUE"),
        ("classification", {}, "PRIVATE"),
        ("categories", {}, ["Routine inspection"]),
        ("uid", {}, "0198d4c5-1f2e-7a3b-8c4d-5e6f70819203"),
    ],
)
def test_another_library_reads_what_was_meant(name, value, expected):
    [theirs] = read_by_both(written(event(**value)))

    assert getattr(theirs, name) == expected


def test_the_calendar_says_its_name_and_when_to_ask_again():
    """RFC 7986, sections 5.1 and 5.7."""
    data = written()
    read_strictly(data)
    calendar = IcsCalendarStream.calendar_from_ics(data.decode())

    assert (calendar.name, calendar.refresh_interval) == (["Visits"], timedelta(hours=1))


def test_the_same_visits_make_the_same_bytes():
    assert written(event(), event(uid="b")) == written(event(), event(uid="b"))


@pytest.mark.parametrize(
    "fields",
    [
        {"ends": datetime(2026, 12, 8, 9, tzinfo=UTC)},
        {"starts": date(2026, 12, 8)},
        {"starts": date(2026, 12, 8), "ends": date(2026, 12, 8)},
    ],
    ids=["empty", "a day and an instant", "a day without length"],
)
def test_an_event_that_section_3_8_2_2_forbids_is_never_written(fields):
    with pytest.raises(ValueError, match="0198d4c5"):
        written(event(**fields))


# --- times ----------------------------------------------------------------------------------------


def visit_of(zone=NEW_YORK, **fields):
    """A visit that nobody has stored: only what a calendar asks of it."""
    site = Site(name="Example", address="1 Example Row", time_zone=zone)
    day = fields.get("booked_on", date(2007, 6, 28))
    usual = {"kind": Visit.Kind.ROUTINE, "due_on": day, "opens_on": day, "closes_on": day}
    return Visit(site=site, **{**usual, **fields})


def booked(day, at, zone=NEW_YORK, minutes=60):
    return shown_of(
        visit_of(zone, state=Visit.State.BOOKED, booked_on=day, booked_at_time=at, minutes=minutes)
    )


def test_whole_days_end_before_the_day_after_as_in_section_3_6_1():
    """Its example from 28 June to 8 July 2007 inclusively ends on 9 July."""
    window = visit_of(opens_on=date(2007, 6, 28), closes_on=date(2007, 7, 8))
    shown = shown_of(window)

    data = written(event(starts=shown.starts, ends=shown.ends))

    assert b"DTSTART;VALUE=DATE:20070628\r\nDTEND;VALUE=DATE:20070709\r\n" in data
    [theirs] = read_by_both(data)
    assert (theirs.dtstart, theirs.dtend) == (date(2007, 6, 28), date(2007, 7, 9))


@pytest.mark.parametrize(
    ("day", "at", "instant"),
    [
        # 13:30 New York time is 17:30 UTC (DATE-TIME, form 3).
        (date(1997, 7, 14), time(13, 30), datetime(1997, 7, 14, 17, 30, tzinfo=UTC)),
        # 01:30 comes twice: "refers to the first occurrence", which is EDT (UTC-04:00).
        (date(2007, 11, 4), time(1, 30), datetime(2007, 11, 4, 5, 30, tzinfo=UTC)),
        # 02:30 does not come: it stands for 03:30 EDT (UTC-04:00).
        (date(2007, 3, 11), time(2, 30), datetime(2007, 3, 11, 7, 30, tzinfo=UTC)),
    ],
    ids=["summer", "twice in autumn", "never in spring"],
)
def test_clock_changes_are_those_of_section_3_3_5(day, at, instant):
    assert booked(day, at).starts == instant


def test_a_visit_over_a_clock_change_takes_as_long_as_it_takes():
    """Clocks in London went back at 01:00 UTC on 25 October 2026 (tzdata 2026.6)."""
    shown = booked(date(2026, 10, 25), time(0, 30), "Europe/London", minutes=120)

    assert shown.starts == datetime(2026, 10, 24, 23, 30, tzinfo=UTC)
    assert shown.ends - shown.starts == timedelta(hours=2)
