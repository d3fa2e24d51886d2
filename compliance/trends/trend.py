"""Is it rising or falling over the months, or can that not be told?

Mann-Kendall asks of every two months which one was higher, so that one wild month counts no more
than a mild one; Sen's slope is the middle of the slopes between every two. Where there are two
years, only the same months of different years are compared (Hirsch), as flies rise every spring.

Sources: Mann HB (1945) Econometrica 13:245-259; Kendall MG (1975) Rank correlation methods; Sen PK
(1968) J. Am. Stat. Assoc. 63:1379-1389; Gilbert RO (1987) Statistical methods for environmental
pollution monitoring, chapters 16 and 17; Hirsch RM, Slack JR, Smith RA (1982) Water Resour. Res.
18:107-121; Hamed KH, Rao AR (1998) J. Hydrol. 204:182-196. All from memory, held to published
examples and to other people's programs in tests/outside/test_trend.py.
Docs: docs/algorithms/rates-and-effects.md (Trend).
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import comb, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from compliance.trends.exposure import Floats, Ints
from compliance.trends.rates import CONFIDENCE, short

Direction = Literal["rising", "falling", "not_known", "not_testable", "too_few"]

LEVEL = 0.05
"""How seldom a trend may be seen where there is none, both ways counted: common practice."""

YEAR = 12
"""Months that a plain trend looks back on; and how many there are to a year."""

FEWEST = 5
"""With four months even the steadiest rise has p = 2/24 = 0.083, so that nothing could be told."""

FEWEST_PAIRS = 6
"""With five comparisons of a month and its year before, all one way, p is still 2/32 = 0.063."""

EXACT_UP_TO = 40
"""Values of which all orders are counted; above, the normal form is near enough (and quick)."""


@dataclass(frozen=True, slots=True)
class MannKendall:
    """``s``: how many of all pairs rise, less how many fall. ``n``: how many values there are.

    ``variance`` is corrected for ties, ``z`` for continuity; ``z`` is None where every value is the
    same. ``p`` is two-sided, and ``exact`` where all orders of these values were counted.
    """

    n: int
    s: int
    variance: float
    z: float | None
    p: float
    exact: bool


@dataclass(frozen=True, slots=True)
class Slope:
    """Sen's slope per step of time, with limits; 0 is no proof of no change on sparse counts."""

    value: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Trend:
    """What can be said of the months looked at.

    ``slope``: rate per 100 trap-days and month, or and year where ``seasonal``; None where there
    was nothing to work it out from. ``p`` is that of ``test``, or larger where the months have
    memory. ``months``: how many had a rate. ``words`` say it all.
    """

    direction: Direction
    test: MannKendall | None
    p: float
    slope: Slope | None
    months: int
    seasonal: bool
    words: str


def trend_of(
    rates: Sequence[float | None], *, level: float = LEVEL, confidence: float = CONFIDENCE
) -> Trend:
    """The trend of monthly rates, oldest first, one for each month, the last one now.

    None (or NaN) stands for a month without exposure, which is neither 0 nor left out of time.
    Whole years are looked back on, month against the same month; with fewer than two of them, or
    too few months that stand in both, the last 12 months are taken as they come.
    """
    values = np.array([np.nan if one is None else one for one in rates], dtype=np.float64)
    by_year = _by_year(values)
    pairs = sum(comb(int(known), 2) for known in np.sum(~np.isnan(by_year), axis=0))
    if len(by_year) >= 2 and pairs >= FEWEST_PAIRS:
        test = seasonal_mann_kendall(by_year)
        slope = seasonal_sens_slope(by_year, confidence=confidence)
        return _trend(test, test.p, slope, by_year, level)
    recent = values[-YEAR:]
    place = np.flatnonzero(~np.isnan(recent))
    if len(place) < FEWEST:
        return _trend(None, 1.0, None, recent[None, :], level)
    test = mann_kendall(recent[place])
    p = max(test.p, _p_with_memory(test, memory_factor(recent[place])))
    slope = sens_slope(recent[place], place, confidence=confidence)
    return _trend(test, p, slope, recent[None, :], level)


def mann_kendall(values: ArrayLike) -> MannKendall:
    """Whether values in order of time rise or fall (Mann 1945, Kendall 1975)."""
    return _tested([np.asarray(values, dtype=np.float64)])


def seasonal_mann_kendall(by_year: ArrayLike) -> MannKendall:
    """The same over the seasons of several years: one row a year, one column a season, NaN a gap.

    Seasons are taken not to hang on one another (Hirsch and others 1982). With two years that is a
    comparison of two years, and one odd year looks like a trend.
    """
    table = np.asarray(by_year, dtype=np.float64)
    return _tested([season[~np.isnan(season)] for season in table.T])


def exact_tail(s: int, *groups: Sequence[int]) -> float:
    """How likely a sum of at least ``s`` is where every order of the values is as likely.

    Each group is one season: how many values are alike, for each different value ((1, 1, 1) for
    three different ones). Counted, not simulated: the orders of values with ties by the number of
    pairs that fall are the coefficients of a Gaussian multinomial (MacMahon; from memory).
    """
    falls = np.ones(1)
    pairs = 0
    for alike in groups:
        falls = np.convolve(falls, _orders_by_falls(tuple(sorted(alike))))
        pairs += (sum(alike) ** 2 - sum(size**2 for size in alike)) // 2
    # s = pairs - 2 falls, so that s or more means this many falls or fewer.
    most = (pairs - s) // 2
    return float(np.sum(falls[: most + 1])) if most >= 0 else 0.0


def sens_slope(
    values: ArrayLike, times: ArrayLike | None = None, *, confidence: float = CONFIDENCE
) -> Slope | None:
    """The middle of the slopes between every two values (Sen 1968), per step of ``times``.

    Without ``times`` values are one step apart. None for fewer than two values. The limits are the
    slopes that Mann-Kendall's variance leaves on either side (Gilbert 1987, section 16.5).
    """
    series = np.asarray(values, dtype=np.float64)
    steps = np.arange(len(series)) if times is None else np.asarray(times)
    return _slope([(series, steps.astype(np.float64))], confidence)


def seasonal_sens_slope(by_year: ArrayLike, *, confidence: float = CONFIDENCE) -> Slope | None:
    """The same over seasons, a year apart: rows and columns as for ``seasonal_mann_kendall``."""
    table = np.asarray(by_year, dtype=np.float64)
    seasons = []
    for season in table.T:
        known = np.flatnonzero(~np.isnan(season))
        seasons.append((season[known], known.astype(np.float64)))
    return _slope(seasons, confidence)


def memory_factor(values: ArrayLike) -> float:
    """How much larger the variance of Mann-Kendall's sum is for values that resemble the last ones.

    After Hamed and Rao (1998): autocorrelations of the ranks, once Sen's slope is taken off, those
    that stand out at 0.05. Below 1 for values that swing; 1 for fewer than four of them, or where
    all are alike.
    """
    from scipy.special import ndtri

    series = np.asarray(values, dtype=np.float64)
    n = len(series)
    slope = sens_slope(series)
    if slope is None or n < 4:
        return 1.0
    # Rounded, so that binary fractions do not tell apart what is alike.
    flat: Floats = np.round(series - np.arange(n, dtype=np.float64) * slope.value, 9)
    ranks = _ranks(flat)
    centred = ranks - ranks.mean()
    spread = float(np.dot(centred, centred))
    if spread == 0.0:
        return 1.0
    lag = np.arange(1, n)
    alike = np.array([float(np.dot(centred[one:], centred[:-one])) for one in lag]) / spread
    stands_out = np.abs(alike) > float(ndtri(0.975)) / sqrt(n)
    weights = (n - lag) * (n - lag - 1.0) * (n - lag - 2.0)
    return 1.0 + 2.0 * float(np.sum(weights[stands_out] * alike[stands_out])) / (
        n * (n - 1.0) * (n - 2.0)
    )


def _tested(seasons: list[Floats]) -> MannKendall:
    s, variance, n = 0, 0.0, 0
    groups = []
    for values in seasons:
        alike = tuple(Counter(values.tolist()).values())
        groups.append(alike)
        size = len(values)
        n += size
        s += int(np.sum(np.triu(np.sign(values[None, :] - values[:, None]), 1)))
        # Counts times (count - 1) (2 count + 5) / 18, less the same for each group of ties.
        variance += _spread(size) - sum(_spread(same) for same in alike)
    if variance == 0.0:
        return MannKendall(n, s, 0.0, None, 1.0, True)
    z = (s - np.sign(s)) / sqrt(variance)
    exact = all(len(values) <= EXACT_UP_TO for values in seasons)
    tail = exact_tail(abs(s), *groups) if exact else _beyond(abs(z))
    return MannKendall(n, s, variance, float(z), min(1.0, 2.0 * tail), exact)


def _spread(size: int) -> float:
    return size * (size - 1) * (2 * size + 5) / 18.0


def _beyond(z: float) -> float:
    from scipy.special import ndtr

    return float(ndtr(-z))


def _p_with_memory(test: MannKendall, factor: float) -> float:
    """The p-value in normal form with a larger variance; 0 where it is not to be larger."""
    if test.z is None or factor <= 1.0:
        return 0.0
    return 2.0 * _beyond(abs(test.z) / sqrt(factor))


@lru_cache(maxsize=4096)
def _orders_by_falls(alike: tuple[int, ...]) -> Floats:
    """The share of all orders of values with these ties that have 0, 1, 2, … falling pairs."""
    ways = [1]
    size = 0
    for same in alike:
        for one in range(1, same + 1):
            size += 1
            # Times (1 - q^size) / (1 - q^one): a Gaussian binomial, one factor after the other.
            ways += [0] * size
            for place in range(len(ways) - 1, size - 1, -1):
                ways[place] -= ways[place - size]
            for place in range(one, len(ways)):
                ways[place] += ways[place - one]
            ways = ways[: len(ways) - one]
    total = sum(ways)
    shares = np.array([count / total for count in ways])
    shares.flags.writeable = False
    return shares


def _slope(seasons: list[tuple[Floats, Floats]], confidence: float) -> Slope | None:
    from scipy.special import ndtri

    slopes, variance = [], 0.0
    for values, times in seasons:
        early, late = np.triu_indices(len(values), 1)
        slopes.append((values[late] - values[early]) / (times[late] - times[early]))
        ties = Counter(values.tolist()).values()
        variance += _spread(len(values)) - sum(_spread(same) for same in ties)
    every = np.sort(np.concatenate(slopes)) if slopes else np.empty(0)
    if not every.size:
        return None
    reach = float(ndtri(1.0 - (1.0 - confidence) / 2.0)) * sqrt(variance)
    lower = max(round((every.size - reach) / 2.0) - 1, 0)
    upper = min(round((every.size + reach) / 2.0), every.size - 1)
    return Slope(float(np.median(every)), float(every[lower]), float(every[upper]))


def _ranks(values: Floats) -> Floats:
    """The place of each value among all, from 1 on; those that are alike share the middle one."""
    _, which, count = np.unique(values, return_inverse=True, return_counts=True)
    last: Ints = np.cumsum(count)
    middle: Floats = (last - (count - 1) / 2.0)[which]
    return middle


def _by_year(values: Floats) -> Floats:
    """Whole years, counted back from the last month: one row a year, the oldest first."""
    years = len(values) // YEAR
    return values[len(values) - years * YEAR :].reshape(years, YEAR)


def _trend(
    test: MannKendall | None, p: float, slope: Slope | None, by_year: Floats, level: float
) -> Trend:
    """``by_year`` has one row where seasons were left alone."""
    years, months = len(by_year), int(np.sum(~np.isnan(by_year)))
    direction = _direction(test, p, level)
    words = _words(direction, slope, months, years)
    return Trend(direction, test, p, slope, months, years > 1, words)


def _direction(test: MannKendall | None, p: float, level: float) -> Direction:
    if test is None:
        return "too_few"
    if test.variance == 0.0:
        return "not_testable"
    if p > level:
        return "not_known"
    return "rising" if test.s > 0 else "falling"


def _words(direction: Direction, slope: Slope | None, months: int, years: int) -> str:
    if direction == "too_few":
        return f"Not known yet: {months} of the {FEWEST} months that a trend needs were read."
    if direction == "not_testable":
        return "No trend can be tested, as every month is the same."
    unit, over, doubt = "per 100 trap-days each month", f"over {months} months", ""
    way = direction.capitalize()
    if years == 1:
        doubt = " This may be no more than the season, which only two years can tell apart."
    elif years == 2:
        unit, over = "per 100 trap-days", "than in the same months of the year before"
        way = "Higher" if direction == "rising" else "Lower"
    else:
        unit, over = "per 100 trap-days each year", f"over {years} years, each month against itself"
    if direction == "not_known":
        over = "against the year before, each month against itself" if years == 2 else over
        return f"No clear trend {over}{_open_words(slope, unit)}."
    return f"{way} {over}{_speed_words(slope, unit)}.{doubt}"


def _open_words(slope: Slope | None, unit: str) -> str:
    """Between what it may lie, where that says anything."""
    if slope is None or not slope.lower < 0.0 < slope.upper:
        return ""
    low, high = short(-slope.lower, "up"), short(slope.upper, "up")
    return f": it may be anything from a fall of {low} to a rise of {high} {unit}"


def _speed_words(slope: Slope | None, unit: str) -> str:
    """How fast, and never 0: on sparse counts a sure trend may have a slope of 0."""
    if slope is None or slope.lower * slope.upper <= 0.0:
        return "; too few are caught to say how fast"
    ends = sorted((abs(slope.lower), abs(slope.upper)))
    return (
        f", by about {short(abs(slope.value))} {unit}; "
        f"between {short(ends[0], 'down')} and {short(ends[1], 'up')}"
    )
