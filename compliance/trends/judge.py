"""Which zone needs a human: every zone and pest of a company against what is usual there.

One entry: ``judge``. For each zone × pest, and each site × pest where a site has several zones, the
asked month and the last three and six months are compared with a baseline of their own; what like
places show says how clumped counts are and whether they have a season; then all p-values are judged
together. Everything is done for all series at once. Docs: docs/algorithms/trends.md.

Exposure in trap-days, rates per 100 trap-days, months as (year, month). Arrays: series × months,
oldest first, the asked month last.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from compliance.trends.alarms import clumped_tail, most_expected, tail
from compliance.trends.dispersion import believed, clumping, fit_in_season, fit_of, learned
from compliance.trends.exposure import (
    Bools,
    Columns,
    Floats,
    Ints,
    Month,
    month_number,
    months_between,
    numbered,
)
from compliance.trends.many import Many, judged_together
from compliance.trends.rates import PER, short
from compliance.trends.seasons import YEAR, near, season
from compliance.trends.settings import CHOSEN, Settings, Window

Level = Literal["zone", "site"]
SetAside = tuple[str, str, Month]
"""A zone's or a site's name, a pest, and a month that is known to have been no usual one."""

State = Literal["not_read", "not_yet_known", "calm", "alarm"]
STATES: tuple[State, ...] = ("not_read", "not_yet_known", "calm", "alarm")
"""In arrays, a state is its place in this order."""

_NOT_READ, _NOT_YET_KNOWN, _CALM, _ALARM = range(4)

HARDLY = 0.05
"""Fewer than this are hardly any, in words."""

MONTH_NAMES = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

TINY = 1e-12
"""Stands for 0 where something is divided by it and the answer is not used."""

LEAST_OF_A_SEASON = 3
"""Months of earlier years, alike in season, from which on they may hold an alarm back."""


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """What was caught month by month: one row for each zone × pest, then for each site × pest.

    ``zones``: how many rows are of zones. ``place`` points into the zones or sites of the columns,
    ``pest`` into their pests. ``group`` numbers like series from 0 to ``groups`` - 1. ``full``:
    months in which a trap was full, so that the count is the least there can have been.

    ``past_…``: the same as a baseline may see them, which has nothing of what was set aside; for a
    site the counts and days of its other zones stay. ``aside``: months with something set aside.
    """

    zones: int
    place: Ints
    pest: Ints
    group: Ints
    groups: int
    counts: Floats
    exposure: Floats
    readings: Floats
    full: Bools
    past_counts: Floats
    past_exposure: Floats
    past_readings: Floats
    aside: Bools
    asked: Month


@dataclass(frozen=True, slots=True, eq=False)
class Grounds:
    """What a series and its like tell of each other, before any window is looked at.

    ``shapes``: the k that are thought possible. ``belief``: series × shapes, how likely each is
    before the series itself is looked at. ``worth``: series × months, what a trap-day of its season
    usually brings, over the mean; 1 without a season. ``others``: which part of what tells the
    season comes from other series, 0 where a series is alone. ``month_of_year``: 0 to 11 for each
    column.
    """

    shapes: Floats
    belief: Floats
    worth: Floats
    others: Floats
    has_season: Bools
    month_of_year: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """One window of every series against its baseline; all arrays have a place for each series.

    ``chance``: the p-value, already multiplied by the window's ``looks``; NaN where the baseline is
    too small. ``before_months``: a row of marks for each series, which months it consists of.
    ``in_season``: the baseline is the same time of earlier years only.
    """

    window: Window
    since: Floats
    since_exposure: Floats
    before: Floats
    before_exposure: Floats
    before_months: Bools
    in_season: Bools
    chance: Floats

    @property
    def expected(self) -> Floats:
        """What the window would have brought had nothing changed; NaN without a baseline."""
        expected: Floats = np.divide(
            self.since_exposure * self.before,
            self.before_exposure,
            out=np.full(len(self.before), np.nan),
            where=self.before_exposure > 0,
        )
        return expected


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a series was compared with, for people. ``before_first`` and ``before_last`` bound the
    baseline, which has ``before_months`` months with readings. ``set_aside``: months between these
    of which something was left out, as an outbreak that is known."""

    months: int
    since: int
    since_exposure: float
    expected: float
    before: int
    before_exposure: float
    before_months: int
    before_first: Month
    before_last: Month
    in_season: bool
    set_aside: int


@dataclass(frozen=True, slots=True)
class Finding:
    """What is to be said of one zone, or site, and pest in the asked month.

    ``per_100`` and ``allows``: the rate, and the largest rate that the month's count still allows
    (one-sided 95 %, clumping counted in; infinite where a trap was full or nobody looked).
    ``chance``: the p-value after all ways of looking are paid for, ``adjusted`` after all places
    are; None where nothing is known yet. ``k``: how clumped the counts are taken to be.
    """

    level: Level
    place: str
    pest: str
    month: Month
    state: State
    count: int
    exposure: float
    per_100: float | None
    allows: float
    at_least: bool
    k: float
    chance: float | None
    adjusted: float | None
    comparison: Comparison | None
    readings: int
    words: str


@dataclass(frozen=True, slots=True)
class Pointer:
    """One monitor of an alarm: what it caught in the alarm's window and what was to be expected of
    it alone, by its own baseline and the whole zone's, in equal parts of trap-days."""

    monitor: str
    count: int
    exposure: float
    expected: float


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """Every series judged. Arrays have a place for each series, in the order of ``series``.

    ``looked_at``: how many had a baseline and a reading in the asked month. ``could_alarm``: how
    many of these had caught enough in all that any answer was possible; the others cannot be false
    alarms, so that they make it no harder for anybody. ``best``: which of ``compared`` had the
    smallest p-value. ``weights``: series × shapes, how likely each k is; ``k`` is one number of it.
    """

    columns: Columns
    settings: Settings
    series: Series
    grounds: Grounds
    compared: tuple[Compared, ...]
    best: Ints
    state: Ints
    chance: Floats
    adjusted: Floats
    weights: Floats
    k: Floats
    allows: Floats
    looked_at: int
    could_alarm: int
    has_season: Bools

    def __len__(self) -> int:
        """How many series."""
        return len(self.state)

    @property
    def alarms(self) -> tuple[Finding, ...]:
        """The alarms, the least likely by chance first."""
        rows = np.flatnonzero(self.state == _ALARM)
        return tuple(self.finding(int(row)) for row in rows[np.argsort(self.chance[rows])])

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All of them, in the order of the series."""
        return tuple(self.finding(row) for row in range(len(self)))

    def finding(self, row: int) -> Finding:
        """One series as people read it."""
        series, columns = self.series, self.columns
        level: Level = "zone" if row < series.zones else "site"
        names = columns.zones if level == "zone" else columns.sites
        exposure = float(series.exposure[row, -1])
        count = round(float(series.counts[row, -1]))
        state = STATES[self.state[row]]
        known = self.state[row] >= _CALM
        comparison = self._comparison(row) if known else None
        at_least = bool(series.full[row, -1])
        allows = np.inf if at_least else float(self.allows[row])
        readings = int(series.past_readings[row, :-1].sum())
        return Finding(
            level=level,
            place=names[series.place[row]],
            pest=columns.pests[series.pest[row]],
            month=series.asked,
            state=state,
            count=count,
            exposure=exposure,
            per_100=PER * count / exposure if exposure else None,
            allows=allows,
            at_least=at_least,
            k=float(self.k[row]),
            chance=float(self.chance[row]) if known else None,
            adjusted=float(self.adjusted[row]) if known else None,
            comparison=comparison,
            readings=readings,
            words=_words(
                state, series.asked, count, exposure, allows, readings, comparison, self.settings
            ),
        )

    def _comparison(self, row: int) -> Comparison:
        one = self.compared[self.best[row]]
        columns = np.flatnonzero(one.before_months[row])
        months = months_of(self.series)
        return Comparison(
            months=one.window.months,
            since=round(float(one.since[row])),
            since_exposure=float(one.since_exposure[row]),
            expected=float(one.expected[row]),
            before=round(float(one.before[row])),
            before_exposure=float(one.before_exposure[row]),
            before_months=len(columns),
            before_first=months[columns[0]],
            before_last=months[columns[-1]],
            in_season=bool(one.in_season[row]),
            set_aside=int(self.series.aside[row, columns[0] : columns[-1] + 1].sum()),
        )

    def pointers(self, row: int) -> tuple[Pointer, ...]:
        """Where to look first: the monitors of a series, the greatest excess in its window first.

        Passes once over all counts.
        """
        series, columns = self.series, self.columns
        where = columns.zone_index if row < series.zones else columns.site_index
        last = columns.months.index(series.asked)
        width = series.counts.shape[1]
        column = columns.month_index - last + width - 1
        mine = (where == series.place[row]) & (columns.pest_index == series.pest[row])
        mine &= (column >= 0) & (column < width)
        column, monitor = column[mine], columns.monitor_index[mine]
        count, exposure = columns.count[mine], columns.exposure[mine]
        one = self.compared[self.best[row]]
        since = column >= width - one.window.months
        zones = series.place[: series.zones] * len(columns.pests) + series.pest[: series.zones]
        zone = np.searchsorted(
            zones, columns.zone_index[mine] * len(columns.pests) + series.pest[row]
        )
        before = one.before_months[row, column] & ~series.aside[zone, column]
        size = len(columns.monitors)
        seen = np.bincount(monitor[since], count[since], size)
        days = np.bincount(monitor[since], exposure[since], size)
        own = np.bincount(monitor[before], count[before], size)
        own_days = np.bincount(monitor[before], exposure[before], size)
        zone_rate = own.sum() / max(own_days.sum(), 1.0)
        rate = np.where(own_days > 0, (own / np.maximum(own_days, 1.0) + zone_rate) / 2, zone_rate)
        there = np.flatnonzero(days > 0)
        order = there[np.argsort(-(seen - rate * days)[there], kind="stable")]
        return tuple(
            Pointer(
                monitor=columns.monitors[one_],
                count=round(float(seen[one_])),
                exposure=float(days[one_]),
                expected=float(rate[one_] * days[one_]),
            )
            for one_ in order
        )


def judge(
    columns: Columns,
    asked: Month,
    settings: Settings = CHOSEN,
    *,
    kind_of_zone: Mapping[str, str] | None = None,
    set_aside: Iterable[SetAside] = (),
) -> Judged:
    """Judge all zones × pests and sites × pests of the columns in one month.

    ``kind_of_zone``: zones of one kind are like zones; without it all are. ``set_aside``: months
    that somebody has said were an outbreak; no baseline has them, while the windows that are asked
    about keep them. Raises ``ValueError`` if the columns do not reach the asked month.
    """
    series = series_of(columns, asked, settings, kind_of_zone=kind_of_zone, set_aside=set_aside)
    return judged(series, columns, settings)


def series_of(
    columns: Columns,
    asked: Month,
    settings: Settings = CHOSEN,
    *,
    kind_of_zone: Mapping[str, str] | None = None,
    set_aside: Iterable[SetAside] = (),
) -> Series:
    """Sum counts and trap-days by month, for zones and for sites of several zones.

    As many months as the settings can use, the asked one last; series that were never read in them
    are left out. Four passes over the counts.

    What is set aside for a zone is for its site as if the zone's traps had been missing, as the
    other zones still tell what is usual. What is set aside for a site is so for all its zones. What
    is named and not there is passed over: a zone may be gone by now.
    """
    if asked not in columns.months:
        raise ValueError(f"nothing is known up to {asked}")
    last = columns.months.index(asked)
    width = min(settings.months, last + 1)
    column = columns.month_index - (last - width + 1)
    inside = (column >= 0) & (column < width)
    pests = len(columns.pests)
    key = columns.zone_index[inside] * pests + columns.pest_index[inside]
    keys = np.flatnonzero(np.bincount(key, minlength=1))
    row_of = np.zeros(len(columns.zones) * pests + 1, dtype=np.int64)
    row_of[keys] = np.arange(len(keys))
    cell = row_of[key] * width + column[inside]

    def summed(values: Floats | Ints | Bools | None) -> Floats:
        weights = None if values is None else values[inside]
        total = np.bincount(cell, weights, len(keys) * width).astype(np.float64)
        return total.reshape(len(keys), width)

    counts, exposure = summed(columns.count), summed(columns.exposure)
    readings, full = summed(None), summed(columns.censored)
    zone, pest = keys // max(pests, 1), keys % max(pests, 1)
    aside = _aside(set_aside, columns, zone, pest, last - width + 1, width)
    site_keys, of_site, zones_of_site = np.unique(
        columns.site_of_zone[zone] * pests + pest, return_inverse=True, return_counts=True
    )
    several = np.flatnonzero(zones_of_site > 1)
    order = np.argsort(of_site, kind="stable")
    starts = (np.cumsum(zones_of_site) - zones_of_site)[several]
    ends = starts + zones_of_site[several]

    def by_site(values: Floats) -> Floats:
        # Counts, days and half days are exact in floats, so that differences of sums are too.
        running = np.zeros((len(values) + 1, width))
        np.cumsum(values[order], axis=0, out=running[1:])
        between: Floats = running[ends] - running[starts]
        return between

    def both(values: Floats) -> Floats:
        return np.concatenate([values, by_site(values)])

    kinds = [(kind_of_zone or {}).get(name, "") for name in columns.zones]
    known = {kind: number for number, kind in enumerate(sorted(set(kinds)))}
    kind = np.array([known[one] for one in kinds], dtype=np.int64)
    site_pest = site_keys[several] % max(pests, 1)
    # Sites are a kind of their own: how clumped a whole site is says nothing of one zone.
    label = np.concatenate([kind[zone] * pests + pest, len(known) * pests + site_pest])
    found, group = np.unique(label, return_inverse=True)
    return Series(
        zones=len(keys),
        place=np.concatenate([zone, site_keys[several] // max(pests, 1)]),
        pest=np.concatenate([pest, site_pest]),
        group=group.astype(np.int64),
        groups=len(found),
        counts=both(counts),
        exposure=both(exposure),
        readings=both(readings),
        full=both(full) > 0,
        past_counts=both(np.where(aside, 0.0, counts)),
        past_exposure=both(np.where(aside, 0.0, exposure)),
        past_readings=both(np.where(aside, 0.0, readings)),
        aside=both(aside.astype(np.float64)) > 0,
        asked=asked,
    )


def _aside(
    set_aside: Iterable[SetAside], columns: Columns, zone: Ints, pest: Ints, first: int, width: int
) -> Bools:
    """Zones × pests by months: what was set aside, by the name of the zone or of its site."""
    aside = np.zeros((len(zone), width), dtype=np.bool_)
    zones = {name: number for number, name in enumerate(columns.zones)}
    sites = {name: number for number, name in enumerate(columns.sites)}
    pests = {name: number for number, name in enumerate(columns.pests)}
    site = columns.site_of_zone[zone]
    for name, of, month in set_aside:
        column = month_number(month) - month_number(columns.months[first])
        if of in pests and 0 <= column < width:
            place = (zone == zones.get(name, -1)) | (site == sites.get(name, -1))
            aside[place & (pest == pests[of]), column] = True
    return aside


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """Every series against its own baseline, before all are judged together.

    ``chance``: the p-value, all windows paid for; NaN where nothing is known or nothing was read.
    ``able``: enough was caught in all for an alarm to be possible. ``weights``: series × shapes,
    how likely each k is.
    """

    grounds: Grounds
    compared: tuple[Compared, ...]
    best: Ints
    chance: Floats
    able: Bools
    weights: Floats


def weigh(series: Series, settings: Settings = CHOSEN) -> Weighed:
    """Compare each series with its baseline, by way of what its group shows."""
    grounds, fit = _grounds(series, settings)
    read = series.exposure[:, -1] > 0
    compared = tuple(_compared(series, window, settings, grounds) for window in settings.windows)
    chances = np.stack([np.where(read, one.chance, np.nan) for one in compared])
    known = ~np.isnan(chances).all(axis=0)
    filled = np.where(np.isnan(chances), np.inf, chances)
    return Weighed(
        grounds=grounds,
        compared=compared,
        best=filled.argmin(axis=0),
        chance=np.where(known, filled.min(axis=0), np.nan),
        able=known & np.any([_able(one, settings) for one in compared], axis=0),
        weights=believed(fit, grounds.belief),
    )


def _grounds(series: Series, settings: Settings) -> tuple[Grounds, Floats]:
    """Season and clumping of each group, and how well each k fits each series."""
    shapes = np.array(settings.shapes)
    width = series.counts.shape[1]
    month_of_year = (month_number(series.asked) - width + 1 + np.arange(width)) % YEAR
    past = slice(max(0, width - 1 - settings.longest_baseline), width - 1)
    counts, exposure = series.past_counts[:, past], series.past_exposure[:, past]
    seasons = season(counts, exposure, month_of_year[past], series.group, series.groups)
    has_season = (seasons.p <= settings.season_at)[series.group]
    worth = np.where(has_season[:, None], seasons.share[series.group][:, month_of_year], 1.0)
    caught = counts.sum(axis=1)
    together = np.bincount(series.group, caught, series.groups)[series.group]
    others = 1 - caught / np.maximum(together, 1)
    fit = fit_of(counts, exposure, shapes)
    rows = np.flatnonzero(has_season)
    if len(rows):
        fit[rows] = fit_in_season(
            counts[rows],
            exposure[rows],
            worth[rows, past],
            month_of_year[past],
            others[rows],
            shapes,
        )
    belief = learned(
        fit,
        series.group,
        series.groups,
        np.array(settings.at_first),
        own_say=settings.own_say,
        rounds=settings.rounds,
    )[series.group]
    grounds = Grounds(
        shapes=shapes,
        belief=belief,
        worth=worth,
        others=others,
        has_season=has_season,
        month_of_year=month_of_year,
    )
    return grounds, fit


def stand_out(chance: Floats, able: Bools, settings: Settings = CHOSEN) -> Many:
    """Judge the p-values of one company together.

    A series that cannot be an alarm by itself, whatever its month had brought, is no part of the
    step-up: it cannot be a false one either, and would only make it harder for the others (after
    Tarone RE 1990, Biometrics 46:515-522, and Gilbert PB 2005, Appl. Statist. 54:143-158, both from
    memory). A p-value above ``most_false`` counts as 1, so that a small company is not told of what
    only a long list would excuse.
    """
    capped = np.where(chance <= settings.most_false, chance, 1.0)
    return judged_together(np.where(able, capped, np.nan), level=settings.share_false)


def judged(series: Series, columns: Columns, settings: Settings = CHOSEN) -> Judged:
    """Judge series as they stand; ``judge`` is this after ``series_of``."""
    weighed = weigh(series, settings)
    many = stand_out(weighed.chance, weighed.able, settings)
    known = ~np.isnan(weighed.chance)
    read = series.exposure[:, -1] > 0
    k = clumping(weighed.weights, np.array(settings.shapes))
    return Judged(
        columns=columns,
        settings=settings,
        series=series,
        grounds=weighed.grounds,
        compared=weighed.compared,
        best=weighed.best,
        state=np.select(
            [~read, ~known, many.stands_out], [_NOT_READ, _NOT_YET_KNOWN, _ALARM], default=_CALM
        ),
        chance=weighed.chance,
        adjusted=np.where(weighed.able, many.adjusted, np.where(known, 1.0, np.nan)),
        weights=weighed.weights,
        k=k,
        allows=_allows(series, k),
        looked_at=int(known.sum()),
        could_alarm=many.looked_at,
        has_season=weighed.grounds.has_season,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Baselines:
    """What one window may be compared with, each series × months.

    ``whole``: all months that are long enough ago. ``alike``: those of them of the same time of the
    year. ``known``: the series with enough of a baseline. ``seasonal``: those that are compared
    with ``alike``; ``alone`` where it is long enough to need no second opinion from ``whole``.
    """

    start: int
    whole: Bools
    alike: Bools
    known: Bools
    seasonal: Bools
    alone: Bools


def baselines(series: Series, window: Window, settings: Settings, grounds: Grounds) -> Baselines:
    """Which months each series is compared with, whatever it has caught since."""
    read = series.past_exposure > 0
    width = read.shape[1]
    place = np.arange(width)
    start = width - window.months
    end = np.full(len(read), start)
    if window.stands_back:
        back = width - max(settings.stand_back, window.months)
        stands = read[:, : max(back, 0)].sum(axis=1) >= settings.stand_back
        end = np.where(stands, back, end)
    whole = read & (place < end[:, None]) & (place >= end[:, None] - settings.longest_baseline)
    known = (whole.sum(axis=1) >= settings.least_months) & (
        np.where(whole, series.past_readings, 0.0).sum(axis=1) >= settings.least_readings
    )
    alike = whole & near(grounds.month_of_year, grounds.month_of_year[max(start, 0) :])
    months = alike.sum(axis=1)
    return Baselines(
        start=start,
        whole=whole,
        alike=alike,
        known=known,
        seasonal=grounds.has_season & known & (months >= LEAST_OF_A_SEASON),
        alone=months >= settings.least_months,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """A window and its baseline, as the test weighs them; a place for each series.

    ``since`` in ``days`` against ``before`` in ``before_days``. ``clumps``, ``before_clumps``: how
    many months of mean exposure clump like each, so that k times it is its shape. In a season, days
    are evened, and a baseline counts as no more than its season is known by. ``lasts``: the newest
    third of the window by itself is more than usual too; an outbreak that is over is no news.
    """

    since: Floats
    days: Floats
    before: Floats
    before_days: Floats
    clumps: Floats
    before_clumps: Floats
    lasts: Bools


def stretches(
    series: Series,
    grounds: Grounds,
    base: Baselines,
    rows: Ints,
    settings: Settings,
    *,
    in_season: bool,
) -> Stretches:
    """The window of some series and their whole baseline, or that of their season."""
    asked = slice(max(base.start, 0), None)
    months = (base.alike if in_season else base.whole)[rows]
    worth = grounds.worth[rows] if in_season else np.ones(months.shape)
    now, past = series.exposure[rows, asked], np.where(months, series.past_exposure[rows], 0.0)
    usual = np.maximum(past.sum(axis=1) / np.maximum(months.sum(axis=1), 1), TINY)[:, None]
    evened = now * worth[:, asked]
    days = evened.sum(axis=1)
    before = np.where(months, series.past_counts[rows], 0.0).sum(axis=1)
    before_days = (past * worth).sum(axis=1)
    clumps = _clumps(now / usual, worth[:, asked])
    before_clumps = _clumps(past / usual, worth)
    if in_season:
        same = near(grounds.month_of_year, grounds.month_of_year[asked], around=0)
        part = (past * worth)[:, same].sum(axis=1) / np.maximum(before_days, TINY)
        # Even a month that was never read here is known as well as one month tells it.
        part = np.maximum(part, 1 / np.maximum(months.sum(axis=1), 1))
        others = grounds.others[rows]
        known_by = (others + (1 - others) / part) ** -settings.season_doubt
        left = np.ceil(before * known_by)
        known_by = np.divide(left, before, out=known_by, where=before > 0)
        before, before_days, before_clumps = left, before_days * known_by, before_clumps * known_by
    # Shapes must part as the days do; their sum leaves the difference of both rates its variance.
    share = np.divide(days, days + before_days, out=np.zeros_like(days), where=days > 0)
    spread = (
        share * (1 - share) * (1 / np.maximum(clumps, TINY) + 1 / np.maximum(before_clumps, TINY))
    )
    both = 1 / np.maximum(spread, TINY)
    counts = series.counts[rows, asked]
    late = slice(-max(1, counts.shape[1] // 3), None)
    lasts = counts[:, late].sum(axis=1) * before_days > before * evened[:, late].sum(axis=1)
    return Stretches(
        since=counts.sum(axis=1),
        days=days,
        before=before,
        before_days=before_days,
        clumps=share * both,
        before_clumps=(1 - share) * both,
        lasts=lasts,
    )


def _clumps(exposure: Floats, worth: Floats) -> Floats:
    """How many months of mean exposure clump like these together: as many as there are if they
    bring alike, and fewer if most comes in some of them. ``exposure`` over the mean."""
    brings = exposure * worth
    squares = (brings * worth).sum(axis=1)
    clumps: Floats = np.divide(
        brings.sum(axis=1) ** 2, squares, out=np.zeros_like(squares), where=squares > 0
    )
    return clumps


def fits(
    series: Series, grounds: Grounds, base: Baselines, rows: Ints, *, in_season: bool
) -> Floats:
    """How likely each k is for some series, by all of their baseline."""
    counts = np.where(base.whole[rows], series.past_counts[rows], 0.0)
    exposure = np.where(base.whole[rows], series.past_exposure[rows], 0.0)
    if in_season:
        fit = fit_in_season(
            counts,
            exposure,
            grounds.worth[rows],
            grounds.month_of_year,
            grounds.others[rows],
            grounds.shapes,
        )
    else:
        fit = fit_of(counts, exposure, grounds.shapes)
    return believed(fit, grounds.belief[rows])


def _compared(series: Series, window: Window, settings: Settings, grounds: Grounds) -> Compared:
    """One window against the whole baseline, and where there is a season against its own time."""
    base = baselines(series, window, settings, grounds)
    everyone = np.arange(len(series.counts))
    plain = _chances(series, grounds, base, everyone, settings, window, in_season=False)
    rows = np.flatnonzero(base.seasonal)
    chance, in_season = plain, np.zeros(len(everyone), dtype=np.bool_)
    if len(rows):
        own = _chances(series, grounds, base, rows, settings, window, in_season=True)
        # With too few months of earlier years both must agree, as either may be off by chance.
        holds = base.alone[rows] | (own > plain[rows])
        chance[rows] = np.where(holds, own, plain[rows])
        in_season[rows] = holds
    before = np.where(in_season[:, None], base.alike, base.whole)
    worth = np.where(in_season[:, None], grounds.worth, 1.0)
    asked = slice(max(base.start, 0), None)
    return Compared(
        window=window,
        since=series.counts[:, asked].sum(axis=1),
        since_exposure=(series.exposure * worth)[:, asked].sum(axis=1),
        before=np.where(before, series.past_counts, 0.0).sum(axis=1),
        before_exposure=np.where(before, series.past_exposure * worth, 0.0).sum(axis=1),
        before_months=before,
        in_season=in_season,
        chance=np.where(base.known, chance, np.nan),
    )


def _chances(
    series: Series,
    grounds: Grounds,
    base: Baselines,
    rows: Ints,
    settings: Settings,
    window: Window,
    *,
    in_season: bool,
) -> Floats:
    """The p-value of the window of some series times its looks; 1 where it is not near an alarm.

    The exact test, averaged over how clumped the place may be. A Poisson count that is no alarm
    would be less of one the more it clumps, so that only what passes as Poisson is worked out.
    """
    both = stretches(series, grounds, base, rows, settings, in_season=in_season)
    shapes = grounds.shapes
    chance = np.ones(len(rows))
    more = np.flatnonzero(
        both.lasts
        & (both.before_days > 0)
        & (both.since * both.before_days > both.before * both.days)
    )
    share = both.days[more] / (both.days[more] + both.before_days[more])
    exact = tail(both.since[more], both.before[more], share, counted=settings.counted)
    exact = np.minimum(exact * window.looks, 1.0)
    chance[more] = exact
    close = exact <= settings.most_false
    few = more[close]
    if not len(few):
        return chance
    weights = fits(series, grounds, base, rows[few], in_season=in_season)
    clumped = np.isfinite(shapes)
    tails = clumped_tail(
        both.since[few, None],
        both.before[few, None],
        shapes[clumped] * both.clumps[few, None],
        shapes[clumped] * both.before_clumps[few, None],
        counted=settings.counted,
    )
    mixed = (tails * weights[:, clumped]).sum(axis=1) * window.looks
    unclumped = weights[:, ~clumped].sum(axis=1)
    chance[few] = np.minimum(mixed + exact[close] * unclumped, 1.0)
    return chance


def _able(one: Compared, settings: Settings) -> Bools:
    """Whether all that was caught, had it come in the window, would have been an alarm."""
    total = one.since + one.before
    days = one.since_exposure + one.before_exposure
    share = np.divide(one.since_exposure, days, out=np.ones_like(days), where=days > 0)
    able: Bools = ~np.isnan(one.chance) & (share**total * one.window.looks <= settings.most_false)
    return able


def _allows(series: Series, k: Floats) -> Floats:
    """The largest rate per 100 trap-days that the asked month's count still allows."""
    days = series.exposure[:, -1]
    read = series.exposure > 0
    mean = series.exposure.sum(axis=1) / np.maximum(read.sum(axis=1), 1)
    part = np.divide(days, mean, out=np.ones_like(days), where=days > 0)
    most = most_expected(series.counts[:, -1], k * part)
    allows: Floats = np.divide(PER * most, days, out=np.full(len(days), np.inf), where=days > 0)
    return allows


def months_of(series: Series) -> tuple[Month, ...]:
    """The months of the columns of a series, oldest first."""
    first = month_number(series.asked) - series.counts.shape[1] + 1
    return months_between(numbered(first), series.asked)


def _words(
    state: State,
    month: Month,
    count: int,
    exposure: float,
    allows: float,
    readings: int,
    compared: Comparison | None,
    settings: Settings,
) -> str:
    """What a finding says: an alarm with what it was compared, a calm what it still allows."""
    if state == "not_read":
        return "Not read this month."
    days = f"{short(exposure)} trap-{'day' if exposure == 1 else 'days'}"
    allowed = (
        f"up to {short(allows, 'up')} per 100 trap-days" if np.isfinite(allows) else "any rate"
    )
    still = f"{count or 'None'} in {days} still allows {allowed}."
    if compared is None:
        return (
            f"Not yet known: {_many(readings, 'earlier reading')}; what is usual here shows from "
            f"{settings.least_readings} readings in {settings.least_months} months. {still}"
        )
    when = f"in {_named(month)}"
    if compared.months > 1:
        first = numbered(month_number(month) - compared.months + 1)
        from_ = _named(first) if first[0] != month[0] else MONTH_NAMES[first[1] - 1]
        when = f"from {from_} to {_named(month)}"
    usual = (
        "none"
        if not compared.expected
        else f"about {short(compared.expected)}"
        if compared.expected >= HARDLY
        else "hardly any"
    )
    left = (
        f", leaving out {_many(compared.set_aside, 'month')} of a known outbreak"
        if compared.set_aside
        else ""
    )
    said = f"{_figure(compared.since, 'None')} caught {when}, where {usual} would be usual"
    season_ = " of the same season" if compared.in_season else ""
    with_ = (
        f"Compared with {_figure(compared.before, 'none')} caught in "
        f"{_many(compared.before_months, 'month')}{season_} between "
        f"{_named(compared.before_first)} and {_named(compared.before_last)}{left}."
    )
    if state == "alarm":
        return f"{said}: more than chance explains. {with_}"
    return f"{said}: no more than chance explains. {with_} {still}"


def _figure(number: int, none: str) -> str:
    return f"{number:,}" if number else none


def _many(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _named(month: Month) -> str:
    """A month as people write it: March 2026."""
    return f"{MONTH_NAMES[month[1] - 1]} {month[0]}"
