"""How clumped counts are, pooled over like places."""

from math import inf, isinf

import numpy as np
import pytest
from scipy.stats import nbinom, poisson

from compliance.trends.dispersion import (
    believed,
    clumping,
    fit_in_season,
    fit_of,
    index_of_dispersion,
    learned,
    log_likelihood,
    phi_of,
)

SHAPES = np.array([0.25, 1.0, 4.0, 16.0, inf])
FLAT = np.ones(5)
EVEN = [2.0, 2.0, 3.0, 1.0, 2.0, 2.0, 3.0, 2.0, 1.0, 2.0, 2.0, 2.0]
NESTS = [0.0, 9.0, 0.0, 0.0, 0.0, 7.0, 0.0, 0.0, 8.0, 0.0, 0.0, 0.0]


def fit(*series: list[float]):
    counts = np.array(series)
    return fit_of(counts, np.full(counts.shape, 30.0), SHAPES)


def test_even_months_speak_against_clumps_and_nests_for_them():
    even, nests = fit(EVEN, NESTS)

    assert even.argmax() == 4
    assert nests.argmax() == 0


def test_a_place_without_a_catch_says_nothing():
    assert fit([0.0] * 12)[0] == pytest.approx(np.zeros(5))


def test_the_fit_is_that_of_the_negative_binomial_but_for_the_chance_of_the_sum():
    """Given one mean, the months' likelihood is that of their sum times that of the months given
    the sum, so that differences between two series of one sum are the same either way."""
    first, second = fit(EVEN, NESTS)[:, 1]

    plain = log_likelihood(EVEN, 1.0) - log_likelihood(NESTS, 1.0)
    factorials = log_likelihood(EVEN, inf) - log_likelihood(NESTS, inf)

    assert first - second == pytest.approx(plain - factorials, abs=1e-9)


def test_months_nobody_looked_in_do_not_count():
    counts = np.array([[*EVEN, 0.0, 0.0]])
    exposure = np.array([[30.0] * 12 + [0.0, 0.0]])

    assert fit_of(counts, exposure, SHAPES)[0] == pytest.approx(fit(EVEN)[0])


def test_twice_the_days_and_twice_the_catch_are_no_clump():
    counts = np.array([[2.0, 4.0, 2.0, 4.0] * 6])
    exposure = np.array([[30.0, 60.0, 30.0, 60.0] * 6])

    assert fit_of(counts, exposure, SHAPES)[0].argmax() == 4


def test_like_places_are_believed_before_a_place_of_its_own():
    """A quiet place among clumped ones is taken as clumped, one among even ones as even."""
    quiet = [0.0] * 11 + [1.0]
    fits = fit(*[NESTS] * 30, quiet, *[EVEN] * 30, quiet)
    group = np.array([0] * 31 + [1] * 31)

    belief = learned(fits, group, 2, FLAT, own_say=4.0, rounds=15)
    k = clumping(believed(fits, belief[group]), SHAPES)

    assert belief.sum(axis=1) == pytest.approx([1.0, 1.0])
    assert k[30] < 0.5
    assert k[61] > 5


def test_a_place_unlike_its_like_is_heard():
    fits = fit(*[EVEN] * 30, NESTS)
    belief = learned(fits, np.zeros(31, dtype=int), 1, FLAT, own_say=4.0, rounds=15)

    k = clumping(believed(fits, belief[np.zeros(31, dtype=int)]), SHAPES)

    assert k[30] < 1 < 5 < k[0]


def test_a_group_of_nobody_keeps_the_start():
    belief = learned(fit(EVEN), np.array([0]), 2, FLAT, own_say=4.0, rounds=3)

    assert belief[1] == pytest.approx(FLAT / 5)


def test_what_is_certainly_not_clumped_has_a_very_large_k():
    assert clumping(np.array([[0, 0, 0, 0, 1.0]]), SHAPES)[0] >= 1e6


@pytest.mark.parametrize("counts", [[], [3], [0, 0, 0]])
def test_what_cannot_show_clumps_is_refused(counts):
    with pytest.raises(ValueError, match="two or more"):
        index_of_dispersion(counts)


@pytest.mark.parametrize(("expected", "fitted"), [([1.0, 1.0], 2), ([1.0, 0.0], 1)])
def test_dispersion_needs_counts_to_spare_and_something_expected(expected, fitted):
    with pytest.raises(ValueError, match="are needed"):
        phi_of([1, 2], expected, fitted=fitted)


def test_less_varied_than_poisson_counts_as_poisson():
    assert phi_of([5, 5, 5], [5.0, 5.0, 5.0], fitted=1) == 1.0
    assert isinf(SHAPES[-1])


MONTHS = np.arange(36) % 12
PEAK = np.exp(np.cos(2 * np.pi * np.arange(12) / 12))
WORTH = np.tile(PEAK / PEAK.mean(), 3)
SOME_K = np.array([0.5, 1.0, 4.0, 16.0, inf])


def in_season(counts, exposure=None, others=0.0, worth=WORTH):
    counts = np.atleast_2d(np.asarray(counts, dtype=float))
    days = np.full(counts.shape, 60.0) if exposure is None else np.atleast_2d(exposure)
    rows = len(counts)
    return fit_in_season(
        counts, days, np.tile(worth, (rows, 1)), MONTHS, np.full(rows, others), SOME_K
    )


def test_who_alone_tells_the_season_is_read_within_months_of_one_name():
    """The sum of twelve fits of three months each, whatever the season is said to be."""
    counts = np.random.default_rng(1).poisson(4 * WORTH)
    one_by_one = sum(
        fit_of(counts[None, name == MONTHS].astype(float), np.full((1, 3), 60.0), SOME_K)
        for name in range(12)
    )

    for worth in (WORTH, np.ones(36)):
        fit = in_season(counts, worth=worth)
        assert fit - fit[:, -1:] == pytest.approx(one_by_one - one_by_one[:, -1:])


def test_who_adds_nothing_to_the_season_is_read_against_it_whole():
    """As likely as its months are with a mean known but for their sum, half days included."""
    counts = np.random.default_rng(2).poisson(4 * WORTH)
    days = np.where(np.arange(36) % 5, 60.0, 30.0)
    part = days / days.mean()
    mean = part * WORTH * counts.sum() / (part * WORTH).sum()

    fit = in_season(counts, days, others=1.0)[0]

    likely = [nbinom.logpmf(counts, k * part, k / (k + mean / part)).sum() for k in SOME_K[:-1]]
    likely.append(poisson.logpmf(counts, mean).sum())
    assert fit - fit[-1] == pytest.approx(np.array(likely) - likely[-1])


@pytest.mark.parametrize("others", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("k", [1.0, 4.0, inf])
def test_clumps_in_a_season_are_found_by_many_such_zones(k, others):
    random = np.random.default_rng(3)
    shape = (400, 36)
    clumps = 1.0 if k == inf else random.gamma(k, 1 / k, shape)
    counts = random.poisson(6 * WORTH * clumps, shape)

    fit = in_season(counts, others=others)

    assert SOME_K[fit.sum(axis=0).argmax()] == k


def test_fitted_levels_hide_no_clumps():
    """Two years of one clumped zone, its season read from itself: evened out by it, half of what
    it varies by is gone, and most such zones would pass for even ones."""
    random = np.random.default_rng(4)
    counts = random.poisson(20 * WORTH[:24] * random.gamma(6, 1 / 6, (300, 24))).astype(float)
    own = np.tile(counts.reshape(300, 2, 12).sum(axis=1), (1, 2)) + 1
    months = MONTHS[:24]
    days = np.full(counts.shape, 60.0)

    evened = fit_of(counts, days * own / own.mean(axis=1, keepdims=True), SOME_K)
    within = fit_in_season(counts, days, own, months, np.zeros(300), SOME_K)

    def even(fit):
        return (SOME_K[fit.argmax(axis=1)] == inf).mean()

    assert even(within) < 0.1 < 0.2 < even(evened)


def test_months_that_were_never_read_or_never_caught_in_tell_nothing():
    counts = np.zeros((2, 36))
    exposure = np.array([[60.0] * 36, [0.0] * 36])

    fit = in_season(counts, exposure, others=0.5)

    assert np.ptp(fit, axis=1) == pytest.approx([0.0, 0.0])
    some = np.random.default_rng(5).poisson(4 * WORTH).astype(float)
    gap = np.where(MONTHS == 3, 0.0, 60.0)
    once = in_season(np.where(MONTHS == 3, 0.0, some), gap, others=0.5)
    assert in_season(some, gap, others=0.5) == pytest.approx(once)
