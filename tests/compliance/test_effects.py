"""Whether a treatment or proofing helped: what is said, to whom, and what is left open."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.urls import reverse

from accounts.models import User
from compliance.models import CorrectiveAction, PlaceMonth
from compliance.queries.effects import AT_FIRST, Helped, effects_at
from compliance.queries.site_file_trends import effects_of
from compliance.queries.trends import moved
from compliance.services.counting import count_sites
from sites.models import Monitor, Site, Zone
from tests.builders.accounts import make_auditor, make_manager
from tests.builders.compliance import give_pass, make_action
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_product, make_visit, treatment_given
from visits.models import Pest, Reading, ReadingCount, Visit
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, apply_treatment

pytestmark = pytest.mark.django_db

DAY = date(2026, 6, 15)
NOW = datetime(2026, 11, 1, 12, tzinfo=UTC)
ROLES = ("office", "technician", "manager", "auditor")


@dataclass
class House:
    """A site with a kitchen and two zones to compare it with, read every 30 days."""

    site: Site
    office: User
    technician: User
    kitchen: Zone
    others: list[Zone]
    monitors: dict[Any, list[Monitor]] = field(default_factory=dict)

    def read(
        self,
        zone: Zone,
        before: Sequence[int],
        after: Sequence[int],
        **facts: Any,
    ) -> None:
        """The last of ``before`` is read on the day of the work."""
        pest = Pest.objects.get(slug="german-cockroach")
        for monitor in self.monitors[zone.pk]:
            for at, count in enumerate([*before, *after], 1 - len(before)):
                reading = Reading.objects.create(
                    monitor=monitor,
                    source=Reading.Source.IMPORT,
                    read_on=DAY + timedelta(days=30 * at),
                    stood_days=30,
                    **(facts if at > 0 else {}),
                )
                if count:
                    ReadingCount.objects.create(reading=reading, pest=pest, count=count)

    def even(self, k: float = 1e6) -> None:
        """Judged as not clumped before the work, so that what is known shows plainly."""
        pest = Pest.objects.get(slug="german-cockroach")
        for zone in (self.kitchen, *self.others):
            PlaceMonth.objects.create(
                site=self.site,
                zone=zone,
                pest=pest,
                month=moved(DAY.replace(day=1), -1),
                count=0,
                half_days=60,
                readings=1,
                state=PlaceMonth.State.CALM,
                k=k,
            )

    def treat(self, zone: Zone | None = None, *, on: date = DAY) -> Visit:
        technician = self.technician
        visit = make_visit(
            self.site, by=self.office, technician=technician, due_on=on, state="under_way"
        )
        at = datetime(on.year, on.month, on.day, 9, 30, tzinfo=UTC)
        apply_treatment(
            visit.pk,
            by=technician,
            at=at,
            treatment=treatment_given(
                zone or self.kitchen, make_product(by=self.office), started_at=at
            ),
        )
        return close_visit(
            visit.pk,
            by=technician,
            at=at + timedelta(minutes=30),
            received_at=at + timedelta(minutes=31),
            contact=ContactGiven(no_signature_reason="Nobody was there."),
        )

    def effects(self, *, now: datetime = NOW, by: User | None = None, **asked: Any) -> list[Helped]:
        count_sites(everything=True)
        return effects_at(self.site, by or self.office, now=now, **asked)

    def only(self, **asked: Any) -> Helped:
        (one,) = self.effects(**asked)
        return one


@pytest.fixture
def house(office, technician) -> House:
    site = make_site(name="Quayside Grand")
    kitchen = make_zone(site, name="Kitchen", kind=Zone.Kind.KITCHEN, walk_order=1)
    others = [make_zone(site, name=f"Store {n}", walk_order=n) for n in (2, 3)]
    made = House(site, office, technician, kitchen, others)
    for zone in (kitchen, *others):
        made.monitors[zone.pk] = [make_monitor(zone, placed_on=date(2025, 1, 1)) for _ in range(2)]
    return made


def test_fewer_than_before_and_elsewhere_is_said_with_its_limits(house):
    house.read(house.kitchen, [10, 10, 10, 10], [2, 2, 2])
    for zone in house.others:
        house.read(zone, [8, 8, 8, 8], [8, 8, 8])
    house.even()
    visit = house.treat()

    one = house.only()

    assert (one.kind, one.on, one.visit_id, one.state) == ("treatment", DAY, visit.pk, "fewer")
    # The reading 90 days before and the one of the day itself both lie before.
    assert (one.before.count, one.before.trap_days) == (80, 240.0)
    assert (one.after.count, one.after.trap_days) == (12, 180.0)
    assert one.others.zones == ("Store 2", "Store 3")
    assert (one.others.before.count, one.others.after.count) == (128, 96)
    assert one.words.startswith("Down to about a fifth of what it was")
    assert "Against the zones without the work it is about a fifth" in one.words
    assert one.notes == ()


def test_zones_that_fell_as_much_leave_open_whether_the_work_did_it(house):
    house.read(house.kitchen, [10, 10, 10, 10], [3, 3, 3])
    for zone in house.others:
        house.read(zone, [10, 10, 10, 10], [3, 3, 3])
    house.even()
    house.treat()

    one = house.only()

    assert one.state == "fewer"
    assert one.words.endswith("so that it is not known whether the work did it.")


def test_clumps_leave_open_what_single_ones_would_show(house):
    """The example of docs/algorithms/rates-and-effects.md (Did it help?): 40 to 20, k = 1."""
    house.read(house.kitchen, [5, 5, 5, 5], [3, 3, 4])
    house.even(k=1.0)
    house.treat()

    one = house.only()

    # 60 in 7 months that were read: 1 + 60 ÷ 7 ÷ 1.
    assert one.phi == pytest.approx(1 + 60 / 7)
    assert (one.before.per_100, one.after.per_100) == pytest.approx((16.67, 11.11), abs=0.01)
    assert one.told.ratio.value == pytest.approx(2 / 3)
    assert one.state == "not_known"
    assert one.words.startswith("Not known whether it changed")


def test_a_zone_never_judged_is_taken_for_clumped(house):
    house.read(house.kitchen, [5, 5, 5, 5], [3, 3, 4])
    house.treat()

    assert pytest.approx(15 / 13.3125) == AT_FIRST
    assert house.only().phi == pytest.approx(1 + 60 / 7 / AT_FIRST)


@pytest.mark.parametrize("days", [10, 27])
def test_less_than_a_month_after_is_too_early(house, days):
    house.read(house.kitchen, [10, 10, 10, 10], [])
    house.treat()

    one = house.only(now=NOW.replace(year=2026, month=6, day=15) + timedelta(days=days))

    assert one.state == "too_early"
    assert one.words == "Too early to tell: no trap that could catch has been read since."


def test_readings_of_the_first_weeks_alone_are_too_early(house):
    house.read(house.kitchen, [10, 10, 10, 10], [])
    for monitor in house.monitors[house.kitchen.pk]:
        Reading.objects.create(
            monitor=monitor, source="import", read_on=DAY + timedelta(days=14), stood_days=14
        )
    house.treat()

    one = house.only(now=datetime(2026, 7, 20, tzinfo=UTC))

    assert one.words == "Too early to tell: less than a month of readings lies after it."


def test_missing_traps_are_not_empty_ones(house):
    house.read(house.kitchen, [10, 10, 10, 10], [0, 0, 0], condition=Reading.Condition.MISSING)
    house.even()
    house.treat()

    one = house.only()

    assert (one.state, one.words) == ("not_known", "Not known: nobody could look after.")
    assert one.notes[0].startswith("After, 6 readings tell nothing: the trap was missing")


def test_one_high_reading_before_is_not_ordinary_time(house):
    house.read(house.kitchen, [40], [1, 1, 1])
    house.even()
    house.treat()

    one = house.only()

    assert one.state == "not_known"
    assert "readings of one day only" in one.words


def test_no_side_reaches_past_other_work_without_saying_so(house):
    house.read(house.kitchen, [10, 10, 10, 10], [5, 1, 1])
    house.even()
    house.treat()
    second = DAY + timedelta(days=60)
    house.treat(on=second)

    later, earlier = house.effects()

    assert (earlier.on, earlier.after.until, earlier.after.count) == (DAY, second, 12)
    assert earlier.notes == (
        "After counts only up to 14 August 2026, when other work was done here.",
    )
    assert (later.on, later.before.after, later.before.count) == (second, DAY, 12)
    assert later.notes == ("Before counts only from 15 June 2026, when other work was done here.",)


def test_a_zone_treated_in_that_time_is_no_zone_to_compare_with(house):
    house.read(house.kitchen, [10, 10, 10, 10], [2, 2, 2])
    for zone in house.others:
        house.read(zone, [8, 8, 8, 8], [8, 8, 8])
    house.even()
    house.treat()
    house.treat(house.others[0], on=DAY + timedelta(days=20))

    one = next(each for each in house.effects() if each.zone_id == house.kitchen.pk)

    assert one.others.zones == ("Store 3",)


def test_of_many_works_together_chance_is_taken_back(house):
    """As one of two, the other of which shows nothing, its p-value must reach 0.025."""
    house.read(house.kitchen, [4, 4, 4, 4], [2, 2, 2])
    house.read(house.others[0], [4, 4, 4, 4], [4, 4, 4])
    house.even()
    house.treat()

    alone = house.only()
    house.treat(house.others[0])
    together = next(one for one in house.effects() if one.zone_id == house.kitchen.pk)

    assert 0.025 < alone.told.p <= 0.05
    assert (alone.state, together.state) == ("fewer", "not_known")
    assert together.words == (
        "Not known: among 2 pieces of work looked at together, as large a change may come by "
        "chance."
    )


def test_proofing_counts_from_the_day_it_was_done_once_checked(house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.even()
    at = datetime(2026, 6, 15, 8, tzinfo=UTC)
    facts = {"site": house.site, "by": house.office, "zone_id": house.kitchen.pk, "at": at}
    make_action(CorrectiveAction.State.DONE, **facts)
    assert house.effects() == []

    action = make_action(CorrectiveAction.State.CHECKED, **facts)
    one = house.only(action=action)

    assert (one.kind, one.on, one.action_id, one.state) == ("proofing", DAY, action.pk, "fewer")
    assert one.pest.slug == "german-cockroach"
    assert "no zone without it was compared" in one.words


def test_proofing_of_no_zone_is_not_known(house):
    at = datetime(2026, 6, 15, 8, tzinfo=UTC)
    make_action(CorrectiveAction.State.CHECKED, site=house.site, by=house.office, at=at)

    assert house.only().words == "Not known: it is not said in which zone the work was done."


def test_what_was_applied_on_an_open_visit_is_nothing_yet(house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    visit = make_visit(
        house.site, by=house.office, technician=house.technician, due_on=DAY, state="under_way"
    )
    at = datetime(2026, 6, 15, 9, 30, tzinfo=UTC)
    given = treatment_given(house.kitchen, make_product(by=house.office), started_at=at)
    apply_treatment(visit.pk, by=house.technician, at=at, treatment=given)

    assert house.effects() == []


def test_an_auditor_is_told_of_work_and_readings_of_the_pass_only(house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.even()
    house.treat()
    inside, outside = make_auditor(), make_auditor()
    give_pass(inside, house.site, period_from=date(2026, 5, 1), period_to=date(2026, 7, 31))
    give_pass(outside, house.site, period_from=date(2026, 1, 1), period_to=date(2026, 6, 14))

    one = house.only(by=inside)

    assert (one.before.count, one.after.count) == (40, 2)
    assert one.notes == ("Only readings within the period of the pass are counted.",)
    assert house.effects(by=outside) == []


@pytest.mark.parametrize("more", [0, 6])
def test_effects_cost_five_queries_however_much_was_done(house, django_assert_num_queries, more):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.treat()
    for at in range(more):
        house.treat(house.others[at % 2], on=DAY + timedelta(days=at))
    count_sites(everything=True)

    with django_assert_num_queries(5):
        found = effects_at(house.site, house.office, now=NOW)

    assert sum(len(one.pieces) for one in found) == 1 + more


def test_the_clients_manager_reads_it_and_a_stranger_does_not(house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.even()
    house.treat()

    assert house.only(by=make_manager(client=house.site.client)).state == "fewer"
    assert house.effects(by=make_manager(client=make_site().client)) == []


# --- the pages ----------------------------------------------------------------------------------


def page(client, person: User, name: str, *args: Any) -> str:
    client.force_login(person)
    answer = client.get(reverse(f"compliance:{name}", args=args))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


@pytest.mark.parametrize("role", ["office", "manager"])
def test_pages_of_trends_say_whether_it_helped(client, house, role):
    """Work of this spring, seen from today: the pages ask for two years back."""
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.even()
    house.treat()
    count_sites(everything=True)
    person = house.office if role == "office" else make_manager(client=house.site.client)

    whole = page(client, person, "site_trends", house.site.pk)
    zone = page(client, person, "zone_trend", house.site.pk, "german-cockroach", house.kitchen.pk)
    store = page(
        client, person, "zone_trend", house.site.pk, "german-cockroach", house.others[0].pk
    )

    for words in (whole, zone):
        assert "Did it help?" in words
        assert "Fewer caught" in words
        assert "Down to about a tenth of what it was" in words
        assert "The product label and safety data sheet come first" in words
        assert "16 Mar 2026 to 15 Jun 2026" in words
    assert "Did it help?" not in store


def test_the_page_of_checked_proofing_says_whether_it_helped(client, house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.even()
    count_sites(everything=True)
    at = datetime(2026, 6, 15, 8, tzinfo=UTC)
    facts = {"site": house.site, "by": house.office, "zone_id": house.kitchen.pk, "at": at}
    done = make_action(CorrectiveAction.State.DONE, **facts)
    checked = make_action(CorrectiveAction.State.CHECKED, **facts)

    assert "Did it help?" not in page(client, house.office, "action", done.pk)
    words = page(client, house.office, "action", checked.pk)
    assert "Did it help?" in words
    assert "no zone without it was compared" in words


def test_the_page_of_a_closed_visit_says_whether_its_treatments_helped(client, house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.even()
    treated = house.treat()
    count_sites(everything=True)
    untreated = make_visit(house.site, by=house.office, state=Visit.State.CLOSED)

    def words(visit: Any) -> str:
        client.force_login(house.office)
        answer = client.get(reverse("visits:visit", args=[visit.pk]))
        return " ".join(answer.content.decode().split())

    assert "Did it help?" in words(treated)
    assert "Down to about a tenth of what it was" in words(treated)
    assert "Did it help?" not in words(untreated)


def test_the_site_file_says_it_of_the_work_of_its_period(house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.even()
    house.treat()
    count_sites(everything=True)

    (told,) = effects_of(house.site, DAY, DAY, by=house.office, now=NOW)
    assert (told.on, told.zone, told.pest) == (DAY, "Kitchen", "German cockroach")
    assert told.state == "Fewer caught"
    assert (
        effects_of(house.site, DAY + timedelta(days=1), NOW.date(), by=house.office, now=NOW) == ()
    )


def test_work_that_follows_soon_is_one_course_seen_from_its_first_day_to_its_last(house):
    house.read(house.kitchen, [10, 10, 10, 10], [8, 1, 1, 1])
    house.even()
    first = house.treat()
    second = house.treat(on=DAY + timedelta(days=30))

    one = house.only(now=NOW + timedelta(days=60))

    assert (one.begun, one.on, one.is_course) == (DAY, DAY + timedelta(days=30), True)
    assert [part.visit_id for part in one.pieces] == [first.pk, second.pk]
    # What was read a month into the course, 8 in each trap, counts on neither side.
    assert (one.before.count, one.after.count) == (80, 6)
    assert one.state == "fewer"
    assert "What was read while it went on counts on neither side." in one.notes


def test_a_course_is_found_by_each_of_its_pieces(house):
    house.read(house.kitchen, [10, 10, 10, 10], [8, 1, 1, 1])
    visits = [house.treat(), house.treat(on=DAY + timedelta(days=35))]

    for visit in visits:
        assert house.only(visit=visit, now=NOW + timedelta(days=60)).is_course


def test_work_with_a_month_of_readings_in_between_stays_apart(house):
    house.read(house.kitchen, [10, 10, 10, 10], [8, 1, 1, 1])
    house.treat()
    house.treat(on=DAY + timedelta(days=36))

    found = house.effects(now=NOW + timedelta(days=60))

    assert [one.is_course for one in found] == [False, False]


def test_work_in_another_zone_is_no_part_of_a_course(house):
    house.read(house.kitchen, [10, 10, 10, 10], [1, 1, 1])
    house.read(house.others[0], [10, 10, 10, 10], [1, 1, 1])
    house.treat()
    house.treat(house.others[0], on=DAY + timedelta(days=7))

    assert not any(one.is_course for one in house.effects())
