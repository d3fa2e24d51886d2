"""Months judged, and alarms kept in step with them."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import DatabaseError, connection
from django.test.utils import CaptureQueriesContext

from accounts.models import TrailEntry
from compliance.models import Alarm, JudgedMonth, PlaceMonth, SiteCounted, TrendReview
from compliance.queries.counts import company_columns
from compliance.services.counting import count_sites
from compliance.services.judging import judge_months
from compliance.trends.charts import alarm_counts, centres
from compliance.trends.exposure import ReadingFacts, columns_of, exposed
from compliance.trends.judge import judge
from sites.models import Monitor
from tests.builders.accounts import make_office
from tests.builders.compliance import make_counts, make_monthly_counts
from tests.builders.sites import make_monitor, make_site, make_zone
from visits.models import Pest, Reading, ReadingCount

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
NOVEMBER, OCTOBER, SEPTEMBER = (date(2026, month, 1) for month in (11, 10, 9))
PEST = "german-cockroach"


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


def make_trap(**fields) -> Monitor:
    """A trap that has stood for three years."""
    return make_monitor(make_zone(make_site(**fields)), placed_on=date(2023, 11, 1))


@pytest.fixture
def trap() -> Monitor:
    return make_trap()


def counted(trap: Monitor, *counts: int, judged_at: datetime | None = NOW) -> None:
    """Counts of the months up to November 2026."""
    make_monthly_counts(trap, PEST, counts, last=date(2026, 11, 20), judged_at=judged_at)


def corrected(trap: Monitor, month: date, count: int) -> None:
    """The count of one month put right in a later spreadsheet."""
    make_counts(trap.site, {trap: {month.replace(day=20): {PEST: count}}})


def judged_months() -> set[date]:
    return set(JudgedMonth.objects.values_list("month", flat=True))


def explain(alarm: Alarm, *, set_aside: bool = False, at: datetime = NOW) -> None:
    """As a signed review leaves it."""
    review = TrendReview.objects.create(
        site=alarm.site,
        quarter=date(2026, 10, 1),
        seen="More.",
        plan="Look.",
        signed_by=make_office(),
        signed_name="A",
        signed_role="B",
        competence="C",
        signed_at=at,
        zone="UTC",
        content="{}",
        content_hash="0",
        method="password",
    )
    alarm.state, alarm.review, alarm.explanation = Alarm.State.EXPLAINED, review, "A delivery."
    alarm.set_aside = set_aside
    alarm.save()


class TestAlarms:
    def test_a_rise_is_an_alarm_where_and_when_it_was(self, trap):
        counted(trap, *[0] * 20, 9)
        alarm = Alarm.objects.get()
        assert (alarm.site, alarm.zone, alarm.pest.slug) == (trap.site, trap.zone, PEST)
        assert (alarm.month, alarm.state, alarm.raised_at) == (NOVEMBER, "open", NOW)
        assert alarm.words.startswith("9 ")
        assert alarm.pointers == [
            {"monitor": str(trap.pk), "count": 9, "exposure": 31.0, "expected": 0.0}
        ]
        assert JudgedMonth.objects.get(month=NOVEMBER).alarms == 1
        facts = TrailEntry.objects.get(verb="alarms.kept").facts
        assert facts == {"month": "2026-11-01", "raised": 1, "raised_again": 0, "gone": 0}

    def test_what_is_as_usual_is_none(self, trap):
        counted(trap, *[3, 4, 2] * 7, 4)
        assert not Alarm.objects.exists()
        assert PlaceMonth.objects.get(month=NOVEMBER).state == PlaceMonth.State.CALM

    def test_it_names_the_five_monitors_to_look_at_first(self, trap):
        traps = [trap, *(make_monitor(trap.zone, placed_on=trap.placed_on) for _ in range(6))]
        days = [date(2026 - n // 12, 12 - n % 12, 5) for n in range(1, 21)]
        make_counts(
            trap.site,
            {
                one: {day: {PEST: number + 1} if day == days[0] else {} for day in days}
                for number, one in enumerate(traps)
            },
            judged_at=NOW,
        )
        (alarm,) = Alarm.objects.all()
        named = [one["monitor"] for one in alarm.pointers]
        assert named == [str(one.pk) for one in reversed(traps[2:])]

    def test_a_house_of_several_zones_is_judged_as_well(self, trap):
        for n in range(5):
            other = make_monitor(make_zone(trap.site), placed_on=trap.placed_on)
            counted(other, *[0] * 20, 1 + n % 2, judged_at=None)
        counted(trap, *[0] * 20, 1)
        alarm = Alarm.objects.get(zone=None)
        assert (alarm.site, alarm.month) == (trap.site, NOVEMBER)

    def test_it_goes_with_readings_that_were_wrong_and_comes_again(self, trap):
        counted(trap, *[0] * 20, 9)
        corrected(trap, NOVEMBER, 0)
        later = NOW + timedelta(hours=1)
        assert judge_months(now=later) == 2
        alarm = Alarm.objects.get()
        assert (alarm.state, alarm.gone_at) == (Alarm.State.GONE, later)
        corrected(trap, NOVEMBER, 12)
        judge_months(now=later + timedelta(hours=1))
        alarm.refresh_from_db()
        assert (alarm.state, alarm.gone_at, alarm.raised_at) == (Alarm.State.OPEN, None, NOW)
        assert alarm.words.startswith("12 ")

    def test_what_a_review_explained_is_left_alone(self, trap):
        counted(trap, *[0] * 20, 9)
        explain(Alarm.objects.get())
        for count in (0, 12):
            corrected(trap, NOVEMBER, count)
            judge_months(now=NOW)
            alarm = Alarm.objects.get()
            assert (alarm.state, alarm.explanation) == (Alarm.State.EXPLAINED, "A delivery.")
            assert alarm.words.startswith("9 ")

    def test_one_that_still_stands_is_told_once(self, trap):
        counted(trap, *[0] * 20, 9)
        corrected(trap, NOVEMBER, 12)
        judge_months(now=NOW)
        assert Alarm.objects.get().words.startswith("12 ")
        assert TrailEntry.objects.filter(verb="alarms.kept").count() == 1

    def test_an_outbreak_set_aside_is_not_usual(self, trap):
        counted(trap, *[0] * 18, 9, 0, 0)
        assert PlaceMonth.objects.get(month=NOVEMBER).centre > 0
        explain(Alarm.objects.get(month=SEPTEMBER), set_aside=True, at=NOW + timedelta(hours=1))
        assert judge_months(now=NOW + timedelta(hours=2)) == 2
        assert PlaceMonth.objects.get(month=NOVEMBER).centre == 0
        assert judge_months(now=NOW + timedelta(hours=3)) == 0


class TestPlaces:
    def test_a_row_says_what_the_pure_core_says(self, trap):
        counts = [2, 0, 1, 3, 0, 0, 1, 2, 0, 1, 0, 4, 1, 0, 2]
        counted(trap, *counts)
        days = list(Reading.objects.order_by("read_on").values_list("read_on", "stood_days"))
        facts = [
            ReadingFacts(
                monitor=str(trap.pk),
                zone=str(trap.zone_id),
                site=str(trap.site_id),
                kind=trap.kind,
                pest=PEST,
                read_on=day,
                stood_days=stood,
                condition="sound",
                count=count,
            )
            for (day, stood), count in zip(days, counts, strict=True)
        ]
        expected = judge(
            columns_of(exposed(facts), first=(2022, 1)),
            (2026, 11),
            kind_of_zone={str(trap.zone_id): trap.zone.kind},
        )
        (finding,) = expected.findings
        row = PlaceMonth.objects.get(month=NOVEMBER)
        assert (row.zone, row.count, row.half_days, row.readings) == (trap.zone, 2, 62, 1)
        assert (row.words, row.state) == (finding.words, finding.state)
        assert row.allows == pytest.approx(finding.allows)
        assert row.k == pytest.approx(finding.k)
        assert row.chance == pytest.approx(finding.chance)
        assert row.adjusted == pytest.approx(finding.adjusted)
        assert row.alarm_at == alarm_counts(expected)[0]
        assert row.centre == pytest.approx(centres(expected)[0])
        assert row.compared["before_months"] == 14

    def test_one_that_nobody_could_look_at_is_not_read(self, trap):
        counted(trap, *[1] * 14, judged_at=None)
        Reading.objects.filter(read_on=date(2026, 11, 20)).update(condition="missing")
        count_sites()
        judge_months(now=NOW)
        row = PlaceMonth.objects.get(month=NOVEMBER)
        assert (row.state, row.half_days, row.allows) == ("not_read", 0, None)

    def test_a_full_trap_allows_any_rate(self, trap):
        counted(trap, *[1] * 14, judged_at=None)
        Reading.objects.filter(read_on=date(2026, 11, 20)).update(condition="full")
        count_sites()
        judge_months(now=NOW)
        row = PlaceMonth.objects.get(month=NOVEMBER)
        assert (row.at_least, row.allows) == (True, None)

    def test_a_short_past_is_not_yet_known(self, trap):
        counted(trap, *[1] * 5)
        row = PlaceMonth.objects.get(month=NOVEMBER)
        assert (row.state, row.centre, row.alarm_at) == ("not_yet_known", None, None)


class TestWhichMonths:
    def test_two_years_at_most(self, trap):
        counted(trap, *[1] * 30)
        assert len(judged_months()) == 25
        assert min(judged_months()) == date(2024, 11, 1)

    def test_nothing_twice(self, trap):
        counted(trap, *[1] * 14)
        assert judge_months(now=NOW) == 0

    def test_from_the_month_that_changed(self, trap):
        counted(trap, *[1] * 14)
        JudgedMonth.objects.update(judged_at=NOW - timedelta(days=1))
        corrected(trap, SEPTEMBER, 2)
        assert judge_months(now=NOW) == 3
        judged = JudgedMonth.objects.filter(judged_at=NOW).values_list("month", flat=True)
        assert set(judged) == {SEPTEMBER, OCTOBER, NOVEMBER}

    def test_the_one_before_as_well_as_the_present(self, trap):
        counted(trap, *[1] * 14)
        corrected(trap, NOVEMBER, 2)
        assert judge_months(now=NOW) == 2

    def test_a_month_that_has_just_begun(self, trap):
        counted(trap, *[1] * 14)
        assert judge_months(now=datetime(2026, 12, 1, 0, 5, tzinfo=UTC)) == 1
        assert PlaceMonth.objects.get(month=date(2026, 12, 1)).state == "not_read"

    def test_months_that_nobody_was_there_to_judge(self, trap):
        counted(trap, *[1] * 14)
        assert judge_months(now=datetime(2027, 2, 3, tzinfo=UTC)) == 3
        assert max(judged_months()) == date(2027, 2, 1)

    def test_it_begins_by_the_clock_of_the_sites(self):
        trap = make_trap(time_zone="Pacific/Auckland")
        counted(trap, *[1] * 14, judged_at=datetime(2026, 11, 30, 12, tzinfo=UTC))
        assert max(judged_months()) == date(2026, 12, 1)

    def test_or_of_the_company_where_they_differ(self, trap):
        make_trap(time_zone="Pacific/Auckland")
        counted(trap, *[1] * 14, judged_at=datetime(2026, 11, 30, 12, tzinfo=UTC))
        assert max(judged_months()) == NOVEMBER

    def test_none_where_nothing_was_ever_read(self, trap):
        count_sites()
        assert judge_months(now=NOW) == 0
        assert not judged_months()

    def test_all_is_gone_when_all_readings_are(self, trap):
        counted(trap, *[0] * 20, 9)
        ReadingCount.objects.all().delete()
        Reading.objects.all().delete()
        count_sites()
        judge_months(now=NOW)
        assert not PlaceMonth.objects.exists()
        assert Alarm.objects.get().state == Alarm.State.GONE


class TestInterrupted:
    def test_counts_that_change_meanwhile_are_judged_by_the_next_turn(self, trap):
        counted(trap, *[0] * 20, 9, judged_at=None)
        changes = iter([lambda: corrected(trap, NOVEMBER, 0)])

        def change_once_read(execute, sql, params, many, context):
            answer = execute(sql, params, many, context)
            if "FROM compliance_monthcount" in sql:
                for change in changes:
                    change()
            return answer

        with connection.execute_wrapper(change_once_read):
            assert judge_months(now=NOW) == 0
        assert not judged_months()
        assert judge_months(now=NOW) > 1
        assert not Alarm.objects.exists()

    def test_a_run_that_breaks_off_leaves_whole_months_and_the_rest_to_do(self, trap):
        counted(trap, *[0] * 20, 9, judged_at=None)
        written = iter(range(100))

        def fill_the_disk(execute, sql, params, many, context):
            if sql.startswith('INSERT INTO "compliance_placemonth"') and next(written) == 3:
                raise DatabaseError("disk full")
            return execute(sql, params, many, context)

        with connection.execute_wrapper(fill_the_disk), pytest.raises(DatabaseError):
            judge_months(now=NOW)
        assert len(judged_months()) == PlaceMonth.objects.count() == 3
        assert SiteCounted.objects.get().changed_from is not None
        assert judge_months(now=NOW) == 21
        assert Alarm.objects.get().month == NOVEMBER


class TestColumns:
    def test_they_name_keys_and_slugs(self, trap):
        counted(trap, 1, 2, judged_at=None)
        columns = company_columns((2026, 9), (2026, 12))
        assert columns.monitors == (str(trap.pk),)
        assert columns.zones == (str(trap.zone_id),)
        assert columns.sites == (str(trap.site_id),)
        assert columns.pests == (PEST,)
        assert columns.months == ((2026, 9), (2026, 10), (2026, 11), (2026, 12))
        assert columns.month_index.tolist() == [1, 2]
        assert columns.count.tolist() == [1, 2]
        assert columns.exposure.tolist()[1] == 31.0

    def test_months_outside_are_left_out(self, trap):
        counted(trap, 1, 2, 3, judged_at=None)
        assert company_columns((2026, 10), (2026, 10)).count.tolist() == [2]

    def test_several_sites_stay_apart(self):
        traps = [make_trap() for _ in range(3)]
        for number, one in enumerate(traps):
            counted(one, number, judged_at=None)
        columns = company_columns((2026, 11), (2026, 11))
        found = {
            columns.zones[zone]: (columns.sites[columns.site_of_zone[zone]], count)
            for zone, count in zip(columns.zone_index.tolist(), columns.count.tolist(), strict=True)
        }
        assert found == {
            str(one.zone_id): (str(one.site_id), number) for number, one in enumerate(traps)
        }


def test_queries_grow_with_months_alone(trap):
    counted(trap, *[1] * 14, judged_at=None)
    with CaptureQueriesContext(connection) as few:
        judge_months(now=NOW)
    for _ in range(5):
        counted(make_trap(), *[2, 0] * 7, judged_at=None)
    Pest.objects.get(slug=PEST)
    with CaptureQueriesContext(connection) as many:
        assert judge_months(now=NOW) == 14
    assert PlaceMonth.objects.count() == 6 * 14
    assert len(many) <= len(few)
