"""Thresholds are looked at as soon as readings count, and not for readings that tell nothing."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from compliance import receivers
from compliance.tasks import find_breaches
from sites.models import Monitor
from sites.services.imports import import_file
from tests.builders.accounts import make_office
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_visit
from visits.models import Visit
from visits.services.readings import enter_readings
from visits.services.recording import ReadingGiven
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import add_trap_sender

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
DAY = date(2026, 11, 18)


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def trap() -> Monitor:
    return make_monitor(make_zone(make_site()), kind="snap_trap")


@pytest.fixture
def woken(monkeypatch, django_capture_on_commit_callbacks):
    """Does something, commits it, and answers with what was woken."""

    def after(do) -> list[object]:
        asked: list[object] = []
        monkeypatch.setattr(receivers, "wake", asked.append)
        with django_capture_on_commit_callbacks(execute=True):
            do()
            assert asked == []
        return asked

    return after


def test_a_closed_visit(trap, woken):
    assert woken(lambda: make_visit(trap.site, state=Visit.State.CLOSED, due_on=DAY)) == [
        find_breaches
    ]


def test_no_visit_that_is_under_way(trap, woken):
    assert woken(lambda: make_visit(trap.site, state=Visit.State.UNDER_WAY, due_on=DAY)) == []


def test_a_spreadsheet_with_readings_once_however_many(trap, woken):
    rows = "".join(
        f"{trap.site.reference},{trap.number},{DAY + timedelta(days=n)},house-mouse,1\n"
        for n in range(2)
    )
    told = f"site_reference,monitor_number,read_on,pest,count\n{rows}".encode()
    office = make_office()

    def take_in(*, write: bool) -> None:
        plan = import_file(told, "readings.csv", by=office, write=write)
        assert not plan.has_errors

    assert woken(lambda: take_in(write=False)) == []
    assert woken(lambda: take_in(write=True)) == [find_breaches]


def test_an_entry_by_hand_that_changes_something(trap, woken):
    office = make_office()

    def enter() -> None:
        told = ReadingGiven(trap.pk, counts={"house-mouse": 1})
        enter_readings(trap.site_id, by=office, read_on=DAY, readings=[told], now=NOW)

    assert woken(enter) == [find_breaches]
    assert woken(enter) == []


@pytest.mark.parametrize(("counts", "many"), [({"house-mouse": 1}, 1), ({}, 0)])
def test_a_trap_that_reports_a_catch(trap, woken, counts, many):
    sender = add_trap_sender(trap.site_id, by=make_office(), name="Attic gateway").sender
    told = {
        "id": "only",
        "monitor": str(trap.pk),
        "from": "2026-11-18T00:00:00+00:00",
        "at": "2026-11-18T12:00:00+00:00",
        "counts": counts,
    }
    assert woken(lambda: take_reports(sender.pk, [told], now=NOW)) == [find_breaches] * many
    assert woken(lambda: take_reports(sender.pk, [told], now=NOW)) == []
