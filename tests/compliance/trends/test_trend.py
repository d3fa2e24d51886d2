"""A trend is told where it can be told, and the season is not taken for one."""

from math import nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.trends.trend import (
    FEWEST,
    FEWEST_PAIRS,
    LEVEL,
    _p_with_memory,
    exact_tail,
    mann_kendall,
    memory_factor,
    seasonal_mann_kendall,
    seasonal_sens_slope,
    sens_slope,
    trend_of,
)

UNHURRIED = settings(deadline=None)
"""scipy is loaded within the first example, which then takes as long as a thousand others."""

SERIES = st.lists(st.integers(0, 6).map(float), min_size=2, max_size=24)
DOUBT = " This may be no more than the season, which only two years can tell apart."
YEAR = [2.0, 1.0, 3.0, 4.0, 6.0, 9.0, 9.0, 8.0, 5.0, 3.0, 2.0, 1.0]


@pytest.mark.parametrize(
    ("rates", "direction", "words"),
    [
        pytest.param(
            [],
            "too_few",
            "Not known yet: 0 of the 5 months that a trend needs were read.",
            id="0",
        ),
        pytest.param(
            [1.0, 2.0, None, 4.0, nan, 5.0],
            "too_few",
            "Not known yet: 4 of the 5 months that a trend needs were read.",
            id="too few",
        ),
        pytest.param(
            [0.0] * 12,
            "not_testable",
            "No trend can be tested, as every month is the same.",
            id="all the same",
        ),
        pytest.param(
            [1.0, 2.0, 2.5, 4.0, 5.0, 6.5, 7.0, 8.5],
            "rising",
            "Rising over 8 months, by about 1 per 100 trap-days each month; between 1 and 1.3."
            + DOUBT,
            id="rising",
        ),
        pytest.param(
            [8.5, 7.0, 6.5, 5.0, None, 4.0, 2.5, 2.0, 1.0],
            "falling",
            "Falling over 8 months, by about 0.91 per 100 trap-days each month; between 0.75 and "
            "1." + DOUBT,
            id="falling, with a gap",
        ),
        pytest.param(
            [0.0] * 8 + [1.0, 0.0, 1.0, 1.0],
            "rising",
            "Rising over 12 months; too few are caught to say how fast." + DOUBT,
            id="sure, with a slope of 0",
        ),
        pytest.param(
            [3.0, 5.0, 2.0, 4.0, 3.5, 2.5, 4.5],
            "not_known",
            "No clear trend over 7 months: it may be anything from a fall of 0.63 to a rise of "
            "0.75 per 100 trap-days each month.",
            id="not told",
        ),
        pytest.param(
            [0.0] * 11 + [1.0],
            "not_known",
            "No clear trend over 12 months.",
            id="not told, hardly any",
        ),
        pytest.param(
            YEAR + [2 * rate for rate in YEAR],
            "rising",
            "Higher than in the same months of the year before, by about 3.5 per 100 trap-days; "
            "between 2 and 8.",
            id="twice the year before",
        ),
        pytest.param(
            [2 * rate for rate in YEAR] + YEAR,
            "falling",
            "Lower than in the same months of the year before, by about 3.5 per 100 trap-days; "
            "between 2 and 8.",
            id="half the year before",
        ),
        pytest.param(
            YEAR + YEAR[::-1],
            "not_known",
            "No clear trend against the year before, each month against itself: it may be anything "
            "from a fall of 1 to a rise of 1 per 100 trap-days.",
            id="another year",
        ),
        pytest.param(
            [3 * rate for rate in YEAR] + [2 * rate for rate in YEAR] + YEAR,
            "falling",
            "Falling over 3 years, each month against itself, by about 3.5 per 100 trap-days each "
            "year; between 2 and 6.",
            id="three years",
        ),
    ],
)
def test_what_can_be_said_of_the_months(rates, direction, words):
    trend = trend_of(rates)

    assert (trend.direction, trend.words) == (direction, words)


def test_without_two_years_only_the_last_twelve_months_are_looked_at():
    old = [50.0, 40.0, 30.0, 20.0]

    assert trend_of(old + YEAR) == trend_of(YEAR)
    assert trend_of(old + YEAR).months == 12


def test_a_month_without_exposure_keeps_its_place_in_time():
    """1, 2, gap, gap, 5: the slope is 1 a month, and not 1.3."""
    trend = trend_of([1.0, 2.0, None, None, 5.0, 6.0, 7.0])

    assert trend.slope.value == pytest.approx(1.0)
    assert trend.months == 5


def test_a_second_year_with_few_months_in_common_is_not_compared():
    """Five months that stand in both years cannot tell anything; six all one way just can."""
    first = [rate if month < 6 else None for month, rate in enumerate(YEAR)]
    second = [rate + 1.0 for rate in YEAR]

    assert trend_of([None, *first[1:], *second]).seasonal is False
    trend = trend_of(first + second)
    assert (trend.seasonal, trend.direction) == (True, "rising")
    assert trend.p == pytest.approx(2 / 2**6)


def test_the_smallest_numbers_that_can_tell_anything():
    assert 2 * exact_tail(FEWEST * (FEWEST - 1) // 2, [1] * FEWEST) <= LEVEL
    assert 2 * exact_tail(6, [1] * 4) > LEVEL
    assert 2 * exact_tail(FEWEST_PAIRS, *[[1, 1]] * FEWEST_PAIRS) <= LEVEL
    assert 2 * exact_tail(FEWEST_PAIRS - 1, *[[1, 1]] * (FEWEST_PAIRS - 1)) > LEVEL


def test_the_example_of_the_document():
    """docs/algorithms/rates-and-effects.md (Trend): one of 120 orders rises all the way."""
    trend = trend_of([1.0, 2.0, 2.5, 4.0, 5.0])

    assert (trend.direction, trend.test.s) == ("rising", 10)
    assert trend.p == pytest.approx(2 / 120)


def test_memory_makes_a_trend_less_sure():
    """Months that resemble the last ones: up, and down again, and not quite back."""
    rates = [1.0, 1.1, 1.2, 1.3, 6.0, 6.1, 6.2, 6.3, 3.0, 3.1, 3.2, 3.3]
    trend = trend_of(rates)

    assert memory_factor(rates) > 1.0
    assert trend.p > trend.test.p
    assert (trend.test.p < LEVEL, trend.direction) == (True, "not_known")


def test_swinging_months_do_not_make_a_trend_surer():
    rates = [1.0, 9.0, 2.0, 10.0, 3.0, 11.0, 4.0, 12.0, 5.0, 13.0]

    assert memory_factor(rates) < 1.0
    assert trend_of(rates).p == trend_of(rates).test.p


@pytest.mark.parametrize("values", [[], [1.0], [1.0, 2.0, 4.0], [3.0] * 9, [1.0, 2.0, 3.0, 4.0]])
def test_memory_is_not_seen_where_nothing_is_left_of_it(values):
    assert memory_factor(values) == 1.0


def test_where_all_are_alike_memory_has_nothing_to_correct():
    assert _p_with_memory(mann_kendall([1.0, 1.0]), 4.0) == 0.0


def test_slopes_need_two_values():
    assert sens_slope([]) is None
    assert sens_slope([1.0]) is None
    assert seasonal_sens_slope([[1.0, nan], [nan, 2.0]]) is None
    assert seasonal_sens_slope(np.empty((0, 0))) is None
    assert sens_slope([1.0, 3.0]).value == 2.0
    assert sens_slope([1.0, 3.0], [0, 4]).value == 0.5


def test_an_impossible_sum_has_no_chance():
    assert exact_tail(7, [1, 1, 1, 1]) == 0.0
    assert exact_tail(-6, [1, 1, 1, 1]) == pytest.approx(1.0)


@UNHURRIED
@given(SERIES)
def test_backwards_a_rise_is_a_fall(values):
    there, back = mann_kendall(values), mann_kendall(values[::-1])

    assert (there.s, there.p, there.variance) == (-back.s, back.p, back.variance)
    assert sens_slope(values).value == pytest.approx(-sens_slope(values[::-1]).value)


@UNHURRIED
@given(SERIES, st.floats(0.1, 50))
def test_the_unit_changes_the_slope_and_nothing_else(values, unit):
    plain, scaled = trend_of(values), trend_of([unit * value for value in values])

    assert (plain.direction, plain.p) == (scaled.direction, pytest.approx(scaled.p, rel=1e-6))
    if plain.slope:
        assert scaled.slope.value == pytest.approx(unit * plain.slope.value, abs=1e-9)


@UNHURRIED
@given(SERIES)
def test_one_season_is_the_plain_test(values):
    assert seasonal_mann_kendall([[value] for value in values]) == mann_kendall(values)


@UNHURRIED
@given(SERIES)
def test_the_slope_lies_within_its_limits(values):
    slope = sens_slope(values)

    assert slope.lower <= slope.value <= slope.upper


def share_with_a_trend(months, runs, make):
    found = [trend_of(make(months).tolist()).direction for _ in range(runs)]
    return {way: found.count(way) / runs for way in ("rising", "falling")}


@pytest.mark.parametrize("months", [12, 24])
def test_a_trend_is_seldom_seen_where_there_is_none(months):
    """Constructed: sparse, clumped counts (mean 3, k = 1), nothing changing."""
    chance = np.random.default_rng(20261128)

    found = share_with_a_trend(months, 400, lambda n: chance.negative_binomial(1.0, 0.25, n))

    assert found["rising"] + found["falling"] <= LEVEL


def test_a_season_fools_twelve_months_and_not_two_years():
    """Constructed: a season of nine to one that peaks in the third month, and no trend at all."""
    chance = np.random.default_rng(20261128)

    def season(months):
        return chance.poisson(5.0 * (1.0 + 0.8 * np.sin(np.arange(months) * np.pi / 6)))

    one, two = share_with_a_trend(12, 200, season), share_with_a_trend(24, 200, season)

    assert one["falling"] > 0.4
    assert two["rising"] + two["falling"] <= LEVEL


def test_a_rise_of_ten_per_cent_a_month_is_seen():
    """Constructed: from 3 a month, one by one."""
    chance = np.random.default_rng(20261128)

    def rise(months):
        return chance.poisson(3.0 * 1.1 ** np.arange(months))

    assert share_with_a_trend(12, 200, rise)["rising"] > 0.45
    assert share_with_a_trend(24, 200, rise)["rising"] > 0.95
