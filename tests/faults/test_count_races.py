"""Two workers count and judge at the same moment: nothing is doubled, nothing old is left."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from compliance.models import Alarm, CountSeries, JudgedMonth, MonthCount, PlaceMonth, SiteCounted
from compliance.services.counting import count_sites
from compliance.services.judging import judge_months
from sites.models import Monitor
from tests.builders.compliance import make_monthly_counts
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.faults.test_compliance_races import at_once
from visits.models import ReadingCount

pytestmark = pytest.mark.django_db(transaction=True)

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def trap() -> Monitor:
    """A trap with a rise in November 2026, counted and not judged."""
    trap = make_monitor(make_zone(make_site()), placed_on=date(2023, 11, 1))
    counts = [*[0] * 14, 9]
    make_monthly_counts(trap, "german-cockroach", counts, last=date(2026, 11, 20))
    return trap


def test_readings_counted_at_once_are_summed_once(trap):
    CountSeries.objects.all().delete()
    SiteCounted.objects.all().delete()

    at_once(*[count_sites] * 4)

    assert CountSeries.objects.count() == 1
    assert MonthCount.objects.count() == 15
    assert count_sites() == 0


def test_months_judged_at_once_stand_once(trap):
    at_once(*[lambda: judge_months(now=NOW)] * 3)
    judge_months(now=NOW)

    assert JudgedMonth.objects.count() == PlaceMonth.objects.count() == 15
    assert Alarm.objects.get().month == date(2026, 11, 1)
    assert judge_months(now=NOW) == 0


def test_counting_and_judging_at_once_end_in_what_the_readings_say(trap):
    ReadingCount.objects.all().delete()

    at_once(count_sites, lambda: judge_months(now=NOW), lambda: judge_months(now=NOW))
    count_sites()
    judge_months(now=NOW)

    assert not Alarm.objects.filter(state=Alarm.State.OPEN).exists()
    assert set(PlaceMonth.objects.values_list("count", flat=True)) == {0}
    assert SiteCounted.objects.get().changed_from is None
