"""Electronic traps at their worst: a batch that dies, the same batch twice at once, no order."""

import random
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import transaction

from accounts.models import TrailEntry
from accounts.verification import breaks_of
from sites.models import Monitor
from tests.builders.accounts import make_office
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import local, make_visit
from tests.faults.test_compliance_races import at_once
from tests.visits.test_trap_reports import report
from visits.models import Reading, ReadingCount, TrapReport, Visit
from visits.services.recording import ReadingGiven, record_readings
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import add_trap_sender

pytestmark = pytest.mark.django_db(transaction=True)

NOW = datetime(2026, 11, 27, 12, tzinfo=UTC)


def a_trap() -> tuple[Monitor, Any]:
    monitor = make_monitor(make_zone(make_site()), kind="live_trap")
    return monitor, add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")


def stood(monitor: Monitor) -> dict[int, int | None]:
    readings = Reading.objects.filter(monitor=monitor, source="device")
    return {one.read_on.day: one.stood_days for one in readings.order_by("read_on")}


class MachineStops(Exception):
    """It does so after the last statement and before the end of the transaction."""


def test_a_batch_that_dies_half_way_leaves_nothing_and_goes_in_whole_later():
    monitor, made = a_trap()
    batch = [report(monitor, day, counts={"house-mouse": 1}) for day in range(1, 20)]

    @transaction.atomic
    def dies() -> None:
        take_reports(made.sender.pk, batch, now=NOW)
        raise MachineStops

    with pytest.raises(MachineStops):
        dies()

    assert not TrapReport.objects.exists()
    assert not Reading.objects.exists()
    assert [one["again"] for one in take_reports(made.sender.pk, batch, now=NOW)] == [False] * 19
    assert [one["again"] for one in take_reports(made.sender.pk, batch, now=NOW)] == [True] * 19
    assert set(stood(monitor).values()) == {1}


def test_the_same_batch_twice_at_once_is_applied_once():
    monitor, made = a_trap()
    batch = [report(monitor, day, counts={"house-mouse": 1}) for day in range(1, 11)]

    answers = at_once(*[lambda: take_reports(made.sender.pk, batch, now=NOW)] * 4)

    told = [[one["again"] for one in answer] for answer in answers]
    assert sorted(told) == [[False] * 10] + [[True] * 10] * 3
    assert ReadingCount.objects.filter(reading__monitor=monitor).count() == 10
    assert set(ReadingCount.objects.values_list("count", flat=True)) == {1}
    assert TrailEntry.objects.filter(verb="trap_reports.taken").count() == 1


def test_two_senders_at_once_on_one_monitor_and_day_add_up():
    monitor, made = a_trap()
    senders = [made] + [
        add_trap_sender(monitor.site_id, by=make_office(), name=f"Gateway {n}") for n in range(3)
    ]
    said = [report(monitor, 3, counts={"house-mouse": 2})]

    at_once(*(lambda one=one: take_reports(one.sender.pk, said, now=NOW) for one in senders))

    assert ReadingCount.objects.get(reading__monitor=monitor).count == 8
    assert stood(monitor) == {3: 1}
    assert list(breaks_of(TrailEntry.objects.latest("pk").stream)) == []


def test_a_visit_and_a_device_at_once_never_both_count_a_day():
    for day in range(4, 9):
        monitor, made = a_trap()
        visit = make_visit(monitor.site, state=Visit.State.UNDER_WAY, due_on=date(2026, 11, day))
        given = [ReadingGiven(monitor_id=monitor.pk, counts={"house-mouse": 3})]
        batch = [report(monitor, one, counts={"house-mouse": 1}) for one in range(1, 12)]

        at_once(
            lambda made=made, batch=batch: take_reports(made.sender.pk, batch, now=NOW),
            lambda visit=visit, given=given: record_readings(
                visit.pk, by=visit.technician, at=local(visit, 10), readings=given
            ),
        )

        assert stood(monitor) == {one: int(one > day) for one in range(1, 12)}


def test_whatever_the_order_the_same_comes_of_it():
    dice = random.Random(20261127)
    outcomes = set()
    for _ in range(4):
        monitor, made = a_trap()
        visits = [
            make_visit(monitor.site, state=Visit.State.UNDER_WAY, due_on=date(2026, 11, day))
            for day in (6, 15)
        ]
        sent = [report(monitor, day, counts={"house-mouse": day % 3}) for day in range(1, 25)]
        batches: list[Any] = [sent[at : at + 5] for at in range(0, 24, 5)] * 2
        doings = [*batches, *visits[:1]]
        dice.shuffle(doings)
        for doing in [*doings, visits[1]]:
            if isinstance(doing, Visit):
                record_readings(
                    doing.pk,
                    by=doing.technician,
                    at=local(doing, 10),
                    readings=[ReadingGiven(monitor_id=monitor.pk)],
                )
            else:
                dice.shuffle(doing)
                take_reports(made.sender.pk, doing, now=NOW)
        caught = Reading.objects.filter(monitor=monitor, source="device", counts__count__gt=0)
        outcomes.add((tuple(stood(monitor).items()), caught.count()))

    assert len(outcomes) == 1
    ((days, _),) = outcomes
    assert dict(days) == {one: int(one > 15) for one in range(1, 25)}
