"""The office places by hand what a phone sent and what could not be applied."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable, WrongState
from tests.builders.accounts import make_manager, make_technician
from tests.builders.phone import Phone
from tests.builders.visits import local, make_visit
from visits.models import Amendment, Look, ParkedOperation, Reading, ReadingCount
from visits.services.booking import call_off_visit
from visits.services.operations import KINDS, Kind
from visits.services.parked import (
    NotPlaceable,
    place_all_parked,
    place_parked,
    set_aside_parked,
)
from visits.services.sync import apply_operation, apply_operations
from visits.verification import breaks_of_site

pytestmark = pytest.mark.django_db

EVENING = datetime(2026, 12, 8, 18, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def evening():
    """Six on the day of the visits, when what phones recorded in the morning has arrived."""
    with time_machine.travel(EVENING):
        yield


@pytest.fixture
def called_off(office, technician):
    """A visit that was called off while the technician made it without a signal."""
    visit = make_visit(state="booked", zones=1, monitors=1, by=office, technician=technician)
    call_off_visit(visit.pk, by=office, reason="The site is shut.")
    return visit


@pytest.fixture
def phone(called_off):
    return Phone(called_off)


def parked_of(phone, technician, kind, **body) -> ParkedOperation:
    answer = apply_operation(phone.op(kind, **body), by=technician)
    assert answer["verdict"] == "parked"
    return ParkedOperation.objects.get(operation_id=answer["id"])


def instead_of(visit, office, **facts):
    """Another visit at the same site, for somebody else."""
    given = {"state": "booked", "by": office, "technician": make_technician(), **facts}
    return make_visit(visit.site, **given)


def test_it_is_placed_in_the_name_of_who_recorded_it(called_off, phone, technician, office):
    monitor = called_off.site.monitors.get()
    parked = parked_of(phone, technician, "reading.set", monitor=monitor, counts={"wasp": 2})
    visit = instead_of(called_off, office)

    place_parked(parked.pk, by=office, visit_id=visit.pk, note="They were there.")

    assert ReadingCount.objects.get().count == 2
    assert Reading.objects.get().visit_id == visit.pk
    recorded = TrailEntry.objects.get(verb="visit.recorded")
    placed = TrailEntry.objects.get(verb="operation.placed")
    assert (recorded.actor, recorded.at) == (technician, local(visit, 9, 1))
    assert placed.actor == office
    parked.refresh_from_db()
    assert (parked.settled_by, parked.settlement) == (office, f"Placed on {visit}.")


def test_a_whole_visit_is_placed_at_once_and_closed(called_off, phone, technician, office):
    operations = [
        phone.op("visit.start"),
        *(
            phone.op("look.add", checkpoint=one)
            for one in called_off.site.zones.get().checkpoints.all()
        ),
        phone.close(),
    ]
    apply_operations(operations, by=technician)
    visit = instead_of(called_off, office, technician=technician)

    place_all_parked(
        list(ParkedOperation.objects.values_list("pk", flat=True)), by=office, visit_id=visit.pk
    )

    visit.refresh_from_db()
    assert (visit.state, visit.looks.count()) == ("closed", 3)
    assert visit.closed_at == local(visit, 9, 5)
    assert not ParkedOperation.objects.filter(settled_at=None).exists()
    assert breaks_of_site(visit.site) == []


def test_it_happened_when_a_right_clock_says_however_late_it_is_placed(
    called_off, phone, technician, office
):
    """One by a clock known to be three days fast, one by a clock that nobody had measured."""
    low, reach, _ = called_off.site.zones.get().checkpoints.order_by("walk_order")
    shown = local(called_off, 9) + timedelta(days=3)
    phone.ahead = 259_200
    measured = parked_of(phone, technician, "look.add", at=shown, checkpoint=low)
    phone.ahead = None
    ahead = parked_of(phone, technician, "look.add", at=shown, checkpoint=reach)
    visit = instead_of(called_off, office)

    with time_machine.travel(EVENING + timedelta(days=9)):
        place_all_parked([measured.pk, ahead.pk], by=office, visit_id=visit.pk)

    assert visit.looks.get(checkpoint=low).at == local(visit, 9)
    assert visit.looks.get(checkpoint=reach).at == ahead.created_at


def test_a_closing_that_is_placed_had_reached_us_when_it_was_parked(
    called_off, phone, technician, office
):
    phone.ahead = 259_200
    shown = local(called_off, 9) + timedelta(days=3)
    start = parked_of(phone, technician, "visit.start", at=shown)
    signed = {"no_signature_reason": "Nobody there.", "minutes_on_site": 20}
    close = parked_of(
        phone,
        technician,
        "visit.close",
        at=shown + timedelta(minutes=15),
        minutes_reason="Searched for the door.",
        **signed,
    )
    visit = instead_of(called_off, office)

    with time_machine.travel(EVENING + timedelta(days=9)):
        place_all_parked([start.pk, close.pk], by=office, visit_id=visit.pk)

    visit.refresh_from_db()
    assert (visit.closed_at, visit.received_at) == (local(visit, 9, 15), close.created_at)
    assert (visit.minutes_on_site, visit.minutes_reason) == (20, "Searched for the door.")
    told = TrailEntry.objects.get(verb="visit.closed").facts
    assert told["phone_clock_ahead_seconds"] == 259_200


def test_a_record_by_an_absurd_clock_is_not_placed_on_an_open_visit(
    called_off, phone, technician, office
):
    phone.ahead = 10**12
    parked = parked_of(phone, technician, "visit.start")
    visit = instead_of(called_off, office)

    with pytest.raises(NotPlaceable, match="not the shape"):
        place_parked(parked.pk, by=office, visit_id=visit.pk)

    visit.refresh_from_db()
    assert visit.state == "booked"


def test_on_a_closed_visit_it_becomes_an_amendment(called_off, phone, technician, office):
    monitor = called_off.site.monitors.get()
    parked = parked_of(phone, technician, "reading.set", monitor=monitor, counts={"wasp": 2})
    closed = instead_of(called_off, office, state="closed")
    sealed = closed.sealed_record

    place_parked(parked.pk, by=office, visit_id=closed.pk)

    amendment = Amendment.objects.get()
    assert amendment.about == f"Reading, sent by {technician.name}"
    assert "Wasp: 2" in amendment.correction
    closed.refresh_from_db()
    assert closed.sealed_record == sealed
    assert breaks_of_site(closed.site) == []


def test_it_is_set_aside_with_a_note_and_stays_readable(phone, technician, office):
    parked = parked_of(phone, technician, "visit.start")

    set_aside_parked(parked.pk, by=office, note="A practice run.")

    parked.refresh_from_db()
    assert parked.settlement == "Set aside: A practice run."
    assert parked.sent["kind"] == "visit.start"
    assert TrailEntry.objects.get(verb="operation.placed").facts["note"] == "A practice run."


def test_setting_aside_needs_a_note(phone, technician, office):
    parked = parked_of(phone, technician, "visit.start")

    with pytest.raises(Unusable, match="why it is set aside"):
        set_aside_parked(parked.pk, by=office, note=" ")

    assert not ParkedOperation.objects.exclude(settled_at=None).exists()


def test_it_is_settled_once(called_off, phone, technician, office):
    parked = parked_of(phone, technician, "visit.start")
    visit = instead_of(called_off, office)
    place_parked(parked.pk, by=office, visit_id=visit.pk)

    with pytest.raises(WrongState, match="settled before"):
        set_aside_parked(parked.pk, by=office, note="Again.")
    with pytest.raises(WrongState, match="settled before"):
        place_parked(parked.pk, by=office, visit_id=visit.pk)


def test_what_belongs_to_another_site_is_not_placed(called_off, phone, technician, office):
    monitor = called_off.site.monitors.get()
    parked = parked_of(phone, technician, "reading.set", monitor=monitor)
    elsewhere = make_visit(state="booked", by=office)

    with pytest.raises(NotPlaceable, match="does not belong"):
        place_parked(parked.pk, by=office, visit_id=elsewhere.pk)

    parked.refresh_from_db()
    assert parked.settled_at is None


def test_a_bent_record_is_not_placed_on_an_open_visit(called_off, phone, technician, office):
    parked = parked_of(phone, technician, "look.add", checkpoint="no id")
    visit = instead_of(called_off, office)

    with pytest.raises(NotPlaceable, match="not the shape"):
        place_parked(parked.pk, by=office, visit_id=visit.pk)

    assert not Look.objects.exists()


def test_a_visit_that_was_called_off_takes_nothing(called_off, phone, technician, office):
    parked = parked_of(phone, technician, "visit.start")

    with pytest.raises(WrongState, match="called this visit off"):
        place_parked(parked.pk, by=office, visit_id=called_off.pk)


@pytest.mark.parametrize("person", [make_technician, make_manager])
def test_only_the_office_places(called_off, phone, technician, office, person):
    parked = parked_of(phone, technician, "visit.start")
    visit = instead_of(called_off, office)

    with pytest.raises(NotAllowed):
        place_parked(parked.pk, by=person(), visit_id=visit.pk)
    with pytest.raises(NotAllowed):
        set_aside_parked(parked.pk, by=person(), note="Mine.")

    parked.refresh_from_db()
    assert parked.settled_at is None


# --- a whole visit at once ------------------------------------------------------------------------


def all_parked(phone, technician, operations) -> list:
    """Send them, find them all parked, and give their keys, in no order of theirs."""
    for batch in range(0, len(operations), 100):
        answers = apply_operations(operations[batch : batch + 100], by=technician)
        assert {answer["verdict"] for answer in answers} == {"parked"}
    return list(ParkedOperation.objects.order_by("pk").values_list("pk", flat=True))[::-1]


def looks_and_readings(phone, site, many) -> list[dict]:
    """So many records, each place again and again, from the start to the closing of a visit."""
    places = list(site.zones.get().checkpoints.order_by("walk_order"))
    monitors = list(site.monitors.order_by("number"))
    saying = [
        phone.op("look.add", checkpoint=places[number % 3])
        if number % 2
        else phone.op("reading.set", monitor=monitors[0], counts={"wasp": number})
        for number in range(2, many)
    ]
    return [phone.op("visit.start", at=local(phone.visit, 8, 59)), *saying, phone.close()]


def test_two_hundred_records_are_placed_at_once_from_start_to_closing(
    called_off, technician, office
):
    phone = Phone(called_off)
    operations = looks_and_readings(phone, called_off.site, 200)
    keys = all_parked(phone, technician, operations)
    visit = instead_of(called_off, office, technician=technician)

    place_all_parked(keys, by=office, visit_id=visit.pk, note="From the lost phone.")

    visit.refresh_from_db()
    assert len(operations) == 200
    assert (visit.state, visit.started_at) == ("closed", local(visit, 8, 59))
    assert ReadingCount.objects.get().count == 198  # the last word on it
    assert not ParkedOperation.objects.filter(settled_at=None).exists()
    assert not Amendment.objects.exists()
    told = TrailEntry.objects.filter(verb="operation.placed")
    assert {entry.facts["operation"] for entry in told} == {op["id"] for op in operations}
    assert breaks_of_site(visit.site) == []


def test_what_a_record_costs_to_place_does_not_grow(called_off, technician, office):
    costs = []
    for many in (20, 40):
        phone = Phone(called_off)
        operations = looks_and_readings(phone, called_off.site, many)
        all_parked(phone, technician, operations)
        waiting = ParkedOperation.objects.filter(settled_at=None)
        keys = list(waiting.values_list("pk", flat=True))
        visit = instead_of(called_off, office, technician=technician)
        with CaptureQueriesContext(connection) as captured:
            place_all_parked(keys, by=office, visit_id=visit.pk)
        costs.append(sum("SAVEPOINT" not in query["sql"] for query in captured.captured_queries))

    assert (costs[1] - costs[0]) / 20 <= 13
    assert costs[0] < 20 * 13 + 40


def test_one_that_cannot_be_placed_is_named_and_nothing_is(called_off, phone, technician, office):
    places = list(called_off.site.zones.get().checkpoints.order_by("walk_order"))
    stranger = make_visit(state="booked", monitors=1, zones=1, by=office).site.monitors.get()
    keys = all_parked(
        phone,
        technician,
        [
            phone.op("look.add", checkpoint=places[0]),
            phone.op("reading.set", monitor=stranger),
            phone.op("look.add", checkpoint=places[1]),
        ],
    )
    visit = instead_of(called_off, office)

    with pytest.raises(NotPlaceable) as refused:
        place_all_parked(keys, by=office, visit_id=visit.pk)

    assert str(refused.value) == (
        "Reading, Tue 8 Dec 2026, 09:02 (2 of 3) stands in the way, so nothing was placed: It "
        "does not belong to this visit's site: A monitor was named that does not stand at this "
        "site."
    )
    bent = ParkedOperation.objects.get(sent__kind="reading.set")
    assert refused.value.facts["parked"] == str(bent.pk)
    visit.refresh_from_db()
    assert (visit.state, Look.objects.count()) == ("booked", 0)
    assert not ParkedOperation.objects.exclude(settled_at=None).exists()


def test_a_fault_of_ours_is_named_as_well(called_off, phone, technician, office, monkeypatch):
    def falls_over(visit, by, when, body):
        Look.objects.filter(visit=visit).delete()
        raise ZeroDivisionError

    place = called_off.site.zones.get().checkpoints.first()
    keys = all_parked(
        phone, technician, [phone.op("look.add", checkpoint=place), phone.op("visit.start")]
    )
    visit = instead_of(called_off, office)
    broken = Kind("Start", KINDS["visit.start"].body, falls_over)
    monkeypatch.setitem(KINDS, "visit.start", broken)

    with pytest.raises(NotPlaceable, match=r"^Start, .* 09:02 \(2 of 2\)"):
        place_all_parked(keys, by=office, visit_id=visit.pk)

    assert not Look.objects.exists()
    assert not ParkedOperation.objects.exclude(settled_at=None).exists()


def test_two_phones_records_are_placed_in_the_order_in_which_they_happened(
    called_off, technician, office
):
    """Each phone counts its own records, however its clock stood; between them the clocks say."""
    monitor = called_off.site.monitors.get()
    first, second = Phone(called_off), Phone(called_off)
    second.seq = 70

    def reading(phone, minute, count):
        at = local(called_off, 9, minute)
        return phone.op("reading.set", at=at, monitor=monitor, counts={"wasp": count})

    keys = all_parked(
        first,
        technician,
        [reading(first, 10, 1), reading(first, 30, 3), reading(second, 20, 2)],
    )
    visit = instead_of(called_off, office)

    place_all_parked(keys, by=office, visit_id=visit.pk)

    assert ReadingCount.objects.get().count == 3


def test_on_a_closed_visit_many_become_one_amendment(called_off, phone, technician, office):
    place = called_off.site.zones.get().checkpoints.first()
    monitor = called_off.site.monitors.get()
    keys = all_parked(
        phone,
        technician,
        [
            phone.op("look.add", checkpoint=place),
            phone.op("reading.set", monitor=monitor, counts={"wasp": 2}),
        ],
    )
    closed = instead_of(called_off, office, state="closed")

    place_all_parked(keys, by=office, visit_id=closed.pk)

    amendment = Amendment.objects.get()
    assert amendment.about == f"2 records, sent by {technician.name}"
    assert amendment.correction.startswith("Looked, nothing, Tue 8 Dec 2026, 09:01:\n")
    assert f"Monitor {monitor.number}, {monitor.zone.name}" in amendment.correction
    assert "Wasp: 2" in amendment.correction
    assert ParkedOperation.objects.exclude(settled_at=None).count() == 2
    assert breaks_of_site(closed.site) == []


def test_what_was_made_after_the_closing_becomes_an_amendment(
    called_off, phone, technician, office
):
    monitor = called_off.site.monitors.get()
    keys = all_parked(
        phone,
        technician,
        [
            phone.op("visit.start"),
            phone.close(),
            phone.op("reading.set", monitor=monitor, counts={"wasp": 2}),
        ],
    )
    visit = instead_of(called_off, office)

    place_all_parked(keys, by=office, visit_id=visit.pk)

    visit.refresh_from_db()
    assert visit.state == "closed"
    assert Amendment.objects.get().about == f"Reading, sent by {technician.name}"
