"""How long each monitor was really looking, so that a count can be read against it.

Unit: trap-days, one monitor standing and able to catch for one day. A trap that cannot catch sees
nothing, so that neither a missing trap nor a sprung one may pass for a clean one.

Source of the half: Nelson L, Clark FW (1973) Correction for sprung traps in catch/effort
calculations of trapping results, J. Mammal. 54:295-298: a trap that was sprung, by whatever, is
taken to have stopped half-way between two looks. The paper was not seen; its equation 2 stands in
published analysis code, and two field studies state the rule in words.
Docs: docs/algorithms/rates-and-effects.md (Exposure).
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Condition = Literal["sound", "damaged", "missing", "blocked", "full"]
Month = tuple[int, int]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Names = NDArray[np.str_] | NDArray[np.int64]

CONDITIONS: tuple[Condition, ...] = ("sound", "damaged", "missing", "blocked", "full")
"""As a reading knows them; their place in this order is their number in arrays."""

NOT_SEEN: frozenset[Condition] = frozenset({"missing", "blocked"})
"""Nobody could count, so that there is no count, not a count of none."""

STOPS_WHEN_SPRUNG = frozenset({"snap_trap"})
"""Kinds of monitors that catch once and then stand idle until somebody sets them again. A live
trap is taken to go on catching, as most take several: common practice, no source."""

HALF = 0.5
"""The share of its days that a trap was looking that stopped on an unknown day (Nelson & Clark)."""


@dataclass(frozen=True, slots=True)
class ReadingFacts:
    """What was written down of one pest at one reading of one monitor.

    A reading gives one of these for each pest that its monitor watches for, 0 included. Names are
    whatever tells things apart (ids, slugs); a zone belongs to one site. ``stood_days``: whole
    days since the reading before, None where that is not known.
    """

    monitor: str
    zone: str
    site: str
    kind: str
    pest: str
    read_on: date
    stood_days: int | None
    condition: Condition
    count: int


@dataclass(frozen=True, slots=True)
class Exposed:
    """One count with the trap-days that it was gathered in.

    Without exposure (0.0) there is no count either, whatever was written down. ``censored``: the
    trap was full, so that the count is the least there can have been. ``why`` is a sentence where
    the exposure is not simply the days it stood, and empty where it is.
    """

    monitor: str
    zone: str
    site: str
    pest: str
    read_on: date
    count: int
    exposure: float
    censored: bool
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Counts with exposure, one place in every array for each; readings without any are left out.

    The indices point into ``monitors``, ``zones``, ``pests`` and ``months``, which are sorted;
    ``months`` has no gap. ``site_of_zone`` has one place for each zone and points into ``sites``.
    A reading belongs to the month it was read in, whole, even where its days began in another.
    """

    monitor_index: Ints
    zone_index: Ints
    pest_index: Ints
    month_index: Ints
    count: Ints
    exposure: Floats
    censored: Bools
    monitors: tuple[str, ...]
    zones: tuple[str, ...]
    pests: tuple[str, ...]
    months: tuple[Month, ...]
    sites: tuple[str, ...]
    site_of_zone: Ints

    def __len__(self) -> int:
        """How many counts."""
        return len(self.count)

    @property
    def site_index(self) -> Ints:
        """For each count the site of its zone, as an index into ``sites``."""
        return self.site_of_zone[self.zone_index]


def floats(values: ArrayLike) -> Floats:
    """Numbers as an array of floats, which is what sums are done with."""
    return np.asarray(values, dtype=np.float64)


def share_of_days(condition: Condition, *, sprung: bool) -> float:
    """Which part of the days it stood a monitor was able to catch, from 0 to 1.

    ``sprung``: it is of a kind that stops when sprung, and caught something of whatever pest. A
    full trap of another kind keeps its days: count and rate are the least there can have been.
    """
    if condition in NOT_SEEN:
        return 0.0
    if condition == "damaged" or sprung:
        return HALF
    return 1.0


def exposed(readings: Sequence[ReadingFacts]) -> tuple[Exposed, ...]:
    """Each count with its trap-days, in the order given.

    A trap that stops when sprung was sprung by any pest for all pests, so that the readings of a
    monitor must come together: all pests of it, in one call. Raises ``ValueError`` for a count or
    a number of days below 0.
    """
    caught: Counter[tuple[str, date]] = Counter()
    for one in readings:
        if one.count < 0 or (one.stood_days is not None and one.stood_days < 0):
            raise ValueError(f"neither a count nor days can be below 0: {one}")
        caught[one.monitor, one.read_on] += one.count
    return tuple(_exposed(one, caught[one.monitor, one.read_on] > 0) for one in readings)


def exposures(
    stood_days: Ints, condition: Ints, sprung: Bools, count: Ints
) -> tuple[Ints, Floats, Bools]:
    """The same for whole arrays: the counts that stand, their trap-days, and which are censored.

    All arrays have one place for each count. ``stood_days`` is below 0 where it is not known,
    ``condition`` a place in ``CONDITIONS``, ``sprung`` as in ``share_of_days``.
    """
    shares = np.array(
        [[share_of_days(one, sprung=sprung) for sprung in (False, True)] for one in CONDITIONS]
    )
    days = np.maximum(stood_days, 0) * shares[condition, sprung.astype(np.int64)]
    seen = days > 0
    full = seen & (condition == CONDITIONS.index("full"))
    return np.where(seen, count, 0), days, full


def columns_of(
    facts: Iterable[Exposed], *, first: Month | None = None, last: Month | None = None
) -> Columns:
    """Counts as arrays, in the order given.

    ``first`` and ``last`` say which months to have at least, where there may be none with a
    reading. Raises ``ValueError`` if a zone is said to belong to two sites.
    """
    rows = list(facts)
    return columns_from(
        monitor=np.array([one.monitor for one in rows]),
        zone=np.array([one.zone for one in rows]),
        site=np.array([one.site for one in rows]),
        pest=np.array([one.pest for one in rows]),
        month=np.array([month_number(month_of(one.read_on)) for one in rows], dtype=np.int64),
        count=np.array([one.count for one in rows], dtype=np.int64),
        exposure=floats([one.exposure for one in rows]),
        censored=np.array([one.censored for one in rows], dtype=np.bool_),
        first=first,
        last=last,
    )


def columns_from(
    *,
    monitor: Names,
    zone: Names,
    site: Names,
    pest: Names,
    month: Ints,
    count: Ints,
    exposure: Floats,
    censored: Bools,
    first: Month | None = None,
    last: Month | None = None,
) -> Columns:
    """The same from arrays as a database gives them, without an object for each count.

    Names may be numbers or texts; they are sorted as such, and texts afterwards. ``month`` is a
    ``month_number``; ``count``, ``exposure`` and ``censored`` are what ``exposures`` answers.
    """
    seen = exposure > 0
    monitors, monitor_index = np.unique(monitor[seen], return_inverse=True)
    zones, zone_from, zone_index = np.unique(zone[seen], return_index=True, return_inverse=True)
    pests, pest_index = np.unique(pest[seen], return_inverse=True)
    sites, site_index = np.unique(site[seen], return_inverse=True)
    site_of_zone = site_index[zone_from]
    wrong = np.flatnonzero(site_of_zone[zone_index] != site_index)
    if wrong.size:
        place = wrong[0]
        named = zones[zone_index[place]]
        both = sites[site_of_zone[zone_index[place]]], sites[site_index[place]]
        raise ValueError(f"zone {named} cannot belong to {both[0]} and {both[1]}")
    asked = [month_number(one) for one in (first, last) if one is not None]
    ends = np.append(month[seen], asked).astype(np.int64)
    span = range(ends.min(), ends.max() + 1) if ends.size else range(0)
    return Columns(
        monitor_index=monitor_index,
        zone_index=zone_index,
        pest_index=pest_index,
        month_index=month[seen] - span.start,
        count=count[seen],
        exposure=exposure[seen],
        censored=censored[seen],
        monitors=tuple(str(one) for one in monitors),
        zones=tuple(str(one) for one in zones),
        pests=tuple(str(one) for one in pests),
        months=tuple(numbered(number) for number in span),
        sites=tuple(str(one) for one in sites),
        site_of_zone=site_of_zone,
    )


def month_of(day: date) -> Month:
    """The month that a day lies in."""
    return (day.year, day.month)


def month_number(month: Month) -> int:
    """Months since the year 0, so that months can be subtracted."""
    return month[0] * 12 + month[1] - 1


def numbered(number: int) -> Month:
    """The month of a ``month_number``."""
    return (number // 12, number % 12 + 1)


def months_between(first: Month, last: Month) -> tuple[Month, ...]:
    """Every month from the first to the last, both included; none if the last lies before."""
    return tuple(numbered(number) for number in range(month_number(first), month_number(last) + 1))


def _exposed(one: ReadingFacts, caught: bool) -> Exposed:
    sprung = caught and one.kind in STOPS_WHEN_SPRUNG
    exposure = (one.stood_days or 0) * share_of_days(one.condition, sprung=sprung)
    return Exposed(
        monitor=one.monitor,
        zone=one.zone,
        site=one.site,
        pest=one.pest,
        read_on=one.read_on,
        count=one.count if exposure else 0,
        exposure=exposure,
        censored=bool(exposure) and one.condition == "full",
        why=_why(one, sprung),
    )


def _why(one: ReadingFacts, sprung: bool) -> str:
    if one.condition == "missing":
        return "The trap was missing, so that nothing is known of these days."
    if one.condition == "blocked":
        return "The trap could not be reached, so that nothing is known of these days."
    if one.stood_days is None:
        return "It is not known how long the trap had stood."
    if one.stood_days == 0:
        return "The trap had not stood for a day."
    sentences = []
    if one.condition == "damaged":
        sentences.append("The trap was damaged on an unknown day, so that half of its days count.")
    elif sprung:
        sentences.append("The trap was sprung on an unknown day, so that half of its days count.")
    if one.condition == "full":
        sentences.append("The trap was full, so that there may have been more.")
    return " ".join(sentences)
