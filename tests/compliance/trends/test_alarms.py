"""Tails and limits at their ends; published values are in tests/outside."""

from math import inf

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy.stats import betabinom, nbinom, poisson

from compliance.trends.alarms import (
    clumped_limit,
    clumped_tail,
    most_expected,
    poisson_alarm,
    tail,
)


def test_none_since_is_never_surprising():
    assert tail([0, 0], [0, 9], 0.5).tolist() == [1.0, 1.0]


@example(since=2, before=1, share=0.3)
@given(since=st.integers(1, 60), before=st.integers(0, 60), share=st.floats(0.01, 0.99))
def test_half_of_the_point_lies_between_this_tail_and_the_next(since, before, share):
    exact = tail(since, before, share)
    half = tail(since, before, share, counted=0.5)
    following = tail(since + 1, before - 1, share) if before else 0.0

    assert half == pytest.approx((exact + following) / 2, abs=1e-12)


@given(st.integers(1, 80), st.integers(0, 300), st.floats(0.2, 40.0), st.floats(0.2, 400.0))
def test_the_clumped_tail_is_the_beta_binomial_one(since, before, a, b):
    assume(since * b > before * a)  # more than expected, which is what is asked about
    expected = betabinom.sf(since - 1, since + before, a, b)
    point = betabinom.pmf(since, since + before, a, b)

    assert clumped_tail(since, before, a, b) == pytest.approx(expected, rel=1e-5, abs=1e-10)
    assert clumped_tail(since, before, a, b, counted=0.5) == pytest.approx(
        expected - point / 2, rel=1e-5, abs=1e-10
    )


def test_as_k_grows_the_clumped_tail_becomes_the_exact_one():
    assert clumped_tail(9, 12, 1e7, 1.2e8) == pytest.approx(float(tail(9, 12, 1 / 13)), rel=1e-4)


@pytest.mark.parametrize(
    ("since", "total", "a", "b"),
    [(400, 2001, 3.0, 20.0), (900, 2500, 8.0, 24.0), (150, 9000, 1.0, 36.0)],
)
def test_large_totals_are_near_the_sum(since, total, a, b):
    expected = betabinom.sf(since - 1, total, a, b)

    assert clumped_tail(since, total - since, a, b) == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize(
    ("since", "total", "a", "b"),
    [(700, 2000, 4.0, 20.0), (1100, 3000, 30.0, 120.0)],
    ids=["not yet many", "as many as twenty times the shapes"],
)
def test_at_the_border_it_is_still_summed(since, total, a, b):
    expected = betabinom.sf(since - 1, total, a, b)

    assert clumped_tail(since, total - since, a, b) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("counted", [1.0, 0.5, 0.0])
def test_large_totals_take_half_of_a_step_with_them(counted):
    """The beta distribution is cut half a count before a tail that counts its first term whole."""
    since, total, a, b = 520, 2200, 20.0, 80.0
    exact = betabinom.sf(since - 1, total, a, b) - (1 - counted) * betabinom.pmf(since, total, a, b)

    assert clumped_tail(since, total - since, a, b, counted=counted) == pytest.approx(
        exact, rel=0.002
    )


def test_a_large_total_that_hardly_clumps_is_still_summed():
    expected = betabinom.sf(139, 2001, 16.0, 576.0)

    assert clumped_tail(140, 1861, 16.0, 576.0) == pytest.approx(expected, rel=1e-6)


def test_arrays_keep_their_form():
    tails = clumped_tail(np.array([[3.0], [5.0]]), 10.0, np.array([1.0, 2.0, 4.0]), 12.0)

    assert tails.shape == (2, 3)
    assert tails[1, 2] == pytest.approx(betabinom.sf(4, 15, 4, 12))
    assert clumped_tail(3.0, [9.0, 10.0], 1.0, [[12.0]]).shape == (1, 2)
    assert clumped_tail(3.0, 9.0, 1.0, [12.0, 13.0]).shape == (2,)


@pytest.mark.parametrize("count", [0, 1, 7, 60])
@pytest.mark.parametrize("k", [0.25, 1.0, 16.0, inf])
def test_the_largest_mean_still_allowed_is_the_one_that_makes_the_count_rare(count, k):
    mean = float(most_expected(count, k))
    rare = poisson.cdf(count, mean) if k == inf else nbinom.cdf(count, k, k / (k + mean))

    assert rare == pytest.approx(0.05, abs=1e-9)


@given(st.floats(0.01, 200.0), st.sampled_from([0.00135, 0.005, 0.025]))
def test_a_poisson_alarm_is_the_smallest_count_that_is_rare_enough(mean, chance):
    count = int(poisson_alarm(mean, chance))

    assert poisson.sf(count - 1, mean) <= chance
    assert count == 1 or poisson.sf(count - 2, mean) > chance
    assert poisson_alarm([mean], chance).dtype == np.int64


def test_limits_take_clumped_and_unclumped_means_together():
    assert clumped_limit([0.2, 2.0], [1.0, 2.0], chance=0.01).tolist() == [
        poisson.ppf(0.99, 0.2),
        nbinom.ppf(0.99, 2.0, 0.5),
    ]
    assert clumped_limit(2.0, [1.0, 2.0], chance=0.01).dtype == np.int64
