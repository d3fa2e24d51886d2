"""How clumped counts are: whether they come one by one or in nests, swarms and litters.

A count whose variance equals its mean is a Poisson count. A clumped one is taken as negative
binomial: variance = mean + mean² / k, so that a small k means clumped and an infinite one means
not at all (Bliss CI, Fisher RA 1953, Biometrics 9:176-200). Published trap counts lie at k near 1;
every rule made for Poisson counts cries wolf there.

One place has too few months to tell how clumped it is, so that what like places show comes first
and its own months move it (``learned``, ``believed``). Docs: docs/algorithms/trends.md (Clumping).
Arrays: one row for each series (a zone and a pest), one column for each month, oldest first.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isinf

import numpy as np
from numpy.typing import ArrayLike

from compliance.trends.exposure import Floats, Ints

FLATTEST = 1e6
"""The k from which on nothing can be told from a Poisson count."""


@dataclass(frozen=True, slots=True)
class IndexOfDispersion:
    """``ratio`` is variance over mean, ``statistic`` the sum of squares over the mean, ``p`` the
    chance of as much in Poisson counts."""

    ratio: float
    statistic: float
    p: float


def index_of_dispersion(counts: Sequence[int]) -> IndexOfDispersion:
    """Whether counts of equal exposure vary more than Poisson counts do.

    Source: Wetherill GB, Brown DW (1991) Statistical Process Control, pp. 216-218. Raises
    ``ValueError`` for fewer than two counts and where nothing was counted.
    """
    from scipy.special import chdtrc

    seen = np.asarray(counts, dtype=np.float64)
    if len(seen) < 2 or not seen.sum():
        raise ValueError("how clumped counts are shows in two or more, not all of them 0")
    ratio = float(seen.var(ddof=1) / seen.mean())
    statistic = ratio * (len(seen) - 1)
    return IndexOfDispersion(ratio, statistic, float(chdtrc(len(seen) - 1, statistic)))


def phi_of(counts: ArrayLike, expected: ArrayLike, *, fitted: int) -> float:
    """Variance over mean that is left around what a model expects (Pearson), never below 1.

    ``fitted``: how many numbers the model took from these counts. Raises ``ValueError`` where it
    took as many as there are counts, or expected none.
    """
    seen = np.asarray(counts, dtype=np.float64)
    mean = np.asarray(expected, dtype=np.float64)
    if len(seen) <= fitted or np.any(mean <= 0):
        raise ValueError("more counts than fitted numbers are needed, and something expected")
    return max(1.0, float(((seen - mean) ** 2 / mean).sum() / (len(seen) - fitted)))


def shape_of(counts: Sequence[int]) -> float:
    """k by maximum likelihood for counts of equal exposure; infinite where they are not clumped.

    Source: Bliss & Fisher 1953. Raises ``ValueError`` as ``index_of_dispersion`` does.
    """
    from scipy.optimize import minimize_scalar

    seen = np.asarray(counts, dtype=np.float64)
    if index_of_dispersion(counts).ratio * (1 - 1 / len(seen)) <= 1:
        return float("inf")  # the likelihood only rises with k
    best = minimize_scalar(
        lambda log_k: -log_likelihood(seen, float(np.exp(log_k))),
        bounds=(np.log(1e-4), np.log(FLATTEST)),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return float(np.exp(best.x))


def log_likelihood(counts: ArrayLike, shape: float) -> float:
    """How well counts of equal exposure agree with one mean (their own) and one k."""
    from scipy.special import gammaln, xlogy

    seen = np.asarray(counts, dtype=np.float64)
    mean = seen.mean()
    if isinf(shape):
        return float((xlogy(seen, mean) - mean - gammaln(seen + 1)).sum())
    return float(
        (
            gammaln(seen + shape)
            - gammaln(shape)
            - gammaln(seen + 1)
            + xlogy(seen, mean / (mean + shape))
            - shape * np.log1p(mean / shape)
        ).sum()
    )


def fit_of(counts: Floats, exposure: Floats, shapes: Floats) -> Floats:
    """Log-likelihood of each series' months, given their sum, for each k: series × shapes.

    Given the sum, the mean drops out, so that a quiet and a busy place speak alike. The months of a
    sum are multinomial where counts are not clumped, and Dirichlet-multinomial where they are, with
    k in a month of mean exposure. Only months with a catch cost time.
    """
    from scipy.special import gammaln

    months = (exposure > 0).sum(axis=1)
    mean = exposure.sum(axis=1) / np.maximum(months, 1)
    series, month = np.nonzero((counts > 0) & (exposure > 0))
    caught = counts[series, month]
    share = exposure[series, month] / mean[series]
    total = np.bincount(series, caught, len(counts))
    looked = np.maximum(months, 1)
    fit = np.empty((len(counts), len(shapes)))
    for place, k in enumerate(shapes):
        if isinf(k):
            terms = caught * np.log(share / months[series])
            whole = np.zeros(len(counts))
        else:
            terms = gammaln(caught + k * share) - gammaln(k * share)
            whole = gammaln(total + k * looked) - gammaln(k * looked)
        fit[:, place] = np.bincount(series, terms, len(counts)) - whole
    return fit


def fit_in_season(
    counts: Floats,
    exposure: Floats,
    worth: Floats,
    month_of_year: Ints,
    others: Floats,
    shapes: Floats,
) -> Floats:
    """The same where months of the year differ, and what they bring was read from the counts.

    Half of what two years vary by is lost in twelve levels that were fitted to them, so that a
    clumped zone would pass for an even one. Months of one name against each other tell of clumps
    whatever the season; how the names' sums lie around the season tells as well, but only as far as
    others told it (``others``, 0 to 1 for each series, 0 where a zone is alone). k is that of a
    month of mean exposure, in season and out. ``worth``: what a month brings over the mean.
    """
    from scipy.special import gammaln, xlogy

    read = exposure > 0
    counts = np.where(read, counts, 0.0)
    mean = exposure.sum(axis=1) / np.maximum(read.sum(axis=1), 1)
    share = exposure / np.maximum(mean, 1 / FLATTEST)[:, None]
    names = (month_of_year[:, None] == np.arange(12)).astype(np.float64)
    sums, months, usual = counts @ names, share @ names, (share * worth) @ names
    looked = months > 0
    months = np.where(looked, months, 1.0)
    per = counts.sum(axis=1) / np.maximum(usual.sum(axis=1), 1 / FLATTEST)
    expected = np.where(looked & (sums.sum(axis=1) > 0)[:, None], usual * per[:, None], 0.0)
    series, month = np.nonzero(counts)
    caught, part = counts[series, month], share[series, month]
    fit = np.empty((len(counts), len(shapes)))
    for place, k in enumerate(shapes):
        if isinf(k):
            terms = caught * np.log(part)
            within = xlogy(sums, months)
            between = xlogy(sums, np.where(expected > 0, expected / months, 1.0)) - expected
        else:
            terms = gammaln(caught + k * part) - gammaln(k * part)
            within = gammaln(sums + k * months) - gammaln(k * months)
            chance = np.where(expected > 0, expected / (expected + k * months), 1.0)
            none = k * months * np.log(k * months / (expected + k * months))
            between = xlogy(sums, chance) + none
        fit[:, place] = (
            np.bincount(series, terms, len(counts))
            - (1 - others) * within.sum(axis=1)
            + others * between.sum(axis=1)
        )
    return fit


def learned(
    fit: Floats, group: Ints, groups: int, at_first: Floats, *, own_say: float, rounds: int
) -> Floats:
    """How likely each k is in each group of like places before one looks at one of them.

    Groups × shapes, each row sums to 1. Starts from ``at_first``, which is worth ``own_say``
    places, and reads the places again ``rounds`` times (expectation-maximisation for a mixture,
    with that start as its Dirichlet prior). A group of one or two stays near the start. A place
    that caught less than two in all tells nothing, and is not read.
    """
    tells = np.ptp(fit, axis=1) > 0
    likely, of = _likelihood(fit[tells]), group[tells]
    first = at_first / at_first.sum()
    belief = np.tile(first, (groups, 1))
    size = np.bincount(of, minlength=groups)
    for _ in range(rounds):
        each = _normed(likely * belief[of])
        summed = np.stack([np.bincount(of, column, groups) for column in each.T], axis=1)
        belief = (own_say * first + summed) / (own_say + size)[:, None]
    return belief


def believed(fit: Floats, belief: Floats) -> Floats:
    """How likely each k is for each series, its own months counted in (Bayes); rows sum to 1.

    ``belief``: a row for each series.
    """
    return _normed(_likelihood(fit) * belief)


def clumping(weights: Floats, shapes: Floats) -> Floats:
    """One k for each series: the mean of 1/k turned round, which is what variance goes by."""
    inverse = weights @ np.where(np.isinf(shapes), 0.0, 1.0 / shapes)
    return 1.0 / np.maximum(inverse, 1.0 / FLATTEST)


def _likelihood(fit: Floats) -> Floats:
    likely: Floats = np.exp(fit - fit.max(axis=1, keepdims=True))
    return likely


def _normed(weights: Floats) -> Floats:
    normed: Floats = weights / weights.sum(axis=1, keepdims=True)
    return normed
