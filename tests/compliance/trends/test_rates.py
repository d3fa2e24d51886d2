"""A rate is a sum over a sum, and always says what it still allows."""

from dataclasses import replace
from datetime import date
from math import inf, isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.trends.exposure import Exposed, columns_of
from compliance.trends.rates import (
    at_most,
    limits,
    rate,
    rate_at,
    rate_words,
    rates,
    rates_of,
    short,
    sums,
)

UNHURRIED = settings(deadline=None)
"""scipy is loaded within the first example, which then takes as long as a thousand others."""

COUNTS = st.integers(0, 5000)
DAYS = st.integers(1, 100_000).map(float)

FACT = Exposed(
    monitor="1",
    zone="kitchen",
    site="harbour",
    pest="mouse",
    read_on=date(2026, 1, 9),
    count=2,
    exposure=10.0,
    censored=False,
    why="",
)
COLUMNS = columns_of(
    [
        FACT,
        replace(FACT, monitor="2", count=0, exposure=90.0),
        replace(FACT, monitor="1", pest="rat", count=5, read_on=date(2026, 3, 1)),
        replace(FACT, monitor="3", zone="mill floor", site="mill", count=7, censored=True),
    ]
)


def test_a_rate_over_monitors_is_the_sum_over_the_sum():
    total = sums(COLUMNS, "zone", "pest")

    assert total.count.tolist() == [[2, 5], [7, 0]]
    assert total.exposure.tolist() == [[100.0, 10.0], [10.0, 0.0]]
    assert total.readings.tolist() == [[2, 1], [1, 0]]
    assert total.full.tolist() == [[0, 0], [1, 0]]
    assert rates_of(total).per_100[0].tolist() == [2.0, 50.0]
    assert rates_of(total).at_least.tolist() == [[False, False], [True, False]]
    assert rate_at(rates_of(total), 0, 0) == rate(2, 100.0)
    assert rate_at(rates_of(total, phi=3.0, confidence=0.9), 0, 1) == rate(
        5, 10.0, phi=3.0, confidence=0.9
    )
    assert isnan(rates_of(total).per_100[1, 1])


@pytest.mark.parametrize(
    ("axis", "counts"),
    [("monitor", [7, 0, 7]), ("site", [7, 7]), ("pest", [9, 5]), ("month", [9, 0, 5])],
)
def test_every_axis_has_a_place_for_each_of_its_names(axis, counts):
    assert sums(COLUMNS, axis).count.tolist() == counts


def test_groups_that_the_columns_do_not_know_are_given_by_number():
    client_of_site = np.array([1, 1])

    assert sums(COLUMNS, (client_of_site[COLUMNS.site_index], 3)).count.tolist() == [0, 14, 0]


def test_sums_of_nothing_are_one_sum_or_none():
    nothing = columns_of([])

    assert sums(COLUMNS).count.tolist() == 14
    assert sums(nothing).exposure.tolist() == 0.0
    assert sums(nothing, "zone").count.tolist() == []


def test_a_full_trap_leaves_the_rate_without_limit_above():
    one = rate(40, 28.0, at_least=True)

    assert one.at_least
    assert (one.upper, one.allows) == (inf, inf)
    assert one.lower == rate(40, 28.0).lower > 100
    assert rate_words(one) == (
        "At least 40 in 28 trap-days: 142 per 100 trap-days or more, as a trap was full."
    )


def test_thousands_are_set_apart():
    assert rate_words(rate(1203, 700.0)).startswith("1,203 in 700 trap-days: about 172 per 100")
    assert rate_words(rate(1203, 700.0, at_least=True)).startswith(
        "At least 1,203 in 700 trap-days"
    )


def test_where_nobody_looked_a_full_trap_is_no_news():
    assert not rate(0, 0.0, at_least=True).at_least
    assert rate_words(rate(0, 0.0, at_least=True)) == "Not known: nobody could look."


@pytest.mark.parametrize(
    ("count", "exposure", "words"),
    [
        (0, 0.0, "Not known: nobody could look."),
        (0, 1.0, "None in 1 trap-day. That still allows about 300 per 100 trap-days."),
        (0, 28.0, "None in 28 trap-days. That still allows about 11 per 100 trap-days."),
        (3, 280.0, "3 in 280 trap-days: about 1.1 per 100 trap-days, between 0.22 and 3.2."),
        (4, 100.0, "4 in 100 trap-days: about 4 per 100 trap-days, between 1 and 11."),
        (5, 1000.0, "5 in 1,000 trap-days: about 0.5 per 100 trap-days, between 0.16 and 1.2."),
    ],
)
def test_a_rate_is_said_with_its_limits(count, exposure, words):
    assert rate_words(rate(count, exposure)) == words


@pytest.mark.parametrize(("count", "exposure"), [(-1, 1.0), (0, -1.0), (1, 0.0)])
def test_a_count_needs_days(count, exposure):
    with pytest.raises(
        ValueError, match=r"^a count needs days that it was gathered in, and neither is below 0$"
    ):
        rates([count], [exposure])


def test_arrays_are_broadcast_and_read_back_one_by_one():
    many = rates([[1, 2], [3, 4]], 50.0, phi=[[1.0, 1.0], [1.0, 4.0]])

    assert rate_at(many, 0, 1) == rate(2, 50.0)
    assert rate_at(many, 1, 1) == rate(4, 50.0, phi=4.0)


@UNHURRIED
@given(COUNTS, DAYS, st.floats(1, 80))
def test_limits_hold_the_rate_and_widen_with_clumps(count, days, phi):
    plain, clumped = rate(count, days), rate(count, days, phi=phi)

    assert plain.lower <= plain.per_100 <= plain.allows <= plain.upper
    assert clumped.lower <= plain.lower + 1e-9
    assert clumped.upper >= plain.upper - 1e-9


@UNHURRIED
@given(COUNTS)
def test_more_days_without_a_catch_allow_less(count):
    assert rate(count, 200.0).upper == pytest.approx(rate(count, 100.0).upper / 2)
    assert float(limits(count, confidence=0.99)[1]) > float(limits(count)[1])
    assert float(at_most(count)) < float(limits(count)[1])


def test_counts_never_look_tighter_than_one_by_one():
    """A variance below the mean is chance or cleaning up, and no reason to promise more."""
    assert limits(5, phi=0.3) == limits(5)


def test_limits_widened_for_clumps_hold_as_often_as_they_say():
    """Constructed: 24 readings with mean 2, negative binomial with k = 1, so that phi is 3.

    Without ``phi`` the limits hold in less than 80 of 100; with it in 95, give or take what 4,000
    runs can tell.
    """
    chance = np.random.default_rng(20261128)
    totals = chance.negative_binomial(1.0, 1.0 / 3.0, size=(4000, 24)).sum(axis=1)

    def held(phi):
        low, high = limits(totals, phi=phi)
        return np.mean((low <= 48.0) & (high >= 48.0))

    assert held(1.0) < 0.80
    assert 0.935 < held(3.0) < 0.985


@pytest.mark.parametrize(
    ("number", "near", "down", "up"),
    [
        (0.0, "0", "0", "0"),
        (inf, "without limit", "without limit", "without limit"),
        (0.08168, "0.082", "0.081", "0.082"),
        (0.1, "0.1", "0.1", "0.1"),
        (1.14, "1.1", "1.1", "1.2"),
        (9.96, "10", "9.9", "10"),
        (14.5, "14", "14", "15"),
        (100.2, "100", "100", "101"),
        (1234.0, "1,234", "1,234", "1,234"),
    ],
)
def test_numbers_are_short_and_limits_rounded_outwards(number, near, down, up):
    assert (short(number), short(number, "down"), short(number, "up")) == (near, down, up)


@UNHURRIED
@given(st.floats(1e-4, 1e6))
def test_rounding_stays_on_its_side(number):
    down, up = (float(short(number, way).replace(",", "")) for way in ("down", "up"))

    assert down <= number * (1 + 1e-6)
    assert up >= number * (1 - 1e-6)
    assert up - down <= 0.11 * number + 1e-9 or number >= 100


def test_sums_are_whole_numbers_but_for_the_days():
    total = sums(COLUMNS, "zone")

    assert {one.dtype for one in (total.count, total.readings, total.full)} == {np.dtype(np.int64)}
    assert total.exposure.dtype == np.float64


@pytest.mark.parametrize(("confidence", "phi"), [(0.95, 1.0), (0.9, 1.0), (0.95, 3.0)])
def test_rates_have_the_limits_of_their_counts(confidence, phi):
    many = rates([0, 6], [50.0, 200.0], confidence=confidence, phi=phi)
    lower, upper = limits([0, 6], confidence=confidence, phi=phi)

    assert many.lower == pytest.approx(lower * [2.0, 0.5])
    assert many.upper == pytest.approx(upper * [2.0, 0.5])
    assert many.allows == pytest.approx(
        at_most([0, 6], confidence=confidence, phi=phi) * [2.0, 0.5]
    )
    assert at_most(6, phi=phi) == pytest.approx(limits(6, confidence=0.9, phi=phi)[1])


def test_rates_are_those_of_counts_that_come_one_by_one_unless_told():
    assert rates(6, 100.0).upper == pytest.approx(float(limits(6)[1]))


def test_where_nobody_looked_nothing_is_divided_by_nothing():
    with np.errstate(all="raise"):
        assert np.isnan(rates([0], [0.0]).per_100[0])


def test_a_hair_beside_a_round_figure_is_that_figure():
    """Binary fractions leave a millionth of a step; more than that is another number."""
    assert short(14.9999998, "down") == "15"
    assert short(14.999998, "down") == "14"
    assert (short(9.96), short(0.0996), short(0.0996, "down")) == ("10", "0.1", "0.099")


def test_rates_have_whole_counts_and_plain_marks():
    many = rates([3.0, 0.0], [1.0, 0.0], at_least=[1, 0])

    assert (many.count.dtype, many.at_least.dtype) == (np.int64, np.bool_)
