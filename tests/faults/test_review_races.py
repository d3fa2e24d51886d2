"""Two people sign at once, or one signs while months are judged: each alarm is explained once."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from accounts.models import TrailEntry
from accounts.services.competences import add_competence
from compliance.models import Alarm, SiteCounted, TrendReview
from compliance.quarters import Quarter
from compliance.queries.reviews import review_sheet
from compliance.services.counting import count_sites
from compliance.services.judging import judge_months
from compliance.services.signing import Proof
from compliance.services.trend_reviews import (
    Explained,
    SheetMoved,
    broken_reviews,
    sign_review,
)
from tests.builders.accounts import make_office
from tests.builders.compliance import make_monthly_counts
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_competence_kind
from tests.faults.test_compliance_races import at_once, refusals
from visits.models import ReadingCount

pytestmark = pytest.mark.django_db(transaction=True)

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
SUMMER = Quarter(date(2026, 7, 1))


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def alarm() -> Alarm:
    """An open alarm of September 2026 at a site of one trap."""
    trap = make_monitor(make_zone(make_site()), placed_on=date(2023, 11, 1))
    make_monthly_counts(
        trap, "german-cockroach", [*[0] * 14, 9], last=date(2026, 9, 20), judged_at=NOW
    )
    return Alarm.objects.get(month=date(2026, 9, 1))


def signing(alarm, *, seen="A nest.", by=None):
    """What a page that was read before the race sends."""
    person = by or competent()
    site = alarm.site
    shown = review_sheet(site, SUMMER).hash
    return lambda: sign_review(
        site.pk,
        SUMMER,
        by=person,
        seen=seen,
        cause="",
        plan="Gel.",
        explained={alarm.pk: Explained("A nest in the motor housing.")},
        shown_hash=shown,
        proof=Proof("password"),
        at=NOW,
    )


def competent():
    person = make_office()
    kind = make_competence_kind()
    add_competence(person.pk, by=person, kind=kind, valid_from=date(2026, 1, 1))
    return person


def test_of_two_who_explain_one_alarm_at_once_one_reads_the_figures_again(alarm):
    answers = at_once(signing(alarm), signing(alarm, seen="A nest, found late."))

    assert refusals(answers) == [SheetMoved]
    alarm.refresh_from_db()
    assert alarm.review == TrendReview.objects.get()
    assert TrailEntry.objects.filter(verb="trend_review.signed").count() == 1


def test_one_review_sent_four_times_at_once_is_one(alarm):
    sent = signing(alarm)

    answers = at_once(*[sent] * 4)

    assert {one.pk for one in answers} == {TrendReview.objects.get().pk}
    assert TrailEntry.objects.filter(verb="trend_review.signed").count() == 1


def test_an_alarm_is_explained_or_taken_back_and_never_half_of_each(alarm):
    ReadingCount.objects.filter(count=9).update(count=0)
    SiteCounted.objects.update(fingerprint="")
    count_sites(everything=True)

    answers = at_once(signing(alarm), lambda: judge_months(now=NOW))

    alarm.refresh_from_db()
    if refusals(answers):
        assert refusals(answers) == [SheetMoved]
        assert (alarm.state, alarm.review, alarm.explanation) == ("gone", None, "")
        assert not TrendReview.objects.exists()
    else:
        assert (alarm.state, alarm.gone_at) == ("explained", None)
        assert alarm.review == TrendReview.objects.get()
    assert not list(broken_reviews())
