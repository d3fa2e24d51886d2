"""What sealing has saved, from the record: which work counts, which days, and in which words."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from compliance.models import ActionOption, CorrectiveAction
from compliance.queries.savings import savings_at
from compliance.services.actions import OptionGiven
from tests.builders.compliance import make_action
from tests.builders.extra_visits import make_extra_visit
from tests.builders.sites import make_site
from tests.builders.visits import make_contract, make_line
from visits.models import Visit

pytestmark = pytest.mark.django_db

DONE = date(2026, 3, 2)
NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)
CALL_OUT, ROUTINE = Visit.Kind.CALL_OUT, Visit.Kind.ROUTINE
CHECKED = CorrectiveAction.State.CHECKED
LASTING, CARRY_ON = ActionOption.Kind.LASTING, ActionOption.Kind.CARRY_ON


def options(first: str = LASTING, **facts) -> list[OptionGiven]:
    given = {
        "cost_once": Decimal(400),
        "cost_monthly": Decimal(0),
        "remaining_risk": "A little.",
        **facts,
    }
    return [
        OptionGiven(first, "The way that is ordered.", **given),
        *(
            OptionGiven(kind, "Another way.", Decimal(0), Decimal(50), remaining_risk="Much.")
            for kind in (LASTING, CARRY_ON)
            if kind != first
        ),
    ]


def seal(site, on=DONE, *, state=CHECKED, **facts):
    at = datetime(on.year, on.month, on.day, 12, tzinfo=UTC)
    return make_action(state, site=site, at=at, **{"options": options(), **facts})


@pytest.fixture
def site():
    """On record for more than a year before the work, with a price for call-outs."""
    site = make_site(zones=2)
    contract = make_contract(
        site, call_out_price=Decimal(85), starts_on=date(2024, 1, 1), ends_on=None
    )
    make_line(contract, kind=ROUTINE, price=Decimal(60), first_on=date(2024, 1, 1))
    make_extra_visit(site, DONE - timedelta(days=500), kind=ROUTINE)
    return site


@pytest.fixture
def kitchen(site):
    return site.zones.order_by("pk")[0]


@pytest.fixture
def bar(site):
    return site.zones.order_by("pk")[1]


def call_outs(site, zone, *days: int) -> None:
    """Call-outs so many days after the work (before it, below 0) that treated a zone."""
    for one in days:
        make_extra_visit(site, DONE + timedelta(days=one), kind=CALL_OUT, treated=[zone])


def savings(*sites):
    return savings_at(sites, currency="GBP", now=NOW)


def only(site):
    (found,) = savings(site).of_site[site.pk]
    return found


def test_what_was_not_spent_is_told_with_its_limits_and_less_the_work(site, kitchen):
    call_outs(site, kitchen, -340, -290, -240, -190, -140, -90, -40)
    seal(site, zone_id=kitchen.pk)

    found = only(site)

    assert (found.on, found.saving.state, found.state_words) == (
        DONE,
        "fewer",
        "Fewer extra visits",
    )
    assert found.saving.yearly is not None
    assert found.saving.yearly.likely == pytest.approx(7.0)
    said = " ".join(found.words).replace("\N{NO-BREAK SPACE}", " ")
    assert "7 extra visits and 7 treatments in the 365 days before" in said
    assert "0 extra visits and 0 treatments in the 245 days since" in said
    # 7 a year over 245 days at 85.00 each.
    assert "Not spent on extra visits since: about £399, between £" in said
    assert "Less £400.00 for the work: about −£1, between −£" in said
    assert "it may be nothing" in said
    assert "the season may have had a part in it" in said


def test_the_day_of_the_work_is_on_neither_side(site, kitchen):
    call_outs(site, kitchen, -365, -1, 0, 1)
    seal(site, zone_id=kitchen.pk)

    words = only(site).words[0].replace("\N{NO-BREAK SPACE}", " ")

    assert words.startswith("2 extra visits and 2 treatments in the 365 days before, 1 extra visit")


def test_only_what_concerns_the_zone_counts(site, kitchen, bar):
    call_outs(site, bar, -60, -20, 20)
    seal(site, zone_id=kitchen.pk)

    assert only(site).saving.money is None
    assert "There was no extra visit on either side" in " ".join(only(site).words)


def test_work_without_a_zone_is_measured_at_the_whole_site(site, kitchen, bar):
    call_outs(site, bar, -60)
    call_outs(site, kitchen, -200)
    seal(site)

    assert only(site).words[0].startswith("2\N{NO-BREAK SPACE}extra visits")


@pytest.mark.parametrize("here", [True, False], ids=["same zone", "another zone"])
def test_other_proofing_in_the_same_place_leaves_it_unknown(site, kitchen, bar, here):
    seal(site, zone_id=kitchen.pk)
    seal(
        site,
        DONE + timedelta(days=60),
        zone_id=(kitchen if here else bar).pk,
        state=CorrectiveAction.State.DONE,
    )

    found = only(site)

    assert (found.saving.state == "not_known") is here
    assert ("Other proofing in the same place" in found.words[0]) is here


def test_proofing_somewhere_at_the_site_may_have_been_in_the_same_place(site, kitchen):
    seal(site, zone_id=kitchen.pk)
    seal(site, DONE - timedelta(days=60))

    assert [one.saving.state for one in savings(site).of_site[site.pk]] == ["not_known"] * 2


def test_soon_after_the_work_it_is_not_yet_known(site, kitchen):
    call_outs(site, kitchen, -60)
    seal(site, NOW.date() - timedelta(days=91), zone_id=kitchen.pk)

    assert only(site).saving.state == "not_known"
    assert only(site).words == ("Only 91 days have passed since the work; 92 are needed.",)
    assert savings(site).words == ("Not yet known for 1\N{NO-BREAK SPACE}checked sealing.",)


def test_work_of_today_has_no_day_after_it(site, kitchen):
    seal(site, NOW.date(), zone_id=kitchen.pk)

    assert only(site).words == ("Only 0 days have passed since the work; 92 are needed.",)


@pytest.mark.parametrize(
    ("facts", "counts"),
    [
        pytest.param({}, True, id="lasting work"),
        pytest.param({"options": options(ActionOption.Kind.INTERIM)}, True, id="interim fix"),
        pytest.param({"options": options(CARRY_ON)}, False, id="carrying on"),
        pytest.param({"state": CorrectiveAction.State.DONE}, False, id="not checked"),
        pytest.param({"state": CorrectiveAction.State.DECIDED}, False, id="not done"),
        pytest.param({"kind": CorrectiveAction.Kind.HOUSEKEEPING}, False, id="no proofing"),
    ],
)
def test_only_checked_sealing_counts(site, facts, counts):
    seal(site, **facts)

    assert bool(savings(site).of_site.get(site.pk)) is counts


def test_monthly_costs_are_taken_off_for_the_days_since(site, kitchen):
    call_outs(site, kitchen, -60)
    ordered = options(cost_monthly=Decimal("36.50"), cost_once=Decimal(100))
    seal(site, zone_id=kitchen.pk, options=ordered)

    saving = only(site).saving

    assert saving.money is not None
    assert saving.net is not None
    # 245 days of 438.00 a year are 294.00, and 100.00 once.
    assert saving.money.likely - saving.net.likely == pytest.approx(394.0)


def test_without_prices_the_money_is_not_known(kitchen):
    site = make_site(zones=1)
    zone = site.zones.get()
    make_extra_visit(site, DONE - timedelta(days=400), kind=ROUTINE)
    call_outs(site, zone, -60)
    seal(site, zone_id=zone.pk)

    found = only(site)

    assert found.saving.money is None
    assert "have no price in the contract" in " ".join(found.words)


def test_a_site_that_was_closed_ends_the_days_since(site, kitchen):
    call_outs(site, kitchen, -60)
    seal(site, zone_id=kitchen.pk)
    site.closed_on = DONE + timedelta(days=30)
    site.save()

    assert only(site).words == ("Only 30 days have passed since the work; 92 are needed.",)


def test_all_sealings_together_say_of_how_many_it_is_known(site, kitchen, bar):
    call_outs(site, kitchen, -340, -290, -240, -190, -140, -90, -40)
    seal(site, zone_id=kitchen.pk)
    seal(site, NOW.date() - timedelta(days=10), zone_id=bar.pk)

    found = savings(site)

    assert (found.total.sealings, found.total.measured) == (2, 1)
    assert found.words[0].startswith(
        "Not spent on extra visits since, for 1 of 2\N{NO-BREAK SPACE}checked sealings: about £399"
    )
    assert found.words[-1] == "Of the others it is not yet known."


def test_without_sealing_that_is_said(site):
    assert savings(site).words == ("No sealing has been done and checked yet.",)
    assert savings().of_site == {}


def test_no_more_queries_for_more_sites_and_sealings(
    site, kitchen, bar, django_assert_max_num_queries
):
    call_outs(site, kitchen, -60)
    seal(site, zone_id=kitchen.pk)
    with django_assert_max_num_queries(10) as few:
        savings(site)
    other = make_site(zones=1)
    make_extra_visit(other, DONE - timedelta(days=100), kind=ROUTINE)
    seal(other)
    call_outs(site, bar, 60)
    seal(site, zone_id=bar.pk)

    with django_assert_max_num_queries(len(few)):
        savings(site, other)
