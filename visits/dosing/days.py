"""Days as people read them, and the same day in another year. A day is a date without a zone."""

from datetime import MAXYEAR, date


def day_words(day: date) -> str:
    """3 December 2026."""
    return f"{day.day} {day:%B %Y}"


def years_later(day: date, years: int) -> date:
    """The same day so many years on; the first of March for a leap day that is not there.

    Never beyond 9999, where dates end: a day typed wrongly may be the last of them.
    """
    year = min(day.year + years, MAXYEAR)
    try:
        return day.replace(year=year)
    except ValueError:
        return date(year, 3, 1)
