"""Whether a count is more than the baseline makes likely: exact tests, and published limits.

The test. What a place caught in its baseline and what it caught since, taken together, fall on the
two stretches of time in proportion to exposure if nothing has changed. So the chance of so many
since, given the sum, is a binomial tail; nothing is estimated, it holds from a baseline of none on,
and for unequal exposure. (Conditional test of two Poisson counts: Przyborowski J, Wilenski H 1940,
Biometrika 31:313-323, from memory.) Where counts clump with shape k a month, the same argument
gives a beta-binomial tail, as negative binomial counts of one mean, given their sum, are
Dirichlet-multinomial.

An exact tail is never too small, which for sparse counts means mostly far too large. With
``counted`` a half, half of the chance of exactly so many is left out, which makes it right in the
mean (the mid-p of Lancaster HO 1961, J. Am. Statist. Assoc. 56:223-234, from memory).

The limits are those of the literature, for comparison and for pictures. A count alarms when it
reaches the number that ``..._alarm`` names; limits that are not whole are passed, not reached.
Docs: docs/algorithms/trends.md. Arrays in, arrays out, of one shape.
"""

import numpy as np
from numpy.typing import ArrayLike

from compliance.trends.exposure import Floats, Ints, floats

BLOCK = 64
MANY = 2000
OUTWEIGHS = 20.0
"""From a total of ``MANY`` on, and ``OUTWEIGHS`` times the shapes, the clumped tail is taken from a
beta distribution of the same mean and variance, since summing it would take as long as the total is
large. There the two differ by less than 3 % (tests/compliance/trends/test_alarms.py)."""

ENOUGH = 1e-9
"""The part of a tail that may be left out."""


def tail(since: ArrayLike, before: ArrayLike, share: ArrayLike, *, counted: float = 1.0) -> Floats:
    """The chance of ``since`` or more, if the sum of both falls on ``share`` by chance alone.

    ``share``: exposure since, over exposure in all; between 0 and 1. ``counted``: the part of the
    chance of exactly ``since`` that belongs to it.
    """
    from scipy.special import betainc

    x, b, s = (floats(one) for one in (since, before, share))
    so_many = np.where(x > 0, betainc(np.maximum(x, 1.0), b + 1.0, s), 1.0)
    more = np.where(b > 0, betainc(x + 1.0, np.maximum(b, 1.0), s), 0.0)
    chance: Floats = counted * so_many + (1 - counted) * more
    return chance


def clumped_tail(
    since: ArrayLike,
    before: ArrayLike,
    shape_since: ArrayLike,
    shape_before: ArrayLike,
    *,
    counted: float = 1.0,
) -> Floats:
    """The same where counts clump: ``shape_…`` is k times the months of each stretch.

    Months count as so many of mean exposure. Something was caught since; shapes are above 0.
    """
    from scipy.special import betainc, betaln, gammaln

    arrays = np.broadcast_arrays(since, before, shape_since, shape_before)
    x, y, a, b = (floats(one).ravel() for one in arrays)
    n = x + y
    chance = np.empty(len(x))
    vast = (n > MANY) & (n > OUTWEIGHS * (a + b))
    few = np.flatnonzero(~vast)
    first = (
        gammaln(n[few] + 1)
        - gammaln(x[few] + 1)
        - gammaln(y[few] + 1)
        + betaln(x[few] + a[few], y[few] + b[few])
        - betaln(a[few], b[few])
    )
    summed = _sum_upwards(x[few], n[few], a[few], b[few])
    chance[few] = np.exp(first) * (summed - 1 + counted)
    many = np.flatnonzero(vast)
    whole, total = a[many] + b[many], n[many]
    precision = total * (1 + whole) / (total + whole) - 1
    share = a[many] / whole
    chance[many] = 1 - betainc(
        share * precision, (1 - share) * precision, (x[many] + 0.5 - counted) / total
    )
    return chance.reshape(np.broadcast(since, before, shape_since, shape_before).shape)


def _sum_upwards(x: Floats, n: Floats, a: Floats, b: Floats) -> Floats:
    """The beta-binomial chances of x, x + 1, … n over that of x. Block by block, so that a long
    tail holds nobody else up."""
    total = np.ones(len(x))
    last = np.ones(len(x))
    at = x.copy()
    open_ = np.arange(len(x))
    steps = np.arange(BLOCK)
    while len(open_):
        j = at[open_, None] + steps
        left = np.maximum(n[open_, None] - j, 0.0)
        ratio = left * (a[open_, None] + j) / ((j + 1) * (b[open_, None] + np.maximum(left - 1, 0)))
        terms = np.cumprod(ratio, axis=1) * last[open_, None]
        total[open_] += terms.sum(axis=1)
        last[open_] = terms[:, -1]
        at[open_] += BLOCK
        # Past the mode no later term is larger than the last one; before it the last one is the
        # largest so far, so that nothing ends there. Where both shapes are below 1 terms rise once
        # more at the end, but totals are below MANY then, and no term is small enough to end at.
        # Ending later would change nothing but the time, which no test notices.
        rest = last[open_] * np.maximum(n[open_] - at[open_], 0.0)  # pragma: no mutate
        open_ = open_[rest > ENOUGH * total[open_]]  # pragma: no mutate
    return total


def most_expected(count: ArrayLike, shape: ArrayLike, *, confidence: float = 0.95) -> Floats:
    """The largest mean that a count still allows, one-sided, where k (``shape``) is known.

    What a calm zone must say: a clumped one allows far more than the exact Poisson limit, which
    this becomes as k grows. With k = 1 a count of none still allows a mean of 19.
    """
    from scipy.special import betaincinv, gammaincinv

    x, k = np.broadcast_arrays(floats(count), floats(shape))
    clumped = np.isfinite(k)
    most = np.array(gammaincinv(x + 1, confidence))
    chance = betaincinv(k[clumped], x[clumped] + 1, 1 - confidence)
    most[clumped] = k[clumped] * (1 - chance) / chance
    return floats(most)


def poisson_alarm(mean: ArrayLike, chance: float) -> Ints:
    """The smallest count that is reached with at most this chance, if the mean is known."""
    from scipy.stats import poisson

    alarm: Ints = (poisson.isf(chance, floats(mean)) + 1).astype(np.int64)
    return alarm


def two_thirds_limit(
    mean: ArrayLike, phi: ArrayLike, mean_variance: ArrayLike, *, z: float
) -> Floats:
    """Farrington's limit: a count is evened out by its power of two thirds.

    ``phi``: variance over mean. ``mean_variance``: how uncertain the mean itself is. Source:
    Farrington CP et al. (1996) J. R. Statist. Soc. A 159:547-563, the paper not seen, its form
    from published code.
    """
    mu = floats(mean)
    tau = floats(phi) + floats(mean_variance) / mu
    limit: Floats = (mu ** (2 / 3) + z * np.sqrt(4 / 9 * mu ** (1 / 3) * tau)) ** 1.5
    return limit


def clumped_limit(mean: ArrayLike, phi: ArrayLike, *, chance: float) -> Ints:
    """The largest count that is no alarm: a quantile of the negative binomial with this mean and
    this variance over mean, of the Poisson where ``phi`` is 1.

    Source: Noufaily A et al. (2013) Statistics in Medicine 32:1206-1222, as ``two_thirds_limit``.
    """
    from scipy.stats import nbinom, poisson

    mu, spread = np.broadcast_arrays(floats(mean), floats(phi))
    clumped = spread > 1
    limit: Ints = np.array(poisson.ppf(1 - chance, mu)).astype(np.int64)
    size = mu[clumped] / (spread[clumped] - 1)
    limit[clumped] = nbinom.ppf(1 - chance, size, 1 / spread[clumped])
    return limit
