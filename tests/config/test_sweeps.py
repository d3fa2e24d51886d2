"""Sweeps get their turns, and one that fails holds up no other."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from config import sweeps
from config.models import SweepRun
from config.schedule import SWEEPS, Sweep, for_beat
from config.sweeps import Timetable, note_failure, note_success, run_sweep

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
FINE = Sweep("tests.config.test_sweeps.fine", every=60)
AWAITED = Sweep("tests.config.test_sweeps.awaited", every=60, awaited=True)
BROKEN = Sweep("tests.config.test_sweeps.broken", every=60)

calls: list[str] = []


def fine() -> int:
    calls.append("fine")
    return 0


def awaited() -> int:
    calls.append("awaited")
    return 0


def broken() -> int:
    calls.append("broken")
    raise RuntimeError("the cupboard is bare")


@pytest.fixture(autouse=True)
def _nothing_yet():
    calls.clear()
    sweeps._noted.clear()


def after(seconds: float) -> datetime:
    return NOW + timedelta(seconds=seconds)


def test_a_sweep_that_never_ran_is_due():
    assert Timetable([FINE], {}).due(NOW) == [FINE]


def test_a_restart_repeats_nothing_that_is_not_due():
    timetable = Timetable([FINE], {"fine": NOW})
    assert (timetable.due(after(59)), timetable.due(after(60))) == ([], [FINE])


def test_what_people_wait_for_is_looked_at_every_other_second_and_first():
    timetable = Timetable([FINE, AWAITED], {"fine": NOW, "awaited": NOW})
    assert timetable.due(after(2)) == [AWAITED]
    assert timetable.due(after(60)) == [AWAITED, FINE]


def test_a_turn_ends_the_wait_until_the_next():
    timetable = Timetable([FINE], {})
    timetable.ran(FINE, NOW)
    assert timetable.due(after(1)) == []


def test_a_clock_set_back_does_not_silence_a_sweep():
    assert Timetable([FINE], {"fine": after(3600)}).due(NOW) == [FINE]


def test_a_sweep_that_went_well_is_remembered(db):
    assert run_sweep(FINE, clock=lambda: NOW) is True
    run = SweepRun.objects.get(name="fine")
    assert (run.ran_at, run.went_well_at, run.failures) == (NOW, NOW, 0)


def test_a_failure_is_counted_and_keeps_when_it_last_went_well(db, caplog):
    note_success("broken", NOW)

    results = [run_sweep(BROKEN, clock=lambda: after(60)) for _ in range(2)]

    run = SweepRun.objects.get(name="broken")
    assert results == [False, False]
    assert (run.ran_at, run.went_well_at, run.failures) == (after(60), NOW, 2)
    assert run.problem == "RuntimeError: the cupboard is bare"
    assert "the cupboard is bare" in caplog.text


def test_success_clears_what_went_wrong_before(db):
    note_failure("fine", "RuntimeError: x", NOW)
    note_success("fine", after(1))
    run = SweepRun.objects.get(name="fine")
    assert (run.failures, run.problem, run.went_well_at) == (0, "", after(1))


def test_a_quick_sweep_is_not_noted_every_other_second(db, django_assert_num_queries):
    note_success("fine", NOW)
    with django_assert_num_queries(0):
        note_success("fine", after(2))
    note_success("fine", after(15))
    assert SweepRun.objects.get(name="fine").ran_at == after(15)


def test_a_failing_sweep_does_not_stop_the_others(db, monkeypatch):
    monkeypatch.setattr("config.management.commands.run_jobs.SWEEPS", [BROKEN, FINE])

    with pytest.raises(CommandError, match="broken"):
        call_command("run_jobs", once=True)

    assert calls == ["broken", "fine"]
    assert SweepRun.objects.get(name="fine").failures == 0


def test_every_sweep_of_the_table_can_run_with_nothing_to_do(db):
    call_command("run_jobs", once=True)
    assert SweepRun.objects.filter(failures=0).count() == len(SWEEPS)


def test_beat_asks_for_every_sweep_and_lets_unanswered_calls_lapse():
    schedule = for_beat()
    assert [entry["task"] for entry in schedule.values()] == [sweep.task for sweep in SWEEPS]
    for entry in schedule.values():
        assert entry["options"]["expires"] == entry["schedule"]
