"""What a label still allows in one place: how often, how soon, and how much.

Days are dates in the site's own zone. A year is any 365 days that end with the day asked about,
which is stricter than a calendar year: four in December and four in January are eight in a year.
What was applied after the day asked about counts for that later day, not for this one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from visits.dosing.days import day_words
from visits.dosing.label import Label
from visits.dosing.units import DosingError, Quantity, UnitError, through_density

YEAR = timedelta(days=365)


class AllowanceError(DosingError):
    """``field`` is ``unit``: amounts that cannot be added without the product's density."""


@dataclass(frozen=True, slots=True)
class Applied:
    """One application of the product in the place; ``amount`` is of the product, if it is known."""

    on: date
    amount: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Allowance:
    """``left`` is None where the label counts none; ``next_on`` is None where it ``is_open``.

    ``used`` are the applications of the 365 days that end with the day asked about.
    """

    used: int
    left: int | None
    next_on: date | None
    is_open: bool
    words: str


def allowance(label: Label, applied: Sequence[Applied], *, on: date) -> Allowance:
    """Whether the label allows one more application on a day, and if not, from when.

    ``applied`` is all that was applied of the product in that place, in any order.
    """
    days = sorted(one.on for one in applied if one.on <= on)
    in_year = [day for day in days if day > on - YEAR]
    used = len(in_year)
    left = None if label.most_a_year is None else max(0, label.most_a_year - used)
    next_on = max(_after_interval(label, days, on), _after_year(label, in_year, on))
    is_open = next_on == on
    return Allowance(
        used=used,
        left=left,
        next_on=None if is_open else next_on,
        is_open=is_open,
        words=_words(label, used, left, None if is_open else next_on),
    )


def left_of_most(label: Label, most: Quantity, applied: Sequence[Applied], *, on: date) -> Quantity:
    """What is left of the label's most for a place, after what was applied within its interval.

    The most counts for each application, so that the second half of one on the same day does not
    come on top of it. Without an interval only that day counts. Never below zero; amounts that are
    not known count as nothing. Raises ``AllowanceError`` where a density is missing.
    """
    since = on - timedelta(days=label.interval_days or 1)
    spent = sum(
        _in_unit_of(most, one.amount, label)
        for one in applied
        if since < one.on <= on and one.amount is not None
    )
    return Quantity(max(Fraction(0), most.amount - spent), most.unit)


def _after_interval(label: Label, days: Sequence[date], on: date) -> date:
    if not days or not label.interval_days:
        return on
    return days[-1] + timedelta(days=label.interval_days)


def _after_year(label: Label, in_year: Sequence[date], on: date) -> date:
    """The first day, ``on`` or later, on which enough applications lie more than a year back."""
    if label.most_a_year is None or len(in_year) < label.most_a_year:
        return on
    return in_year[-label.most_a_year] + YEAR


def _in_unit_of(most: Quantity, amount: Quantity, label: Label) -> Fraction:
    try:
        if label.density is not None and "oz" not in (most.unit, amount.unit):
            return through_density(amount.amount, amount.unit, most.unit, label.density)
        return amount.to(most.unit).amount
    except UnitError as error:
        raise AllowanceError("unit", str(error)) from error


def _words(label: Label, used: int, left: int | None, next_on: date | None) -> str:
    times = "Not applied here" if not used else f"Applied here {_times(used)}"
    sentences = [f"{times} in the last 365 days."]
    if label.most_a_year is not None:
        rest = "none is left" if not left else f"{left} {'is' if left == 1 else 'are'} left"
        sentences.append(f"The label allows {label.most_a_year} a year; {rest}.")
    if label.interval_days:
        days = f"{label.interval_days} day{'' if label.interval_days == 1 else 's'}"
        sentences.append(f"Between two there must be at least {days}.")
    if next_on is not None:
        sentences.append(f"The next is allowed from {day_words(next_on)}.")
    return " ".join(sentences)


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
