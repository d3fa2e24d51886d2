"""What the records of a site file amount to, case by case."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from compliance.sitefile.content import (
    Attendance,
    Competence,
    Coverage,
    Outcome,
    Person,
    Reading,
    Visit,
)
from compliance.sitefile.judging import (
    glance,
    shows_something,
    timing,
    total_coverage,
    uncovered_days,
)
from tests.compliance.sample_file import sample_file

DUE = Visit(
    outcome=Outcome.CLOSED,
    state="Closed",
    kind="Routine inspection",
    due_on=date(2026, 3, 10),
    opens_on=date(2026, 3, 7),
    closes_on=date(2026, 3, 13),
)
CARD = Competence("Certificate", "1", "", date(2026, 1, 1), date(2026, 3, 31))


def came(*when: int) -> Visit:
    return replace(DUE, started_at=datetime(*when, tzinfo=UTC))


@pytest.mark.parametrize(
    ("visit", "zone", "word"),
    [
        pytest.param(came(2026, 3, 7, 12), "Europe/London", "On time", id="first day"),
        pytest.param(came(2026, 3, 13, 12), "Europe/London", "On time", id="last day"),
        pytest.param(came(2026, 3, 6, 12), "Europe/London", "Early", id="a day before"),
        pytest.param(came(2026, 3, 14, 12), "Europe/London", "Late", id="a day after"),
        pytest.param(came(2026, 3, 13, 23), "Asia/Tokyo", "Late", id="already the next day there"),
        pytest.param(came(2026, 3, 14, 2), "America/New_York", "On time", id="still the day there"),
        pytest.param(replace(DUE, outcome=Outcome.MISSED), "UTC", "Missed", id="missed"),
        pytest.param(
            replace(DUE, outcome=Outcome.CALLED_OFF), "UTC", "Called off", id="called off"
        ),
        pytest.param(replace(DUE, outcome=Outcome.OPEN), "UTC", "Overdue", id="open and past"),
        pytest.param(
            replace(DUE, outcome=Outcome.OPEN, closes_on=date(2026, 4, 1)),
            "UTC",
            "Still due",
            id="open on the last day",
        ),
        pytest.param(
            replace(came(2026, 3, 20, 12), respond_by=datetime(2026, 3, 20, 12, tzinfo=UTC)),
            "UTC",
            "In time",
            id="call-out at its deadline, whatever the window",
        ),
        pytest.param(
            replace(came(2026, 3, 10, 12, 1), respond_by=datetime(2026, 3, 10, 12, tzinfo=UTC)),
            "UTC",
            "Late",
            id="call-out a minute after its deadline",
        ),
    ],
)
def test_a_visit_is_on_time_by_the_calendar_of_the_site(visit, zone, word):
    assert timing(visit, zone, today=date(2026, 4, 1)).word == word


@pytest.mark.parametrize(
    ("days", "asked", "uncovered"),
    [
        ((date(2026, 3, 31),), (), ()),
        ((date(2026, 4, 1),), (), (date(2026, 4, 1),)),
        ((date(2026, 3, 1),), ("Certificate",), ()),
        ((date(2026, 3, 1),), ("Certificate", "Ladder"), (date(2026, 3, 1),)),
        ((), (), ()),
    ],
    ids=["last valid day", "day after", "asked and held", "one of two held", "never came"],
)
def test_a_competence_must_count_on_the_day_of_the_visit_not_today(days, asked, uncovered):
    person = Person("Iris", "Technician", (CARD,), tuple(Attendance(day, asked) for day in days))

    assert uncovered_days(person) == uncovered


def test_a_withdrawn_competence_counts_until_the_day_before():
    withdrawn = replace(CARD, withdrawn_on=date(2026, 2, 1))

    assert withdrawn.is_valid_on(date(2026, 1, 31))
    assert not withdrawn.is_valid_on(date(2026, 2, 1))


def test_coverage_counts_closed_visits_only():
    seen = replace(DUE, coverage=Coverage(10, 8, 5, 5))
    missed = replace(DUE, outcome=Outcome.MISSED, coverage=Coverage(10, 0, 5, 0))

    assert total_coverage([seen, missed, seen]) == Coverage(20, 16, 10, 10)


@pytest.mark.parametrize(
    ("reading", "shows"),
    [
        (Reading(1, DUE.due_on, "Sound", "sound"), False),
        (Reading(1, DUE.due_on, "Sound", "sound", (("Moth", 0),)), False),
        (Reading(1, DUE.due_on, "Sound", "sound", (("Moth", 1),)), True),
        (Reading(1, DUE.due_on, "Sound", "sound", bait_code="none"), False),
        (Reading(1, DUE.due_on, "Sound", "sound", bait_code="part"), True),
        (Reading(1, DUE.due_on, "Missing", "missing"), True),
        (Reading(1, DUE.due_on, "Sound", "sound", note="Moved by a cleaner"), True),
    ],
    ids=["nothing", "zero", "one", "bait whole", "bait taken", "missing", "a note"],
)
def test_a_missing_monitor_is_not_a_quiet_one(reading, shows):
    assert shows_something(reading) is shows


def test_the_glance_counts_what_the_sections_print():
    figures = glance(sample_file(), date(2026, 7, 1))

    assert (figures.due, figures.closed, figures.missed, figures.called_off) == (5, 3, 1, 1)
    assert figures.on_time == 2
    assert (figures.actions_open, figures.actions_overdue) == (1, 1)
    assert figures.waiting_to_be_reached == 1
    assert (figures.evidence_current, figures.evidence_asked) == (1, 3)
    assert figures.treatments == 3
