"""How strongly zones are tinted on a plan and how large monitors are drawn on it, by their rates.

A tint is one of five steps, so that steps can be told apart and named in words, and the steps of
one plan hold for all of its months, so that months can be told apart too. Rates per 100 trap-days.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, sqrt

from compliance.trends.rates import short

PARTS = (0.125, 0.25, 0.5, 1.0)
"""Ends of the tints as shares of the highest: each twice the one before, as counts double."""
TINY = 1e-6
"""A rate that is none."""
LEAST_SIZE, MOST_SIZE = 0.75, 1.75
OFF_THE_TOP = 3.0
"""A month that towers over the next by more than this has the strongest tint, but does not pale
all others: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Tints:
    """The steps of one plan: a rate has the tint of the first end that is not below it, counted
    from 1. None caught is tint 0; no ends: nothing was caught in any month."""

    ends: tuple[float, ...]

    def of(self, rate: float | None) -> int | None:
        """The tint of a rate; None where nobody looked."""
        if rate is None:
            return None
        if rate <= TINY:
            return 0
        return next((number for number, end in enumerate(self.ends, 1) if rate <= end), len(PARTS))

    def size(self, rate: float | None) -> float:
        """How many times its usual size a monitor is drawn, its area as its rate."""
        if not rate or not self.ends:
            return LEAST_SIZE
        share = min(rate / self.ends[-1], 1.0)
        return round(LEAST_SIZE + (MOST_SIZE - LEAST_SIZE) * sqrt(share), 2)

    @property
    def words(self) -> tuple[tuple[int, str], ...]:
        """Each tint and what it stands for."""
        if not self.ends:
            return ((0, "none"),)
        lower = (f"up to {short(end)}" for end in self.ends[:-1])
        return (
            (0, "none"),
            *enumerate(lower, 1),
            (len(self.ends), f"over {short(self.ends[-2])}"),
        )


def plan_tints(rates: Sequence[float | None]) -> Tints:
    """The tints of a plan from the rates of all that is drawn on it, in all of its months."""
    found = sorted(rate for rate in rates if rate is not None and isfinite(rate) and rate > TINY)
    if not found:
        return Tints(())
    if len(found) > 1 and found[-1] > OFF_THE_TOP * found[-2]:
        found.pop()
    return Tints(tuple(_rounded(found[-1] * part) for part in PARTS))


def _rounded(rate: float) -> float:
    """Upwards to what its words say, so that words and tint never disagree."""
    return float(short(rate, "up").replace(",", ""))
