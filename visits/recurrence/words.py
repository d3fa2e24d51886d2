"""The forms of recurrence that an office agrees with a client, made and read back in words."""

from collections.abc import Collection, Mapping
from datetime import date

from visits.recurrence.rules import RuleError, canonical, parts_of, until_of

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
WEEKDAY_NAMES = (
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
)
MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_ORDINALS = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", -1: "last"}
_NOT_ALWAYS = ", in months that have one"  # RFC 5545 skips the others


def every_weeks(weeks: int, weekdays: Collection[int]) -> str:
    """Every so many weeks on these weekdays (Monday is 0)."""
    if not weekdays:
        raise RuleError("Choose at least one weekday.")
    days = ",".join(_code(day) for day in weekdays)
    return canonical(f"FREQ=WEEKLY;INTERVAL={weeks};BYDAY={days}")


def every_months_on_weekday(months: int, ordinal: int, weekday: int) -> str:
    """Every so many months on the nth (-1: last) of a weekday (Monday is 0).

    Not on the fifth, which most months lack: who was promised every month gets every month.
    """
    if ordinal not in (1, 2, 3, 4, -1):
        raise RuleError("Choose the first to the fourth of a weekday, or the last of the month.")
    return canonical(f"FREQ=MONTHLY;INTERVAL={months};BYDAY={ordinal}{_code(weekday)}")


def every_months_on_day(months: int, day: int) -> str:
    """Every so many months on a day of the month; a month without it gets its last day.

    RFC 5545 would skip such a month: from 31 January it gives seven days a year. A client who was
    promised every month gets every month.
    """
    if not 1 <= day <= 31:
        raise RuleError(f"No month has a day {day}.")
    if day <= 28:
        return canonical(f"FREQ=MONTHLY;INTERVAL={months};BYMONTHDAY={day}")
    days = ",".join(str(one) for one in range(28, day + 1))
    return canonical(f"FREQ=MONTHLY;INTERVAL={months};BYMONTHDAY={days};BYSETPOS=-1")


def every_year(month: int, day: int) -> str:
    """Once a year; 29 February falls on the 28th in other years."""
    if month == 2 and day == 29:
        return canonical("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=28,29;BYSETPOS=-1")
    return canonical(f"FREQ=YEARLY;BYMONTH={month};BYMONTHDAY={day}")


def describe(rule: str, first_on: date) -> str:
    """A rule in plain words; one of an unusual form as its own text.

    ``first_on`` matters where the rule leaves the day to it.
    """
    parts = parts_of(rule)
    if parts.get("COUNT") == "1":
        ending = ", once"
    elif "COUNT" in parts:
        ending = f", {parts['COUNT']} times"
    elif until := until_of(parts):
        ending = f", until {said_day(until)}"
    else:
        ending = ""
    core = {name: value for name, value in parts.items() if name not in ("COUNT", "UNTIL", "WKST")}
    words = _words(core, first_on)
    return f"{words}{ending}" if words else canonical(rule)


def said_day(day: date) -> str:
    """A day in words, as 3 February 2026."""
    return f"{day.day} {MONTH_NAMES[day.month - 1]} {day.year}"


def _words(parts: Mapping[str, str], first_on: date) -> str:
    interval = int(parts.get("INTERVAL", "1"))
    rest = {name: value for name, value in parts.items() if name not in ("FREQ", "INTERVAL")}
    reader = {
        "DAILY": _daily,
        "WEEKLY": _weekly,
        "MONTHLY": _monthly,
        "YEARLY": _yearly,
    }[parts["FREQ"]]
    return reader(interval, rest, first_on)


def _daily(interval: int, rest: Mapping[str, str], first_on: date) -> str:
    return "" if rest else _every(interval, "day")


def _weekly(interval: int, rest: Mapping[str, str], first_on: date) -> str:
    if set(rest) - {"BYDAY"}:
        return ""
    days = rest.get("BYDAY", WEEKDAYS[first_on.weekday()]).split(",")
    return f"{_every(interval, 'week')} on {_listed([_weekday(day) for day in days])}"


def _monthly(interval: int, rest: Mapping[str, str], first_on: date) -> str:
    on = _in_month(rest, first_on)
    return f"{_every(interval, 'month')} on {on}" if on else ""


def _yearly(interval: int, rest: Mapping[str, str], first_on: date) -> str:
    if not rest:
        month, on = first_on.month, f"{first_on.day}"
    elif set(rest) == {"BYMONTH", "BYMONTHDAY"} and rest["BYMONTH"].isdigit():
        month, on = int(rest["BYMONTH"]), rest["BYMONTHDAY"]
    elif rest == {"BYMONTH": "2", "BYMONTHDAY": "28,29", "BYSETPOS": "-1"}:
        return f"{_every(interval, 'year')} on the last day of February"
    else:
        return ""
    if not on.isdigit():
        return ""
    leap = ", in leap years" if (month, int(on)) == (2, 29) else ""
    return f"{_every(interval, 'year')} on {on} {MONTH_NAMES[month - 1]}{leap}"


def _in_month(rest: Mapping[str, str], first_on: date) -> str:
    if not rest:
        return _days_of_month([first_on.day])
    if set(rest) == {"BYDAY"}:
        words = rest["BYDAY"].split(",")
        if not all(_ordinal(word) in _ORDINALS for word in words):
            return ""
        said = _listed([f"the {_ORDINALS[_ordinal(one)]} {_weekday(one[-2:])}" for one in words])
        return f"{said}{_NOT_ALWAYS}" if any(_ordinal(word) == 5 for word in words) else said
    days = [int(day) for day in rest.get("BYMONTHDAY", "0").split(",")]
    if set(rest) == {"BYMONTHDAY"}:
        if days == [-1]:
            return "the last day"
        return _days_of_month(days) if min(days) > 0 else ""
    clamped = set(rest) == {"BYMONTHDAY", "BYSETPOS"} and rest["BYSETPOS"] == "-1"
    if clamped and days[-1] > 28 and days == list(range(28, days[-1] + 1)):
        return "the last day" if days[-1] == 31 else f"the {_nth(days[-1])} or the last day"
    return ""


def _days_of_month(days: list[int]) -> str:
    said = _listed([f"the {_nth(day)}" for day in days])
    return f"{said}{_NOT_ALWAYS}" if max(days) > 28 else said


def _code(weekday: int) -> str:
    if weekday not in range(7):
        raise RuleError(f"There is no weekday {weekday}; Monday is 0 and Sunday 6.")
    return WEEKDAYS[weekday]


def _every(interval: int, unit: str) -> str:
    return f"Every {unit}" if interval == 1 else f"Every {interval} {unit}s"


def _ordinal(word: str) -> int:
    return int(word[:-2] or "0")


def _weekday(word: str) -> str:
    return WEEKDAY_NAMES[WEEKDAYS.index(word)]


def _nth(number: int) -> str:
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
