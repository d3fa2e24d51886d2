"""What checked sealing has saved so far: extra visits before the work against those after it.

Extra visits (follow-ups and call-outs) are counted against the days on record on either side. The
difference of the two rates, over the days since the work, is what was saved, in visits and, at
their mean price, in money. Limits of each rate are Garwood's (``compliance.trends.rates``); those
of their difference are put together by the method of variance estimates recovery: Zou GY, Donner A
(2008) Stat. Med. 27:1693-1702 (from memory; tests/outside/test_savings.py). A call-out and the
follow-ups it brings come in clumps, so limits are as much wider as the record's clumps say.

Money is the company's, unrounded. Docs: docs/algorithms/savings.md.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import hypot
from typing import Literal

from compliance.economics.ranges import Range
from compliance.trends.rates import limits

State = Literal["not_known", "fewer", "may_be_nothing", "more"]

YEAR = 365
MOST_BEFORE = YEAR
"""Days before the work that are looked at: a year, so that every season is in it once."""

LEAST_DAYS = 92
"""Days that each side must have: a quarter. With fewer, one quiet month would be all of it. Ours;
no source."""

SPELL_DAYS = 28
"""An extra visit that follows so soon upon another belongs to the same spell of trouble: follow-ups
come after two to four weeks. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Side:
    """Extra visits on one side of the work.

    ``days``: on record; ``spells``: how many visits each spell of trouble took; ``money``: what
    they cost together, None where some of them has no price.
    """

    days: int
    spells: tuple[int, ...] = ()
    money: Decimal | None = Decimal(0)

    def __post_init__(self) -> None:
        """Raises ``ValueError`` for days below 0, visits without days, and spells of no visit."""
        if self.days < 0 or (self.spells and not self.days) or any(one < 1 for one in self.spells):
            raise ValueError(f"visits need days on which they were made: {self}")

    @property
    def visits(self) -> int:
        return sum(self.spells)


@dataclass(frozen=True, slots=True)
class Sealing:
    """One checked sealing. ``cost``: what the work cost up to now, None where nobody has said.

    ``barred``: a sentence why the sides cannot be set against each other, such as other work.
    """

    before: Side
    after: Side
    cost: Range | None = None
    barred: str = ""


@dataclass(frozen=True, slots=True)
class Between:
    """An estimate with its 95 % limits; below 0 is what was spent rather than saved."""

    lower: float
    likely: float
    upper: float

    @property
    def state(self) -> State:
        """Whether the limits leave a doubt that it is anything at all."""
        if self.lower > 0:
            return "fewer"
        return "more" if self.upper < 0 else "may_be_nothing"

    def times(self, factor: float) -> "Between":
        """The same in another unit; ``factor`` is not below 0."""
        return Between(self.lower * factor, self.likely * factor, self.upper * factor)

    def less(self, cost: Range) -> "Between":
        """What is left after a cost: the lowest after the highest cost, and the other way round."""
        return Between(
            self.lower - float(cost.high),
            self.likely - float(cost.likely),
            self.upper - float(cost.low),
        )


@dataclass(frozen=True, slots=True)
class Saving:
    """What can be said of one sealing.

    ``yearly``: visits fewer a year; ``visits`` and ``money``: fewer, and not spent, since the work;
    ``net``: the money less the work. Each is None where it is not yet known; ``reason`` says why
    (empty where all is known), and ``not_whole_year`` that the season may have helped.
    """

    state: State
    reason: str
    yearly: Between | None = None
    visits: Between | None = None
    money: Between | None = None
    net: Between | None = None
    not_whole_year: bool = False


@dataclass(frozen=True, slots=True)
class Total:
    """Several sealings together: ``measured`` of ``sealings`` are in the money, the rest not yet.

    ``net`` is of the ``with_cost`` sealings whose cost is known as well. None where there is none.
    """

    sealings: int
    measured: int
    with_cost: int
    money: Between | None
    net: Between | None


def spells_of(days: Iterable[date]) -> tuple[int, ...]:
    """How many visits each spell of trouble took, oldest first; several may fall on one day."""
    spells: list[int] = []
    last: date | None = None
    for day in sorted(days):
        if last is not None and (day - last).days <= SPELL_DAYS:
            spells[-1] += 1
        else:
            spells.append(1)
        last = day
    return tuple(spells)


def clumps(*sides: Side) -> float:
    """Variance over mean of visits that come in spells of these sizes; 1 where each came alone.

    Spells that come one by one, of sizes drawn as those on record: mean of squares over mean, as of
    every compound Poisson count.
    """
    sizes = [one for side in sides for one in side.spells]
    return sum(one * one for one in sizes) / sum(sizes) if sizes else 1.0


def saving_of(sealing: Sealing) -> Saving:
    """What one sealing has saved, as far as the record can tell."""
    before, after = sealing.before, sealing.after
    if reason := sealing.barred or _too_short(before, after):
        return Saving("not_known", reason)
    daily = _fewer_a_day(before, after)
    visits = daily.times(after.days)
    price = _mean_price(before, after)
    money = None if price is None else visits.times(float(price))
    net = None if money is None or sealing.cost is None else money.less(sealing.cost)
    return Saving(
        state=daily.state,
        reason=_unpriced(before, after) or ("" if sealing.cost else NO_COST),
        yearly=daily.times(YEAR),
        visits=visits,
        money=money,
        net=net,
        not_whole_year=after.days < YEAR,
    )


NO_COST = "What the work cost is not on record, so it is not taken off."
NO_PRICE = "Some of the extra visits have no price in the contract, so the money is not yet known."
NO_VISIT = "There was no extra visit on either side, so there is none to save yet."


def _too_short(before: Side, after: Side) -> str:
    if before.days < LEAST_DAYS:
        return (
            f"Only {before.days} days before the work are on record; {LEAST_DAYS} are needed on "
            "either side."
        )
    if after.days < LEAST_DAYS:
        return f"Only {after.days} days have passed since the work; {LEAST_DAYS} are needed."
    return ""


def _unpriced(before: Side, after: Side) -> str:
    if before.money is None or after.money is None:
        return NO_PRICE
    return "" if before.visits + after.visits else NO_VISIT


def _mean_price(before: Side, after: Side) -> Decimal | None:
    """What an extra visit costs here; None where nobody can say."""
    if _unpriced(before, after) or before.money is None or after.money is None:
        return None
    return (before.money + after.money) / (before.visits + after.visits)


def _fewer_a_day(before: Side, after: Side) -> Between:
    """The rate before less the rate after, each with Garwood's limits."""
    counts, phi = [before.visits, after.visits], clumps(before, after)
    lower, upper = limits(counts, phi=phi)
    (early_low, late_low), (early_high, late_high) = (
        (float(side[0]) / before.days, float(side[1]) / after.days) for side in (lower, upper)
    )
    early, late = before.visits / before.days, after.visits / after.days
    likely = early - late
    return Between(
        likely - hypot(early - early_low, late_high - late),
        likely,
        likely + hypot(early_high - early, late - late_low),
    )


def total_of(sites: Sequence[Sequence[Saving]]) -> Total:
    """The sealings of several sites together, those of one site in one sequence.

    Sealings of one site may share visits: their limits are added end to end, which is too wide
    rather than too narrow. Sites have nothing to do with each other: their limits are put together
    as those of a difference are. What is not yet known is left out, and counted.
    """
    flat = [one for site in sites for one in site]
    money = [[one.money for one in site if one.money] for site in sites]
    net = [[one.net for one in site if one.net] for site in sites]
    return Total(
        sealings=len(flat),
        measured=sum(map(len, money)),
        with_cost=sum(map(len, net)),
        money=_apart([_end_to_end(some) for some in money if some]),
        net=_apart([_end_to_end(some) for some in net if some]),
    )


def _end_to_end(some: Sequence[Between]) -> Between:
    return Between(
        sum(one.lower for one in some),
        sum(one.likely for one in some),
        sum(one.upper for one in some),
    )


def _apart(some: Sequence[Between]) -> Between | None:
    if not some:
        return None
    likely = sum(one.likely for one in some)
    return Between(
        likely - hypot(*(one.likely - one.lower for one in some)),
        likely,
        likely + hypot(*(one.upper - one.likely for one in some)),
    )
