"""What sealing has saved, on paper: sides, limits, money, and several sealings together."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.economics.ranges import Range, exactly
from compliance.economics.savings import (
    LEAST_DAYS,
    NO_COST,
    NO_PRICE,
    NO_VISIT,
    Between,
    Saving,
    Sealing,
    Side,
    clumps,
    saving_of,
    spells_of,
    total_of,
)

DAY = date(2026, 3, 2)
BEFORE = Side(365, (1,) * 12, Decimal(1020))
AFTER = Side(365, (), Decimal(0))
COST = Range(Decimal(300), Decimal(400), Decimal(500))

spells = st.lists(st.integers(1, 6), max_size=8).map(tuple)
days = st.integers(LEAST_DAYS, 1000)
sides = st.builds(
    lambda length, some: Side(length, some, Decimal(85) * sum(some)), length=days, some=spells
)
sealings = st.builds(Sealing, before=sides, after=sides, cost=st.none() | st.just(COST))


def on(*days: int) -> list[date]:
    return [DAY + timedelta(days=one) for one in days]


# --- spells and clumps --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("days", "spells"),
    [
        pytest.param([], (), id="none"),
        pytest.param([0], (1,), id="one"),
        pytest.param([0, 28], (2,), id="28 days later is the same spell"),
        pytest.param([0, 29], (1, 1), id="29 days later is another"),
        pytest.param([0, 0], (2,), id="two on a day"),
        pytest.param([0, 20, 40, 90], (3, 1), id="each counts from the one before it"),
        pytest.param([90, 0, 40, 20], (3, 1), id="in any order"),
    ],
)
def test_visits_that_follow_each_other_closely_are_one_spell(days, spells):
    assert spells_of(on(*days)) == spells


@given(st.lists(st.integers(0, 400)))
def test_no_visit_is_lost_in_a_spell(days):
    assert sum(spells_of(on(*days))) == len(days)


@pytest.mark.parametrize(
    ("some", "phi"),
    [
        pytest.param((), 1.0, id="no visit"),
        pytest.param((1, 1, 1), 1.0, id="each alone"),
        pytest.param((3, 3), 3.0, id="threes"),
        pytest.param((1, 3), 2.5, id="mean of squares over mean"),
    ],
)
def test_clumps_are_variance_over_mean(some, phi):
    assert clumps(Side(365, some)) == phi
    assert clumps(Side(365, some[:1]), Side(92, some[1:])) == phi


def test_clumps_are_those_of_a_compound_count():
    """Held against drawn counts: spells come one by one, of 1, 2 or 3 visits."""
    draws = np.random.default_rng(7)
    numbers = draws.poisson(4, 40_000)
    counts = np.array([draws.integers(1, 4, number).sum() for number in numbers])

    assert counts.var() / counts.mean() == pytest.approx(clumps(Side(9, (1, 2, 3))), rel=0.03)


@pytest.mark.parametrize(
    "bad", [{"days": -1}, {"days": 0, "spells": (1,)}, {"days": 9, "spells": (0,)}]
)
def test_a_side_that_cannot_be_is_refused(bad):
    with pytest.raises(ValueError, match="need days"):
        Side(**bad)


# --- one sealing --------------------------------------------------------------------------------


def test_the_worked_example_of_the_page():
    """docs/algorithms/savings.md: 12 extra visits of 85.00 in the year before, none in the next."""
    found = saving_of(Sealing(BEFORE, AFTER, COST))

    assert (found.state, found.reason, found.not_whole_year) == ("fewer", "", False)
    assert found.visits == Between(
        pytest.approx(5.13, abs=0.01), pytest.approx(12.0), pytest.approx(20.96, abs=0.01)
    )
    assert found.money == Between(
        pytest.approx(435.78, abs=0.01), pytest.approx(1020.0), pytest.approx(1781.73, abs=0.01)
    )
    assert found.net == Between(
        pytest.approx(-64.22, abs=0.01), pytest.approx(620.0), pytest.approx(1481.73, abs=0.01)
    )


def test_limits_that_span_nothing_may_be_nothing():
    found = saving_of(Sealing(Side(365, (1, 1), Decimal(170)), Side(120, (1,), Decimal(85))))

    assert found.state == "may_be_nothing"
    assert found.yearly is not None
    assert found.yearly.lower < 0 < found.yearly.upper
    assert found.not_whole_year


def test_more_visits_than_before_are_told_as_such():
    found = saving_of(Sealing(AFTER, BEFORE, exactly(Decimal(10))))

    assert found.state == "more"
    assert found.money is not None
    assert found.money.upper < 0


@pytest.mark.parametrize(
    ("sealing", "words"),
    [
        pytest.param(Sealing(BEFORE, Side(91)), "Only 91 days have passed", id="too soon"),
        pytest.param(Sealing(Side(91), AFTER), "Only 91 days before", id="too little before"),
        pytest.param(Sealing(BEFORE, AFTER, barred="Other work."), "Other work.", id="other work"),
    ],
)
def test_not_known_is_said_with_its_reason_and_nothing_else(sealing, words):
    found = saving_of(sealing)

    assert found == Saving("not_known", found.reason)
    assert found.reason.startswith(words)


def test_ninety_two_days_on_each_side_are_enough():
    assert saving_of(Sealing(Side(92, (1,), Decimal(85)), Side(92))).state == "may_be_nothing"


@pytest.mark.parametrize(
    ("sealing", "reason"),
    [
        pytest.param(Sealing(Side(365, (2,), None), AFTER, COST), NO_PRICE, id="before unpriced"),
        pytest.param(Sealing(BEFORE, Side(365, (2,), None), COST), NO_PRICE, id="after unpriced"),
        pytest.param(Sealing(AFTER, AFTER, COST), NO_VISIT, id="no visit at all"),
    ],
)
def test_without_a_price_visits_are_told_and_money_is_not(sealing, reason):
    found = saving_of(sealing)

    assert (found.money, found.net, found.reason) == (None, None, reason)
    assert found.visits is not None


def test_without_the_cost_of_the_work_it_is_not_taken_off():
    found = saving_of(Sealing(BEFORE, AFTER))

    assert found.net is None
    assert found.money is not None
    assert found.reason == NO_COST


@given(sealings)
def test_the_estimate_lies_within_its_limits(sealing):
    found = saving_of(sealing)

    for one in filter(None, (found.yearly, found.visits, found.money, found.net)):
        assert one.lower <= one.likely <= one.upper


@given(sides, sides)
def test_swapping_the_sides_turns_the_sign(before, after):
    there, back = saving_of(Sealing(before, after)), saving_of(Sealing(after, before))

    assert there.yearly is not None
    assert back.yearly is not None
    assert there.yearly.lower == pytest.approx(-back.yearly.upper)
    assert there.yearly.likely == pytest.approx(-back.yearly.likely)


@given(sides, sides)
def test_visits_in_clumps_never_make_it_surer(before, after):
    alone = [Side(one.days, (1,) * one.visits, one.money) for one in (before, after)]
    clumped, sure = saving_of(Sealing(before, after)), saving_of(Sealing(*alone))

    assert clumped.yearly is not None
    assert sure.yearly is not None
    wide = clumped.yearly.upper - clumped.yearly.lower
    assert wide >= (sure.yearly.upper - sure.yearly.lower) * (1 - 1e-9)


@pytest.mark.parametrize(
    ("early", "late", "days"),
    [(2.0, 2.0, (365, 92)), (12.0, 3.0, (365, 365)), (6.0, 0.2, (365, 120)), (1.0, 0.5, (92, 92))],
)
def test_limits_hold_the_truth_as_often_as_they_say(early, late, days):
    """Every pair of counts that can come, weighed by how likely it is: at least 95 in 100."""
    from scipy.stats import poisson

    truth = early / days[0] - late / days[1]
    held = 0.0
    for first in range(int(poisson.ppf(1 - 1e-7, early)) + 1):
        for last in range(int(poisson.ppf(1 - 1e-7, late)) + 1):
            one = saving_of(Sealing(Side(days[0], (1,) * first), Side(days[1], (1,) * last)))
            assert one.yearly is not None
            if one.yearly.lower <= 365 * truth <= one.yearly.upper:
                held += float(poisson.pmf(first, early) * poisson.pmf(last, late))

    assert held >= 0.95


# --- several ------------------------------------------------------------------------------------


def one_of(lower: float, likely: float, upper: float) -> Saving:
    between = Between(lower, likely, upper)
    return Saving(between.state, "", between, between, between, between)


def test_sealings_of_one_site_are_added_end_to_end():
    total = total_of([[one_of(10, 20, 40), one_of(-5, 10, 20)]])

    assert total.money == Between(5, pytest.approx(30), 60)


def test_sites_are_put_together_as_independent():
    total = total_of([[one_of(70, 100, 140)], [one_of(60, 100, 130)]])

    assert total.money == Between(pytest.approx(150), 200, pytest.approx(250))


def test_what_is_not_known_is_left_out_and_counted():
    unknown = Saving("not_known", "Too soon.")

    total = total_of([[one_of(1, 2, 3), unknown], [unknown]])

    assert (total.sealings, total.measured, total.with_cost) == (3, 1, 1)
    assert total.money == Between(1, 2, 3)


@pytest.mark.parametrize("sites", [[], [[]], [[Saving("not_known", "Too soon.")]]])
def test_without_anything_measured_there_is_no_total(sites):
    assert total_of(sites).money is None
    assert total_of(sites).net is None


@given(st.lists(st.lists(sealings, max_size=3), max_size=4))
def test_a_total_lies_between_its_ends_and_no_order_matters(sites):
    found = [[saving_of(one) for one in site] for site in sites]
    total, turned = total_of(found), total_of([site[::-1] for site in found[::-1]])

    if total.money is None:
        assert turned.money is None
        return
    assert turned.money is not None
    lowest = sum(one.money.lower for site in found for one in site if one.money)
    assert total.money.lower >= lowest - 1e-6
    assert total.money.lower <= total.money.likely <= total.money.upper
    assert turned.money.lower == pytest.approx(total.money.lower)
    assert turned.money.likely == pytest.approx(total.money.likely, abs=1e-6)
