"""Mann-Kendall, its seasonal form and Sen's slope against published and recomputed values.

Values that nobody printed were recomputed with pymannkendall 1.4.3 and scipy 1.17.1. Where ours are
exact p-values, the normal form that the sources print is taken from ``z``. Kendall's tau and a
log-linear Poisson trend are not computed here, so that their check values are not either.
"""

import csv
from itertools import permutations
from math import sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import theilslopes

from compliance.trends.trend import (
    exact_tail,
    mann_kendall,
    memory_factor,
    seasonal_mann_kendall,
    seasonal_sens_slope,
    sens_slope,
    trend_of,
)

# "A Mann-Kendall Example (By Hand)", a course note of the mathematics department of a US college:
# 72 rises, 18 falls, 1 tie; S = 54, z = 2.9058, one-sided p = 0.0018.
BY_HAND = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]


def test_an_example_by_hand():
    test = mann_kendall(BY_HAND)

    signs = np.sign(np.subtract.outer(BY_HAND, BY_HAND))[np.tril_indices(14, -1)]

    assert [int((signs == one).sum()) for one in (1, -1, 0)] == [72, 18, 1]
    assert (test.n, test.s) == (14, 54)
    assert test.variance == pytest.approx(332.666666666667, abs=1e-9)
    assert test.z == pytest.approx(2.9058, abs=5e-5)
    assert float(ndtr(-test.z)) == pytest.approx(0.0018, abs=5e-5)


def test_all_orders_counted_come_near_the_normal_form():
    """Exact 0.0024 two-sided, where the printed normal form says 0.0037: with 14 values it is still
    on the careful side."""
    assert mann_kendall(BY_HAND).p == pytest.approx(2 * 0.0018, rel=0.4)


def test_sens_slope_of_the_example_by_hand():
    """Two libraries say 0.566667; limits by scipy."""
    slope = sens_slope(BY_HAND)
    theirs = theilslopes(BY_HAND, alpha=0.95)

    assert slope.value == pytest.approx(0.566666666667, abs=1e-10)
    assert (slope.lower, slope.upper) == pytest.approx((0.325, 0.866666666667), abs=1e-10)
    assert (slope.lower, slope.upper) == pytest.approx((theirs.low_slope, theirs.high_slope))


# The content of Gilbert RO (1987), table A18: how likely a sum of at least S is, no ties, for 4 to
# 10 values. Computed from all orders; the table itself was not seen.
with (Path(__file__).parent / "data" / "mann-kendall-exact.csv").open() as lines:
    TABLE_A18 = [(int(r["n"]), int(r["s"]), float(r["tail"])) for r in csv.DictReader(lines)]


@pytest.mark.parametrize("n", range(4, 11))
def test_exact_upper_tail(n):
    rows = [(s, tail) for number, s, tail in TABLE_A18 if number == n]

    assert max(s for s, _ in rows) == n * (n - 1) // 2
    for s, tail in rows:
        assert exact_tail(s, [1] * n) == pytest.approx(tail, abs=1e-11), s


def test_four_values_that_only_rise():
    assert exact_tail(6, [1] * 4) == pytest.approx(1 / 24, abs=1e-15)


def test_exact_tail_with_ties_counts_all_orders():
    """Against the 5,040 orders of seven values with ties, one by one."""
    values = (0, 0, 0, 1, 1, 2, 5)
    sums = [
        sum(np.sign(late - early) for place, early in enumerate(order) for late in order[place:])
        for order in permutations(values)
    ]

    for s in (-16, -4, 0, 1, 5, 8, 15, 16, 17):
        share = np.mean([one >= s for one in sums])
        assert exact_tail(s, [3, 2, 1, 1]) == pytest.approx(share, abs=1e-12), s


# Constructed monthly counts with many ties; recomputed with pymannkendall.
@pytest.mark.parametrize(
    ("values", "s", "variance", "z", "slope"),
    [
        pytest.param(
            [0, 0, 1, 0, 2, 1, 0, 3, 2, 1, 4, 3, 2, 5, 3, 4],
            *(72, 472.666666666667, 3.265734397736, 0.285714285714),
            id="rising",
        ),
        pytest.param(
            [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0],
            *(9, 47.666666666667, 1.158730919005, 0.0),
            id="mostly none",
        ),
        pytest.param(
            [0] * 14 + [1, 0, 1, 0, 1, 1],
            *(58, 448.0, 2.692996870191, 0.0),
            id="sure, with a slope of 0",
        ),
    ],
)
def test_counts_with_ties(values, s, variance, z, slope):
    test = mann_kendall(values)

    assert (test.s, sens_slope(values).value) == (s, pytest.approx(slope, abs=1e-10))
    assert (test.variance, test.z) == pytest.approx((variance, z), abs=1e-9)


# Numbers of lynx trapped in the Mackenzie River district, 1821 to 1934 (Elton and Nicholson 1942;
# R data set lynx).
LYNX = [
    *(269, 321, 585, 871, 1475, 2821, 3928, 5943, 4950, 2577, 523, 98, 184, 279, 409, 2285, 2685),
    *(3409, 1824, 409, 151, 45, 68, 213, 546, 1033, 2129, 2536, 957, 361, 377, 225, 360, 731),
    *(1638, 2725, 2871, 2119, 684, 299, 236, 245, 552, 1623, 3311, 6721, 4254, 687, 255, 473),
    *(358, 784, 1594, 1676, 2251, 1426, 756, 299, 201, 229, 469, 736, 2042, 2811, 4431, 2511),
    *(389, 73, 39, 49, 59, 188, 377, 1292, 4031, 3495, 587, 105, 153, 387, 758, 1307, 3465, 6991),
    *(6313, 3794, 1836, 345, 382, 808, 1388, 2713, 3800, 3091, 2985, 3790, 674, 81, 80, 108, 229),
    *(399, 1132, 2432, 3574, 2935, 1537, 529, 485, 662, 1000, 1590, 2657, 3396),
]

# Great inventions and discoveries a year, 1860 to 1959 (World Almanac 1975; R data discoveries).
DISCOVERIES = [
    *(5, 3, 0, 2, 0, 3, 2, 3, 6, 1, 2, 1, 2, 1, 3, 3, 3, 5, 2, 4, 4, 0, 2, 3, 7, 12, 3, 10, 9, 2),
    *(3, 7, 7, 2, 3, 3, 6, 2, 4, 3, 5, 2, 2, 4, 0, 4, 2, 5, 2, 3, 3, 6, 5, 8, 3, 6, 6, 0, 5, 2),
    *(2, 2, 6, 3, 4, 4, 2, 2, 4, 7, 5, 3, 3, 0, 2, 2, 2, 1, 3, 4, 2, 2, 1, 1, 1, 2, 1, 4, 4, 3),
    *(2, 1, 4, 1, 1, 1, 0, 0, 2, 0),
]


@pytest.mark.parametrize(
    ("values", "s", "variance", "z", "p", "slope"),
    [
        pytest.param(
            LYNX,
            *(395, 166746.33333333334, 0.964868382664, 0.334610739464, 2.191489361702),
            id="lynx",
        ),
        pytest.param(
            DISCOVERIES,
            *(-747, 109143.0, -2.258088109962, 0.023940166774, -0.011363636364),
            id="discoveries",
        ),
    ],
)
def test_long_series_in_normal_form(values, s, variance, z, p, slope):
    test = mann_kendall(values)

    assert (test.n, test.s, test.exact) == (len(values), s, False)
    assert (test.variance, test.z, test.p) == pytest.approx((variance, z, p), abs=1e-9)
    assert sens_slope(values).value == pytest.approx(slope, abs=1e-10)


@pytest.mark.parametrize(
    ("values", "z", "p", "tolerance"),
    [
        pytest.param(LYNX, 0.883705052915, 0.376855451956, 1e-9, id="lynx"),
        pytest.param(DISCOVERIES, -1.668885138614, 0.095140145399, 5e-4, id="discoveries"),
    ],
)
def test_memory_after_hamed_and_rao(values, z, p, tolerance):
    """pymannkendall ranks what is left of the discoveries without rounding, so that binary
    fractions tell ties apart; ours keeps them, which makes the difference in the fourth figure."""
    corrected = mann_kendall(values).z / sqrt(memory_factor(values))

    assert corrected == pytest.approx(z, abs=tolerance)
    assert 2 * float(ndtr(-abs(corrected))) == pytest.approx(p, abs=tolerance)


# Constructed: five years of months, each year 15 % lower than the year before, rounded.
FIVE_YEARS = [
    *(1, 1, 2, 3, 5, 8, 10, 9, 6, 3, 2, 1),
    *(1, 1, 2, 3, 4, 7, 8, 8, 5, 3, 2, 1),
    *(1, 1, 1, 2, 4, 6, 7, 7, 4, 2, 1, 1),
    *(1, 1, 1, 2, 3, 5, 6, 6, 4, 2, 1, 1),
    *(1, 1, 1, 2, 3, 4, 5, 5, 3, 2, 1, 1),
]


def test_the_season_hides_a_fall_from_the_plain_test_only():
    by_year = np.reshape(FIVE_YEARS, (5, 12))
    seasonal, plain = seasonal_mann_kendall(by_year), mann_kendall(FIVE_YEARS)

    assert seasonal.s == -71
    assert (seasonal.variance, seasonal.z) == pytest.approx(
        (128.333333333333, -6.179143806533), abs=1e-9
    )
    assert 2 * float(ndtr(seasonal.z)) == pytest.approx(6.45e-10, abs=5e-13)
    assert seasonal.p < 1e-9
    assert seasonal_sens_slope(by_year).value == pytest.approx(-0.333333333333, abs=1e-10)
    assert (plain.s, plain.z, plain.p) == (
        -208,
        pytest.approx(-1.357034278114, abs=1e-9),
        pytest.approx(0.174770319176, abs=1e-9),
    )


def test_the_trend_of_five_years_is_seen():
    trend = trend_of([float(count) for count in FIVE_YEARS])

    assert (trend.direction, trend.seasonal, trend.months) == ("falling", True, 60)
    assert trend.p == seasonal_mann_kendall(np.reshape(FIVE_YEARS, (5, 12))).p


def test_a_series_without_change_cannot_be_tested():
    test = mann_kendall([2, 2, 2, 2, 2, 2])

    assert (test.s, test.variance, test.z, test.p) == (0, 0.0, None, 1.0)
