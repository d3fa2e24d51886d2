"""Recurrence rules as a service line carries them: RFC 5545, section 3.3.10, by days.

A service line starts on a day (a ``DTSTART`` of type ``DATE``), so ``UNTIL`` is a day too, and
inclusive. Days are dates in the site's own zone. Expansion is python-dateutil's.
"""

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from itertools import islice, takewhile

from dateutil.rrule import rrulestr

MOST_OCCURRENCES = 5_000
LONGEST_TEXT = 180  # a line keeps 200: cutting a rule may add an UNTIL
LONGEST_RANGE = timedelta(days=366 * 100)
LONGEST_WAIT = timedelta(days=366 * 8 + 2)  # 29 February may be eight years away, as after 2096

_ORDER = (
    "FREQ",
    "INTERVAL",
    "COUNT",
    "UNTIL",
    "BYMONTH",
    "BYWEEKNO",
    "BYMONTHDAY",
    "BYDAY",
    "BYSETPOS",
    "WKST",
)
_FREQUENCIES = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
_WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_NUMBERS: Mapping[str, int] = {"BYMONTH": 12, "BYMONTHDAY": 31, "BYWEEKNO": 53, "BYSETPOS": 366}
_SUB_DAILY = ("BYHOUR", "BYMINUTE", "BYSECOND")


class RuleError(ValueError):
    """Why a recurrence cannot be used; ``str(error)`` is a sentence for the office."""


def parts_of(rule: str) -> dict[str, str]:
    """The parts of a rule, checked and plainly written, in canonical order.

    Raises ``RuleError`` for whatever RFC 5545 does not allow, and for what visits cannot use: rules
    finer than a day, and both ``COUNT`` and ``UNTIL``.
    """
    parts: dict[str, str] = {}
    text = rule.strip().upper().removeprefix("RRULE:")
    if not text:
        raise RuleError("Say how often the visit comes back.")
    for piece in text.rstrip(";").split(";"):
        name, sign, value = (word.strip() for word in piece.partition("="))
        if not (sign and value):
            raise RuleError(f"“{piece.strip()}” is no part of a recurrence, such as FREQ=MONTHLY.")
        if name in parts:
            raise RuleError(f"{name} is given twice.")
        parts[name] = value
    _check_names(parts)
    plain = {name: _plainly(name, parts[name]) for name in _ORDER if name in parts}
    _check_together(plain)
    return plain


def _check_names(parts: Mapping[str, str]) -> None:
    for name in parts:
        if name in _SUB_DAILY:
            raise RuleError(f"{name} is not used: a visit is due on a day, its time is booked.")
        if name not in _ORDER:
            raise RuleError(f"{name} is not known.")
    if parts.get("FREQ") not in _FREQUENCIES:
        raise RuleError("FREQ must be DAILY, WEEKLY, MONTHLY or YEARLY.")
    if "COUNT" in parts and "UNTIL" in parts:
        raise RuleError("Give COUNT or UNTIL, not both.")


def _plainly(name: str, value: str) -> str:
    """One part's value, checked by itself: no needless signs, zeros, repeats or order."""
    if name in ("INTERVAL", "COUNT"):
        most = 999 if name == "INTERVAL" else MOST_OCCURRENCES
        if not re.fullmatch(r"[0-9]{1,6}", value) or not 1 <= int(value) <= most:
            raise RuleError(f"{name} must be a whole number from 1 to {most}.")
        return str(int(value))
    if name == "UNTIL":
        return f"{_day(value):%Y%m%d}"
    if name == "WKST" and value not in _WEEKDAYS:
        raise RuleError(f"WKST={value} is no weekday.")
    words = [word.strip() for word in value.split(",")]
    if name == "BYDAY":
        return ",".join(_weekday(*day) for day in sorted(map(_counted_weekday, set(words))))
    if name in _NUMBERS:
        numbers = {_number(name, word) for word in words}
        return ",".join(str(one) for one in sorted(numbers, key=_from_the_front))
    return value


def _whole(name: str, word: str, digits: str) -> int:
    if not re.fullmatch(r"[+-]?[0-9]{1,4}", digits):
        raise RuleError(f"{name}={word} is not a whole number.")
    return int(digits)


def _number(name: str, word: str) -> int:
    number, most = _whole(name, word, word), _NUMBERS[name]
    least = 1 if name == "BYMONTH" else -most
    if not least <= number <= most or number == 0:
        raise RuleError(f"{name}={word} does not exist.")
    return number


def _from_the_front(number: int) -> tuple[bool, int]:
    """Sorts what counts from the front before what counts from the end: 1, 2, -2, -1."""
    return number < 0, number


def _counted_weekday(word: str) -> tuple[tuple[bool, int], int]:
    """A word of BYDAY so that it sorts; 0 is any such weekday."""
    ordinal, weekday = word[:-2], word[-2:]
    if weekday not in _WEEKDAYS:
        raise RuleError(f"BYDAY={word} is no weekday, such as MO or 1MO.")
    number = _whole("BYDAY", word, ordinal) if ordinal else 0
    if ordinal and not 1 <= abs(number) <= 53:
        raise RuleError(f"BYDAY={word} does not exist.")
    return _from_the_front(number), _WEEKDAYS.index(weekday)


def _weekday(counted: tuple[bool, int], weekday: int) -> str:
    return f"{counted[1] or ''}{_WEEKDAYS[weekday]}"


def _check_together(parts: Mapping[str, str]) -> None:
    frequency = parts["FREQ"]
    if "BYMONTHDAY" in parts and frequency == "WEEKLY":
        raise RuleError("BYMONTHDAY does not go with FREQ=WEEKLY.")
    if "BYWEEKNO" in parts and frequency != "YEARLY":
        raise RuleError("BYWEEKNO goes with FREQ=YEARLY only.")
    if "BYWEEKNO" in parts and "BYDAY" not in parts:
        raise RuleError("BYWEEKNO needs BYDAY, to say on which day of the week.")
    _check_ordinals(parts)
    if "BYSETPOS" in parts:
        # The first week of a weekly rule counts from its first day, so that a cut would move days.
        if frequency in ("DAILY", "WEEKLY"):
            raise RuleError("BYSETPOS goes with FREQ=MONTHLY or YEARLY only; name the weekdays.")
        if not parts.keys() & {"BYMONTH", "BYWEEKNO", "BYMONTHDAY", "BYDAY"}:
            raise RuleError("BYSETPOS picks among the days of another BY… part; there is none.")
    _check_days_exist(parts)


def _check_ordinals(parts: Mapping[str, str]) -> None:
    counted = [word for word in parts.get("BYDAY", "").split(",") if len(word) > 2]
    if counted and parts["FREQ"] not in ("MONTHLY", "YEARLY"):
        raise RuleError(f"BYDAY={counted[0]}: only MONTHLY and YEARLY count weekdays.")
    if counted and "BYWEEKNO" in parts:
        raise RuleError(f"BYDAY={counted[0]}: a week has each weekday once; leave out the number.")
    most = 5 if parts["FREQ"] == "MONTHLY" or "BYMONTH" in parts else 53
    for word in counted:
        if abs(int(word[:-2])) > most:
            raise RuleError(f"BYDAY={word} does not exist: a month has at most five of a weekday.")


def _check_days_exist(parts: Mapping[str, str]) -> None:
    """Days that none of the months has: dateutil would look for them until the year 9999."""
    if "BYMONTHDAY" not in parts or "BYMONTH" not in parts:
        return
    longest = max(
        29 if month == 2 else 30 if month in (4, 6, 9, 11) else 31
        for month in map(int, parts["BYMONTH"].split(","))
    )
    if all(abs(int(day)) > longest for day in parts["BYMONTHDAY"].split(",")):
        raise RuleError(f"BYMONTHDAY={parts['BYMONTHDAY']} does not exist in these months.")


def until_of(parts: Mapping[str, str]) -> date | None:
    """The last day of a rule, inclusive, or None."""
    word = parts.get("UNTIL")
    return None if word is None else _day(word)


def _day(word: str) -> date:
    try:
        # The digits are counted first: strptime would read 202611 as 1 January 2026.
        if not re.fullmatch(r"[0-9]{8}", word):
            raise ValueError(word)
        return datetime.strptime(word, "%Y%m%d").date()  # noqa: DTZ007 (a day has no zone)
    except ValueError:
        raise RuleError(f"UNTIL={word} must be a day, as UNTIL=20261231.") from None


def joined(parts: Mapping[str, str]) -> str:
    """The text of a rule from its parts, in canonical order, without what is said by default."""
    return ";".join(
        f"{name}={parts[name]}"
        for name in _ORDER
        if name in parts and (name, parts[name]) not in {("INTERVAL", "1"), ("WKST", "MO")}
    )


def canonical(rule: str) -> str:
    """One text for one rule. Raises ``RuleError``."""
    return joined(parts_of(rule))


def check(rule: str, first_on: date) -> str:
    """The canonical text of a rule that does give a day within eight years of ``first_on``.

    The gate for whatever a person typed: a rule that never comes is looked for until the year 9999,
    which takes up to a second. Raises ``RuleError``.
    """
    text = canonical(rule)
    if len(text) > LONGEST_TEXT:
        raise RuleError("This recurrence is too long; agree it as two lines.")
    if not occurrences(text, first_on, to_on=first_on + LONGEST_WAIT, most=1):
        raise RuleError("This recurrence gives no day in the next eight years.")
    return text


def occurrences(
    rule: str,
    first_on: date,
    *,
    from_on: date | None = None,
    to_on: date,
    most: int | None = None,
) -> list[date]:
    """The days of a rule between two days, inclusive; oldest first, the first ``most`` if given.

    ``first_on`` is the day the rule counts from. It is an occurrence only if it fits the rule.
    Raises ``ValueError`` for a range of more than a century: no list is cut short in silence.
    """
    start = first_on if from_on is None else max(first_on, from_on)
    if to_on - start > LONGEST_RANGE:
        raise ValueError(f"from {start} to {to_on} is more than a century")
    found = (day for day in _days(rule, first_on, to_on) if day >= start)
    return list(islice(found, most))


def _days(rule: str, first_on: date, to_on: date) -> Iterator[date]:
    parts = parts_of(rule)
    until = until_of(parts)
    last = to_on if until is None else min(until, to_on)
    if last < first_on:
        return iter(())
    text = joined({name: value for name, value in parts.items() if name != "UNTIL"})
    found = rrulestr(text, dtstart=datetime.combine(first_on, time()))
    return takewhile(lambda day: day <= last, (at.date() for at in found))


def split(rule: str, first_on: date, at: date) -> tuple[str, str]:
    """A rule cut in two at one of its days: what ends before it, and what starts on it.

    The first counts from ``first_on`` as before, the second from ``at``; together they give exactly
    the days of the uncut rule. Raises ``RuleError`` when ``at`` is no occurrence, or the first.
    """
    parts = parts_of(rule)
    before = occurrences(rule, first_on, to_on=at)
    if not before or before[-1] != at:
        raise RuleError(f"{at} is not one of the days of this recurrence.")
    if len(before) == 1:
        raise RuleError("This is the first day of the recurrence; change the whole of it.")
    earlier = {name: value for name, value in parts.items() if name != "COUNT"}
    earlier["UNTIL"] = f"{at - timedelta(days=1):%Y%m%d}"
    later = dict(parts)
    if "COUNT" in parts:
        later["COUNT"] = str(int(parts["COUNT"]) - len(before) + 1)
    return joined(earlier), joined(later)
