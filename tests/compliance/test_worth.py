"""What ways cost in today's money: identities, and edges by hand."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.economics.costs import Way, compare
from compliance.economics.flows import annuity_factor, payback, present_value
from compliance.economics.ranges import spread
from compliance.economics.turning import turning_points
from compliance.economics.worth import Terms, as_spent, in_todays_money, weigh, worth_of
from tests.compliance.economics_cases import (
    PATCH,
    PROOF,
    SIX,
    TREAT,
    ZERO,
    lives,
    money,
    ranged,
    some_ways,
    terms,
)


@settings(deadline=None)
@given(some_ways(), st.integers(1, 10))
def test_without_interest_and_growth_the_present_cost_is_the_sum(ways, years):
    plain = compare(ways, years=years)
    for worth, line in zip(weigh(ways, Terms(years)).worths, plain.lines, strict=True):
        assert worth.present == worth.total == line.total
        assert worth.present_by_month == line.by_month
        assert worth.renewals == line.renewals
        assert round(worth.yearly, 2) == round(line.total / years, 2)


@settings(deadline=None)
@given(some_ways(), terms)
def test_the_order_of_options_never_matters(ways, under):
    there, back = weigh(ways, under), weigh(ways[::-1], under)
    assert there.worths == back.worths[::-1]
    assert set(there.cheapest) == set(back.cheapest)
    assert there.payback == back.payback


@settings(deadline=None)
@given(money, money, lives, terms)
def test_equal_options_tie(once, monthly, life, under):
    ways = [Way(key, key, once, monthly, life) for key in "abc"]
    assert weigh(ways, under).cheapest == ("a", "b", "c")
    assert turning_points(ways, under) == ()


@settings(deadline=None)
@given(some_ways(), terms, st.decimals("0.001", "0.2", places=3))
def test_more_interest_never_makes_cost_greater_and_more_growth_never_less(ways, under, more):
    for way in ways:
        now = worth_of(way, under).present
        dearer_money = replace(under, yearly_rate=under.yearly_rate + more)
        assert worth_of(way, dearer_money).present <= now
        dearer_work = replace(under, yearly_growth=under.yearly_growth + more)
        assert worth_of(way, dearer_work).present >= now


@settings(deadline=None)
@given(st.integers(1, 10), st.decimals("0", "0.3", places=3), money, money)
def test_payback_in_todays_money_never_comes_before_the_simple_one(years, rate, once, saved):
    ways = [Way("now", "now", once, ZERO), Way("later", "later", ZERO, saved)]
    back = weigh(ways, Terms(years, rate)).payback
    if back.discounted_month is not None:
        assert back.month is not None
        assert back.month <= back.discounted_month


def test_a_renewal_is_paid_at_the_start_of_its_month_at_the_price_of_that_year():
    """By hand: 100 now; at the start of month 13, prices 10 % up, worth 1/1.21: 110 / 1.21."""
    yearly = Way("w", "w", Decimal(100), ZERO, 12)
    found = worth_of(yearly, Terms(2, Decimal("0.21"), Decimal("0.1")))
    assert found.total == 210
    assert round(found.present, 10) == round(100 + 110 / Decimal("1.21"), 10)


def test_a_horizon_shorter_than_the_life_renews_nothing():
    lasting = replace(PROOF, life_months=120)
    assert worth_of(lasting, SIX).present == worth_of(PROOF, SIX).present
    # Ten years of life at 6 %: the once as a yearly sum over ten years.
    per_year = worth_of(lasting, SIX).per_year_of_life
    assert round(per_year, 8) == round(4800 / annuity_factor(Decimal("0.06"), 10), 8)
    assert worth_of(lasting, Terms(5)).per_year_of_life == 480
    assert worth_of(PROOF, SIX).per_year_of_life is None


def test_free_proofing_has_paid_for_itself_at_once():
    back = weigh([replace(PROOF, once=ZERO), TREAT], SIX).payback
    assert (back.month, back.discounted_month) == (0, 0)


def test_treating_that_is_cheaper_for_ever_is_said_to_be():
    weighed = weigh([PROOF, replace(TREAT, monthly=Decimal(60))], replace(SIX, years=10))
    assert weighed.cheapest == ("treat",)
    assert weighed.payback.discounted_month is None
    assert weighed.payback.present_saved == -4800


def test_a_negative_rate_makes_later_money_weigh_more():
    under = Terms(5, Decimal("-0.02"))
    assert worth_of(TREAT, under).present > 60 * 180
    assert weigh([PROOF, TREAT], under).payback.discounted_month < 40


def test_one_way_has_nothing_to_be_weighed_against():
    assert weigh([PROOF], SIX).payback is None
    assert turning_points([PROOF], SIX) == ()
    assert spread([ranged(PROOF)], SIX, seed=1).payback is None


def test_tables_and_drawings_take_both_kinds_of_money():
    weighed = weigh([PROOF, PATCH, TREAT], SIX)
    spent, today = as_spent(weighed), in_todays_money(weighed)
    assert (today.years, today.months) == (spent.years, spent.months) == (5, 60)
    assert [line.renewals for line in today.lines] == [0, 2, 0]
    assert today.lines[0].total == worth_of(PROOF, SIX).present
    assert (spent.break_even.month, today.break_even.month) == (40, 45)
    assert spent.break_even.saved == 2400
    assert [line.once_in_all for line in spent.lines] == [4800, 2700, 0]
    assert as_spent(weigh([PROOF], SIX)).break_even is None
    assert in_todays_money(weigh([PROOF], SIX)).break_even is None


@settings(deadline=None)
@given(some_ways(), st.integers(1, 10))
def test_without_interest_and_growth_the_tables_are_those_of_the_plain_comparison(ways, years):
    plain, spent = compare(ways, years=years), as_spent(weigh(ways, Terms(years)))
    assert spent.lines == plain.lines


@pytest.mark.parametrize(
    ("ways", "under", "words"),
    [
        ([], SIX, "no way"),
        ([PROOF, PROOF], SIX, "key of its own"),
        ([replace(PROOF, life_months=0)], SIX, "at least a month"),
        ([replace(PROOF, once=Decimal(-1))], SIX, "less than nothing"),
        ([replace(PROOF, monthly=Decimal(-1))], SIX, "less than nothing"),
        ([PROOF], Terms(0), "1 to 10"),
        ([PROOF], Terms(11), "1 to 10"),
        ([PROOF], Terms(5, Decimal(-1)), "above -100"),
        ([PROOF], Terms(5, ZERO, Decimal("-1.5")), "above -100"),
    ],
)
def test_what_cannot_be_weighed_is_said_in_a_sentence(ways, under, words):
    for asked in (
        lambda: weigh(ways, under),
        lambda: turning_points(ways, under),
        lambda: spread([ranged(way) for way in ways], under, seed=1),
    ):
        with pytest.raises(ValueError, match=words):
            asked()


def test_flows_say_what_cannot_be():
    with pytest.raises(ValueError, match="no flows"):
        payback([])
    with pytest.raises(ValueError, match="above -100"):
        present_value([ZERO], Decimal(-1))
    with pytest.raises(ValueError, match="at least one"):
        annuity_factor(ZERO, 0)
    assert payback([Decimal(5), Decimal(1)]) == 0
