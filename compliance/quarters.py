"""Quarters of a year, as trend reviews go by them. Pure."""

from dataclasses import dataclass
from datetime import date, timedelta

from compliance.trends.exposure import month_number, numbered

GRACE_DAYS = 30
"""A quarter's review is due so many days after its end. Ours; no source."""


@dataclass(frozen=True, slots=True, order=True)
class Quarter:
    """Three months, named by their first day."""

    first: date

    @property
    def after(self) -> date:
        """The first day of the quarter that follows."""
        return _months_later(self.first, 3)

    @property
    def last(self) -> date:
        """Its last day."""
        return self.after - timedelta(days=1)

    @property
    def before(self) -> "Quarter":
        """The quarter before."""
        return Quarter(_months_later(self.first, -3))

    @property
    def due_on(self) -> date:
        """The last day on which its review is in time."""
        return self.last + timedelta(days=GRACE_DAYS)

    @property
    def key(self) -> str:
        """Its first month as addresses write it: 2026-07 (ISO 8601)."""
        return f"{self.first:%Y-%m}"

    @property
    def number(self) -> int:
        """From 1 to 4."""
        return (self.first.month + 2) // 3

    def __str__(self) -> str:
        return f"quarter {self.number} of {self.first.year}"


def quarter_of(day: date) -> Quarter:
    """The quarter that a day lies in."""
    return Quarter(date(day.year, 3 * ((day.month - 1) // 3) + 1, 1))


def quarter_from(key: str) -> Quarter | None:
    """The quarter that begins with a month written as 2026-07; None for anything else."""
    try:
        first = date.fromisoformat(f"{key}-01")
    except ValueError:
        return None
    quarter = quarter_of(first)
    return quarter if quarter.first == first else None


def ended_quarters(today: date, many: int) -> list[Quarter]:
    """The last quarters that are over, newest first."""
    found = []
    quarter = quarter_of(today)
    for _ in range(many):
        quarter = quarter.before
        found.append(quarter)
    return found


def due_quarters(today: date, many: int) -> list[Quarter]:
    """The last quarters whose review is past its day, oldest first."""
    return ended_quarters(today - timedelta(days=GRACE_DAYS), many)[::-1]


def _months_later(first: date, months: int) -> date:
    return date(*numbered(month_number((first.year, first.month)) + months), 1)
