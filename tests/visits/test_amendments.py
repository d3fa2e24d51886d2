"""A correction stands beside the sealed words, signed and sealed itself."""

import pytest

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable, WrongState
from accounts.sealing import chained
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.visits import local, make_visit
from visits.models import Amendment
from visits.services.amendments import amend_visit

pytestmark = pytest.mark.django_db

WORDS = {"about": "Monitor 12", "correction": "It was read: nothing.", "reason": "Missed a tap."}


@pytest.fixture
def visit(office, technician):
    return make_visit(state="closed", zones=1, by=office, technician=technician)


def test_an_amendment_is_chained_to_the_seal_and_the_next_one_to_it(visit, office, technician):
    sealed = visit.sealed_record

    first = amend_visit(visit.pk, by=technician, at=local(visit, 15), **WORDS)
    second = amend_visit(visit.pk, by=office, **WORDS)

    assert (first.number, second.number) == (1, 2)
    assert (first.previous_seal, second.previous_seal) == (visit.seal, first.seal)
    assert first.seal == chained(visit.seal, first.sealed_record)
    visit.refresh_from_db()
    assert visit.sealed_record == sealed


def test_the_trail_says_who_amended_what(visit, office):
    amendment = amend_visit(visit.pk, by=office, at=local(visit, 15), **WORDS)

    entry = TrailEntry.objects.get(verb="visit.amended")
    assert (entry.actor, entry.at) == (office, local(visit, 15))
    assert entry.facts["seal"] == amendment.seal
    assert entry.stream_id == f"site:{visit.site_id}"


@pytest.mark.parametrize("person", [make_technician, make_manager, make_auditor])
def test_nobody_but_the_office_and_its_technician_amends(visit, person):
    with pytest.raises(NotAllowed):
        amend_visit(visit.pk, by=person(), **WORDS)

    assert not Amendment.objects.exists()


def test_a_visit_that_is_not_closed_is_not_amended():
    visit = make_visit(state="under_way")

    with pytest.raises(WrongState):
        amend_visit(visit.pk, by=make_office(), **WORDS)


@pytest.mark.parametrize("left_out", WORDS)
def test_every_word_is_needed(visit, office, left_out):
    with pytest.raises(Unusable) as refusal:
        amend_visit(visit.pk, by=office, **{**WORDS, left_out: "  "})

    assert refusal.value.facts["field"] == left_out
    assert not Amendment.objects.exists()
