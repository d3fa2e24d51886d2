"""Control charts: the line and limits of a picture, and the classical charts they come from.

``line`` gives the chart of one zone and pest: centre line and the count from which a month would be
an alarm by itself, by the same test that judges it; ``alarm_counts`` and ``centres`` give both for
the asked month of all series at once. The classical charts follow NIST/SEMATECH
e-Handbook of Statistical Methods, doi:10.18434/M32189, sections 6.3.2 and 6.3.3, and Montgomery
DC, Introduction to Statistical Quality Control. They suit long, rich series; on sparse or clumped
counts three roots of the mean cry wolf, which is why nothing here raises an alarm.
Docs: docs/algorithms/trends.md (Pictures).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from compliance.trends.alarms import clumped_tail, tail
from compliance.trends.exposure import Bools, Floats, Ints, Month
from compliance.trends.judge import Judged, baselines, fits, months_of, stretches
from compliance.trends.rates import PER

MOST = 2**40
"""No count is larger."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """The chart of one zone and pest, one place for each month, oldest first.

    ``per_100``: rate, NaN where nobody looked. ``centre``: the rate of the baseline, per 100
    trap-days, NaN while it is too small. ``alarm_at``: the count from which the month would be an
    alarm by itself; -1 where nobody looked or nothing is known. ``in_baseline``: the months that
    centre and limits come from.
    """

    months: tuple[Month, ...]
    counts: Ints
    exposure: Floats
    per_100: Floats
    centre: float
    alarm_at: Ints
    in_baseline: Bools

    @property
    def limit(self) -> Floats:
        """``alarm_at`` as a rate per 100 trap-days; NaN where there is none."""
        known = self.alarm_at >= 0
        limit: Floats = np.divide(
            PER * self.alarm_at, self.exposure, out=np.full(len(known), np.nan), where=known
        )
        return limit


def line(judged: Judged, row: int) -> Line:
    """The chart of one series, judged by the baseline of its asked month."""
    series, settings, grounds = judged.series, judged.settings, judged.grounds
    exposure, counts = series.exposure[row], series.counts[row]
    one = judged.compared[0]
    read = exposure > 0
    known = not np.isnan(one.chance[row])
    before, days = one.before[row], one.before_exposure[row]
    alarm_at = np.full(len(counts), -1, dtype=np.int64)
    if known:
        months = one.before_months[row]
        # The asked month as it was judged, its season counted in; the others by their days.
        part = exposure / series.past_exposure[row, months].sum()
        seen = int(read.sum())
        alarm_at[read] = _alarm_at(
            np.full(seen, before),
            part[read],
            part[read] * months.sum(),
            np.full(seen, float(months.sum())),
            np.tile(judged.weights[row], (seen, 1)),
            grounds.shapes,
            settings.most_false / one.window.looks,
            settings.counted,
        )
        if read[-1]:
            alarm_at[-1] = _alarm_counts(judged, np.array([row]))[0]
    return Line(
        months=months_of(series),
        counts=np.rint(counts).astype(np.int64),
        exposure=exposure,
        per_100=np.divide(PER * counts, exposure, out=np.full(len(counts), np.nan), where=read),
        centre=PER * before / days if known else float("nan"),
        alarm_at=alarm_at,
        in_baseline=one.before_months[row],
    )


def centres(judged: Judged) -> Floats:
    """What the asked month of each series would usually bring, per 100 trap-days.

    Its season counted in. NaN where nobody looked and while the baseline is too small.
    """
    one = judged.compared[0]
    days = judged.series.exposure[:, -1]
    known = ~np.isnan(one.chance) & (days > 0)
    centre: Floats = np.divide(
        PER * one.expected, days, out=np.full(len(days), np.nan), where=known
    )
    return centre


def alarm_counts(judged: Judged) -> Ints:
    """The count from which the asked month of each series would be an alarm by itself.

    By the very test that judges it, whatever it did catch. -1 where nobody looked and while the
    baseline is too small. Some 0.1 s for 3,000 series, 0.4 s where all of them have a season.
    """
    one = judged.compared[0]
    known = np.flatnonzero(~np.isnan(one.chance) & (judged.series.exposure[:, -1] > 0))
    counts = np.full(len(judged), -1, dtype=np.int64)
    counts[known] = _alarm_counts(judged, known)
    return counts


def _alarm_counts(judged: Judged, rows: Ints) -> Ints:
    """The same for some rows, all of them known and read."""
    series, settings, grounds = judged.series, judged.settings, judged.grounds
    window = judged.compared[0].window
    base = baselines(series, window, settings, grounds)

    def least(of: Ints, *, in_season: bool) -> Ints:
        both = stretches(series, grounds, base, of, settings, in_season=in_season)
        return _alarm_at(
            both.before,
            both.days / both.before_days,
            both.clumps,
            both.before_clumps,
            fits(series, grounds, base, of, in_season=in_season),
            grounds.shapes,
            settings.most_false / window.looks,
            settings.counted,
        )

    found = least(rows, in_season=False)
    own = np.flatnonzero(base.seasonal[rows])
    if len(own):
        seasonal = rows[own]
        at = least(seasonal, in_season=True)
        found[own] = np.where(base.alone[seasonal], at, np.maximum(at, found[own]))
    return found


def _alarm_at(
    before: Floats,
    part: Floats,
    clumps: Floats,
    before_clumps: Floats,
    weights: Floats,
    shapes: Floats,
    most: float,
    counted: float,
) -> Ints:
    """The smallest counts with a p-value of at most ``most``, found by halving.

    A place for each month that is asked about. ``before``: what its baseline caught; ``part``: its
    exposure over that of the baseline; ``clumps`` and ``before_clumps`` as in ``Stretches``;
    ``weights``: how likely each k is.
    """
    clumped = np.isfinite(shapes)
    plain = weights[:, ~clumped].sum(axis=1)

    def exact(count: Floats, rows: Ints) -> Floats:
        return tail(count, before[rows], part[rows] / (1 + part[rows]), counted=counted)

    def mixed(count: Floats, rows: Ints) -> Floats:
        tails = clumped_tail(
            count[:, None],
            before[rows, None],
            shapes[clumped] * clumps[rows, None],
            shapes[clumped] * before_clumps[rows, None],
            counted=counted,
        )
        chance = (tails * weights[rows][:, clumped]).sum(axis=1)
        both: Floats = chance + exact(count, rows) * plain[rows]
        return both

    # What is no alarm among even counts is none among clumped ones, and is found far sooner.
    even = _smallest(exact, np.zeros(len(part)), most)
    return np.rint(_smallest(mixed, even - 1, most)).astype(np.int64)


def _smallest(chance: Callable[[Floats, Ints], Floats], low: Floats, most: float) -> Floats:
    """The smallest counts above ``low`` with a chance of at most ``most``: doubling, halving.

    ``chance`` is of counts in some rows, and falls as they grow.
    """
    low, step = low.copy(), np.ones(len(low))
    rows = np.arange(len(low))
    while len(rows := rows[chance((low + step)[rows], rows) > most]) and step.max() < MOST:
        low[rows] += step[rows]
        step[rows] *= 2
    high = low + step
    while len(rows := np.flatnonzero(high - low > 1)):
        middle = np.floor((low[rows] + high[rows]) / 2)
        over = chance(middle, rows) > most
        low[rows] = np.where(over, middle, low[rows])
        high[rows] = np.where(over, high[rows], middle)
    return high


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """Centre line and limits of a classical chart; arrays have a place for each point."""

    centre: float
    lower: Floats
    upper: Floats

    def out(self, points: ArrayLike) -> tuple[int, ...]:
        """The places of the points outside the limits; a point on a limit is inside."""
        seen = np.asarray(points, dtype=np.float64)
        return tuple(
            int(place) for place in np.flatnonzero((seen > self.upper) | (seen < self.lower))
        )


def u_chart(
    counts: Sequence[int], exposure: Sequence[float], without: Sequence[int] = ()
) -> Limits:
    """Rates with unequal exposure: sum over sum, three roots of the mean over exposure.

    ``without``: places that are explained and left out of the centre line. With an exposure of one
    each this is the c chart. Raises ``ValueError`` where no exposure is left.
    """
    seen, days = np.asarray(counts, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    kept = np.ones(len(seen), dtype=np.bool_)
    kept[list(without)] = False
    if not days[kept].sum():
        raise ValueError("a centre line needs exposure")
    centre = float(seen[kept].sum() / days[kept].sum())
    spread = 3 * np.sqrt(centre / days)
    return Limits(centre, np.maximum(centre - spread, 0.0), centre + spread)


def ewma(
    points: Sequence[float], *, target: float, sigma: float, weight: float, width: float = 3.0
) -> tuple[Floats, Limits]:
    """Exponentially weighted means, which see a small lasting shift, with their final limits.

    ``weight``: of the newest point. ``sigma``: of single points.
    """
    means = np.empty(len(points))
    mean = target
    for place, point in enumerate(points):
        mean = weight * point + (1 - weight) * mean
        means[place] = mean
    spread = np.full(len(points), width * sigma * np.sqrt(weight / (2 - weight)))
    return means, Limits(target, target - spread, target + spread)


def cusum(points: Sequence[float], *, target: float, slack: float) -> tuple[Floats, Floats]:
    """Tabular sums of what lies above and below the target by more than ``slack``; each starts
    again at 0. A signal is a sum above the decision interval, which the reader draws."""
    above, below = np.empty(len(points)), np.empty(len(points))
    high = low = 0.0
    for place, point in enumerate(points):
        high = max(0.0, high + point - target - slack)
        low = max(0.0, low + target - point - slack)
        above[place], below[place] = high, low
    return above, below
