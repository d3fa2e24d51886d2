"""Sweeps and people at the same moment: a breach is found once, answered once, followed up once."""

from datetime import UTC, date, datetime

import pytest

from accounts.models import TrailEntry
from accounts.refusals import WrongState
from compliance.models import ActionThreshold, Breach, CorrectiveAction
from compliance.services.thresholds import answer_breach, end_threshold, find_breaches
from tests.builders.accounts import make_office
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.thresholds import catch, make_threshold
from tests.faults.test_compliance_races import at_once, refusals
from visits.models import Visit

pytestmark = pytest.mark.django_db(transaction=True)

NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
TODAY = date(2026, 3, 10)
EVER = date(2020, 1, 1)


@pytest.fixture
def traps():
    """Two traps in one zone and one in another; only what a test sets is held against them."""
    ActionThreshold.objects.all().delete()
    site = make_site()
    zone = make_zone(site)
    found = [make_monitor(zone), make_monitor(zone), make_monitor(make_zone(site))]
    for trap in found:
        catch(trap, TODAY)
    return found


def sweep() -> int:
    return find_breaches(now=NOON)


def told(verb: str) -> int:
    return TrailEntry.objects.filter(verb=verb).count()


def test_four_sweeps_at_once_find_each_breach_once(traps):
    make_threshold(begins_on=EVER)
    assert sum(at_once(*[sweep] * 4)) == 3
    assert (Breach.objects.count(), told("breach.reached")) == (3, 3)


def test_four_sweeps_at_once_raise_one_action_for_each_zone(traps):
    make_threshold(begins_on=EVER, then="action")
    at_once(*[sweep] * 4)
    assert CorrectiveAction.objects.count() == 2
    assert Breach.objects.filter(action=None).count() == 0
    assert told("breach.action_raised") == 3


def test_four_sweeps_at_once_plan_one_follow_up_for_the_site(traps):
    make_threshold(begins_on=EVER, then="follow_up")
    at_once(*[sweep] * 4)
    assert Visit.objects.count() == 1
    assert Breach.objects.filter(follow_up=None).count() == 0


def test_two_answers_at_once_are_one_and_a_refusal(traps):
    make_threshold(begins_on=EVER)
    sweep()
    breach = Breach.objects.filter(monitor=traps[0]).get()
    first, second = make_office(), make_office()
    answers = at_once(
        lambda: answer_breach(breach.pk, by=first, answer="Shut.", with_the_rest=True),
        lambda: answer_breach(breach.pk, by=second, answer="Swept.", with_the_rest=True),
    )
    assert refusals(answers) == [WrongState]
    assert Breach.objects.filter(state="answered").count() == 2
    assert told("breach.answered") == 2


def test_an_answer_and_a_correction_at_once_leave_one_of_the_two(traps):
    make_threshold(begins_on=EVER)
    sweep()
    breach = Breach.objects.filter(monitor=traps[0]).get()
    catch(traps[0], TODAY, 0)
    person = make_office()
    answers = at_once(lambda: answer_breach(breach.pk, by=person, answer="Shut."), sweep)
    breach.refresh_from_db()
    if refusals(answers):
        assert (breach.state, told("breach.answered")) == ("gone", 0)
    else:
        assert (breach.state, told("breach.gone")) == ("answered", 0)


def test_ended_by_two_at_once_is_ended_once(traps):
    made = make_threshold(traps[0].zone)
    people = make_office(), make_office()
    at_once(*[lambda one=one: end_threshold(made.pk, by=one) for one in people])
    assert told("threshold.ended") == 1
