"""Two people at once on what follows from a treatment: one of them is first, nothing is doubled."""

from datetime import date

import pytest

from accounts.models import TrailEntry
from accounts.refusals import WrongState
from tests.builders.accounts import make_office
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import local, make_product, make_visit, treatment_given
from tests.faults.test_compliance_races import at_once, refusals
from visits.models import FollowUp, Visit
from visits.services.closing import close_visit
from visits.services.follow_ups import accept_follow_up, pass_over_follow_up
from visits.services.follow_ups_proposed import propose_follow_ups_of
from visits.services.recording import ContactGiven, apply_treatment

pytestmark = pytest.mark.django_db(transaction=True)

NOBODY = ContactGiven(no_signature_reason="Nobody was there.")


def under_way() -> Visit:
    """A visit on which gel was placed in a way that its label does not name."""
    visit = make_visit(make_site(), state=Visit.State.UNDER_WAY, due_on=date(2026, 10, 6))
    apply_treatment(
        visit.pk,
        by=visit.technician,
        at=local(visit, 9, 30),
        treatment=treatment_given(
            make_zone(visit.site),
            make_product(methods=["spot"]),
            started_at=local(visit, 9, 30),
        ),
    )
    return visit


def close(visit: Visit) -> Visit:
    return close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=NOBODY,
    )


def test_two_accept_at_once_and_one_visit_comes_of_it():
    visit = close(under_way())
    one = FollowUp.objects.get(visit=visit)
    people = [make_office(), make_office()]

    answers = at_once(*(lambda by=by: accept_follow_up(one.pk, by=by) for by in people))

    assert refusals(answers) == [WrongState]
    assert Visit.objects.filter(follows=visit).count() == 1
    assert TrailEntry.objects.filter(verb="follow_up.accepted").count() == 1


def test_accepted_and_passed_over_at_once_one_answer_stands():
    one = FollowUp.objects.get(visit=close(under_way()))
    people = [make_office(), make_office()]

    answers = at_once(
        lambda: accept_follow_up(one.pk, by=people[0]),
        lambda: pass_over_follow_up(one.pk, by=people[1], reason="Torn out."),
    )

    assert refusals(answers) == [WrongState]
    one.refresh_from_db()
    assert (one.state == FollowUp.State.ACCEPTED) == (one.booked is not None)


def test_a_visit_closed_twice_at_once_is_judged_and_followed_up_once():
    visit = under_way()

    answers = at_once(lambda: close(visit), lambda: close(visit))

    assert refusals(answers) == [WrongState]
    visit.refresh_from_db()
    assert visit.treatments.get().was_forbidden
    assert FollowUp.objects.filter(visit=visit).count() == 1
    assert TrailEntry.objects.filter(verb="visit.closed", target_id=str(visit.pk)).count() == 1


def test_proposing_from_three_jobs_at_once_proposes_once():
    visit = close(under_way())
    FollowUp.objects.all().delete()

    answers = at_once(*[lambda: propose_follow_ups_of(visit.pk)] * 3)

    assert sorted(answers) == [0, 0, 1]
    assert FollowUp.objects.filter(visit=visit).count() == 1
