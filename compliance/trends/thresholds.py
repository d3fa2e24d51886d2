"""Action thresholds: what a site, a zone or a contract has agreed to act upon.

A threshold asks whether there is too much, an alarm (``judge``) whether there is more than usual.
One mouse in a clean bakery is no surprise to statistics and a breach to the contract; forty midges
where forty are usual are neither. So the two are kept apart and each says which it is.

Counts are individuals, rates per 100 trap-days. Numbers are the client's, the standard's or the
technician's to choose; ``CUSTOMARY`` are common practice, no source. Docs:
docs/algorithms/trends.md (Thresholds).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from compliance.trends.rates import PER, short
from visits.dosing.vocabulary import FOOD_ZONES

Per = Literal["reading", "zone_month"]

FINEST = 9
"""Digits after the point to which a rate is compared, so that 7 in 10 000 reaches 0.07."""

EVERYWHERE = ""


@dataclass(frozen=True, slots=True)
class Threshold:
    """From how much on something must be done.

    ``per`` reading: ``least`` individuals in one monitor at one reading; ``per`` zone_month: a rate
    of ``least`` per 100 trap-days over all readings of a zone in a month. Either is asked of each
    pest by itself: three mice and two rats are no five rodents. Empty sets hold for all: ``pests``
    and ``groups`` of pests (either is enough, both empty means any pest), ``sites``, ``zones``,
    ``zone_kinds``. It holds from ``begins_on`` until the day before ``ended_on``, for ever where
    they are None. ``agreed_in`` says where it was agreed, for people; ``key`` is what the caller
    knows it by.
    """

    name: str
    per: Per
    least: float
    pests: frozenset[str] = frozenset()
    groups: frozenset[str] = frozenset()
    sites: frozenset[str] = frozenset()
    zones: frozenset[str] = frozenset()
    zone_kinds: frozenset[str] = frozenset()
    agreed_in: str = ""
    begins_on: date | None = None
    ended_on: date | None = None
    key: str = ""

    def __post_init__(self) -> None:
        """A threshold of nothing would be breached by every clean trap."""
        if self.least <= 0:
            raise ValueError("a threshold is above 0")

    def held_on(self, day: date) -> bool:
        """Whether it held on that day."""
        return (self.begins_on is None or self.begins_on <= day) and (
            self.ended_on is None or day < self.ended_on
        )


FOOD_ROOMS = FOOD_ZONES
"""Kinds of zones in which food is stored, made or eaten: the same that treatments beware of, so
that a cellar and tables outdoors are food rooms on every page. Common practice, no source."""

CUSTOMARY: tuple[Threshold, ...] = (
    Threshold("Any rodent", "reading", 1, groups=frozenset({"rodent"})),
    Threshold(
        "Any German cockroach in a food room",
        "reading",
        1,
        pests=frozenset({"german-cockroach"}),
        zone_kinds=FOOD_ROOMS,
    ),
)
"""To start from: common practice, no source. A contract may set others."""


@dataclass(frozen=True, slots=True)
class Caught:
    """What was caught of one pest: at one reading of a monitor, or (no monitor) in a zone's month.

    ``on`` is the day of the reading, or the first day of the month. ``exposure`` in trap-days; a
    reading counts without any too, since an animal that is there is there. ``at_least``: a trap was
    full, so that there may have been more.
    """

    site: str
    zone: str
    monitor: str
    pest: str
    on: date
    count: int
    exposure: float
    at_least: bool = False

    @property
    def per(self) -> Per:
        return "reading" if self.monitor else "zone_month"


@dataclass(frozen=True, slots=True)
class Breach:
    """A threshold that was reached, and by what."""

    threshold: Threshold
    caught: Caught

    @property
    def words(self) -> str:
        """What was reached, and that it is a threshold, not an alarm."""
        threshold, caught = self.threshold, self.caught
        least = "at least " if caught.at_least else ""
        if threshold.per == "reading":
            reached = f"{least}{caught.count} at one reading; to act from {threshold.least:g}"
        else:
            rate = short(PER * caught.count / caught.exposure)
            reached = (
                f"{least}{rate} per 100 trap-days ({caught.count} in {short(caught.exposure)}); "
                f"to act from {threshold.least:g}"
            )
        agreed = f", as agreed in {threshold.agreed_in}" if threshold.agreed_in else ""
        return f"Action threshold reached, {threshold.name}: {reached}{agreed}."


def breaches(
    caught: Iterable[Caught],
    thresholds: Sequence[Threshold] = CUSTOMARY,
    *,
    group_of_pest: Mapping[str, str] | None = None,
    kind_of_zone: Mapping[str, str] | None = None,
) -> tuple[Breach, ...]:
    """Every breach, in the order of what was caught, then of the thresholds.

    A month is asked of the thresholds that held on its first day. A threshold for kinds of zones,
    or groups of pests, does not meet one whose kind or group nobody gave. Each count is held
    against the thresholds of its own site and of all sites only.
    """
    groups, kinds = group_of_pest or {}, kind_of_zone or {}
    by_site: dict[str, list[int]] = defaultdict(list)
    for place, threshold in enumerate(thresholds):
        for site in threshold.sites or {EVERYWHERE}:
            by_site[site].append(place)
    return tuple(
        Breach(thresholds[place], one)
        for one in caught
        for place in sorted([*by_site.get(EVERYWHERE, ()), *by_site.get(one.site, ())])
        if _holds(thresholds[place], one, groups, kinds) and _reached(thresholds[place], one)
    )


def _holds(
    threshold: Threshold, one: Caught, groups: Mapping[str, str], kinds: Mapping[str, str]
) -> bool:
    any_pest = not threshold.pests and not threshold.groups
    return (
        threshold.per == one.per
        and threshold.held_on(one.on)
        and (any_pest or one.pest in threshold.pests or groups.get(one.pest) in threshold.groups)
        and (not threshold.zones or one.zone in threshold.zones)
        and (not threshold.zone_kinds or kinds.get(one.zone) in threshold.zone_kinds)
    )


def _reached(threshold: Threshold, one: Caught) -> bool:
    if one.per == "reading":
        return one.count >= threshold.least
    if not one.exposure:
        return False
    return PER * one.count >= round(threshold.least * one.exposure, FINEST)
