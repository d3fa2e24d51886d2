"""What a cell may hold, and the sentence that says why it does not. Pure.

A converter takes what the file held (text, number, day, truth or nothing) and returns the value, or
raises ``CellProblem`` with a sentence for the person who typed it. An empty cell is None.
"""

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any
from zoneinfo import available_timezones

Convert = Callable[[Any], Any]

LONGEST_SHOWN = 40
GUARDED = re.compile(r"""'[ \ufeff"']*[=+\-@\t\r＝＋－＠]""")
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


class CellProblem(ValueError):
    """Why a cell cannot be taken; ``str(error)`` is a sentence."""


class Formula(str):
    """A cell that holds a formula: its value is whatever another program last worked out."""

    __slots__ = ()


def shown(value: Any) -> str:
    """A cell's content as an error may quote it."""
    text = str(value)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def plain_text(value: Any) -> str:
    """The text of a cell, without the spaces round it; a whole number without its ``.0``.

    An apostrophe before ``= + - @`` is the mark by which exports keep text from being taken for
    a formula, and is dropped.
    """
    if isinstance(value, Formula):
        raise CellProblem(
            "The cell holds a formula. Replace it by its value (copy, then paste as values)."
        )
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime):
        return value.date().isoformat()
    text = str(value).strip()
    return text[1:] if GUARDED.match(text) else text


def text(longest: int) -> Convert:
    """Text of at most so many characters."""

    def convert(value: Any) -> str:
        words = plain_text(value)
        if len(words) > longest:
            raise CellProblem(f"This is {len(words)} characters long; the most is {longest}.")
        if "\x00" in words:
            raise CellProblem("This holds a character that cannot be kept.")
        return words

    return convert


def choice(allowed: Mapping[str, str]) -> Convert:
    """One of a set, by its word or its label, whatever the capitals."""
    by_word = {word.casefold(): word for word in allowed}
    by_word |= {label.casefold(): word for word, label in allowed.items()}

    def convert(value: Any) -> str:
        words = plain_text(value)
        try:
            return by_word[words.casefold()]
        except KeyError:
            known = ", ".join(sorted(allowed))
            raise CellProblem(f"“{shown(words)}” is not one of: {known}.") from None

    return convert


def whole(least: int, most: int) -> Convert:
    """A whole number between two ends, inclusive."""

    def convert(value: Any) -> int:
        words = plain_text(value)
        try:
            number = int(words)
        except ValueError:
            raise CellProblem(f"“{shown(words)}” is not a whole number.") from None
        if not least <= number <= most:
            raise CellProblem(f"{shown(words)} is not between {least} and {most}.")
        return number

    return convert


def decimal(least: int, most: int, places: int) -> Convert:
    """A decimal number between two ends, rounded to so many places."""

    def convert(value: Any) -> Decimal:
        words = plain_text(value)
        try:
            number = Decimal(words)
        except InvalidOperation:
            raise CellProblem(f"“{shown(words)}” is not a number.") from None
        if not (number.is_finite() and least <= number <= most):
            raise CellProblem(f"{shown(words)} is not between {least} and {most}.")
        return round(number, places)

    return convert


def day(value: Any) -> date:
    """A day: a cell formatted as a date, or text as 2026-02-03.

    A bare number is refused: it may be a day's serial number or a slip, and guessing between the
    two calendars that spreadsheets count in would move every date by four years.
    """
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise CellProblem(
            f"{shown(value)} is a number, not a date. Format the column as a date, or type it as "
            "2026-02-03."
        )
    words = plain_text(value)
    if _ISO_DAY.fullmatch(words):
        try:
            return date.fromisoformat(words)
        except ValueError:
            raise CellProblem(f"There is no day {words}.") from None
    raise CellProblem(f"“{shown(words)}” is not a date as 2026-02-03.")


def yes(value: Any) -> bool:
    """Yes or no."""
    if isinstance(value, bool):
        return value
    words = plain_text(value).casefold()
    if words in {"yes", "y", "true", "1", "x"}:
        return True
    if words in {"no", "n", "false", "0"}:
        return False
    raise CellProblem(f"“{shown(words)}” is neither yes nor no.")


def time_zone(value: Any) -> str:
    """A zone of the time zone database, as Europe/London."""
    words = plain_text(value)
    if words not in available_timezones():
        raise CellProblem(f"“{shown(words)}” is not a time zone such as Europe/London.")
    return words
