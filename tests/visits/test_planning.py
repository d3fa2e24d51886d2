"""Visits come due from service lines, and stay in step with them."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from threading import Barrier, Thread
from zoneinfo import ZoneInfo

import pytest
from django.db import connections

from accounts.models import TrailEntry
from sites.models import AccessWindow, Contract, ServiceLine, Site
from sites.services.contracts import change_contract
from tests.builders.accounts import make_office
from tests.builders.sites import make_site
from tests.builders.visits import NOW, make_contract, make_line, make_technician
from visits.models import Visit
from visits.services.booking import (
    add_visit,
    book_visit,
    call_off_visit,
    miss_visit,
    move_visit,
)
from visits.services.planning import plan_due_visits, plan_lines

pytestmark = pytest.mark.django_db


def due_days(line: ServiceLine, count: int | None = None) -> list[str]:
    days = line.visits.order_by("occurrence_on").values_list("due_on", flat=True)
    return [day.isoformat() for day in days][:count]


def windows(line: ServiceLine) -> list[tuple[str, str, str]]:
    return [
        (visit.opens_on.isoformat(), visit.due_on.isoformat(), visit.closes_on.isoformat())
        for visit in line.visits.order_by("occurrence_on")
    ]


def planned_facts() -> dict:
    return TrailEntry.objects.filter(verb="visits.planned").latest("pk").facts


class TestHorizon:
    def test_four_hundred_days_ahead_and_no_more(self, office):
        line = make_line(by=office, rule="FREQ=DAILY", first_on=date(2026, 11, 25))

        days = due_days(line)
        assert (days[0], days[-1], len(days)) == ("2026-11-25", "2027-12-30", 401)

    def test_the_year_moves_on_by_what_is_new(self, office, trail):
        line = make_line(by=office, rule="FREQ=WEEKLY;BYDAY=MO", first_on=date(2026, 11, 30))
        before = len(due_days(line))

        assert plan_due_visits(now=NOW + timedelta(days=14)) == 1

        assert len(due_days(line)) == before + 2
        assert trail()[-1] == "visits.planned"
        assert planned_facts()["planned"] == 2

    def test_what_was_over_before_it_was_agreed_is_not_planned(self, office):
        """First day in the past: the visit whose window is still open is the first."""
        line = make_line(
            by=office,
            rule="FREQ=WEEKLY;BYDAY=MO",
            first_on=date(2026, 10, 5),
            days_before=1,
            days_after=1,
        )

        assert due_days(line, 1) == ["2026-11-30"]

    def test_a_window_that_is_still_open_counts(self, office):
        line = make_line(
            by=office,
            rule="FREQ=WEEKLY;BYDAY=MO",
            first_on=date(2026, 10, 5),
            days_before=1,
            days_after=2,
            now=NOW,
        )
        wider = make_line(
            by=office,
            rule="FREQ=WEEKLY;BYDAY=TU",
            first_on=date(2026, 10, 6),
            days_before=1,
            days_after=2,
        )

        assert due_days(line, 1) == ["2026-11-23"]
        assert due_days(wider, 1) == ["2026-11-24"]


class TestDays:
    @pytest.mark.parametrize(
        ("rule", "first_on", "wanted"),
        [
            pytest.param(
                "FREQ=MONTHLY;BYMONTHDAY=28,29,30,31;BYSETPOS=-1",
                date(2026, 11, 30),
                ["2026-11-30", "2026-12-31", "2027-01-31", "2027-02-28", "2027-03-31"],
                id="the 31st of every month, clamped",
            ),
            pytest.param(
                "FREQ=MONTHLY;BYMONTHDAY=31",
                date(2026, 12, 31),
                ["2026-12-31", "2027-01-31", "2027-03-31", "2027-05-31"],
                id="RFC 5545 text is taken at its word",
            ),
            pytest.param(
                "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,FR",
                date(2026, 12, 1),
                ["2026-12-01", "2026-12-04", "2026-12-15", "2026-12-18"],
                id="every other week, twice",
            ),
            pytest.param(
                "FREQ=MONTHLY;INTERVAL=3;BYDAY=-1FR",
                date(2026, 12, 1),
                ["2026-12-25", "2027-03-26", "2027-06-25", "2027-09-24"],
                id="every quarter",
            ),
        ],
    )
    def test_by_rule(self, office, rule, first_on, wanted):
        line = make_line(by=office, rule=rule, first_on=first_on)

        assert due_days(line, len(wanted)) == wanted

    @pytest.mark.parametrize("zone", ["Europe/London", "America/New_York", "Australia/Lord_Howe"])
    def test_the_nights_the_clocks_change_move_no_day(self, office, zone):
        """Days are counted on the calendar; hours that are skipped or repeated do not count."""
        site = make_site(time_zone=zone)
        line = make_line(
            make_contract(site, by=office),
            by=office,
            rule="FREQ=DAILY",
            first_on=date(2026, 11, 26),
        )

        days = [date.fromisoformat(day) for day in due_days(line)]
        assert all(later - earlier == timedelta(days=1) for earlier, later in pairwise(days))
        assert len(set(days)) == len(days)

    @pytest.mark.parametrize(
        ("zone", "first"),
        [("Pacific/Auckland", "2026-11-26"), ("Pacific/Pago_Pago", "2026-11-25")],
    )
    def test_today_is_the_sites_own(self, office, zone, first):
        """At noon in UTC it is tomorrow in Auckland and early today in Pago Pago."""
        site = make_site(time_zone=zone)
        line = make_line(
            make_contract(site, by=office),
            by=office,
            rule="FREQ=DAILY",
            first_on=date(2026, 11, 1),
            days_before=0,
            days_after=0,
            now=datetime(2026, 11, 25, 12, tzinfo=UTC),
        )

        assert due_days(line, 1) == [first]

    @pytest.mark.parametrize(
        ("rule", "due"),
        [("keep", "2026-12-25"), ("next", "2026-12-29"), ("previous", "2026-12-24")],
    )
    def test_public_holidays_as_the_site_says(self, office, rule, due):
        """Friday 25 and Monday 28 December 2026 are holidays in England.

        Source: gov.uk, bank holidays (substitute day for Boxing Day).
        """
        site = make_site(holiday_region="GB-ENG", holiday_rule=rule)
        for weekday in range(5):
            AccessWindow.objects.create(site=site, weekday=weekday, opens=time(6), closes=time(20))
        line = make_line(
            make_contract(site, by=office),
            by=office,
            rule="FREQ=MONTHLY;BYMONTHDAY=25",
            first_on=date(2026, 12, 1),
        )

        assert due_days(line, 1) == [due]

    def test_weekdays_without_access_are_closed(self, office):
        site = make_site()
        for weekday in (0, 2):
            AccessWindow.objects.create(site=site, weekday=weekday, opens=time(6), closes=time(9))
        line = make_line(
            make_contract(site, by=office),
            by=office,
            rule="FREQ=MONTHLY;BYDAY=1TU",
            first_on=date(2026, 12, 1),
        )

        assert due_days(line, 2) == ["2026-12-02", "2027-01-06"]


class TestEnds:
    @pytest.mark.parametrize(
        ("ends_on", "count"),
        [(date(2027, 1, 31), 2), (date(2027, 2, 2), 3), (date(2027, 2, 1), 2)],
    )
    def test_nothing_is_due_after_the_contract(self, office, ends_on, count):
        line = make_line(make_contract(by=office, ends_on=ends_on), by=office)

        assert len(due_days(line)) == count

    def test_nothing_is_due_after_the_lines_last_day(self, office):
        line = make_line(by=office, last_on=date(2027, 1, 31))

        assert due_days(line) == ["2026-12-01", "2027-01-05"]

    def test_the_last_window_ends_with_the_contract(self, office):
        line = make_line(make_contract(by=office, ends_on=date(2026, 12, 2)), by=office)

        assert windows(line) == [("2026-11-28", "2026-12-01", "2026-12-02")]

    def test_the_first_window_begins_with_the_contract(self, office):
        line = make_line(
            make_contract(by=office, starts_on=date(2026, 11, 30)),
            by=office,
            first_on=date(2026, 12, 1),
            last_on=date(2026, 12, 1),
        )

        assert windows(line) == [("2026-11-30", "2026-12-01", "2026-12-04")]

    def test_a_holiday_does_not_push_the_last_visit_past_the_contract(self, office):
        """It stays on the holiday, for the office to see and to move by hand."""
        site = make_site(holiday_region="GB-ENG", holiday_rule="next")
        contract = make_contract(site, by=office, ends_on=date(2026, 12, 25))
        line = make_line(
            contract, by=office, rule="FREQ=MONTHLY;BYMONTHDAY=25", first_on=date(2026, 12, 1)
        )

        assert due_days(line) == ["2026-12-25"]

    def test_a_closed_site_is_not_visited(self, office):
        line = make_line(by=office)
        Site.objects.filter(pk=line.contract.site_id).update(closed_on=date(2026, 11, 24))

        plan_due_visits(now=NOW)

        assert due_days(line) == []

    def test_a_contract_that_ends_withdraws_what_comes_after(self, office):
        line = make_line(by=office)
        change_contract(line.contract_id, by=office, ends_on=date(2027, 1, 31))

        plan_due_visits(now=NOW)

        assert due_days(line) == ["2026-12-01", "2027-01-05"]
        facts = planned_facts()
        assert (facts["planned"], facts["withdrawn"]) == (0, 11)
        assert facts["withdrawn_days"][0] == "2027-02-02"

    def test_a_contract_that_goes_on_brings_them_back(self, office):
        contract = make_contract(by=office, ends_on=date(2027, 1, 31))
        line = make_line(contract, by=office)
        Contract.objects.filter(pk=contract.pk).update(ends_on=None)

        plan_due_visits(now=NOW)

        assert len(due_days(line)) == 13


class TestTwice:
    def test_planning_again_changes_nothing_and_says_nothing(self, office, trail):
        line = make_line(by=office)
        before = list(line.visits.order_by("pk").values()), trail()

        assert plan_due_visits(now=NOW) == 0
        assert plan_lines([line.pk], by=office, now=NOW) == 0

        assert (list(line.visits.order_by("pk").values()), trail()) == before

    def test_a_missing_visit_is_planned_again(self, office):
        line = make_line(by=office)
        line.visits.filter(occurrence_on=date(2027, 1, 5)).delete()

        assert plan_due_visits(now=NOW) == 1

        assert "2027-01-05" in due_days(line)


class TestWhatIsLeftAlone:
    @pytest.fixture
    def line(self, office) -> ServiceLine:
        return make_line(by=office)

    @pytest.fixture
    def visit(self, line) -> Visit:
        return line.visits.get(occurrence_on=date(2027, 1, 5))

    def settle(self, how: str, visit: Visit, office) -> None:
        if how == "booked":
            book_visit(visit.pk, by=office, technician=make_technician(), day=visit.due_on)
        elif how == "called_off":
            call_off_visit(visit.pk, by=office, reason="Closed for works.")
        elif how == "missed":
            at = datetime(2027, 1, 5, 12, tzinfo=ZoneInfo("Europe/London"))
            miss_visit(visit.pk, by=office, reason="Nobody came.", at=at)
        elif how == "by_hand":
            move_visit(
                visit.pk,
                by=office,
                due_on=date(2027, 1, 12),
                opens_on=date(2027, 1, 12),
                closes_on=date(2027, 1, 12),
            )

    @pytest.mark.parametrize("how", ["booked", "called_off", "missed", "by_hand"])
    def test_a_visit_that_somebody_settled_stays_as_it_is(self, line, visit, office, how):
        self.settle(how, visit, office)
        before = Visit.objects.filter(pk=visit.pk).values().get()
        ServiceLine.objects.filter(pk=line.pk).update(days_after=7, minutes=90)

        plan_due_visits(now=NOW)

        assert Visit.objects.filter(pk=visit.pk).values().get() == before
        other = line.visits.get(occurrence_on=date(2027, 2, 2))
        assert (other.closes_on, other.minutes) == (date(2027, 2, 9), 90)

    @pytest.mark.parametrize("how", ["booked", "called_off", "missed", "by_hand"])
    def test_and_is_not_withdrawn_when_it_no_longer_occurs(self, line, visit, office, how):
        self.settle(how, visit, office)
        ServiceLine.objects.filter(pk=line.pk).update(last_on=date(2026, 12, 31))

        plan_due_visits(now=NOW)

        assert set(line.visits.values_list("occurrence_on", flat=True)) == {
            date(2026, 12, 1),
            date(2027, 1, 5),
        }

    def test_what_is_late_stays_until_somebody_settles_it(self, line):
        ServiceLine.objects.filter(pk=line.pk).update(last_on=date(2026, 12, 31))
        ServiceLine.objects.filter(pk=line.pk).update(rule="FREQ=MONTHLY;BYDAY=3TU")

        plan_due_visits(now=NOW + timedelta(days=12))

        assert due_days(line) == ["2026-12-01", "2026-12-15"]

    def test_a_planned_visit_that_something_refers_to_is_kept(self, line, visit, office):
        add_visit(
            visit.site_id,
            by=office,
            kind="follow_up",
            due_on=date(2027, 1, 6),
            opens_on=date(2027, 1, 6),
            closes_on=date(2027, 1, 6),
            follows_id=visit.pk,
        )
        ServiceLine.objects.filter(pk=line.pk).update(last_on=date(2026, 12, 31))

        plan_due_visits(now=NOW)

        assert due_days(line) == ["2026-12-01", "2027-01-05"]

    def test_moved_visits_carry_a_new_version(self, line, visit, office):
        ServiceLine.objects.filter(pk=line.pk).update(days_after=5)

        plan_due_visits(now=NOW)

        visit.refresh_from_db()
        assert (visit.closes_on, visit.version) == (date(2027, 1, 10), 2)


class TestCost:
    @pytest.mark.parametrize("count", [2, 20])
    def test_looking_at_lines_in_step_costs_three_queries(
        self, office, count, django_assert_num_queries
    ):
        contract = make_contract(by=office)
        for _ in range(count):
            make_line(contract, by=office)

        # Lines, access windows and visits of the one batch; then the empty next batch.
        with django_assert_num_queries(4):
            assert plan_due_visits(now=NOW) == 0

    def test_many_lines_are_all_planned_in_batches(self, office):
        contract = make_contract(by=office)
        ServiceLine.objects.bulk_create(
            ServiceLine(
                contract=contract,
                title=f"Line {n}",
                rule="FREQ=MONTHLY;BYDAY=1TU",
                first_on=date(2026, 12, 1),
            )
            for n in range(230)
        )

        assert plan_due_visits(now=NOW) == 230

        assert Visit.objects.count() == 230 * 13
        assert plan_due_visits(now=NOW) == 0


@pytest.mark.django_db(transaction=True)
def test_two_planners_at_once_plan_once():
    office = make_office()
    line = make_line(by=office)
    Visit.objects.filter(line=line).delete()
    before = TrailEntry.objects.filter(verb="visits.planned").count()
    start = Barrier(2)
    changed: list[int] = []

    def plan() -> None:
        start.wait()
        try:
            changed.append(plan_lines([line.pk], by=None, now=NOW))
        finally:
            connections.close_all()

    threads = [Thread(target=plan) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(changed) == [0, 1]
    assert len(due_days(line)) == 13
    assert TrailEntry.objects.filter(verb="visits.planned").count() == before + 1
