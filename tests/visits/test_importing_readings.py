"""Past readings in and out of spreadsheets, beside what visits, hands and devices told."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine

from sites.exporting import export_csv
from sites.importing.sheets import known_sheets
from sites.models import Monitor, Site
from sites.services.imports import import_file
from tests.builders.accounts import make_office
from tests.builders.sites import PLACED_ON, make_monitor, make_site, make_zone
from tests.visits.test_importing_products import file_of, problems
from tests.visits.test_trap_reports import report
from visits.models import Reading
from visits.services.readings import enter_readings
from visits.services.recording import ReadingGiven
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import add_trap_sender

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
ROW = {"site_reference": "HARB-1", "monitor_number": "7", "read_on": "2026-11-03"}


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def monitor() -> Monitor:
    return make_monitor(make_zone(make_site(reference="HARB-1")), number=7)


def taken(*rows: dict[str, Any]):
    return import_file(file_of(*rows), "readings.csv", by=make_office(), write=True)


def row(**told: str) -> dict[str, str]:
    return {**ROW, "pest": "", "count": "", "condition": "", "note": "", **told}


def on_file() -> list[tuple[str, int, int | None, dict[str, int]]]:
    return [
        (
            one.source,
            one.read_on.day,
            one.stood_days,
            {count.pest.slug: count.count for count in one.counts.all()},
        )
        for one in Reading.objects.order_by("read_on", "source")
    ]


def test_several_pests_of_a_day_are_one_reading_and_none_is_a_count_too(monitor):
    taken(
        row(pest="House mouse", count="2"),
        row(pest="brown-rat", count="1"),
        row(pest="House fly", count="0"),
        row(read_on="2026-11-05", pest="House mouse", count="0"),
        row(read_on="2026-11-07"),
    )

    since_placed = (date(2026, 11, 3) - PLACED_ON).days
    assert on_file() == [
        ("import", 3, since_placed, {"house-mouse": 2, "brown-rat": 1}),
        ("import", 5, 2, {}),
        ("import", 7, 2, {}),
    ]


def test_a_count_of_none_takes_out_what_an_import_said_before(monitor):
    taken(row(pest="House mouse", count="2"))

    taken(row(pest="House mouse", count="0"))

    assert on_file()[0][3] == {}


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"read_on": "2026-11-16"}, "was removed on 2026-11-15"),
        ({"pest": "House mouse", "count": "1", "condition": "missing"}, "shows no catch"),
    ],
)
def test_what_cannot_have_been_read_is_told(monitor, told, sentence):
    Monitor.objects.filter(pk=monitor.pk).update(removed_on=date(2026, 11, 15))

    (problem,) = problems(taken(row(**told)))

    assert sentence in problem
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    ("name", "one", "other"),
    [("condition", "sound", "damaged"), ("note", "By the sink", "By the door")],
)
def test_rows_of_one_reading_that_contradict_each_other_are_told(monitor, name, one, other):
    plan = taken(
        row(pest="House mouse", count="2", **{name: one}),
        row(pest="brown-rat", count="1", **{name: other}),
        row(pest="House fly", count="1"),
    )

    (problem,) = problems(plan)
    assert "Row 2 says something else of the same reading" in problem


def test_what_was_entered_by_hand_is_never_changed(monitor):
    given = [ReadingGiven(monitor_id=monitor.pk, counts={"house-mouse": 2})]
    day = date(2026, 11, 3)
    enter_readings(monitor.site_id, by=make_office(), read_on=day, readings=given, now=NOW)

    assert problems(taken(row(pest="House mouse", count="2"))) == []
    (problem,) = problems(taken(row(pest="House mouse", count="3")))

    assert "entered by hand" in problem
    assert [one[0] for one in on_file()] == ["hand"]


def test_what_devices_report_stands_beside_an_import_and_does_not_leave_by_it(monitor):
    made = add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")
    reports = [report(monitor, day, counts={"house-mouse": 1}) for day in (3, 4)]
    take_reports(made.sender.pk, reports, now=NOW)

    taken(row(pest="House mouse", count="5"))

    assert [one[:2] + one[3:] for one in on_file()] == [
        ("device", 3, {"house-mouse": 1}),
        ("import", 3, {"house-mouse": 5}),
        ("device", 4, {"house-mouse": 1}),
    ]
    assert [one[2] for one in on_file() if one[0] == "device"] == [0, 1]
    (sheet,) = (one for one in known_sheets() if one.key == "readings")
    out = "".join(export_csv(sheet, Site.objects.all()))
    assert out.count("HARB-1") == 1
