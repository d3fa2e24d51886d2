"""How the price of a piece of work comes about: so much of each remedy, its labour, and visits.

Money is ``Decimal`` in one currency; what each line costs is rounded half up to a cent, and the
total is the plain sum of the lines, so that anybody can add them up. Source:
docs/algorithms/two-ways.md (What the work costs).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from compliance.economics.costs import CENT
from compliance.economics.flows import NIL, ONE
from compliance.economics.ranges import Range, exactly

MINUTES_IN_AN_HOUR = 60


@dataclass(frozen=True, slots=True)
class WorkLine:
    """So much of one remedy: ``quantity`` in its unit, ``price`` and ``minutes`` of labour for one.

    ``key`` comes back in the results.
    """

    key: str
    quantity: Range
    price: Range
    minutes: Decimal = NIL


@dataclass(frozen=True, slots=True)
class LineCost:
    """What one line costs, in whole cents: the remedy itself, the labour, and both together."""

    line: WorkLine
    material: Range
    labour: Range
    total: Range


@dataclass(frozen=True, slots=True)
class Working:
    """The lines in the order given, what the visits for the work cost, and all of it together."""

    lines: tuple[LineCost, ...]
    visits: Decimal
    total: Range


def work_out(
    lines: Sequence[WorkLine],
    *,
    hour: Range | None = None,
    visits: int = 0,
    visit_price: Decimal = NIL,
) -> Working:
    """What the work costs at its lowest, likely and highest.

    ``hour`` is the price of an hour of labour, ``visits`` how many attendances are charged for at
    ``visit_price`` each. The lowest is that of every line at once, and so is the highest. Raises
    ``ValueError`` without lines, for anything below nothing, and for labour without its price.
    """
    if not lines:
        raise ValueError("there is no work to price")
    if visits < 0 or visit_price < 0:
        raise ValueError("visits must not cost less than nothing")
    costs = tuple(_cost_of(line, hour) for line in lines)
    attended = _to_cents(visits * visit_price)
    return Working(costs, attended, _sum([*(one.total for one in costs), exactly(attended)]))


def _cost_of(line: WorkLine, hour: Range | None) -> LineCost:
    if line.quantity.low < 0 or line.price.low < 0 or line.minutes < 0:
        raise ValueError(f"{line.key} must not cost less than nothing")
    if hour is None and line.minutes:
        raise ValueError(f"{line.key} takes labour, which has no price")
    if hour is not None and hour.low < 0:
        raise ValueError("labour must not cost less than nothing")
    material = _product(line.quantity, line.price)
    labour = _product(line.quantity, hour or exactly(NIL), line.minutes, MINUTES_IN_AN_HOUR)
    return LineCost(line, material, labour, _sum([material, labour]))


def _product(quantity: Range, price: Range, times: Decimal = ONE, over: int = 1) -> Range:
    """Divided last: a third of an hour has no end as a decimal."""
    return Range(
        _to_cents(quantity.low * price.low * times / over),
        _to_cents(quantity.likely * price.likely * times / over),
        _to_cents(quantity.high * price.high * times / over),
    )


def _sum(ranges: Iterable[Range]) -> Range:
    low = likely = high = NIL
    for one in ranges:
        low, likely, high = low + one.low, likely + one.likely, high + one.high
    return Range(low, likely, high)


def _to_cents(money: Decimal) -> Decimal:
    return money.quantize(CENT, rounding=ROUND_HALF_UP)
