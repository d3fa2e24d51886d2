"""Recurrence rules as a service line carries them: RFC 5545, section 3.3.10, by days.

A service line starts on a day (a ``DTSTART`` of type ``DATE``), so ``UNTIL`` is a day too, and
inclusive. Days are dates in the site's own zone. Expansion is python-dateutil's.
"""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from itertools import islice, takewhile

from dateutil.rrule import rrulestr

MOST_OCCURRENCES = 5_000
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
    """The parts of a rule, checked, in canonical order.

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
    _check_values(parts)
    return {name: parts[name] for name in _ORDER if name in parts}


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


def _check_values(parts: Mapping[str, str]) -> None:
    frequency = parts["FREQ"]
    for name, most in (("INTERVAL", 999), ("COUNT", MOST_OCCURRENCES)):
        if name in parts and not (parts[name].isdigit() and 1 <= int(parts[name]) <= most):
            raise RuleError(f"{name} must be a whole number from 1 to {most}.")
    for name, most in _NUMBERS.items():
        least = 1 if name == "BYMONTH" else -most
        for word in parts[name].split(",") if name in parts else ():
            number = _whole(word, name)
            if not least <= number <= most or number == 0:
                raise RuleError(f"{name}={word} does not exist.")
    if "UNTIL" in parts:
        until_of(parts)
    for word in parts["BYDAY"].split(",") if "BYDAY" in parts else ():
        _check_weekday(word, frequency)
    if "WKST" in parts and parts["WKST"] not in _WEEKDAYS:
        raise RuleError(f"WKST={parts['WKST']} is no weekday.")
    if "BYMONTHDAY" in parts and frequency == "WEEKLY":
        raise RuleError("BYMONTHDAY does not go with FREQ=WEEKLY.")
    if "BYWEEKNO" in parts and frequency != "YEARLY":
        raise RuleError("BYWEEKNO goes with FREQ=YEARLY only.")
    if "BYSETPOS" in parts and not any(
        name in parts for name in ("BYMONTH", "BYWEEKNO", "BYMONTHDAY", "BYDAY")
    ):
        raise RuleError("BYSETPOS picks among the days of another BY… part; there is none.")
    _check_days_exist(parts)


def _whole(word: str, name: str) -> int:
    try:
        return int(word)
    except ValueError:
        raise RuleError(f"{name}={word} is not a whole number.") from None


def _check_weekday(word: str, frequency: str) -> None:
    ordinal, weekday = word[:-2], word[-2:]
    if weekday not in _WEEKDAYS:
        raise RuleError(f"BYDAY={word} is no weekday, such as MO or 1MO.")
    if not ordinal:
        return
    if frequency not in ("MONTHLY", "YEARLY"):
        raise RuleError(f"BYDAY={word}: only MONTHLY and YEARLY count weekdays.")
    most = 5 if frequency == "MONTHLY" else 53
    number = _whole(ordinal, "BYDAY")
    if number == 0 or abs(number) > most:
        raise RuleError(f"BYDAY={word} does not exist.")


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
    if word is None:
        return None
    try:
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

    Raises ``RuleError``.
    """
    text = canonical(rule)
    if not occurrences(text, first_on, to_on=first_on + LONGEST_WAIT, most=1):
        raise RuleError("This recurrence gives no day in the next eight years.")
    return text


def occurrences(
    rule: str,
    first_on: date,
    *,
    from_on: date | None = None,
    to_on: date,
    most: int = MOST_OCCURRENCES,
) -> list[date]:
    """The days of a rule between two days, inclusive; oldest first, at most ``most`` of them.

    ``first_on`` is the day the rule counts from. It is an occurrence only if it fits the rule.
    """
    found = (day for day in _days(rule, first_on, to_on) if from_on is None or day >= from_on)
    return list(islice(found, most))


def _days(rule: str, first_on: date, to_on: date) -> list[date]:
    parts = parts_of(rule)
    until = until_of(parts)
    last = to_on if until is None else min(until, to_on)
    if last < first_on:
        return []
    text = joined({name: value for name, value in parts.items() if name != "UNTIL"})
    found = rrulestr(text, dtstart=datetime.combine(first_on, time()))
    days = takewhile(lambda day: day <= last, (at.date() for at in found))
    return list(islice(days, MOST_OCCURRENCES))


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
