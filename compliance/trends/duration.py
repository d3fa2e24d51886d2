"""How long things stay open, those that still are counted in.

The mean age of what was closed flatters: what drags on is not in it yet. So each thing counts as
open for as long as it has been seen open, and what is not done by then leaves the count without
being done (Kaplan EL, Meier P 1958, J. Am. Statist. Assoc. 53:457-481, from memory; values in
tests/outside/test_duration.py). Whether two ways of working differ is asked by the log-rank test.
Docs: docs/algorithms/rates-and-effects.md (How long it takes). Days are whole days of the site.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from compliance.trends.exposure import Bools, Floats, Ints

HALF = 0.5
LIKE = 1e-12
"""Shares are products of fractions; closer together than this they are the same share."""


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """How long each thing has been open, in days, and whether it was done then or is open still."""

    days: Ints
    done: Bools

    def __len__(self) -> int:
        """How many things."""
        return len(self.days)


@dataclass(frozen=True, slots=True, eq=False)
class StillOpen:
    """The share that is still open after so many days; a place for each day something was done.

    ``at_risk``: open up to that day, those included that were last seen open on it. ``share``: open
    after it. ``error``: the standard error of the share (Greenwood). ``lower`` and ``upper`` hold
    it between them at 95 % (on the scale of log minus log, which never leaves 0 to 1).
    """

    days: Ints
    at_risk: Ints
    done: Ints
    share: Floats
    error: Floats
    lower: Floats
    upper: Floats

    def within(self, part: float = HALF) -> int | None:
        """The first day by which at least ``part`` of all were done; None if it is not reached.

        Where exactly so many are done from one day to the next, the first of the days is meant, as
        a half that is done by Tuesday is done by Tuesday; some programs take the middle of both.
        """
        reached = np.flatnonzero(self.share <= 1 - part + LIKE)
        return int(self.days[reached[0]]) if len(reached) else None


@dataclass(frozen=True, slots=True)
class LogRank:
    """Whether groups take differently long: the statistic, its p-value, and how many of each group
    were to be done by now if all took equally long."""

    statistic: float
    p: float
    expected: tuple[float, ...]


def spans(opened_and_done: Iterable[tuple[date, date | None]], today: date) -> Spans:
    """Days from opened to done, or to today where it is not done. What was done the same day took
    none. Raises ``ValueError`` for what was done, or asked about, before it was opened."""
    pairs = [(opened, done or today, done is not None) for opened, done in opened_and_done]
    days = np.array([(last - opened).days for opened, last, _ in pairs], dtype=np.int64)
    if np.any(days < 0):
        raise ValueError("nothing is done before it is opened")
    return Spans(days, np.array([done for _, _, done in pairs], dtype=np.bool_))


def still_open(spans: Spans) -> StillOpen:
    """The curve of what is still open, after Kaplan and Meier."""
    from scipy.special import ndtri

    days, done = np.unique(spans.days[spans.done], return_counts=True)
    at_risk = (spans.days[None, :] >= days[:, None]).sum(axis=1)
    share = np.cumprod(1 - done / np.maximum(at_risk, 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        summed = np.cumsum(done / (at_risk * (at_risk - done)))  # infinite once all are done
        error = np.where(share > LIKE, share * np.sqrt(summed), 0.0)
        spread = ndtri(0.975) * np.sqrt(summed) / np.log(share)
        lower = np.where(share > LIKE, share ** np.exp(-spread), 0.0)
        upper = np.where(share > LIKE, share ** np.exp(spread), 0.0)
    return StillOpen(
        days=days.astype(np.int64),
        at_risk=at_risk.astype(np.int64),
        done=done.astype(np.int64),
        share=share,
        error=error,
        lower=lower,
        upper=upper,
    )


def log_rank(groups: Sequence[Spans]) -> LogRank:
    """Whether the groups differ in how long they take. Raises ``ValueError`` for fewer than two
    groups, and where nothing was done in any or nothing can be compared."""
    from scipy.special import chdtrc

    times = np.unique(np.concatenate([one.days[one.done] for one in groups]))
    if len(groups) < 2 or not len(times):
        raise ValueError("two groups are needed, and something that was done")
    at_risk = np.array([(one.days[None, :] >= times[:, None]).sum(axis=1) for one in groups])
    done = np.array(
        [((one.days[None, :] == times[:, None]) & one.done).sum(axis=1) for one in groups]
    )
    all_, each = at_risk.sum(axis=0), done.sum(axis=0)
    share = at_risk / all_
    expected = (share * each).sum(axis=1)
    # What is done at one time falls on the groups like balls drawn without putting them back.
    drawn = each * (all_ - each) / np.maximum(all_ - 1, 1)
    spread = np.diag((share * drawn).sum(axis=1)) - (share * drawn) @ share.T
    off = (done.sum(axis=1) - expected)[:-1]
    inner = spread[:-1, :-1]
    if np.linalg.matrix_rank(inner) < len(inner):
        raise ValueError("a group had nothing open when another had something done")
    statistic = float(off @ np.linalg.solve(inner, off))
    return LogRank(
        statistic=statistic,
        p=float(chdtrc(len(groups) - 1, statistic)),
        expected=tuple(float(one) for one in expected),
    )


def duration_words(spans: Spans) -> str:
    """How long things take, in a sentence or two, with what is open still."""
    if not len(spans):
        return "There was nothing to do."
    left = int((~spans.done).sum())
    half = still_open(spans).within()
    said = (
        "Fewer than half are done so far."
        if half is None
        else "Half of them were done on the day itself."
        if half == 0
        else f"Half of them were done within {_days(half)}."
    )
    if not left:
        return f"{said} None of {len(spans)} is open still."
    oldest = int(spans.days[~spans.done].max())
    are = "is" if left == 1 else "are"
    long = f"for {_days(oldest)}" if oldest else "since today"
    which = "it has been so" if left == 1 else "the oldest has been so"
    return f"{said} {left} of {len(spans)} {are} open still; {which} {long}."


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"
