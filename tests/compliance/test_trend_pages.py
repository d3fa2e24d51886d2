"""The pages of trends: what each says in words, to whom, and what it costs."""

import csv
from dataclasses import dataclass
from datetime import date, timedelta
from io import StringIO
from itertools import pairwise
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.services.competences import add_competence
from compliance.models import Alarm, JudgedMonth, PlaceMonth
from compliance.quarters import ended_quarters
from compliance.queries.trends import (
    Seen,
    first_of,
    month_key,
    month_words,
    moved,
    site_picture,
    standings_of,
    trend_rates,
)
from compliance.services.counting import count_sites
from compliance.services.judging import judge_months
from compliance.services.trend_reviews import Explained
from compliance.views.trends import _one_in
from sites.models import Monitor, Site, Zone
from sites.services.sites import change_site
from tests.builders.accounts import make_auditor, make_client, make_manager
from tests.builders.compliance import give_pass, make_action, make_review
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_competence_kind, make_product, make_visit, treatment_given
from visits.models import Pest, Reading, ReadingCount, Visit
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, apply_treatment

pytestmark = pytest.mark.django_db

NOW = timezone.now()
THIS = first_of(NOW.date())
LAST = moved(THIS, -1)
CALM = [0] * 14
BUILD_UP = [0] * 13 + [15]


@pytest.fixture
def pest() -> Pest:
    return Pest.objects.get(slug="german-cockroach")


@dataclass
class House:
    """A site with a kitchen in which German cockroaches rose last month, and a calm store."""

    site: Site
    kitchen: Zone
    store: Zone
    monitors: list[Monitor]

    def address(self, name: str, *more: Any) -> str:
        return reverse(f"compliance:{name}", args=[self.site.pk, *more])


def read_months(
    monitor: Monitor, pest: Pest, counts: list[int | None], *, last: date = LAST
) -> None:
    """One past reading on the 15th of each month, the last one in ``last``; None: not read."""
    for back, count in enumerate(reversed(counts)):
        if count is None:
            continue
        day = moved(last, -back).replace(day=15)
        reading = Reading.objects.create(
            monitor=monitor, source=Reading.Source.IMPORT, read_on=day, stood_days=30
        )
        if count:
            ReadingCount.objects.create(reading=reading, pest=pest, count=count)


def days_stood() -> int:
    """Trap-days of a monitor of the house: no day twice, though readings in March claim 30."""
    read = [moved(LAST, back).replace(day=15) for back in range(-13, 1)]
    return 30 + sum(min(30, (after - before).days) for before, after in pairwise(read))


def judge() -> None:
    count_sites(everything=True)
    judge_months(now=NOW)


def make_house(pest: Pest, *, calm_zones: int = 1, last: date = LAST, **fields: Any) -> House:
    site = make_site(**fields)
    kitchen = make_zone(site, name="Kitchen", kind=Zone.Kind.KITCHEN, walk_order=1)
    placed = moved(LAST, -36)
    monitors = [make_monitor(kitchen, placed_on=placed) for _ in range(2)]
    for monitor in monitors:
        read_months(monitor, pest, BUILD_UP, last=last)
    for number in range(calm_zones):
        store = make_zone(site, name=f"Store {number}", kind=Zone.Kind.DRY_STORE, walk_order=2)
        read_months(make_monitor(store, placed_on=placed), pest, CALM, last=last)
    return House(site, kitchen, store, monitors)


@pytest.fixture
def house(pest) -> House:
    made = make_house(pest, name="Quayside Grand")
    judge()
    return made


def opened(client, person, address: str, **query: str) -> Any:
    client.force_login(person)
    return client.get(address, query)


def text(answer) -> str:
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


# --- the company --------------------------------------------------------------------------------


def test_the_office_sees_the_alarm_out_of_how_many_were_looked_at(client, office, house):
    words = text(opened(client, office, reverse("compliance:trends")))

    alarm = Alarm.objects.get(month=LAST, zone=house.kitchen)
    judged = JudgedMonth.objects.get(month=LAST)
    assert judged.looked_at == 3
    assert f'<span class="stat-value">{judged.looked_at}</span>' in words
    assert f'<span class="stat-value">{judged.could_alarm}</span>' in words
    assert alarm.words in words
    assert f"30 caught in {LAST:%B %Y}, where none would be usual" in alarm.words
    assert house.address("zone_trend", "german-cockroach", house.kitchen.pk) in words
    assert "about one in five may be chance" in words
    assert "threshold</em> is another thing" in words


def test_an_alarm_says_where_to_look_first(client, office, house):
    alarms = opened(client, office, reverse("compliance:trends")).context["alarms"]

    # The store's monitor caught nothing: nobody is sent there.
    assert [{one.monitor for one in shown["pointed"]} for shown in alarms] == [
        set(house.monitors),
        set(house.monitors),
    ]
    assert {one.count for shown in alarms for one in shown["pointed"]} == {15}


def test_alarms_come_least_likely_by_chance_first(client, office, house, pest):
    milder = make_house(pest, name="Harbour Arms")
    Reading.objects.filter(monitor=milder.monitors[1], read_on__gte=LAST).delete()
    judge()

    alarms = opened(client, office, reverse("compliance:trends")).context["page"].object_list

    chances = [alarm.chance for alarm in alarms]
    assert len(chances) > 2
    assert chances == sorted(chances)


def test_a_month_that_has_just_begun_is_not_what_the_page_opens_at(client, office, house):
    answer = opened(client, office, reverse("compliance:trends"))

    assert JudgedMonth.objects.filter(month=THIS, looked_at=0).exists()
    assert answer.context["judged"].month == LAST
    assert answer.context["later"]["key"] == month_key(THIS)
    assert answer.context["earlier"]["words"] == month_words(moved(LAST, -1))


def test_another_month_is_one_step_away(client, office, house):
    address = reverse("compliance:trends")

    answer = opened(client, office, address, month=month_key(moved(LAST, -1)))

    assert answer.context["judged"].month == moved(LAST, -1)
    assert list(answer.context["page"]) == []
    assert "No alarm here" in text(answer)


@pytest.mark.parametrize("month", ["banana", "2026-13", "1999-01", "2026"])
def test_a_month_that_cannot_be_read_is_told_so(client, office, house, month):
    answer = opened(client, office, reverse("compliance:trends"), month=month)

    assert "no month that was judged" in text(answer)
    assert answer.context["judged"].month == LAST


@pytest.mark.parametrize(
    ("asked", "number"),
    [
        ({"pest": "german-cockroach"}, 2),
        ({"pest": "house-mouse"}, 0),
        ({"state": "explained"}, 0),
        ({"state": "all"}, 2),
        ({"month": "all"}, 2),
    ],
)
def test_filters_live_in_the_address(client, office, house, asked, number):
    answer = opened(client, office, reverse("compliance:trends"), **asked)

    # The kitchen, and the whole site with it.
    assert answer.context["page"].paginator.count == number


def test_the_site_filter_leaves_out_the_others(client, office, house, pest):
    other = make_house(pest)
    judge()

    page = opened(client, office, reverse("compliance:trends"), site=other.site.pk).context["page"]

    assert {alarm.site_id for alarm in page} == {other.site.pk}


def test_what_later_readings_took_back_is_not_open(client, office, house):
    Reading.objects.filter(monitor__in=house.monitors, read_on__gte=LAST).delete()
    judge()
    address = reverse("compliance:trends")

    assert opened(client, office, address).context["page"].paginator.count == 0
    gone = opened(client, office, address, state="gone")
    assert {alarm.state for alarm in gone.context["page"]} == {Alarm.State.GONE}
    assert "Gone with later readings" in text(gone)


def test_open_alarms_of_earlier_months_are_not_forgotten(client, office, pest):
    late = make_house(pest)
    for monitor in late.monitors:
        Reading.objects.filter(monitor=monitor).delete()
        read_months(monitor, pest, [*BUILD_UP, 0, 0, 0, 0, 0, 0, 0])
    judge()

    answer = opened(client, office, reverse("compliance:trends"))

    earlier = Alarm.objects.filter(state=Alarm.State.OPEN, month__lt=LAST).count()
    assert earlier > 0
    assert answer.context["open_before"] == earlier


def test_an_open_alarm_leads_to_the_reviews_and_an_explained_one_to_its_own(client, office, pest):
    quarter = ended_quarters(NOW.date(), 1)[0]
    house = make_house(pest, last=first_of(quarter.last))
    read_months(house.monitors[0], pest, [0], last=THIS)
    judge()
    add_competence(
        office.pk, by=office, kind=make_competence_kind(), valid_from=NOW.date() - timedelta(days=9)
    )
    everything = {"month": "all", "state": "all"}
    alarm = Alarm.objects.filter(zone=house.kitchen, month=first_of(quarter.last)).get()
    before = text(opened(client, office, reverse("compliance:trends"), **everything))
    kitchen = house.address("zone_trend", pest.slug, house.kitchen.pk)
    unexplained = text(opened(client, office, kitchen))
    manager = make_manager(client=house.site.client)
    for_the_client = text(opened(client, manager, kitchen))

    review = make_review(
        house.site,
        by=office,
        quarter=quarter,
        explained={alarm.pk: Explained("The drain was opened.")},
    )

    after = text(opened(client, office, reverse("compliance:trends"), **everything))
    place = opened(client, office, house.address("zone_trend", pest.slug, house.kitchen.pk))
    assert house.address("trend_reviews") in before
    assert f'href="{house.address("trend_reviews")}">Review it' in unexplained
    assert "Review it" not in for_the_client
    assert "The drain was opened." not in before
    assert "The drain was opened." in after
    assert reverse("compliance:trend_review", args=[review.pk]) in after
    assert reverse("compliance:trend_review", args=[review.pk]) in text(place)
    # The month in which it was signed is shown, as something was read in it.
    assert [(mark.kind, mark.words) for mark in place.context["marks"]] == [
        ("review", f"by {review.signed_name}")
    ]


def test_before_anything_was_judged_the_page_says_what_it_waits_for(client, office):
    words = text(opened(client, office, reverse("compliance:trends")))

    assert "No month was judged yet" in words
    assert "12 readings in 6 months" in words


def test_the_csv_of_alarms_is_the_list_and_runs_no_formula(client, office, house):
    change_site(house.site.pk, by=office, name="=HYPERLINK(1)")

    client.force_login(office)
    answer = client.get(reverse("compliance:trends_csv"), {"pest": "german-cockroach"})

    rows = list(csv.DictReader(StringIO(answer.getvalue().decode("utf-8-sig"))))
    assert [row["site"] for row in rows] == ["'=HYPERLINK(1)"] * 2
    assert {row["zone"] for row in rows} == {"Kitchen", "Whole site"}
    assert {row["month"] for row in rows} == {month_key(LAST)}


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0045, "about 1 in 220"),
        (0.0001164, "about 1 in 8,600"),
        (0.3, "about 1 in 3"),
        (1e-9, "less than 1 in 1,000,000"),
        (0.0, "less than 1 in 1,000,000"),
    ],
)
def test_a_chance_is_told_in_two_figures(chance, words):
    assert _one_in(chance) == words


# --- a site -------------------------------------------------------------------------------------


def test_a_site_is_told_in_words_first(client, house):
    manager = make_manager(client=house.site.client)

    words = text(opened(client, manager, house.address("site_trends")))

    assert words.index("In words") < words.index("Zone by zone")
    assert "30 in 90 trap-days: about 33 per 100" in words
    assert "open alarms in 2 places" in words
    assert month_words(LAST) in words
    assert "Trend not known" in words


def test_each_zone_has_a_small_chart_its_table_and_its_page(client, office, house):
    answer = opened(client, office, house.address("site_trends"))

    words = text(answer)
    titles = [one["place"].title for one in answer.context["charts"]]
    assert titles == [
        "Whole site, German cockroach",
        "Kitchen, German cockroach",
        "Store 0, German cockroach",
    ]
    assert words.count("<svg") - words.count('<svg class="icon') >= 3
    assert words.count("month by month</caption>") == 3
    assert house.address("place_trend", "german-cockroach") in words


def test_a_count_of_none_says_what_it_still_allows(house, office, pest):
    picture = site_picture(house.site, office, months=12, now=NOW)

    store = next(one for one in picture.places if one.zone_id == house.store.pk)
    assert store.latest.count == 0
    assert store.latest.allows is not None
    assert store.latest.rate_words.startswith("None in 30 trap-days. That still allows about ")
    assert store.latest.rate.allows == store.latest.allows


def seen(**facts: Any) -> Seen:
    """One month of 100 trap-days, of which nothing is known but what is said."""
    known: dict[str, Any] = {
        "month": LAST,
        "count": 0,
        "half_days": 200,
        "readings": 1,
        "at_least": False,
        "state": "calm",
        "centre": None,
        "alarm_at": None,
        "allows": None,
        "k": None,
        "words": "",
    }
    return Seen(**{**known, **facts})


def test_limits_are_exact_where_nothing_is_known_of_clumps():
    # Garwood (1936) for 2 caught: 0.242 to 7.22.
    one = seen(count=2).rate

    assert (round(one.lower, 3), round(one.upper, 2)) == (0.242, 7.22)


def test_clumps_make_limits_wider_by_what_a_mean_month_brings():
    alone = seen(count=20).rate
    clumped = seen(count=20, centre=20.0, k=2.0).rate
    longer = seen(count=40, half_days=400, centre=20.0, k=2.0, usual_days=100.0).rate

    assert clumped.lower < alone.lower < alone.upper < clumped.upper
    # Twice the days hold twice the clumps: the limits close in, as they do for twice the counts.
    assert clumped.lower < longer.lower < longer.upper < clumped.upper


def test_a_limit_next_to_nothing_is_told_as_none():
    words = seen(count=1, centre=400.0, k=0.3).rate_words

    assert "between 0 and" in words


def test_zones_that_nobody_read_are_named(client, office, house):
    Reading.objects.filter(monitor__zone=house.store, read_on__gte=LAST).delete()
    judge()

    answer = opened(client, office, house.address("site_trends"))

    assert f"Not read in {month_words(LAST)}: Store 0." in text(answer)
    store = answer.context["charts"][-1]["place"]
    assert (store.latest.state, store.latest.state_words) == ("not_read", "Not read")


def test_a_first_month_is_not_yet_known_and_never_called_calm(client, office, pest):
    site = make_site()
    read_months(make_monitor(make_zone(site), placed_on=moved(LAST, -3)), pest, [2])
    judge()

    words = text(opened(client, office, reverse("compliance:site_trends", args=[site.pk])))

    assert "Not yet known" in words
    assert "Not known yet: 1 of the 5 months" in words
    assert "As usual" not in words


def test_a_site_without_readings_says_so(client, office):
    site = make_site(zones=1, monitors=1)
    judge()

    words = text(opened(client, office, reverse("compliance:site_trends", args=[site.pk])))

    assert "Nothing has been counted yet" in words


@pytest.mark.parametrize("months", ["banana", "7", "-12"])
def test_a_period_that_cannot_be_read_is_told_so(client, office, house, months):
    answer = opened(client, office, house.address("site_trends"), months=months)

    assert "no period to look over" in text(answer)
    assert answer.context["months"] == 24


@pytest.mark.parametrize(("months", "shown"), [("12", 12), ("24", 14), ("36", 14)])
def test_the_picture_goes_back_so_far_and_no_further_than_the_first_count(
    client, office, house, months, shown
):
    answer = opened(client, office, house.address("site_trends"), months=months)

    assert {len(one["place"].months) for one in answer.context["charts"]} == {shown}


def test_one_pest_can_be_looked_at_alone(client, office, house):
    mouse = Pest.objects.get(slug="house-mouse")
    read_months(make_monitor(house.store, kind=Monitor.Kind.SNAP_TRAP, placed_on=LAST), mouse, [1])
    judge()

    answer = opened(client, office, house.address("site_trends"), pest="house-mouse")

    assert {one["place"].pest.slug for one in answer.context["charts"]} == {"house-mouse"}
    assert "Only House mouse." in text(answer)


def test_the_csv_of_a_site_has_every_month_of_every_place(client, office, house):
    client.force_login(office)

    answer = client.get(house.address("site_trends_csv"), {"months": "12"})

    rows = list(csv.DictReader(StringIO(answer.getvalue().decode("utf-8-sig"))))
    assert len(rows) == 3 * 12
    (last,) = [row for row in rows if row["zone"] == "Kitchen" and row["month"] == month_key(LAST)]
    assert (last["count"], last["trap-days"], last["state"]) == ("30", "60.0", "More than usual")


def test_the_technician_of_the_site_sees_its_trends(client, house, technician):
    make_visit(house.site, technician=technician, due_on=NOW.date(), state=Visit.State.BOOKED)

    assert "In words" in text(opened(client, technician, house.address("site_trends")))


def test_an_auditor_sees_the_months_of_the_pass_and_no_later_one(client, house):
    auditor = make_auditor()
    ends = moved(LAST, -1)
    give_pass(auditor, house.site, period_from=moved(ends, -5), period_to=ends.replace(day=20))

    answer = opened(client, auditor, house.address("site_trends"))
    place = opened(
        client, auditor, house.address("zone_trend", "german-cockroach", house.kitchen.pk)
    )

    picture = answer.context["picture"]
    assert (picture.last, picture.begins) == (ends, moved(ends, -5))
    assert month_words(LAST) not in text(answer)
    assert "alarm" not in {one["place"].latest.state for one in answer.context["charts"]}
    assert {one.rate.count for one in place.context["monitors"]} == {0}
    assert place.context["alarms"] == []


@pytest.mark.parametrize("zones", [1, 12])
def test_a_site_costs_the_same_however_many_zones(
    client, office, pest, django_assert_num_queries, zones
):
    made = make_house(pest, calm_zones=zones)
    judge()
    client.force_login(office)
    client.get(made.address("site_trends"))

    # Two of them ask for work that was done there, and find none.
    with django_assert_num_queries(8):
        client.get(made.address("site_trends"))


# --- one place ----------------------------------------------------------------------------------


def test_a_place_says_what_was_judged_and_what_its_monitors_caught(client, office, house):
    address = house.address("zone_trend", "german-cockroach", house.kitchen.pk)

    answer = opened(client, office, address)

    words = text(answer)
    latest = PlaceMonth.objects.get(zone=house.kitchen, month=LAST)
    assert latest.words in words
    assert [one.rate.count for one in answer.context["monitors"]] == [15, 15]
    assert f"15 in {days_stood()} trap-days: about 3.6 per 100 trap-days, between " in words
    assert "where they come in clumps it may lie further out" in words
    assert "The table behind it" in words


def test_places_lead_to_one_another_in_walking_order(client, office, house):
    answer = opened(
        client, office, house.address("zone_trend", "german-cockroach", house.kitchen.pk)
    )

    picture = answer.context["picture"]
    assert picture.before == (
        house.address("place_trend", "german-cockroach"),
        "Whole site, German cockroach",
    )
    assert picture.after == (
        house.address("zone_trend", "german-cockroach", house.store.pk),
        "Store 0, German cockroach",
    )


def test_what_was_done_there_stands_on_the_time_axis(client, office, house, pest, technician):
    treat(house.kitchen, technician, office)
    treat(house.store, technician, office)
    make_action(
        "checked", site=house.site, by=office, zone_id=house.kitchen.pk, title="Seal the pipe chase"
    )
    read_months(house.monitors[0], pest, [1], last=THIS)
    judge()

    address = house.address("zone_trend", "german-cockroach", house.kitchen.pk)
    answer = opened(client, office, address)

    marks = [(mark.kind, mark.words) for mark in answer.context["marks"]]
    assert [kind for kind, _ in marks] == ["proofing", "treatment"]
    assert marks[0][1] == "Seal the pipe chase"
    words = text(answer)
    assert "The product label and safety data sheet come first" in words
    assert words.count("Seal the pipe chase") >= 2


def treat(zone: Zone, technician: Any, office: Any) -> None:
    """One treatment against German cockroach on a visit that is closed today."""
    visit = make_visit(
        zone.site, technician=technician, due_on=NOW.date(), state=Visit.State.UNDER_WAY
    )
    at = timezone.now() - timedelta(minutes=10)
    product = make_product(by=office)
    apply_treatment(
        visit.pk,
        by=technician,
        at=at,
        treatment=treatment_given(zone, product, started_at=at),
    )
    close_visit(
        visit.pk,
        by=technician,
        at=at + timedelta(minutes=5),
        received_at=at + timedelta(minutes=6),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
    )


def test_a_place_without_counts_says_so(client, office, house):
    words = text(opened(client, office, house.address("place_trend", "house-mouse")))

    assert "Nothing was counted of it here" in words


def test_a_zone_of_another_site_and_an_unknown_pest_are_absent(client, office, house, pest):
    other = make_zone(make_site())

    for address in (
        house.address("zone_trend", "german-cockroach", other.pk),
        house.address("place_trend", "no-such-pest"),
    ):
        assert opened(client, office, address).status_code == 404


# --- lines on other pages -----------------------------------------------------------------------


def test_a_clients_manager_reads_each_site_in_a_line(client, pest):
    client_ = make_client()
    made = make_house(pest, client=client_)
    fresh = make_site(client=client_)
    judge()
    manager = make_manager(client=client_)

    answer = opened(client, manager, reverse("compliance:your_sites"))

    words = text(answer)
    standings = answer.context["standings"]
    assert standings[made.site.pk].more == ("German cockroach",)
    assert "2 places with open alarms" in words
    assert not standings[fresh.pk].counted
    assert "Nothing counted yet" in words


def test_an_auditor_reads_it_beside_the_evidence(client, house):
    auditor = make_auditor()
    give_pass(auditor, house.site, period_from=moved(LAST, -11), period_to=NOW.date())

    words = text(opened(client, auditor, reverse("compliance:the_file")))

    assert "More than usual" in words
    assert house.address("site_trends") in words


def test_a_sites_own_page_and_its_monitors_lead_there(client, office, house):
    page = text(opened(client, office, house.site.get_absolute_url()))
    monitor = text(opened(client, office, reverse("sites:monitor", args=[house.monitors[0].pk])))

    assert house.address("site_trends") in page
    assert "What it showed over time" in monitor
    assert f"15 in {days_stood()} trap-days: about 3.6 per 100" in monitor
    assert house.address("zone_trend", "german-cockroach", house.kitchen.pk) in monitor


def test_a_monitors_gaps_are_said(client, office, pest):
    monitor = make_monitor(make_zone(make_site()), placed_on=moved(LAST, -12))
    read_months(monitor, pest, [1, None, 0])
    judge()

    words = text(opened(client, office, reverse("sites:monitor", args=[monitor.pk])))

    assert f"Nobody could look in {month_words(moved(LAST, -1))}." in words


@pytest.mark.parametrize("sites", [1, 8])
def test_lines_cost_two_queries_however_many_sites(pest, office, django_assert_num_queries, sites):
    made = [make_house(pest).site for _ in range(sites)]
    judge()

    with django_assert_num_queries(2):
        found = standings_of(made, office, now=NOW)

    assert {one.more for one in found.values()} == {("German cockroach",)}


@pytest.mark.parametrize(
    ("rises", "line"),
    [
        ([5] * 12 + [6] * 12, "rising"),
        ([6] * 12 + [5] * 12, "falling"),
        ([5, 6] * 6 + [6, 5] * 6, "calm"),
        ([5, 5, 6, 6, 7, 7, 8, 8, 9, 9, 10, 10], "calm"),
        ([5, 6, 5], "unknown"),
    ],
)
def test_a_line_names_each_pest_once(pest, office, rises, line):
    site = make_site()
    zone = make_zone(site)
    for _ in range(2):
        read_months(make_monitor(zone, placed_on=moved(LAST, -36)), pest, rises)
    judge()

    standing = standings_of([site], office, now=NOW)[site.pk]

    told = {
        name for name in ("more", "rising", "falling", "calm", "unknown") if getattr(standing, name)
    }
    assert told == {line}


def test_a_trend_begins_with_the_first_month_that_has_a_rate():
    months = {moved(LAST, -2): (3, 60), LAST: (0, 120)}

    assert trend_rates(months, LAST) == [10.0, None, 0.0]


@pytest.mark.parametrize(
    ("by", "month"),
    [
        (0, date(2026, 1, 1)),
        (-1, date(2025, 12, 1)),
        (12, date(2027, 1, 1)),
        (-13, date(2024, 12, 1)),
    ],
)
def test_months_are_counted_over_the_end_of_years(by, month):
    assert moved(date(2026, 1, 1), by) == month
