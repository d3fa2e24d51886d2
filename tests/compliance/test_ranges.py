"""Draws from ranges: they repeat, stand in order, and narrow to the point."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.economics.ranges import Range, RangedWay, exactly, spread
from compliance.economics.worth import Terms, weigh
from tests.compliance.economics_cases import PROOF, SIX, ZERO, ranged, some_ways, terms


@settings(deadline=None)
@given(some_ways(least=2), terms, st.integers(0, 2**40))
def test_without_ranges_every_draw_is_the_point(ways, under, seed):
    found = spread([ranged(way) for way in ways], under, seed=seed, draws=20)
    weighed = weigh(ways, under)
    for drawn, worth in zip(found.ways, weighed.worths, strict=True):
        assert float(drawn.p10) == pytest.approx(float(worth.present), abs=0.011, rel=1e-9)
        assert drawn.p10 == drawn.p50 == drawn.p90
    assert found.payback.p50 == found.payback.p90
    assert found.payback.never in {0.0, 1.0}


@settings(deadline=None)
@given(some_ways(least=2), terms, st.integers(0, 2**40))
def test_draws_repeat_stand_in_order_and_do_not_know_the_order_of_the_ways(ways, under, seed):
    given_ = [ranged(way, "0.4") for way in ways]
    found = spread(given_, under, rate=Range(ZERO, Decimal("0.05"), Decimal("0.1")), seed=seed)
    again = spread(
        given_[::-1], under, rate=Range(ZERO, Decimal("0.05"), Decimal("0.1")), seed=seed
    )
    assert found.ways == again.ways[::-1]
    assert found.payback == again.payback
    assert all(one.p10 <= one.p50 <= one.p90 for one in found.ways)
    assert sum(one.cheapest for one in found.ways) >= 1 - 1e-9


def test_triangles_have_the_middle_that_their_formula_says():
    """The area of a triangle: of 0, 600 and 1,000 the part below x is x squared / 600,000, so half
    lies below the root of 300,000 = 547.72 and a tenth below the root of 60,000 = 244.95."""
    way = RangedWay(
        "w", "w", Range(ZERO, Decimal(600), Decimal(1000)), exactly(ZERO), exactly(Decimal(120))
    )
    found = spread([way], Terms(5), seed=7, draws=100_000).ways[0]
    assert float(found.p50) == pytest.approx(547.72, rel=0.01)
    assert float(found.p10) == pytest.approx(244.95, rel=0.02)


def test_a_life_that_may_be_short_shows_in_what_it_may_cost():
    sure = RangedWay("a", "a", exactly(Decimal(1000)), exactly(ZERO), exactly(Decimal(60)))
    maybe = replace(sure, key="b", life_months=Range(Decimal(30), Decimal(60), Decimal(60)))
    sure_spread, maybe_spread = spread([sure, maybe], Terms(5), seed=3).ways
    assert sure_spread.p90 == 1000
    assert maybe_spread.p90 == 2000
    assert sure_spread.cheapest == 1.0
    assert 0 < maybe_spread.cheapest < 0.2


def test_the_chance_that_it_never_pays_is_told():
    little = RangedWay(
        "treat", "treat", exactly(ZERO), Range(Decimal(110), Decimal(140), Decimal(170))
    )
    found = spread([ranged(PROOF), little], Terms(5), seed=11)
    # It pays where treating costs more than 140 a month: the middle of a triangle with two like
    # sides.
    assert found.payback.never == pytest.approx(0.5, abs=0.03)
    assert found.payback.p10 is not None
    assert found.payback.p90 is None
    assert (found.payback.dearer_now, found.payback.cheaper_now) == ("proof", "treat")


@pytest.mark.parametrize("draws", [0, 100_001])
def test_so_many_draws_are_not_made(draws):
    with pytest.raises(ValueError, match="draws"):
        spread([ranged(PROOF)], SIX, seed=1, draws=draws)


def test_ranges_out_of_order_are_no_ranges():
    with pytest.raises(ValueError, match="out of order"):
        Range(Decimal(2), Decimal(1), Decimal(3))


def test_a_rate_that_may_fall_to_nothing_is_refused():
    with pytest.raises(ValueError, match="above -100"):
        spread([ranged(PROOF)], SIX, rate=Range(Decimal(-1), ZERO, ZERO), seed=1)


def test_a_life_that_may_be_nothing_is_refused():
    way = replace(ranged(PROOF), life_months=Range(ZERO, Decimal(60), Decimal(60)))
    with pytest.raises(ValueError, match="at least a month"):
        spread([way], SIX, seed=1)
