"""What a site file says of monitors and trends, from what is on record."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from accounts.sealing import canonical, digest
from compliance.models import ActionThreshold, Alarm, Breach, PlaceMonth, TrendReview
from compliance.queries.site_file_trends import trends_of
from compliance.sitefile.content import Trends
from sites.models import Site, Zone
from tests.builders.accounts import make_office
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.compliance.test_trend_plan import counted, month_of
from visits.models import Pest

pytestmark = pytest.mark.django_db

FIRST, LAST = date(2026, 8, 15), date(2026, 10, 31)
AUGUST, OCTOBER = date(2026, 8, 1), date(2026, 10, 1)
AT = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def pest() -> Pest:
    return Pest.objects.get(slug="german-cockroach")


@pytest.fixture
def zone() -> Zone:
    return make_zone(make_site(), name="Kitchen")


def alarm(zone: Zone, pest: Pest, **facts: Any) -> Alarm:
    return Alarm.objects.create(
        **{
            "site": zone.site,
            "zone": zone,
            "pest": pest,
            "month": OCTOBER,
            "words": "9 this month where about 1 was to be expected.",
            "chance": 0.0001,
            "raised_at": AT,
            **facts,
        }
    )


def breach(zone: Zone, pest: Pest, **facts: Any) -> Breach:
    threshold = ActionThreshold.objects.create(name="Any cockroach", least=1, begins_on=AUGUST)
    return Breach.objects.create(
        **{
            "threshold": threshold,
            "site": zone.site,
            "zone": zone,
            "pest": pest,
            "on": OCTOBER,
            "count": 9,
            "half_days": 60,
            "words": "30 per 100 trap-days, agreed to act from 1.",
            "raised_at": AT,
            **facts,
        }
    )


def review(site: Site, **facts: Any) -> TrendReview:
    words = {"seen": "One month stands out.", "cause": "", "plan": "The chase is sealed."}
    text = canonical({**words, "person": "Ines Prado", "number": facts.get("number", 1)})
    return TrendReview.objects.create(
        **{
            "site": site,
            "quarter": date(2026, 7, 1),
            **words,
            "signed_by": make_office(),
            "signed_name": "Ines Prado",
            "signed_role": "Field biologist",
            "competence": "Level 3 award",
            "signed_at": AT,
            "zone": "Europe/London",
            "content": text,
            "content_hash": digest(text),
            "method": "password",
            **facts,
        }
    )


def test_months_that_the_period_touches_are_whole_and_others_are_out(zone, pest):
    for month, count in ((7, 5), (8, 1), (9, 0), (10, 9), (11, 7)):
        month_of(zone, pest, date(2026, month, 1), count, 30)

    (place,) = trends_of(zone.site, FIRST, LAST).places

    assert (place.zone, place.pest) == ("Kitchen", "German cockroach")
    assert [one.month.month for one in place.months] == [8, 9, 10]
    assert [one.count for one in place.months] == [1, 0, 9]


def test_a_limit_is_the_rate_of_the_count_that_would_alarm(zone, pest):
    month_of(zone, pest, OCTOBER, 9, 30, centre=1.5, alarm_at=3, state=PlaceMonth.State.ALARM)

    (month,) = trends_of(zone.site, FIRST, LAST).places[0].months

    assert (month.limit, month.centre, month.state) == (10.0, 1.5, "alarm")


def test_a_monitor_that_watches_for_two_pests_stood_there_once(zone, pest):
    other = Pest.objects.exclude(pk=pest.pk).earliest("slug")
    monitor = make_monitor(zone)
    counted(monitor, pest, OCTOBER, 2, 30)
    counted(monitor, other, OCTOBER, 0, 30)
    counted(make_monitor(zone), pest, AUGUST, 0, 31)

    found = trends_of(zone.site, FIRST, LAST)

    assert (found.monitors, found.trap_days, found.readings) == (2, 61.0, 2)


def test_alarms_and_breaches_say_what_was_compared_and_what_came_of_it(zone, pest):
    monitor = make_monitor(zone)
    signed = review(zone.site)
    alarm(
        zone,
        pest,
        state=Alarm.State.EXPLAINED,
        review=signed,
        explanation="The oven was moved.",
        pointers=[{"monitor": str(monitor.pk), "count": 9, "exposure": 30.0, "expected": 0.2}],
    )
    breach(zone, pest, monitor=monitor, on=date(2026, 10, 3))

    found = trends_of(zone.site, FIRST, LAST)

    (told,) = found.alarms
    assert told.words == "9 this month where about 1 was to be expected."
    assert told.look_first == (f"Monitor {monitor.number}: 9",)
    assert (told.is_open, told.explanation) == (False, "The oven was moved.")
    (reached,) = found.breaches
    assert (reached.threshold, reached.monitor, reached.is_open) == (
        "Any cockroach",
        monitor.number,
        True,
    )


def test_what_later_readings_took_back_never_was(zone, pest):
    alarm(zone, pest, state=Alarm.State.GONE, gone_at=AT)
    breach(zone, pest, state=Breach.State.GONE)

    found = trends_of(zone.site, FIRST, LAST)

    assert (found.alarms, found.breaches) == ((), ())


def test_reviews_of_quarters_that_the_period_touches_stand_with_their_words(zone):
    review(zone.site)
    review(zone.site, number=2, content="Something else.")
    review(zone.site, quarter=date(2026, 4, 1))

    first, second = trends_of(zone.site, FIRST, LAST).reviews

    assert (first.title, first.seen, first.trouble) == (
        "2026, quarter 3",
        "One month stands out.",
        "",
    )
    assert second.title == "2026, quarter 3, review 2"
    assert second.trouble == "The signed text no longer fits its hash."


def test_another_sites_record_stays_out(zone, pest):
    stranger = make_zone(make_site())
    month_of(stranger, pest, OCTOBER, 9, 30)
    counted(make_monitor(stranger), pest, OCTOBER, 9, 30)
    alarm(stranger, pest)
    breach(stranger, pest)
    review(stranger.site)

    assert trends_of(zone.site, FIRST, LAST) == Trends()


@pytest.mark.parametrize("times", [1, 5])
def test_more_places_cost_the_same_queries(zone, pest, times, django_assert_num_queries):
    for _ in range(times):
        another = make_zone(zone.site)
        monitor = make_monitor(another)
        month_of(another, pest, OCTOBER, 9, 30)
        counted(monitor, pest, OCTOBER, 9, 30)
        alarm(another, pest, pointers=[{"monitor": str(monitor.pk), "count": 9}])
        breach(another, pest)
    with django_assert_num_queries(6):
        found = trends_of(zone.site, FIRST, LAST)
    assert len(found.places) == len(found.alarms) == len(found.breaches) == times
