"""What a way costs month by month, and from when on a dearer start has paid for itself.

Money is ``Decimal`` in one currency, months are counted from the decision (month 0 is that day).
Nothing is discounted: a pound in five years counts as a pound today. Source: docs/algorithms/
two-ways.md.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

SHORTEST_YEARS, LONGEST_YEARS = 1, 10
CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Way:
    """One way to answer an action: money now, money each month, and how long the work lasts.

    ``life_months`` is None where nothing wears out. ``key`` comes back in the results.
    """

    key: str
    label: str
    once: Decimal
    monthly: Decimal
    life_months: int | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """One way's cost so far at the end of each month, month 0 first, and where it ends."""

    way: Way
    by_month: tuple[Decimal, ...]
    renewals: int
    once_in_all: Decimal
    monthly_in_all: Decimal
    total: Decimal
    per_year: Decimal


@dataclass(frozen=True, slots=True)
class BreakEven:
    """The way that is dearer at the start, the one that is cheaper then, and when they meet.

    ``month`` is None where the dearer start does not pay for itself within the years looked at.
    ``saved`` is what the dearer start has saved at the end; below zero it has cost more.
    """

    dearer_now: Way
    cheaper_now: Way
    month: int | None
    saved: Decimal


@dataclass(frozen=True, slots=True)
class Comparison:
    """All ways over the same years, in the order given. No break-even for fewer than two."""

    years: int
    months: int
    lines: tuple[Line, ...]
    break_even: BreakEven | None


def renewals_by(way: Way, month: int) -> int:
    """How often the work has been bought anew by the end of that month.

    Work that lasts twelve months is renewed in month 13, not in month 12: a life that ends with the
    years looked at asks for nothing within them.
    """
    if way.life_months is None or month == 0:
        return 0
    return (month - 1) // way.life_months


def cost_by(way: Way, month: int) -> Decimal:
    """What the way has cost by the end of that month; month 0 is the money paid at the start."""
    return way.once * (1 + renewals_by(way, month)) + way.monthly * month


def line_of(way: Way, years: int) -> Line:
    """The way's cost month by month over so many years.

    ``per_year`` is the simple total divided by the years, rounded half up to a cent. Raises
    ``ValueError`` for years outside 1 to 10, for money below zero and for a life below one month.
    """
    if not SHORTEST_YEARS <= years <= LONGEST_YEARS:
        raise ValueError(f"years must be {SHORTEST_YEARS} to {LONGEST_YEARS}, not {years}")
    check_way(way)
    months = years * 12
    by_month = tuple(cost_by(way, month) for month in range(months + 1))
    renewals = renewals_by(way, months)
    total = by_month[-1]
    return Line(
        way=way,
        by_month=by_month,
        renewals=renewals,
        once_in_all=way.once * (1 + renewals),
        monthly_in_all=way.monthly * months,
        total=total,
        per_year=(total / years).quantize(CENT, rounding=ROUND_HALF_UP),
    )


def break_even_month(dearer_now: Sequence[Decimal], cheaper_now: Sequence[Decimal]) -> int | None:
    """The first month from which the first line stays at or below the second to the very end.

    Both lines hold one sum a month, month 0 first, equally long. None if it ends above. Where no
    work is renewed the lines meet at most once, and this is the simple payback rounded up to whole
    months; a renewal can part them again, and only the last meeting counts.
    """
    month = None
    for candidate in range(len(dearer_now) - 1, -1, -1):
        if dearer_now[candidate] > cheaper_now[candidate]:
            break
        month = candidate
    return month


def compare(ways: Sequence[Way], *, years: int) -> Comparison:
    """Set the ways side by side over so many years.

    The break-even is that of the way dearest at the start against the way cheapest at the start;
    among equals the one given first. Raises ``ValueError`` as ``line_of`` does.
    """
    lines = tuple(line_of(way, years) for way in ways)
    return Comparison(
        years=years,
        months=years * 12,
        lines=lines,
        break_even=_break_even_of(lines) if len(lines) > 1 else None,
    )


def _break_even_of(lines: tuple[Line, ...]) -> BreakEven:
    dearer = max(lines, key=lambda line: line.way.once)
    others = [line for line in lines if line is not dearer]
    cheaper = min(others, key=lambda line: line.way.once)
    return BreakEven(
        dearer_now=dearer.way,
        cheaper_now=cheaper.way,
        month=break_even_month(dearer.by_month, cheaper.by_month),
        saved=cheaper.total - dearer.total,
    )


def check_way(way: Way) -> None:
    """Raise ``ValueError`` for money below zero and for a life below one month."""
    if way.once < 0 or way.monthly < 0:
        raise ValueError(f"{way.label} must not cost less than nothing")
    if way.life_months is not None and way.life_months < 1:
        raise ValueError(f"{way.label} must last at least a month")
