"""Money at different times, brought to one day: present value, annuities, equivalents, payback.

Flows are one sum a period, the first of them today (period 0) and never discounted; the flow of
period *t* is divided by (1 + rate) to the power *t*. Rates are fractions for one period and lie
above -1. Money is ``Decimal`` and is not rounded here. Source: docs/algorithms/two-ways.md.
"""

from collections.abc import Sequence
from decimal import Decimal, localcontext

PRECISION = 34
ONE, NIL = Decimal(1), Decimal(0)


def present_value(flows: Sequence[Decimal], rate: Decimal) -> Decimal:
    """What flows are worth today. Raises ``ValueError`` for a rate of -1 or below."""
    require_rate(rate)
    with localcontext(prec=PRECISION):
        return sum((flow / (1 + rate) ** at for at, flow in enumerate(flows)), NIL)


def annuity_factor(rate: Decimal, periods: int) -> Decimal:
    """What one unit at the end of each period is worth today; at no interest that is their number.

    Raises ``ValueError`` for a rate of -1 or below and for fewer than one period.
    """
    require_rate(rate)
    if periods < 1:
        raise ValueError("an annuity runs for at least one period")
    if rate == 0:
        return Decimal(periods)
    with localcontext(prec=PRECISION):
        return (1 - (1 + rate) ** -periods) / rate


def equivalent(present: Decimal, rate: Decimal, periods: int) -> Decimal:
    """The same sum at the end of each period that is worth as much. Raises as the factor does."""
    with localcontext(prec=PRECISION):
        return present / annuity_factor(rate, periods)


def payback(flows: Sequence[Decimal], rate: Decimal = NIL) -> Decimal | None:
    """After how many periods an outlay has come back, parts of a period in proportion.

    None where it does not, or where it is spent again by the end. Raises ``ValueError`` for a rate
    of -1 or below and without flows.
    """
    require_rate(rate)
    if not flows:
        raise ValueError("there are no flows")
    with localcontext(prec=PRECISION):
        so_far, held = [], NIL
        for at, flow in enumerate(flows):
            held += flow / (1 + rate) ** at
            so_far.append(held)
        if held < 0:
            return None
        last_behind = max((at for at, sum_ in enumerate(so_far) if sum_ < 0), default=None)
        if last_behind is None:
            return NIL
        gained = so_far[last_behind + 1] - so_far[last_behind]
        return last_behind - so_far[last_behind] / gained


def per_month(yearly: Decimal) -> Decimal:
    """The monthly rate that makes the yearly one within twelve months (the effective rate)."""
    require_rate(yearly)
    with localcontext(prec=PRECISION):
        return (1 + yearly) ** (ONE / 12) - 1


def require_rate(rate: Decimal) -> None:
    """Raise ``ValueError`` for a rate at which money is worth nothing or less after a period."""
    if rate <= -1:
        raise ValueError(f"a rate must be above -100 %, not {rate:%}")
