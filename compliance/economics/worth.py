"""What each way costs in today's money, and which is cheapest.

Month 0 is the day of the decision. Money each month is paid at its end; work that lasts *L* months
is bought anew at the start of months *L* + 1, 2*L* + 1 and so on. Prices rise once a year, on the
anniversary. What is paid at the end of month *m* is divided by (1 + yearly rate) to the power
*m* / 12. Money is ``Decimal`` and is not rounded here. Source: docs/algorithms/two-ways.md.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal, localcontext
from itertools import accumulate

from compliance.economics.costs import (
    CENT,
    LONGEST_YEARS,
    SHORTEST_YEARS,
    BreakEven,
    Comparison,
    Line,
    Way,
    break_even_month,
    check_way,
    renewals_by,
)
from compliance.economics.flows import NIL, ONE, PRECISION, equivalent, require_rate

ALIKE = Decimal("0.005")
"""Present costs closer together than half a cent are told as equal."""


@dataclass(frozen=True, slots=True)
class Terms:
    """Under what the ways are weighed: years (1 to 10), and yearly fractions (0.06 is 6 %)."""

    years: int
    yearly_rate: Decimal = NIL
    yearly_growth: Decimal = NIL

    @property
    def months(self) -> int:
        """The years in months."""
        return self.years * 12


@dataclass(frozen=True, slots=True)
class Worth:
    """One way under the terms.

    ``by_month`` is what has been spent by the end of each month, month 0 first, at the prices of
    the day, ``once_in_all`` the part of the total that renewals and the first work make;
    ``present_by_month`` is the same in today's money. ``yearly`` is the sum at the end of
    each year that is worth as much as ``present``. ``per_year_of_life`` is what the work alone, its
    once, costs for each year that it lasts, likewise; None where nothing wears out.
    """

    way: Way
    by_month: tuple[Decimal, ...]
    present_by_month: tuple[Decimal, ...]
    total: Decimal
    once_in_all: Decimal
    present: Decimal
    yearly: Decimal
    renewals: int
    per_year_of_life: Decimal | None


@dataclass(frozen=True, slots=True)
class Payback:
    """When the way that is dearest at the start has paid for itself against the cheapest then.

    ``month`` counts money as it is spent, ``discounted_month`` in today's money: the first month
    from which the dearer start stays at or below the other to the end; None where it does not.
    ``saved`` and ``present_saved`` are what it has saved by the end; below zero it has cost more.
    """

    dearer_now: Way
    cheaper_now: Way
    month: int | None
    discounted_month: int | None
    saved: Decimal
    present_saved: Decimal


@dataclass(frozen=True, slots=True)
class Weighed:
    """All ways under the same terms, in the order given. ``cheapest`` names every way that costs
    least in today's money, several where they tie."""

    terms: Terms
    worths: tuple[Worth, ...]
    cheapest: tuple[str, ...]
    payback: Payback | None


def weigh(ways: Sequence[Way], terms: Terms) -> Weighed:
    """Weigh the ways. No payback for fewer than two.

    Raises ``ValueError`` for no way, two ways of one key, money below zero, a life below one month,
    years outside 1 to 10, and rates of -1 or below.
    """
    require_ways(ways)
    worths = tuple(worth_of(way, terms) for way in ways)
    return Weighed(
        terms=terms,
        worths=worths,
        cheapest=least({one.way.key: one.present for one in worths}),
        payback=_payback_of(worths) if len(worths) > 1 else None,
    )


def worth_of(way: Way, terms: Terms) -> Worth:
    """One way under the terms. Raises ``ValueError`` as ``weigh`` does."""
    require_terms(terms)
    check_way(way)
    with localcontext(prec=PRECISION):
        spent = [NIL] * (terms.months + 1)
        worth = [NIL] * (terms.months + 1)
        for month, paid, share in _payments(way, terms):
            spent[month] += paid
            worth[month] += paid * share
        monthly = [paid for _, paid, _ in _payments(replace(way, once=NIL), terms)]
        by_month, present_by_month = tuple(accumulate(spent)), tuple(accumulate(worth))
        return Worth(
            way=way,
            by_month=by_month,
            present_by_month=present_by_month,
            total=by_month[-1],
            once_in_all=by_month[-1] - sum(monthly, NIL),
            present=present_by_month[-1],
            yearly=equivalent(present_by_month[-1], terms.yearly_rate, terms.years),
            renewals=renewals_by(way, terms.months),
            per_year_of_life=_per_year_of_life(way, terms.yearly_rate),
        )


def factors(life_months: int | None, terms: Terms) -> tuple[Decimal, Decimal]:
    """What one unit now (and each renewal), and one unit each month, are worth today.

    A way's present cost is the first times its once plus the second times its monthly money.
    """
    once = present_of(Way("", "", ONE, NIL, life_months), terms)
    return once, present_of(Way("", "", NIL, ONE), terms)


def present_of(way: Way, terms: Terms) -> Decimal:
    """The present cost alone."""
    with localcontext(prec=PRECISION):
        return sum((paid * share for _, paid, share in _payments(way, terms)), NIL)


def as_spent(weighed: Weighed) -> Comparison:
    """The same as money is spent, as the drawing and the tables take it."""
    back = weighed.payback
    return _comparison(
        weighed,
        [_line(one, one.by_month, _per_year(one.total, weighed.terms)) for one in weighed.worths],
        BreakEven(back.dearer_now, back.cheaper_now, back.month, back.saved) if back else None,
    )


def in_todays_money(weighed: Weighed) -> Comparison:
    """The same in today's money; ``per_year`` is the equivalent yearly cost."""
    back = weighed.payback
    return _comparison(
        weighed,
        [
            _line(one, one.present_by_month, one.yearly.quantize(CENT, rounding=ROUND_HALF_UP))
            for one in weighed.worths
        ],
        BreakEven(back.dearer_now, back.cheaper_now, back.discounted_month, back.present_saved)
        if back
        else None,
    )


def _comparison(weighed: Weighed, lines: list[Line], meeting: BreakEven | None) -> Comparison:
    return Comparison(weighed.terms.years, weighed.terms.months, tuple(lines), meeting)


def _line(worth: Worth, by_month: tuple[Decimal, ...], per_year: Decimal) -> Line:
    return Line(
        way=worth.way,
        by_month=by_month,
        renewals=worth.renewals,
        once_in_all=worth.once_in_all,
        monthly_in_all=worth.total - worth.once_in_all,
        total=by_month[-1],
        per_year=per_year,
    )


def _per_year(total: Decimal, terms: Terms) -> Decimal:
    return (total / terms.years).quantize(CENT, rounding=ROUND_HALF_UP)


def least(presents: dict[str, Decimal]) -> tuple[str, ...]:
    """The keys of the lowest present costs, those included that are equal to within half a cent."""
    lowest = min(presents.values())
    return tuple(key for key, present in presents.items() if present - lowest < ALIKE)


def require_ways(ways: Sequence[Way]) -> None:
    """Raise ``ValueError`` where there is no way, or one key stands for two."""
    if not ways:
        raise ValueError("there is no way to weigh")
    if len({way.key for way in ways}) < len(ways):
        raise ValueError("each way needs a key of its own")


def require_terms(terms: Terms) -> None:
    """Raise ``ValueError`` for terms under which nothing can be weighed."""
    if not SHORTEST_YEARS <= terms.years <= LONGEST_YEARS:
        raise ValueError(f"years must be {SHORTEST_YEARS} to {LONGEST_YEARS}, not {terms.years}")
    require_rate(terms.yearly_rate)
    require_rate(terms.yearly_growth)


def _payments(way: Way, terms: Terms) -> Iterator[tuple[int, Decimal, Decimal]]:
    """Each payment: by the end of which month it is spent, how much, what a unit is worth today.

    Two come for a month with a renewal: that is spent at its start, so it is worth a month more.
    """
    growth = [(1 + terms.yearly_growth) ** year for year in range(terms.years)]
    monthly_share = (1 + terms.yearly_rate) ** (-ONE / 12)
    share = ONE
    yield 0, way.once, share
    for month in range(1, terms.months + 1):
        price = growth[(month - 1) // 12]
        if way.life_months and month > 1 and (month - 1) % way.life_months == 0:
            yield month, way.once * price, share
        share *= monthly_share
        yield month, way.monthly * price, share


def _per_year_of_life(way: Way, rate: Decimal) -> Decimal | None:
    """The once as an equal sum at the end of each year of its life, parts of a year included."""
    if way.life_months is None:
        return None
    years = Decimal(way.life_months) / 12
    if rate == 0:
        return way.once / years
    return way.once * rate / (1 - (1 + rate) ** -years)


def _payback_of(worths: tuple[Worth, ...]) -> Payback:
    """Among equally dear starts the better one is meant, so that their order says nothing."""
    dearer = min(worths, key=lambda one: (-one.way.once, one.present, one.way.key))
    cheaper = min(
        (one for one in worths if one is not dearer),
        key=lambda one: (one.way.once, one.present, one.way.key),
    )
    return Payback(
        dearer_now=dearer.way,
        cheaper_now=cheaper.way,
        month=break_even_month(dearer.by_month, cheaper.by_month),
        discounted_month=break_even_month(dearer.present_by_month, cheaper.present_by_month),
        saved=cheaper.total - dearer.total,
        present_saved=cheaper.present - dearer.present,
    )
