"""Rodent bait at a site: what lies where, its review, its end, and who sees it."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from accounts.models import Branch
from accounts.refusals import NotAllowed, Unusable, WrongState
from compliance.queries.site_file import site_file_of
from compliance.sitefile import visiting
from sites.models import Monitor, Site
from sites.services.monitors import remove_monitor
from tests.builders.accounts import make_manager, make_office
from tests.builders.compliance import give_pass
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import local, make_product, make_visit, treatment_given
from visits.models import BaitingReview, Product, Treatment, Visit
from visits.queries.baiting import open_baiting, site_baiting
from visits.services.baiting import review_baiting
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    ReadingGiven,
    apply_treatment,
    record_readings,
)

pytestmark = pytest.mark.django_db

LAID = date(2026, 9, 1)
NOBODY = ContactGiven(no_signature_reason="Nobody was there.")
Outcome = BaitingReview.Outcome


def noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, 0, tzinfo=UTC)


def after(days: int) -> datetime:
    """At noon so many days after the bait was laid."""
    return noon(LAID + timedelta(days=days))


class Baited:
    """A site with bait stations, and the visits that lay, weigh and lift there."""

    def __init__(self, stations: int = 2, **site) -> None:
        self.site = make_site(**site)
        self.zone = make_zone(self.site)
        self.stations = [
            make_monitor(self.zone, kind=Monitor.Kind.BAIT_STATION) for _ in range(stations)
        ]
        self.product = make_product(
            formulation=Product.Formulation.BAIT_BLOCK, unit=Product.Unit.GRAM
        )

    def visit(self, day: date, *, lay=(), weigh=(), close: bool = True, **facts) -> Visit:
        """``lay``: (station, grams) pairs; ``weigh``: (station, taken, lifted) triples."""
        visit = make_visit(self.site, state=Visit.State.UNDER_WAY, due_on=day)
        at = local(visit, 9, 30)
        for station, amount in lay:
            apply_treatment(
                visit.pk,
                by=visit.technician,
                at=at,
                treatment=treatment_given(
                    self.zone,
                    self.product,
                    **{
                        "monitor_id": station.pk if station else None,
                        "method": Treatment.Method.BAIT_STATION,
                        "target": "brown-rat",
                        "amount": Decimal(amount),
                        "started_at": at,
                        **facts,
                    },
                ),
            )
        if weigh:
            record_readings(
                visit.pk,
                by=visit.technician,
                at=at,
                readings=[
                    ReadingGiven(
                        station.pk,
                        bait_taken_g=Decimal(taken),
                        bait_lifted_g=None if lifted is None else Decimal(lifted),
                    )
                    for station, taken, lifted in weigh
                ],
            )
        if not close:
            return visit
        return close_visit(
            visit.pk,
            by=visit.technician,
            at=local(visit, 10),
            received_at=local(visit, 10, 5),
            contact=NOBODY,
        )

    def stands(self, at: datetime, user=None):
        return site_baiting(self.site, user or make_office(), at)


def balances(found) -> list[Decimal]:
    return [one.balance_g for one in found.points]


def test_what_lies_at_a_point_is_what_was_laid_less_what_was_taken_and_lifted():
    baited = Baited()
    first, second = baited.stations
    baited.visit(LAID, lay=[(first, "40"), (second, "60")])
    baited.visit(LAID + timedelta(days=7), lay=[(first, "15")], weigh=[(first, "12.5", None)])

    found = baited.stands(after(10))

    assert balances(found) == [Decimal("42.50"), Decimal("60.00")]
    assert found.balance_g == Decimal("102.50")
    assert [one.state.open_since for one in found.points] == [LAID, LAID]
    assert (found.state.days_open, found.state.is_overdue) == (10, False)


def test_bait_counts_in_grams_whatever_was_typed():
    baited = Baited(stations=1)
    (station,) = baited.stations
    baited.visit(LAID, lay=[(station, "0.05")], unit="kg")

    assert balances(baited.stands(after(1))) == [Decimal("50.00")]


def test_a_liquid_bait_without_a_density_is_not_overlooked():
    baited = Baited(stations=1)
    (station,) = baited.stations
    baited.visit(LAID, lay=[(station, "0.2")], unit="l")

    found = baited.stands(after(1))

    assert Treatment.objects.get().product_amount is None
    assert balances(found) == [Decimal("200.00")]
    assert not found.state.is_lifted


@pytest.mark.parametrize(("days", "overdue"), [(35, False), (36, True)])
def test_the_review_is_due_on_the_thirty_fifth_day(days, overdue):
    """Source: CRRU UK Code 2015."""
    baited = Baited(stations=1)
    baited.visit(LAID, lay=[(baited.stations[0], "40")])

    found = baited.stands(after(days))

    assert found.state.review_due_on == LAID + timedelta(days=35)
    assert (found.state.is_overdue, found.state.is_open_ended) == (overdue, overdue)


def test_days_are_those_of_the_sites_own_calendar():
    """At noon in London it is the next day in Auckland."""
    there, here = (
        Baited(stations=1, time_zone=zone) for zone in ("Pacific/Auckland", "Europe/London")
    )
    for baited in (there, here):
        baited.visit(LAID, lay=[(baited.stations[0], "40")])

    assert there.stands(after(35)).state.is_overdue
    assert not here.stands(after(35)).state.is_overdue


def test_a_review_with_its_cause_lets_it_go_on(office, trail):
    baited = Baited(stations=1)
    baited.visit(LAID, lay=[(baited.stations[0], "40")])
    before = trail()

    review_baiting(
        baited.site.pk,
        by=office,
        outcome=Outcome.GO_ON,
        cause="Fresh burrows behind the skip.",
        at=after(40),
    )

    found = baited.stands(after(60))
    assert not found.state.is_overdue
    assert found.state.review_due_on == LAID + timedelta(days=75)
    assert trail() == [*before, "baiting.reviewed"]
    assert baited.stands(after(76)).state.is_overdue
    assert not baited.stands(after(76)).state.is_open_ended


def test_bait_that_is_to_be_lifted_comes_up_until_it_is(office):
    baited = Baited()
    first, second = baited.stations
    baited.visit(LAID, lay=[(first, "40"), (second, "40")])
    review_baiting(baited.site.pk, by=office, outcome=Outcome.LIFT, cause="No take.", at=after(40))
    assert baited.stands(after(41)).state.is_overdue
    assert baited.stands(after(41)).state.is_to_be_lifted

    baited.visit(LAID + timedelta(days=42), weigh=[(first, "10", "30")])
    assert [one.state.is_open for one in baited.stands(after(43)).points] == [False, True]
    baited.visit(LAID + timedelta(days=44), weigh=[(second, "0", "40")])

    found = baited.stands(after(45))
    assert found.state.is_lifted
    assert not found.state.is_overdue
    assert open_baiting([baited.site], after(45)) == []


def test_a_station_that_is_taken_away_ends_its_baiting(office):
    baited = Baited(stations=1)
    (station,) = baited.stations
    baited.visit(LAID, lay=[(station, "40")])

    remove_monitor(station.pk, by=office, on=LAID + timedelta(days=10), reason="The skip is gone.")

    assert not baited.stands(after(9)).state.is_lifted
    assert baited.stands(after(11)).state.is_lifted


def test_bait_without_a_numbered_point_is_counted_and_not_reckoned():
    baited = Baited(stations=1)
    baited.visit(LAID, lay=[(None, "200")])

    found = baited.stands(after(1))

    assert (found.points, found.unnumbered) == ([], 1)


def test_insect_bait_is_no_baiting_of_rodents():
    baited = Baited(stations=1)
    baited.visit(LAID, lay=[(baited.stations[0], "4")], target="garden-ant")

    assert baited.stands(after(50)).points == []


def test_more_taken_than_laid_is_shown_as_a_wrong_record():
    baited = Baited(stations=1)
    (station,) = baited.stations
    baited.visit(LAID, lay=[(station, "40")], weigh=[(station, "55", None)])

    found = baited.stands(after(1))

    assert found.state.negative_points == (str(station.pk),)


# --- reviewing ------------------------------------------------------------------------------------


def test_the_same_review_twice_on_a_day_is_one(office, trail):
    baited = Baited(stations=1)
    baited.visit(LAID, lay=[(baited.stations[0], "40")])
    said = {"by": office, "outcome": Outcome.GO_ON, "cause": "Fresh burrows.", "at": after(30)}
    first = review_baiting(baited.site.pk, **said)
    before = trail()

    assert review_baiting(baited.site.pk, **said) == first
    assert BaitingReview.objects.count() == 1
    assert trail() == before


@pytest.mark.parametrize(
    ("facts", "field"),
    [({"cause": "  "}, "cause"), ({"outcome": "perhaps"}, "outcome")],
)
def test_a_review_wants_a_cause_and_an_outcome(office, facts, field):
    baited = Baited(stations=1)
    baited.visit(LAID, lay=[(baited.stations[0], "40")])

    with pytest.raises(Unusable) as refused:
        review_baiting(
            baited.site.pk, by=office, **{"outcome": Outcome.GO_ON, "cause": "Burrows.", **facts}
        )

    assert refused.value.facts["field"] == field
    assert not BaitingReview.objects.exists()


def test_where_no_bait_lies_there_is_nothing_to_review(office):
    with pytest.raises(WrongState, match="nothing to review"):
        review_baiting(make_site().pk, by=office, outcome=Outcome.GO_ON, cause="Just in case.")
    assert not BaitingReview.objects.exists()


def test_only_the_office_of_the_branch_reviews(technician):
    branch, other = Branch.objects.create(name="North"), Branch.objects.create(name="South")
    baited = Baited(stations=1, branch=branch)
    baited.visit(LAID, lay=[(baited.stations[0], "40")])
    stranger = make_office()
    stranger.branches.set([other])

    for person in (technician, stranger, make_manager(client=baited.site.client)):
        with pytest.raises(NotAllowed):
            review_baiting(baited.site.pk, by=person, outcome=Outcome.GO_ON, cause="Burrows.")
    assert not BaitingReview.objects.exists()


# --- the company's list and the pages -------------------------------------------------------------


def test_the_company_sees_where_bait_lies_the_next_review_first(django_assert_num_queries):
    late, early, lifted = Baited(), Baited(), Baited(stations=1)
    late.visit(LAID, lay=[(late.stations[0], "40")])
    early.visit(LAID - timedelta(days=5), lay=[(early.stations[0], "40")])
    (station,) = lifted.stations
    lifted.visit(LAID, lay=[(station, "40")])
    lifted.visit(LAID + timedelta(days=3), weigh=[(station, "0", "40")])
    sites = [late.site, early.site, lifted.site]

    with django_assert_num_queries(4):
        found = open_baiting(sites, after(10))

    assert [one.site for one in found] == [early.site, late.site]
    assert open_baiting(sites, after(32), overdue_only=True)[0].site == early.site
    assert len(open_baiting(sites, after(32), overdue_only=True)) == 1


def test_a_site_that_was_never_baited_costs_the_list_nothing(django_assert_num_queries):
    make_site()
    with django_assert_num_queries(1):
        assert open_baiting(Site.objects.all(), after(0)) == []


def now_baited(days_ago: int, **site) -> Baited:
    """Bait that was laid so many days before today."""
    baited = Baited(**site)
    day = datetime.now(UTC).date() - timedelta(days=days_ago)
    baited.visit(day, lay=[(one, "40") for one in baited.stations])
    return baited


def test_the_page_shows_every_point_and_a_review_is_written_there(client, office):
    baited = now_baited(40)
    client.force_login(office)
    address = reverse("visits:bait", args=[baited.site.pk])

    page = client.get(address).content.decode()
    assert "Past its review day" in page
    for station in baited.stations:
        assert reverse("sites:monitor", args=[station.pk]) in page
    assert "Past its review day" in client.get(baited.site.get_absolute_url()).content.decode()

    review = reverse("visits:bait_review", args=[baited.site.pk])
    assert client.post(review, {"outcome": "go_on", "cause": ""}).status_code == 422
    assert client.post(review, {"outcome": "go_on", "cause": "Fresh burrows."}).status_code == 302

    page = client.get(address).content.decode()
    assert "Past its review day" not in page
    assert "Fresh burrows." in page
    assert office.name in page


def test_the_companys_list_and_its_file_say_the_same(client, office):
    old, young = now_baited(40), now_baited(3)
    client.force_login(office)
    address = reverse("visits:baiting")

    page = client.get(address).content.decode()
    assert page.index(old.site.name) < page.index(young.site.name)
    assert "Open-ended" in page
    narrowed = client.get(address, {"overdue": "on"}).content.decode()
    assert young.site.name not in narrowed

    body = b"".join(client.get(reverse("visits:baiting_csv")).streaming_content).decode()
    assert old.site.name in body
    points = client.get(reverse("visits:bait_csv", args=[old.site.pk]))
    rows = b"".join(points.streaming_content).decode().splitlines()
    assert len(rows) == 1 + len(old.stations)


def test_a_client_sees_bait_of_closed_visits_only(client):
    baited = Baited(stations=1)
    baited.visit(LAID, lay=[(baited.stations[0], "40")], close=False)
    manager = make_manager(client=baited.site.client)

    assert baited.stands(after(1)).balance_g == Decimal("40.00")
    assert baited.stands(after(1), manager).points == []


def test_an_auditor_sees_what_the_pass_covers(auditor):
    baited = Baited(stations=1)
    baited.visit(LAID - timedelta(days=100), lay=[(baited.stations[0], "40")])
    baited.visit(LAID, lay=[(baited.stations[0], "30")])
    give_pass(
        auditor,
        baited.site,
        period_from=LAID - timedelta(days=10),
        period_to=LAID + timedelta(days=30),
    )

    assert baited.stands(after(1)).balance_g == Decimal("70.00")
    assert baited.stands(after(1), auditor).balance_g == Decimal("30.00")


def test_the_site_file_shows_points_and_amounts_of_its_period(office):
    baited = Baited(stations=1)
    (station,) = baited.stations
    baited.visit(LAID - timedelta(days=60), lay=[(station, "40")])
    baited.visit(LAID, lay=[(station, "30")], weigh=[(station, "25", None)])
    baited.visit(LAID + timedelta(days=20), lay=[(station, "99")])
    review_baiting(
        baited.site.pk, by=office, outcome=Outcome.GO_ON, cause="Fresh burrows.", at=after(1)
    )

    file = site_file_of(
        baited.site,
        first=LAID - timedelta(days=5),
        last=LAID + timedelta(days=10),
        by=office,
        role=office.role,
        now=after(30),
    ).file

    (point,) = file.baiting.points
    assert (point.laid, point.taken, point.lies) == (
        Decimal("30.00"),
        Decimal("25.00"),
        Decimal("45.00"),
    )
    assert [one.cause for one in file.baiting.reviews] == ["Fresh burrows."]
    (row,) = visiting.bait(file.baiting)["table"].rows
    assert [cell.text for cell in row][3:7] == ["30", "25", "0", "45"]


@pytest.mark.parametrize("stations", [2, 20])
def test_a_sites_bait_costs_the_same_for_few_points_and_many(
    stations, office, django_assert_num_queries
):
    baited = Baited(stations=stations)
    baited.visit(LAID, lay=[(one, "40") for one in baited.stations])

    with django_assert_num_queries(4):
        assert len(baited.stands(after(5), office).points) == stations
