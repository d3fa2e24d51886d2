"""Closing a visit: what it needs, what it counts, and that it happens once."""

from datetime import date, timedelta
from threading import Barrier, Thread

import pytest
from django.db import connections

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Refused, Unusable, WrongState
from accounts.sealing import NOTHING_BEFORE, chained
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import (
    local,
    look_everywhere,
    make_product,
    make_visit,
    treatment_given,
)
from visits.models import Visit
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    apply_treatment,
    record_looks,
    set_contact,
    start_visit,
)
from visits.services.writing import MinutesGiven
from visits.signals import visit_closed

SIGNATURE = [[[0.1, 0.5], [0.4, 0.2], [0.6, 0.8], [0.9, 0.5]]]
SIGNED = ContactGiven(contact_name="Ana Prior", signature=SIGNATURE)
NOBODY = ContactGiven(no_signature_reason="The premises were locked up.")


@pytest.fixture
def visit(office, technician) -> Visit:
    return make_visit(state="under_way", zones=1, monitors=1, by=office, technician=technician)


def close(visit: Visit, **given) -> Visit:
    facts = {"by": visit.technician, "at": local(visit, 10), "contact": SIGNED, **given}
    return close_visit(visit.pk, **facts)


def stands(visit: Visit) -> tuple:
    visit.refresh_from_db()
    return visit.state, visit.version, visit.seal, visit.closed_at, TrailEntry.objects.count()


def test_a_closed_visit_is_sealed_and_counted(visit, trail):
    look_everywhere(visit)

    close(visit, received_at=local(visit, 12))

    visit.refresh_from_db()
    assert (visit.state, visit.closed_at) == ("closed", local(visit, 10))
    assert visit.received_at == local(visit, 12)
    assert (visit.seal_number, visit.previous_seal) == (1, NOTHING_BEFORE)
    assert visit.seal == chained(NOTHING_BEFORE, visit.sealed_record)
    assert visit.coverage["checkpoints_looked"] == visit.coverage["checkpoints_due"] == 3
    assert visit.coverage["monitors_looked"] == 1
    entry = TrailEntry.objects.get(verb="visit.closed")
    assert (entry.at, entry.facts["seal"]) == (local(visit, 10), visit.seal)


def test_a_second_close_is_refused_and_changes_nothing(visit):
    close(visit)
    before = stands(visit)

    with pytest.raises(WrongState, match="closed and sealed"):
        close(visit, at=local(visit, 11))

    assert stands(visit) == before


def test_a_visit_that_was_not_started_is_not_closed(office, technician):
    visit = make_visit(state="booked", by=office, technician=technician)
    before = stands(visit)

    with pytest.raises(WrongState, match="not been started"):
        close(visit)

    assert stands(visit) == before


@pytest.mark.parametrize("person", [make_office, make_technician])
def test_only_its_technician_closes_a_visit(visit, person):
    stranger = person()
    before = stands(visit)

    with pytest.raises(NotAllowed):
        close(visit, by=stranger)

    assert stands(visit) == before


@pytest.mark.parametrize(
    ("contact", "code"),
    [
        (ContactGiven(), "signature_missing"),
        (ContactGiven(contact_name="Ana Prior"), "signature_missing"),
        (ContactGiven(signature=SIGNATURE), "contact_missing"),
        (ContactGiven(contact_name="A", signature=[[[0.1, 0.1], [0.2, 0.1]]]), "signature_empty"),
        (ContactGiven(contact_name="A", signature=[[[0.1, 0.1]]] * 20), "signature_empty"),
        (ContactGiven(contact_name="A", signature=[[[0, 0], [1, 1.01]]]), "signature_off_pad"),
        (ContactGiven(contact_name="A", signature=[[[0, 0]]] * 201), "signature_long"),
    ],
    ids=["nothing", "only a name", "ink without a name", "a slip", "dots", "off the pad", "many"],
)
def test_without_a_signature_or_a_reason_it_stays_open(visit, contact, code):
    before = stands(visit)

    with pytest.raises(Unusable) as refusal:
        close(visit, contact=contact)

    assert refusal.value.code == code
    assert stands(visit) == before


@pytest.mark.parametrize(
    "contact",
    [SIGNED, NOBODY, ContactGiven(contact_name="Ana Prior", signature_typed="Ana Prior")],
    ids=["by hand", "nobody there", "by name"],
)
def test_ink_a_typed_name_or_a_reason_closes_it(visit, contact):
    close(visit, contact=contact)

    assert stands(visit)[0] == "closed"


def test_what_was_said_of_the_contact_before_stands(visit, technician):
    set_contact(visit.pk, by=technician, at=local(visit, 9, 50), contact=SIGNED)

    close(visit, contact=None)

    visit.refresh_from_db()
    assert (visit.contact_name, visit.signature) == ("Ana Prior", SIGNATURE)


def test_places_without_a_word_are_no_reason_to_keep_it_open(visit):
    close(visit)

    visit.refresh_from_db()
    assert visit.coverage["checkpoints_due"] == 3
    assert visit.coverage["checkpoints_looked"] == visit.coverage["checkpoints_not_reached"] == 0


def test_what_a_treatments_record_lacks_is_told_on_the_trail(visit, technician):
    zone = visit.site.zones.get()
    given = treatment_given(zone, make_product(name="Test gel Q"), batch_number="")
    apply_treatment(visit.pk, by=technician, at=local(visit, 9, 40), treatment=given)

    close(visit)

    told = TrailEntry.objects.get(verb="visit.closed").facts["left_unsaid"]
    assert "Batch or lot" in told[f"Test gel Q, {zone.name}"]


def took(visit: Visit) -> tuple[int | None, str]:
    visit.refresh_from_db()
    return visit.minutes_on_site, visit.minutes_reason


@pytest.mark.parametrize(
    ("hour", "minute", "minutes"), [(9, 0, 0), (9, 52, 52), (23, 59, 899)], ids=str
)
def test_it_took_the_minutes_from_start_to_closing(visit, hour, minute, minutes):
    close(visit, at=local(visit, hour, minute))

    assert took(visit) == (minutes, "")
    told = TrailEntry.objects.get(verb="visit.closed").facts
    assert told["minutes_on_site"] == minutes
    assert "minutes_worked_out" not in told


def test_a_night_over_midnight_has_its_minutes(office, technician):
    visit = make_visit(state="booked", by=office, technician=technician)
    start_visit(visit.pk, by=technician, at=local(visit, 23, 40))

    close(visit, at=local(visit, 23, 40) + timedelta(minutes=45))

    assert took(visit) == (45, "")


def test_the_night_on_which_the_clocks_go_back_has_its_hour_more(office, technician):
    """From ten to two to ten past three, at a site in Berlin: 140 minutes, not 80."""
    site = make_site(time_zone="Europe/Berlin")
    visit = make_visit(
        site, state="booked", by=office, technician=technician, due_on=date(2026, 10, 25)
    )
    start_visit(visit.pk, by=technician, at=local(visit, 1, 50))

    close(visit, at=local(visit, 3, 10))

    assert took(visit) == (140, "")


@pytest.mark.parametrize(
    ("given", "stands"),
    [
        (MinutesGiven(), (60, "")),
        (MinutesGiven(60), (60, "")),
        (MinutesGiven(59), (60, "")),
        (MinutesGiven(61), (60, "")),
        (MinutesGiven(60, "No difference."), (60, "")),
        (MinutesGiven(61, "Went back for the torch."), (61, "Went back for the torch.")),
        (MinutesGiven(90, "  Waited for the key. "), (90, "Waited for the key.")),
        (MinutesGiven(0, "Closed from the van."), (0, "Closed from the van.")),
        (MinutesGiven(None, "Nothing to correct."), (60, "")),
    ],
    ids=str,
)
def test_the_technician_corrects_the_minutes_with_a_reason(visit, given, stands):
    close(visit, minutes=given)

    assert took(visit) == stands
    told = TrailEntry.objects.get(verb="visit.closed").facts
    assert told["minutes_on_site"] == stands[0]
    assert told.get("minutes_reason", "") == stands[1]
    assert told.get("minutes_worked_out") == (60 if stands[1] else None)


@pytest.mark.parametrize("given", [MinutesGiven(90), MinutesGiven(58), MinutesGiven(62, "  ")])
def test_other_minutes_without_a_reason_leave_it_open(visit, given):
    before = stands(visit)

    with pytest.raises(Unusable, match="Say why") as refusal:
        close(visit, minutes=given)

    assert (refusal.value.code, refusal.value.facts["worked_out"]) == ("minutes_reason_missing", 60)
    assert (stands(visit), took(visit)) == (before, (None, ""))


def test_a_closing_is_the_last_word_of_a_visit(visit, technician):
    """Two clocks, or one that was changed: nothing was recorded after the visit was closed."""
    place = visit.site.zones.get().checkpoints.first()
    record_looks(visit.pk, by=technician, at=local(visit, 9, 40), checkpoint_ids=[place.pk])

    close(visit, at=local(visit, 8))

    visit.refresh_from_db()
    assert visit.closed_at == local(visit, 9, 40)
    assert took(visit) == (40, "")


def test_it_is_told_to_later_rooms_after_the_commit(visit, django_capture_on_commit_callbacks):
    heard = []

    def listen(sender, visit_id, **facts):
        heard.append(visit_id)

    visit_closed.connect(listen)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            close(visit)
            assert heard == []
    finally:
        visit_closed.disconnect(listen)

    assert heard == [visit.pk]


def test_a_fault_behind_the_signal_costs_no_visit(visit, django_capture_on_commit_callbacks):
    def fall_over(sender, visit_id, **facts):
        raise RuntimeError("a later room is on fire")

    visit_closed.connect(fall_over)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            close(visit)
    finally:
        visit_closed.disconnect(fall_over)

    assert stands(visit)[0] == "closed"


def test_seals_of_a_site_follow_one_another_and_leave_other_sites_alone(office, technician):
    site = make_site(zones=1)
    first = make_visit(site, state="closed", by=office, technician=technician)
    elsewhere = make_visit(state="closed", by=office, technician=technician)
    second = make_visit(site, state="closed", by=office, technician=technician)

    assert (first.seal_number, second.seal_number, elsewhere.seal_number) == (1, 2, 1)
    assert second.previous_seal == first.seal
    assert elsewhere.previous_seal == NOTHING_BEFORE


@pytest.mark.django_db(transaction=True)
def test_two_closings_at_once_make_one_seal_each_in_one_chain():
    """Two visits of one site and one visit twice: three threads, two seals, one refusal."""
    office, technician = make_office(), make_technician()
    site = make_site(zones=1)
    visits = [
        make_visit(site, state="under_way", by=office, technician=technician) for _ in range(2)
    ]
    barrier, refused = Barrier(3), []

    def go(visit: Visit) -> None:
        try:
            barrier.wait(10)
            close(visit, contact=NOBODY)
        except Refused as refusal:
            refused.append(refusal.code)
        finally:
            connections.close_all()

    threads = [Thread(target=go, args=(visit,)) for visit in (*visits, visits[0])]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)

    sealed = list(Visit.objects.filter(site=site).order_by("seal_number"))
    assert [one.seal_number for one in sealed] == [1, 2]
    assert [one.previous_seal for one in sealed] == [NOTHING_BEFORE, sealed[0].seal]
    assert refused == ["visit_closed"]
