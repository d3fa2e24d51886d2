"""Thresholds reached, alarms and reviews due are flagged together, and say which they are."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.models import ActionThreshold, Alarm, Flag, TrendReview
from compliance.queries import causes
from compliance.queries.flags import GROUPS
from compliance.queries.today import today_of
from compliance.services.flags import reconcile_flags
from compliance.services.thresholds import answer_breach, find_breaches
from sites.models import Site
from tests.builders.accounts import make_office
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.thresholds import catch, make_threshold, pest
from visits.models import Reading

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
TODAY = date(2026, 3, 10)
EVER = date(2020, 1, 1)
FEBRUARY = date(2026, 2, 1)
Kind = Flag.Kind


@pytest.fixture(autouse=True)
def _no_usual_thresholds():
    ActionThreshold.objects.all().delete()


@pytest.fixture
def trap():
    return make_monitor(make_zone(make_site(name="Harbour Grand"), name="Bakery"))


def flagged(kind: str, *, now: datetime = NOON) -> list[Flag]:
    reconcile_flags(now=now)
    found = Flag.objects.exclude(state=Flag.State.CLEARED).filter(kind=kind)
    return list(found.order_by("sentence"))


def make_alarm(site: Site, zone=None, *, slug: str = "house-mouse", month: date = FEBRUARY):
    return Alarm.objects.create(
        site=site,
        zone=zone,
        pest=pest(slug),
        month=month,
        words="12 in 300 trap-days, where 3 are usual.",
        chance=0.001,
        raised_at=NOON,
    )


# --- thresholds ---------------------------------------------------------------------------------


def test_a_bad_month_is_one_flag_that_says_what_it_was_compared_with(trap):
    make_threshold(begins_on=EVER)
    make_threshold(begins_on=EVER, name="Three mice", least=3)
    for days in range(5):
        catch(trap, TODAY - timedelta(days=days), 1)
    find_breaches(now=NOON)

    (flag,) = flagged(Kind.THRESHOLD_BREACHED)
    assert flag.sentence == (
        "House mouse in Bakery at Harbour Grand, Tue 10 Mar 2026, 5 times since Fri 6 Mar 2026. "
        "Action threshold reached, Any mouse: 1 at one reading; to act from 1."
    )
    assert flag.late_since == TODAY - timedelta(days=4)
    assert flag.link == f"{reverse('compliance:breaches')}?site={trap.site_id}&pest=house-mouse"


def test_each_pest_and_zone_has_a_flag_of_its_own_until_it_is_answered(trap):
    make_threshold(begins_on=EVER, group="rodent", pest_id=None)
    other = make_monitor(make_zone(trap.site))
    for monitor, slug in [(trap, "house-mouse"), (trap, "brown-rat"), (other, "house-mouse")]:
        catch(monitor, TODAY, slug=slug)
    find_breaches(now=NOON)
    assert len(flagged(Kind.THRESHOLD_BREACHED)) == 3

    for breach in trap.breaches.all():
        answer_breach(breach.pk, by=make_office(), answer="The door was closed.")
    assert len(flagged(Kind.THRESHOLD_BREACHED)) == 1


def test_several_traps_of_one_day_are_counted_without_a_beginning(trap):
    make_threshold(begins_on=EVER)
    for monitor in (trap, make_monitor(trap.zone)):
        catch(monitor, TODAY)
    find_breaches(now=NOON)
    (flag,) = flagged(Kind.THRESHOLD_BREACHED)
    assert "Tue 10 Mar 2026, 2 times. Action threshold" in flag.sentence


def test_readings_taken_back_and_a_closed_site_clear_the_flag(trap):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY)
    find_breaches(now=NOON)
    assert flagged(Kind.THRESHOLD_BREACHED)
    Site.objects.filter(pk=trap.site_id).update(closed_on=TODAY)
    assert not flagged(Kind.THRESHOLD_BREACHED)
    Site.objects.filter(pk=trap.site_id).update(closed_on=None)
    assert flagged(Kind.THRESHOLD_BREACHED)
    catch(trap, TODAY, 0)
    find_breaches(now=NOON)
    assert not flagged(Kind.THRESHOLD_BREACHED)


# --- alarms -------------------------------------------------------------------------------------


def test_the_alarm_of_a_zone_and_of_its_site_are_one_flag(trap):
    make_alarm(trap.site, trap.zone)
    make_alarm(trap.site)

    (flag,) = flagged(Kind.TREND_ALARM)
    assert flag.sentence == (
        "Statistical alarm: House mouse in Bakery at Harbour Grand, February 2026. "
        "12 in 300 trap-days, where 3 are usual."
    )
    assert flag.link == reverse(
        "compliance:zone_trend", args=[trap.site_id, "house-mouse", trap.zone_id]
    )
    assert flag.late_since == date(2026, 3, 1)


def test_several_zones_lead_to_the_whole_site(trap):
    other = make_zone(trap.site, name="Yard")
    for zone in (trap.zone, other):
        make_alarm(trap.site, zone)
    (flag,) = flagged(Kind.TREND_ALARM)
    assert "House mouse in Bakery, Yard at Harbour Grand, February 2026. " in flag.sentence
    assert flag.link == reverse("compliance:place_trend", args=[trap.site_id, "house-mouse"])


def test_an_alarm_of_the_site_alone_names_no_zone(trap):
    make_alarm(trap.site)
    (flag,) = flagged(Kind.TREND_ALARM)
    assert "House mouse in Harbour Grand, February 2026. " in flag.sentence


def test_month_after_month_is_one_flag_and_tells_the_latest(trap):
    other = make_zone(trap.site)
    make_alarm(trap.site, other, month=date(2025, 12, 1))
    make_alarm(trap.site, month=date(2026, 1, 1))
    make_alarm(trap.site, trap.zone)
    make_alarm(trap.site)
    (flag,) = flagged(Kind.TREND_ALARM)
    assert "Bakery at Harbour Grand, February 2026, as each month since December" in flag.sentence
    assert flag.late_since == date(2026, 1, 1)
    assert len(flag.subject) <= 80


def test_apart_by_a_calm_month_by_pest_and_by_site_and_gone_ones_not(trap):
    make_alarm(trap.site)
    make_alarm(trap.site, month=date(2025, 12, 1))
    make_alarm(trap.site, slug="brown-rat")
    make_alarm(make_site())
    Alarm.objects.filter(pk=make_alarm(make_site()).pk).update(state="gone", gone_at=NOON)
    assert len(flagged(Kind.TREND_ALARM)) == 4


# --- reviews ------------------------------------------------------------------------------------


def read(trap, on: date) -> Reading:
    return catch(trap, on, 0, source=Reading.Source.HAND)


def make_review(site: Site, quarter: date) -> TrendReview:
    person = make_office()
    return TrendReview.objects.create(
        site=site,
        quarter=quarter,
        seen="Calm.",
        plan="Carry on.",
        signed_by=person,
        signed_name=person.name,
        signed_role="Office",
        competence="Licence",
        signed_at=NOON,
        zone="Europe/London",
        content="{}",
        content_hash="0" * 64,
        method="password",
    )


@pytest.mark.parametrize(
    ("day", "flags"), [(date(2026, 4, 30), 0), (date(2026, 5, 1), 1), (date(2027, 1, 31), 1)]
)
def test_a_review_is_due_thirty_days_after_a_quarter_with_readings(trap, day, flags):
    """1 April is the day after the quarter; 1 May is the thirty-first."""
    read(trap, date(2026, 3, 31))
    now = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    found = flagged(Kind.TREND_REVIEW_DUE, now=now)
    assert len(found) == flags


def test_the_oldest_quarter_is_named_and_a_review_answers_it(trap):
    read(trap, date(2025, 11, 3))
    read(trap, date(2026, 2, 3))
    now = datetime(2026, 5, 20, 12, tzinfo=UTC)

    (flag,) = flagged(Kind.TREND_REVIEW_DUE, now=now)
    assert flag.sentence == (
        "Harbour Grand: no signed trend review of quarter 4 of 2025, nor of the one after it, "
        "though monitors were read."
    )
    assert flag.late_since == date(2026, 1, 31)
    assert flag.link == reverse("compliance:trend_reviews", args=[trap.site_id])

    make_review(trap.site, date(2025, 10, 1))
    (flag,) = flagged(Kind.TREND_REVIEW_DUE, now=now)
    assert "no signed trend review of quarter 1 of 2026, though" in flag.sentence
    make_review(trap.site, date(2026, 1, 1))
    assert not flagged(Kind.TREND_REVIEW_DUE, now=now)


def test_what_was_typed_off_from_before_asks_for_no_review(trap):
    catch(trap, date(2026, 2, 3), 1)
    assert not flagged(Kind.TREND_REVIEW_DUE, now=datetime(2026, 5, 20, 12, tzinfo=UTC))


def test_nothing_older_than_four_quarters_is_asked_for(trap):
    read(trap, date(2025, 3, 31))
    assert flagged(Kind.TREND_REVIEW_DUE, now=datetime(2026, 3, 10, 12, tzinfo=UTC))
    assert not flagged(Kind.TREND_REVIEW_DUE, now=datetime(2026, 5, 1, 12, tzinfo=UTC))


# --- all of them --------------------------------------------------------------------------------


def test_they_are_alarming_and_the_office_finds_them_today(trap):
    (alarming,) = (group for group in GROUPS if group.key == "alarming")
    assert {Kind.THRESHOLD_BREACHED, Kind.TREND_ALARM, Kind.TREND_REVIEW_DUE} <= {*alarming.kinds}

    make_alarm(trap.site)
    reconcile_flags(now=NOON)
    (part,) = (one for one in today_of(make_office()) if one.group.key == "alarming")
    assert [flag.kind for flag in part.flags] == [Kind.TREND_ALARM]


@pytest.mark.parametrize(
    "find", [causes.thresholds_breached, causes.trend_alarms, causes.trend_reviews_due]
)
def test_each_takes_one_query_however_much_there_is(find):
    make_threshold(begins_on=EVER)
    for _ in range(3):
        trap = make_monitor(make_zone(make_site()))
        catch(trap, TODAY)
        read(trap, date(2025, 11, 3))
        make_alarm(trap.site, trap.zone)
    find_breaches(now=NOON)
    moment = causes.Moment(NOON)
    assert moment.company_day == TODAY
    with CaptureQueriesContext(connection) as asked:
        assert len(list(find(moment))) == 3
    assert len(asked) == 1
