"""What monitors caught, summed up month by month."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.models import CountSeries, MonthCount, SiteCounted
from compliance.services.counting import count_sites, fingerprints
from sites.models import Monitor, Site
from sites.services.imports import import_file
from tests.builders.accounts import make_office
from tests.builders.compliance import make_counts
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import local, make_visit
from visits.models import Pest, Reading, ReadingCount, Visit
from visits.services.closing import close_visit
from visits.services.readings import enter_readings
from visits.services.recording import ContactGiven, ReadingGiven, record_readings
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import add_trap_sender

pytestmark = pytest.mark.django_db

JAN, FEB, MAR = (2026 * 12 + month for month in range(3))
DAY = date(2026, 1, 25)  # twenty days after the monitors were placed
LATER = date(2026, 2, 14)  # another twenty


def months_of(monitor: Monitor, pest: str) -> list[tuple[int, int, int, bool]]:
    """Month, count, half days, whether a trap was full."""
    rows = MonthCount.objects.filter(series__monitor=monitor, series__pest__slug=pest)
    return list(rows.order_by("month").values_list("month", "count", "half_days", "at_least"))


def pests_of(monitor: Monitor) -> set[str]:
    series = CountSeries.objects.filter(monitor=monitor)
    return set(series.values_list("pest__slug", flat=True))


@pytest.fixture
def trap() -> Monitor:
    return make_monitor(make_zone(make_site()))


class TestSums:
    def test_each_reading_counts_over_the_days_it_stood(self, trap):
        make_counts(
            trap.site,
            {
                trap: {
                    date(2026, 1, 15): {"german-cockroach": 2},
                    DAY: {"german-cockroach": 1},
                    date(2026, 3, 1): {},
                }
            },
        )
        assert months_of(trap, "german-cockroach") == [
            (JAN, 3, 2 * 20, False),
            (MAR, 0, 2 * 35, False),
        ]
        assert MonthCount.objects.filter(month=JAN).get().readings == 2

    @pytest.mark.parametrize(
        ("condition", "months"),
        [
            ("damaged", [(JAN, 1, 20, False)]),
            ("full", [(JAN, 1, 40, True)]),
            ("missing", []),
            ("blocked", []),
        ],
    )
    def test_the_condition_says_how_long_it_looked(self, trap, condition, months):
        make_counts(trap.site, {trap: {DAY: {"german-cockroach": 1}}})
        Reading.objects.update(condition=condition)
        count_sites()
        assert months_of(trap, "german-cockroach") == months

    def test_a_sprung_trap_looked_half_its_days_for_whatever_pest(self):
        trap = make_monitor(make_zone(make_site()), kind="snap_trap")
        make_counts(trap.site, {trap: {DAY: {"brown-rat": 1}, LATER: {}}})
        assert months_of(trap, "brown-rat") == [(JAN, 1, 20, False), (FEB, 0, 40, False)]
        assert months_of(trap, "house-mouse") == [(JAN, 0, 20, False), (FEB, 0, 40, False)]

    def test_a_trap_read_on_the_day_it_was_placed_tells_nothing(self, trap):
        make_counts(trap.site, {trap: {trap.placed_on: {"german-cockroach": 1}}})
        assert not MonthCount.objects.exists()


class TestWhatIsWatchedFor:
    def test_a_calm_trap_has_the_likeliest_pest_of_its_first_group(self, trap):
        make_counts(trap.site, {trap: {DAY: {}}})
        assert months_of(trap, "german-cockroach") == [(JAN, 0, 40, False)]
        assert pests_of(trap) == {"german-cockroach"}

    def test_what_one_trap_held_all_like_it_were_looked_at_for(self, trap):
        like = make_monitor(trap.zone)
        light = make_monitor(trap.zone, kind="fly_light")
        elsewhere = make_monitor(make_zone(make_site()))
        make_counts(trap.site, {trap: {DAY: {"garden-ant": 4}}, like: {DAY: {}}, light: {DAY: {}}})
        make_counts(elsewhere.site, {elsewhere: {DAY: {}}})
        assert pests_of(like) == {"german-cockroach", "garden-ant"}
        assert pests_of(light) == {"house-fly"}
        assert pests_of(elsewhere) == {"german-cockroach"}

    def test_what_it_held_itself_counts_whatever_its_kind(self, trap):
        light = make_monitor(trap.zone, kind="fly_light")
        make_counts(trap.site, {light: {DAY: {"spider": 1}, LATER: {}}, trap: {DAY: {}}})
        assert months_of(light, "spider") == [(JAN, 1, 40, False), (FEB, 0, 40, False)]
        assert pests_of(trap) == {"german-cockroach"}

    def test_bait_that_was_taken_is_one_for_each_reading(self, trap):
        station = make_monitor(trap.zone, kind="bait_station")
        snap = make_monitor(trap.zone, kind="snap_trap")
        held: dict[date, dict[str, int]] = {DAY: {"house-mouse": 1}, LATER: {}}
        make_counts(trap.site, {station: {DAY: {}, LATER: {}}, snap: held})
        Reading.objects.filter(monitor=station, read_on=DAY).update(bait_taken="part")
        Reading.objects.filter(monitor=station, read_on=LATER).update(bait_taken="none")
        Reading.objects.filter(monitor=snap).update(bait_taken="all")
        assert count_sites() == 1
        assert months_of(station, "rodent-take") == [(JAN, 1, 40, False), (FEB, 0, 40, False)]
        # It holds no mice, so that its days say nothing of them; and the snap trap has no bait.
        assert pests_of(station) == {"rodent-take"}
        assert pests_of(snap) == {"house-mouse"}
        assert months_of(snap, "house-mouse") == [(JAN, 1, 20, False), (FEB, 0, 40, False)]

    def test_nobody_is_offered_what_is_only_counted(self):
        assert Pest.counted.filter(slug="rodent-take").exists()
        assert not Pest.objects.filter(slug="rodent-take").exists()

    def test_no_spreadsheet_may_name_it(self, trap):
        row = f"{trap.site.reference},{trap.number},2026-01-25,rodent-take,1"
        told = f"site_reference,monitor_number,read_on,pest,count\n{row}\n".encode()
        plan = import_file(told, "readings.csv", by=make_office(), write=True)
        (problem,) = plan.sheets[0].rows[0].problems
        assert problem.sentence == "“rodent-take” is no pest on the list."
        assert not Reading.objects.exists()


class TestWhichReadings:
    def test_a_visit_counts_once_it_is_closed(self, trap):
        visit = make_visit(trap.site, state=Visit.State.UNDER_WAY, due_on=DAY)
        record_readings(
            visit.pk,
            by=visit.technician,
            at=local(visit, 9, 30),
            readings=[ReadingGiven(trap.pk, counts={"german-cockroach": 3})],
        )
        count_sites()
        assert not MonthCount.objects.exists()
        close_visit(
            visit.pk,
            by=visit.technician,
            at=local(visit, 10),
            received_at=local(visit, 10, 5),
            contact=ContactGiven(no_signature_reason="Nobody of the premises was there."),
        )
        count_sites()
        assert months_of(trap, "german-cockroach") == [(JAN, 3, 40, False)]

    def test_imported_readings_that_go_away_are_gone(self, trap):
        make_counts(trap.site, {trap: {DAY: {"german-cockroach": 3}, LATER: {}}})
        ReadingCount.objects.all().delete()
        Reading.objects.filter(read_on=DAY).delete()
        assert count_sites() == 1
        assert [month for month, *_ in months_of(trap, "german-cockroach")] == [FEB]


def closed(trap: Monitor, day: date, condition: str = "sound", *, caught: int = 0) -> Reading:
    """The reading of a visit of this day, which is then sealed."""
    reading = under_way(trap, day, condition, caught=caught)
    visit = reading.visit
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=ContactGiven(no_signature_reason="Nobody of the premises was there."),
    )
    return reading


def under_way(trap: Monitor, day: date, condition: str = "sound", *, caught: int = 0) -> Reading:
    visit = make_visit(trap.site, state=Visit.State.UNDER_WAY, due_on=day)
    told = ReadingGiven(trap.pk, condition=condition, counts={"german-cockroach": caught})
    (reading,) = record_readings(
        visit.pk, by=visit.technician, at=local(visit, 9, 30), readings=[told]
    )
    return reading


def typed_in(trap: Monitor, day: date, condition: str = "sound", *, caught: int = 0) -> None:
    """An entry by hand."""
    told = ReadingGiven(trap.pk, condition=condition, counts={"german-cockroach": caught})
    enter_readings(trap.site_id, by=make_office(), read_on=day, readings=[told], now=timezone.now())


def reported(trap: Monitor, day: date, condition: str = "sound", *, caught: int = 0) -> None:
    """What an electronic trap says of one whole day."""
    sender = add_trap_sender(trap.site_id, by=make_office(), name=f"Gateway {day}").sender
    told = {
        "id": "only",
        "monitor": str(trap.pk),
        "from": f"{day - timedelta(days=1)}T12:00:00+00:00",
        "at": f"{day}T12:00:00+00:00",
        "counts": {"german-cockroach": caught} if caught else {},
        "condition": condition,
    }
    (answer,) = take_reports(sender.pk, [told], now=timezone.now())
    assert answer["verdict"] == "applied", answer


COMES: dict[str, Callable[..., object]] = {
    "visit": closed,
    "by hand": typed_in,
    "device": reported,
}
CONDITION = st.sampled_from(["sound", "sound", "damaged", "missing", "blocked"])
OCCASIONS = st.dictionaries(
    st.integers(0, 40), st.tuples(st.sampled_from(sorted(COMES)), CONDITION), max_size=5
)


class TestNoDayTwice:
    def test_what_comes_in_late_takes_its_days_from_the_sealed_visit_after_it(self, trap):
        sealed = closed(trap, LATER, caught=3)
        typed_in(trap, DAY, caught=1)
        count_sites()
        assert months_of(trap, "german-cockroach") == [(JAN, 1, 40, False), (FEB, 3, 40, False)]
        sealed.refresh_from_db()
        assert sealed.stood_days == 40

    def test_of_days_before_a_trap_was_missing_nothing_is_known(self, trap):
        closed(trap, LATER, caught=3)
        typed_in(trap, DAY, "missing")
        count_sites()
        assert months_of(trap, "german-cockroach") == [(FEB, 3, 40, False)]

    def test_they_are_left_to_what_a_device_saw(self, trap):
        reported(trap, date(2026, 1, 10), caught=2)
        closed(trap, LATER, caught=3)
        count_sites()
        assert months_of(trap, "german-cockroach") == [(FEB, 3, 80, False)]
        typed_in(trap, DAY, "missing")
        count_sites()
        assert months_of(trap, "german-cockroach") == [(JAN, 2, 2, False), (FEB, 3, 40, False)]

    def test_an_entry_that_is_taken_back_gives_them_back(self, trap):
        closed(trap, LATER)
        typed_in(trap, DAY)
        count_sites()
        enter_readings(
            trap.site_id,
            by=make_office(),
            read_on=DAY,
            readings=[],
            taken_back=[trap.pk],
            now=timezone.now(),
        )
        count_sites()
        assert months_of(trap, "german-cockroach") == [(FEB, 0, 80, False)]

    def test_a_second_visit_of_the_day_has_no_days(self, trap):
        closed(trap, DAY, caught=1)
        closed(trap, DAY, caught=1)
        count_sites()
        assert months_of(trap, "german-cockroach") == [(JAN, 1, 40, False)]

    def test_of_two_that_say_the_same_days_of_one_day_one_has_them(self, trap):
        closed(trap, DAY, caught=1)
        second = closed(trap, DAY, caught=1)
        Reading.objects.filter(pk=second.pk).update(stood_days=20)
        count_sites()
        assert months_of(trap, "german-cockroach") == [(JAN, 1, 40, False)]

    def test_what_is_still_being_written_down_ends_the_days_after_it(self, trap):
        closed(trap, LATER, caught=3)
        under_way(trap, DAY, caught=1)
        count_sites()
        assert months_of(trap, "german-cockroach") == [(FEB, 3, 40, False)]

    @settings(
        max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )
    @given(occasions=OCCASIONS, data=st.data())
    def test_sums_are_the_same_in_whatever_order_things_come_and_no_day_is_in_twice(
        self, occasions, data
    ):
        with transaction.atomic():
            in_time, anyhow = (make_monitor(make_zone(make_site())) for _ in range(2))
            days = sorted(occasions)
            for trap, order in [(in_time, days), (anyhow, data.draw(st.permutations(days)))]:
                for day in order:
                    how, condition = occasions[day]
                    caught = 0 if condition == "missing" else 1
                    COMES[how](trap, trap.placed_on + timedelta(days=day), condition, caught=caught)
            count_sites()
            sums = months_of(anyhow, "german-cockroach")
            assert sums == months_of(in_time, "german-cockroach")
            assert sum(half_days for _, _, half_days, _ in sums) <= 2 * max(days, default=0)
            transaction.set_rollback(True)


class TestWhatChanged:
    @pytest.fixture
    def counted(self, trap) -> Monitor:
        make_counts(trap.site, {trap: {DAY: {"german-cockroach": 3}, LATER: {}}})
        SiteCounted.objects.update(changed_from=None)
        return trap

    def changed_from(self, site: Site) -> int | None:
        return SiteCounted.objects.get(site=site).changed_from

    def test_nothing_is_counted_again_without_a_change(self, counted):
        assert count_sites() == 0

    def test_what_is_counted_again_without_a_difference_changes_nothing(self, counted):
        rows = list(MonthCount.objects.order_by("pk").values())
        assert count_sites(everything=True) == 1
        assert list(MonthCount.objects.order_by("pk").values()) == rows
        assert self.changed_from(counted.site) is None

    def test_the_earliest_month_that_differs_is_noted(self, counted):
        make_counts(counted.site, {counted: {date(2026, 3, 1): {"german-cockroach": 1}}})
        assert self.changed_from(counted.site) == MAR
        make_counts(counted.site, {counted: {LATER: {"german-cockroach": 1}}})
        assert self.changed_from(counted.site) == FEB
        make_counts(counted.site, {counted: {date(2026, 4, 1): {}}})
        assert self.changed_from(counted.site) == FEB

    def test_a_new_pest_differs_from_its_first_reading_on(self, counted):
        make_counts(counted.site, {counted: {date(2026, 3, 1): {"garden-ant": 1}}})
        assert months_of(counted, "garden-ant")[0] == (JAN, 0, 40, False)
        assert self.changed_from(counted.site) == JAN

    def test_a_monitor_in_another_zone_takes_its_months_with_it(self, counted):
        zone = make_zone(counted.site)
        Monitor.objects.filter(pk=counted.pk).update(zone=zone)
        assert count_sites() == 1
        assert set(CountSeries.objects.values_list("zone", flat=True)) == {zone.pk}
        assert self.changed_from(counted.site) == JAN

    @pytest.mark.parametrize(
        "change", [{"kind": "snap_trap"}, {"kind": "fly_light"}], ids=lambda one: one["kind"]
    )
    def test_another_kind_is_seen(self, counted, change):
        Monitor.objects.filter(pk=counted.pk).update(**change)
        assert count_sites() == 1

    @pytest.mark.parametrize(
        "change",
        [
            {"stood_days": 19},
            {"stood_days": None},
            {"condition": "damaged"},
            {"condition": "full"},
            {"condition": "missing"},
            {"bait_taken": "part"},
            {"read_on": date(2026, 3, 2)},
        ],
        ids=str,
    )
    def test_a_changed_reading_is_seen(self, counted, change):
        Reading.objects.filter(read_on=LATER).update(**change)
        assert count_sites() == 1

    def test_a_changed_count_is_seen(self, counted):
        ReadingCount.objects.update(count=4)
        assert count_sites() == 1
        ReadingCount.objects.update(pest=Pest.objects.get(slug="garden-ant"))
        assert count_sites() == 1
        ReadingCount.objects.all().delete()
        assert count_sites() == 1

    def test_what_no_sum_shows_is_found_a_day_later(self, trap):
        like = make_monitor(trap.zone)
        held = {DAY: {"german-cockroach": 3}}
        make_counts(trap.site, {trap: held, like: {DAY: {}}})
        reading = Reading.objects.get(monitor=like)
        ReadingCount.objects.update(reading=reading)
        assert count_sites() == 0
        assert count_sites(now=timezone.now() + timedelta(days=1)) == 1
        assert months_of(like, "german-cockroach") == [(JAN, 3, 40, False)]

    def test_those_that_wait_longest_come_first(self, counted):
        sites = [make_monitor(make_zone(make_site())).site for _ in range(3)]
        assert count_sites(limit=2) == 2
        assert count_sites(limit=2) == 1
        assert set(SiteCounted.objects.values_list("site", flat=True)) == {
            counted.site_id,
            *(site.pk for site in sites),
        }


class TestCost:
    def test_to_ask_what_changed_costs_the_same_for_many_sites(self, trap):
        make_counts(trap.site, {trap: {DAY: {"german-cockroach": 3}}})
        with CaptureQueriesContext(connection) as few:
            fingerprints()
        for _ in range(4):
            other = make_monitor(make_zone(make_site()))
            make_counts(other.site, {other: {DAY: {"garden-ant": 3}, LATER: {"spider": 1}}})
        with CaptureQueriesContext(connection) as many:
            found = fingerprints()
        assert len(found) == 5
        assert len(many) == len(few) == 3

    def test_a_site_costs_the_same_however_much_was_read(self, trap):
        start = datetime(2026, 11, 1, tzinfo=UTC)
        days = [date(2026, 1, 10) + timedelta(days=20 * n) for n in range(15)]
        make_counts(trap.site, {trap: {day: {"german-cockroach": 1} for day in days[:1]}})
        with CaptureQueriesContext(connection) as few:
            count_sites(everything=True, now=start)
        more = [trap, *(make_monitor(trap.zone) for _ in range(5))]
        make_counts(trap.site, {one: {day: {"garden-ant": 2} for day in days} for one in more})
        with CaptureQueriesContext(connection) as many:
            count_sites(everything=True, now=start)
        assert MonthCount.objects.count() > 60
        assert len(many) == len(few)
