"""Amounts as people read them. The only place where anything is rounded to be shown.

Three significant figures, as a scale or a measuring jug has no more; trailing zeros and fractions
are never shown. What a label allows at most is rounded down and its least up: a figure rounded to
the nearest could itself be over the label, and whoever measured it out would be told so.
"""

from fractions import Fraction
from typing import Literal, get_args

from visits.dosing.units import UNIT_WORDS, Quantity

Way = Literal["nearest", "down", "up"]

FIGURES = 3
TYPED_FIGURES = 9
"""What was typed, or stands on a label, is shown again as it was, up to so many figures."""

_METRIC = (("mg", "g", "kg"), ("ml", "l"))
_SMALLER = {"lb": "oz", "us_gal": "us_fl_oz", "imp_gal": "imp_fl_oz"}


def rounded(amount: Fraction, *, figures: int = FIGURES, way: Way = "nearest") -> Fraction:
    """An amount to so many significant figures; ``down`` and ``up`` are towards and from zero.

    A half goes up. Raises ``ValueError`` for fewer than one figure, and for another way.
    """
    if figures < 1:
        raise ValueError(f"{figures} significant figures are none")
    if way not in get_args(Way):
        raise ValueError(f"{way} is no way to round")
    if amount < 0:
        return -rounded(-amount, figures=figures, way=way)
    if not amount:
        return amount
    step = Fraction(10) ** (_exponent(amount) - figures + 1)
    steps, rest = divmod(amount, step)
    if rest and (way == "up" or (way == "nearest" and 2 * rest >= step)):
        steps += 1
    return steps * step


def figure(amount: Fraction, *, figures: int = FIGURES, way: Way = "nearest") -> str:
    """12.5, 0.0625, 12300: a number in digits, without trailing zeros."""
    value = rounded(amount, figures=figures, way=way)
    places = 0
    while (abs(value) * 10**places).denominator > 1:
        places += 1
    digits = str(int(abs(value) * 10**places)).zfill(places + 1)
    text = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    return f"−{text}" if value < 0 else text


def readable(quantity: Quantity) -> Quantity:
    """The same amount in the unit in which it is easiest to measure: 9 mg, not 0.009 g.

    A metric amount may become smaller or larger, a US or imperial one only smaller, since 20 fluid
    ounces are measured and 0.156 gallons are not.
    """
    for ladder in _METRIC:
        if quantity.unit in ladder:
            for unit in reversed(ladder[1:]):
                if abs(quantity.to(unit).amount) >= 1:
                    return quantity.to(unit)
            return quantity.to(ladder[0] if quantity.amount else quantity.unit)
    if quantity.unit in _SMALLER and 0 < abs(quantity.amount) < 1:
        return quantity.to(_SMALLER[quantity.unit])
    return quantity


def shown(quantity: Quantity, *, figures: int = FIGURES, way: Way = "nearest") -> str:
    """25 ml, 1.5 g, 6.4 oz (weight); points are counted and never rounded."""
    if quantity.unit == "points":
        return f"{as_typed(quantity.amount)} {'point' if quantity.amount == 1 else 'points'}"
    best = readable(quantity)
    return f"{figure(best.amount, figures=figures, way=way)} {UNIT_WORDS[best.unit]}"


def shown_most(quantity: Quantity) -> str:
    """The most that a label allows: measured out as shown, it is never over."""
    return shown(quantity, way="down")


def shown_least(quantity: Quantity) -> str:
    """The least that a label asks for: measured out as shown, it is never under."""
    return shown(quantity, way="up")


def shown_range(least: Quantity | None, most: Quantity) -> str:
    """“20 ml to 25 ml”, or the most alone where there is no other least.

    Takes as many figures as it needs for the least to stay below the most.
    """
    if least is None or least.to(most.unit).amount >= most.amount:
        return shown_most(most)
    figures = FIGURES
    while _meet(least, most, figures):
        figures += 1
    low = shown(least, figures=figures, way="up")
    return f"{low} to {shown(most, figures=figures, way='down')}"


def measured_out(most: Quantity) -> Quantity:
    """The amount that ``shown_most`` says, as an amount: what a technician would then record."""
    best = readable(most)
    return Quantity(rounded(best.amount, way="down"), best.unit)


def shown_share(share: Fraction) -> str:
    """“96 %”, “100.4 %”: a share of the label's most. Only the whole itself is shown as 100 %."""
    figures = FIGURES
    while share != 1 and rounded(share, figures=figures) == 1:
        figures += 1
    return f"{figure(share * 100, figures=figures)} %"


def as_typed(amount: Fraction) -> str:
    """A figure of a label or of a person: with all its digits."""
    return figure(amount, figures=TYPED_FIGURES)


def typed_quantity(quantity: Quantity) -> str:
    """“1 us_gal” in words, with all the digits that it has and in its own unit."""
    if quantity.unit == "points":
        return shown(quantity)
    return f"{as_typed(quantity.amount)} {UNIT_WORDS[quantity.unit]}"


def _exponent(size: Fraction) -> int:
    """The power of ten of its first figure: 0 for 1 to 9.99, -2 for 0.0625; ``size`` above zero."""
    places = len(str(size.denominator))
    return len(str(size.numerator * 10**places // size.denominator)) - 1 - places


def _meet(least: Quantity, most: Quantity, figures: int) -> bool:
    low = rounded(readable(least).amount, figures=figures, way="up")
    high = rounded(readable(most).amount, figures=figures, way="down")
    return Quantity(low, readable(least).unit).to(most.unit).amount >= (
        Quantity(high, readable(most).unit).to(most.unit).amount
    )
