"""The office places by hand what a phone sent and what could not be applied."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable, WrongState
from tests.builders.accounts import make_manager, make_technician
from tests.builders.phone import Phone
from tests.builders.visits import local, make_visit
from visits.models import Amendment, Look, ParkedOperation, Reading, ReadingCount
from visits.services.booking import call_off_visit
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
