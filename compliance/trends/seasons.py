"""Counts with a season, read against the same months of earlier years.

Two things. ``exceedance`` is the published method for one long series (Farrington CP et al. 1996,
J. R. Statist. Soc. A 159:547-563, with the changes of Noufaily A et al. 2013, Statistics in
Medicine 32:1206-1222): a log-linear fit to the same months of earlier years and their neighbours,
with past peaks weighed down. The papers were not seen; the steps are those of published code, with
which the values agree (tests/outside/test_exceedance.py).

``season`` asks of many sparse series together whether they have a season at all, and how much of a
year's catch each month brings. The judge takes from it whether a month is to be compared with the
whole baseline or with its own season. Docs: docs/algorithms/trends.md (Season).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from compliance.trends.alarms import clumped_limit, two_thirds_limit
from compliance.trends.exposure import Bools, Floats, Ints

YEAR = 12
STEPS = 25
"""Newton's steps of a fit: far more than one that has an end needs, and an end for one that has
none, where a pest came only in the last year."""

PRIOR_CATCH = 4.0
"""How many clumps of catch the belief that a month is like any other is worth."""


@dataclass(frozen=True, slots=True)
class Method:
    """How a month is compared with earlier years.

    ``years`` back, each with ``around`` months on either side. ``peak``: the residual from which
    on a past month is weighed down. ``trend_at``: the p-value up to which a trend is kept, which
    also needs ``trend_years`` and may not run above all that was seen. ``chance``: two-sided for
    ``two_thirds``, one-sided for ``negative_binomial``. ``least``: so many in the last four months
    or there is no alarm (5 in the sources, for rare infections). ``per_year``: 12, or 52 for weeks.
    ``parts``: 1 compares with the same time of earlier years only; more take all that was counted
    since then, each year in so many parts that have levels of their own, the first around the asked
    place. ``left_out``: so many of the latest places are no references then.
    """

    years: int = 3
    around: int = 1
    chance: float = 0.01
    peak: float = 1.0
    trend_at: float = 0.05
    trend_years: int = 3
    limit: Literal["two_thirds", "negative_binomial"] = "two_thirds"
    least: int = 0
    per_year: int = YEAR
    parts: int = 1
    left_out: int = 0


FARRINGTON = Method()
NOUFAILY = Method(peak=2.58, trend_at=1.0, trend_years=1, limit="negative_binomial")
TEN_PARTS = Method(
    years=4,
    around=3,
    peak=2.58,
    trend_at=1.0,
    trend_years=1,
    limit="negative_binomial",
    least=5,
    per_year=52,
    parts=10,
    left_out=26,
)
"""Weeks by the improved method whole, as published code has it: for series of many years."""


@dataclass(frozen=True, slots=True)
class Exceedance:
    """What was to be expected, the largest count that is no alarm, and whether it was passed.

    ``references``: how many earlier counts it was compared with.
    """

    expected: float
    upper: float
    phi: float
    trend: bool
    references: int
    alarm: bool


def exceedance(
    counts: Sequence[int],
    at: int,
    method: Method = FARRINGTON,
    exposure: Sequence[float] | None = None,
) -> Exceedance | None:
    """The count at place ``at`` against the same time of earlier years.

    ``exposure``: trap-days of each place; one for each if not given; places without any are no
    references. None where fewer than four references stand, or nothing was caught in them.
    """
    from scipy.special import ndtri

    seen = np.asarray(counts, dtype=np.float64)
    days = np.ones(len(seen)) if exposure is None else np.asarray(exposure, dtype=np.float64)
    places, part = _references(at, method)
    there = (places >= 0) & (places < at) & (days[places.clip(0, at)] > 0)
    places, part = places[there], part[there]
    same_time = part == 0
    if len(places) < 4 or not same_time.any() or not seen[places].sum() or not days[at]:
        return None
    # A part that nothing is left of has no level of its own.
    levels = part[:, None] == np.unique(part[part > 0])
    times = (places - at).astype(np.float64)
    fit = _best(seen[places], days[places], levels, times, days[at], method)
    if method.limit == "two_thirds":
        z = float(ndtri(1 - method.chance / 2))
        upper = float(two_thirds_limit(fit.expected, fit.phi, fit.variance, z=z))
    else:
        upper = float(clumped_limit(fit.expected, fit.phi, chance=method.chance))
    recent = seen[max(0, at - 3) : at + 1].sum()
    return Exceedance(
        expected=fit.expected,
        upper=upper,
        phi=fit.phi,
        trend=fit.trend,
        references=len(places),
        alarm=bool(seen[at] > upper and recent >= method.least),
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    expected: float
    variance: float
    phi: float
    trend: bool
    trend_p: float


def _references(at: int, method: Method) -> tuple[Ints, Ints]:
    """The earlier places that ``at`` is compared with, and the part of its year each lies in.

    Part 0 is around the asked place a year or more before; the others fill the time between, as
    long as each other, the first ones longer by one where that does not go. Some may lie before
    the first count.
    """
    back = at - method.per_year * np.arange(1, method.years + 1)
    near_ = np.arange(-method.around, method.around + 1)
    same = np.sort((back[:, None] + near_).ravel())
    if method.parts == 1:
        return same, np.zeros(len(same), dtype=np.int64)
    between = np.array_split(
        np.arange(method.around + 1, method.per_year - method.around), method.parts - 1
    )
    of_year = np.concatenate(
        [np.zeros(len(near_), dtype=np.int64)]
        + [np.full(len(one), number, dtype=np.int64) for number, one in enumerate(between, start=1)]
    )
    # A year runs from the first place around its own reference to the last before the next one's.
    places = np.sort(
        (back[:, None] + np.arange(-method.around, method.per_year - method.around)).ravel()
    )
    part = np.tile(of_year, method.years)
    kept = places < at - method.left_out
    return places[kept], part[kept]


def _best(
    seen: Floats, days: Floats, levels: Bools, times: Floats, days_then: float, method: Method
) -> _Fit:
    """With a trend where it may stay, without one otherwise.

    ``levels``: a column for each part of the year but the asked one. ``times`` are counted from the
    asked place, so that the intercept is what is expected there.
    """
    flat = np.column_stack([np.ones(len(seen)), levels])
    if method.years >= method.trend_years:
        sloped = np.column_stack([flat, times])
        fit = _fit(seen, days, sloped, days_then, method.peak, trend=True)
        highest = (seen / days).max() * days_then
        if fit.trend_p <= method.trend_at and fit.expected <= highest:
            return fit
    return _fit(seen, days, flat, days_then, method.peak, trend=False)


def _fit(
    seen: Floats, days: Floats, design: Floats, days_then: float, peak: float, *, trend: bool
) -> _Fit:
    """A quasi-Poisson fit, and the same again with what stood out weighed down. A trend is the last
    column of the design."""
    from scipy.special import stdtr

    weights = np.ones(len(seen))
    free = len(seen) - design.shape[1]
    for again in (True, False):
        slopes, mean, bread = _log_linear(seen, days, design, weights)
        phi = max(1.0, float((weights * (seen - mean) ** 2 / mean).sum() / free))
        if again:
            leverage = weights * mean * np.einsum("ij,jk,ik->i", design, bread, design)
            stands_out = 1.5 * (seen ** (2 / 3) * mean ** (-1 / 6) - np.sqrt(mean))
            weights = weigh_down(stands_out / np.sqrt(phi * (1 - leverage)), peak)
    expected = float(np.exp(slopes[0]) * days_then)
    # The test of the trend takes the dispersion as fitted, below 1 too, as the sources' code does.
    as_fitted = float((weights * (seen - mean) ** 2 / mean).sum() / free)
    error = float(np.sqrt(max(as_fitted, 1e-12) * bread[-1, -1]))
    return _Fit(
        expected=expected,
        variance=float(bread[0, 0] * phi * expected**2),
        phi=phi,
        trend=trend,
        trend_p=2 * float(stdtr(free, -abs(slopes[-1]) / error)),
    )


def _log_linear(
    seen: Floats, days: Floats, design: Floats, weights: Floats
) -> tuple[Floats, Floats, Floats]:
    """Slopes, means and the inverse information of a weighted Poisson fit, by Newton's steps."""
    slopes = np.zeros(design.shape[1])
    mean: Floats = seen + 0.1
    linear: Floats = np.log(mean / days)
    for _ in range(STEPS):
        working = weights * mean
        aim = linear + (seen - mean) / mean
        inverse = np.linalg.pinv(design.T @ (working[:, None] * design))
        slopes = inverse @ (design.T @ (working * aim))
        linear = np.clip(design @ slopes, -30.0, 30.0)
        mean = np.exp(linear) * days
    bread = np.linalg.pinv(design.T @ ((weights * mean)[:, None] * design))
    return slopes, mean, bread.astype(np.float64)


def weigh_down(stands_out: Floats, peak: float) -> Floats:
    """Weights for earlier counts: those that stood out by more than ``peak`` count by the inverse
    square of how much; all of them sum to as many as there are."""
    weights = np.where(stands_out > peak, np.maximum(np.abs(stands_out), 1e-12) ** -2.0, 1.0)
    scaled: Floats = weights * len(weights) / weights.sum()
    return scaled


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """For each group of series: ``p``, how likely months as unlike as these are without a season,
    and ``share``, groups × 12 from January on, what a trap-day of each month brings over the mean.
    """

    p: Floats
    share: Floats


def season(
    counts: Floats, exposure: Floats, month_of_year: Ints, group: Ints, groups: int
) -> Season:
    """Whether groups of like series have a season, and which.

    Each series is read against its own rate, so that a busy place tells no more of the season than
    its catch is worth. What months of one name differ by from year to year says how clumped the
    group is, and an F test asks whether months of different names differ by more. A group with
    less than two years has p = 1: nothing can be told from a season yet.

    ``counts`` and ``exposure``: series × months; ``month_of_year``: 0 to 11 for each column.
    """
    from scipy.special import fdtrc

    columns = counts.shape[1]
    year = np.arange(columns) // YEAR  # any twelve columns hold each month once
    cell = (group[:, None] * YEAR + month_of_year).ravel()
    rate = np.divide(
        counts.sum(axis=1),
        exposure.sum(axis=1),
        out=np.zeros(len(counts)),
        where=exposure.sum(axis=1) > 0,
    )
    expected = exposure * rate[:, None]
    # The same by year as well: how much months of one name differ between years.
    years = columns // YEAR + 1
    slot = ((group[:, None] * years + year) * YEAR + month_of_year).ravel()

    def summed(place: Ints, values: Floats, *shape: int) -> Floats:
        total = np.bincount(place, values.ravel(), int(np.prod(shape))).astype(np.float64)
        return total.reshape(shape)

    caught, usual = (summed(cell, one, groups, YEAR) for one in (counts, expected))
    by_year, usual_by_year = (summed(slot, one, groups, years, YEAR) for one in (counts, expected))
    ratio = np.divide(caught, usual, out=np.zeros_like(caught), where=usual > 0)
    fitted = usual_by_year * ratio[:, None, :]
    seen = fitted > 0
    misfit = np.divide((by_year - fitted) ** 2, fitted, out=np.zeros_like(fitted), where=seen)
    named = (caught > 0).sum(axis=1)
    free = np.maximum(seen.sum(axis=(1, 2)) - named, 0)
    phi = np.maximum(misfit.sum(axis=(1, 2)) / np.maximum(free, 1), 1.0)
    looked = usual > 0
    unlike = np.divide((caught - usual) ** 2, usual, out=np.zeros_like(caught), where=looked)
    between = np.maximum(looked.sum(axis=1) - 1, 1)
    testable = (free >= YEAR // 2) & (columns >= 2 * YEAR)
    chance = fdtrc(between, np.maximum(free, 1), unlike.sum(axis=1) / between / phi)
    prior = PRIOR_CATCH * phi[:, None]
    return Season(p=np.where(testable, chance, 1.0), share=(caught + prior) / (usual + prior))


def near(month_of_year: Ints, asked: Ints, around: int = 1) -> Bools:
    """Which months lie within ``around`` of any asked month of the year, December by January."""
    apart = np.abs(month_of_year[:, None] - asked[None, :])
    close: Bools = (np.minimum(apart, YEAR - apart) <= around).any(axis=1)
    return close
