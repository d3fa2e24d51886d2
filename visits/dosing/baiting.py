"""Bait for rodents, point by point: what was laid, what is left, and when it must be reviewed.

Bait is not left lying: whoever baits on past the review day says why, and at the end all of it is
lifted (CRRU UK Code 2015: points and amounts on record, used only as long as needed, a review by
day 35 with its cause). Amounts are in grams, exact; days are dates in the site's own zone.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from itertools import groupby

from visits.dosing.days import day_words
from visits.dosing.showing import shown
from visits.dosing.units import Quantity

REVIEW_DAYS = 35
"""Source: CRRU UK Code 2015, text-seen; a company may review sooner."""

_NOTHING = Fraction(0)


@dataclass(frozen=True, slots=True)
class BaitEvent:
    """What happened at a point on one day, in g.

    ``lifted`` None: nobody lifted anything; zero: it was to be lifted and nothing was left.
    ``ended``: the point itself was taken away. Raises ``ValueError`` for less than nothing.
    """

    on: date
    laid: Fraction = _NOTHING
    taken: Fraction = _NOTHING
    lifted: Fraction | None = None
    ended: bool = False

    def __post_init__(self) -> None:
        if min(self.laid, self.taken, self.lifted or _NOTHING) < 0:
            raise ValueError("nobody lays, takes or lifts less than nothing")


@dataclass(frozen=True, slots=True)
class BaitLine:
    """One day at a point, in g, and what lay there at its end."""

    on: date
    laid: Fraction
    taken: Fraction
    lifted: Fraction
    balance: Fraction


@dataclass(frozen=True, slots=True)
class PointState:
    """How things stand at one point on the day asked about.

    ``open_since`` is the first day of the baiting that still goes on, None where nothing lies:
    bait that was all eaten goes on until somebody lifts what is left or takes the point away.
    ``balance`` is what should lie there by the record; below zero (``is_negative``) more was taken
    away than was laid, so a record is wrong. ``astray`` is what was not accounted for when earlier
    baiting ended. ``days_open`` counts from ``open_since``, which is day 0.
    """

    open_since: date | None
    last_on: date | None
    laid: Fraction
    taken: Fraction
    lifted: Fraction
    balance: Fraction
    astray: Fraction
    days_open: int
    lines: tuple[BaitLine, ...]

    @property
    def is_open(self) -> bool:
        return self.open_since is not None

    @property
    def is_negative(self) -> bool:
        return self.balance < 0 or self.astray < 0


def point_state(events: Iterable[BaitEvent], *, on: date) -> PointState:
    """How a point stands on a day; events of later days are passed over, order does not matter.

    Events of one day count together: what was eaten and renewed on a visit leaves no gap. Baiting
    of a point ends on the day on which bait was lifted and nothing is left, or the point was taken
    away; what is laid afterwards begins anew.
    """
    known = sorted((one for one in events if one.on <= on), key=lambda one: one.on)
    since: date | None = None
    balance, astray = _NOTHING, _NOTHING
    lines = []
    for day, rows in groupby(known, key=lambda one: one.on):
        of_day = list(rows)
        laid = _total(one.laid for one in of_day)
        taken = _total(one.taken for one in of_day)
        lifted = _total(one.lifted or _NOTHING for one in of_day)
        balance += laid - taken - lifted
        lines.append(BaitLine(day, laid, taken, lifted, balance))
        if since is None and laid > 0:
            since = day
        looked_for_rest = any(one.lifted is not None for one in of_day)
        if any(one.ended for one in of_day) or (looked_for_rest and balance <= 0):
            astray, since, balance = astray + balance, None, _NOTHING
    return PointState(
        open_since=since,
        last_on=lines[-1].on if lines else None,
        laid=_total(line.laid for line in lines),
        taken=_total(line.taken for line in lines),
        lifted=_total(line.lifted for line in lines),
        balance=balance,
        astray=astray,
        days_open=(on - since).days if since else 0,
        lines=tuple(lines),
    )


@dataclass(frozen=True, slots=True)
class BaitReview:
    """A review of all bait of a site: why it stays, or that it is to be lifted."""

    on: date
    cause: str
    goes_on: bool = True


@dataclass(frozen=True, slots=True)
class BaitingState:
    """How the baiting of a site or zone stands. ``open_points`` are keys, longest open first.

    ``review_due_on`` is the last day on which it is in time; ``is_overdue`` from the day after.
    ``is_open_ended``: it is overdue, and nobody ever wrote down why bait still lies.
    """

    open_since: date | None
    open_points: tuple[str, ...]
    negative_points: tuple[str, ...]
    balance: Fraction
    days_open: int
    reviewed_on: date | None
    is_to_be_lifted: bool
    review_due_on: date | None
    is_overdue: bool
    is_open_ended: bool
    words: str

    @property
    def is_lifted(self) -> bool:
        """No bait lies anywhere."""
        return not self.open_points


def baiting_state(
    points: Mapping[str, PointState],
    reviews: Sequence[BaitReview],
    *,
    on: date,
    review_days: int = REVIEW_DAYS,
) -> BaitingState:
    """How the baiting of these points stands on the day on which their states were taken.

    A review counts if it was made since the baiting began and says why. One that lets it go on
    moves the review day to ``review_days`` after it; one by which bait is to be lifted does not,
    so that bait which lies on all the same comes up again. Raises ``ValueError`` for no days.
    """
    if review_days < 1:
        raise ValueError("a review comes after a day at least")
    open_points = sorted(
        ((one.open_since, key) for key, one in points.items() if one.open_since is not None)
    )
    since = open_points[0][0] if open_points else None
    counted = [
        one
        for one in sorted(reviews, key=lambda one: one.on)
        if since is not None and since <= one.on <= on and one.cause.strip()
    ]
    balance = _total(one.balance for one in points.values())
    to_be_lifted = bool(counted) and not counted[-1].goes_on
    due_on, words = None, "No bait lies here."
    if since is not None:
        from_on = max([since, *(one.on for one in counted if one.goes_on)])
        due_on = from_on + timedelta(days=review_days)
        words = _words(len(open_points), balance, since, due_on, on, to_be_lifted, bool(counted))
    overdue = due_on is not None and on > due_on
    return BaitingState(
        open_since=since,
        open_points=tuple(key for _, key in open_points),
        negative_points=tuple(key for key, one in points.items() if one.is_negative),
        balance=balance,
        days_open=(on - since).days if since else 0,
        reviewed_on=counted[-1].on if counted else None,
        is_to_be_lifted=to_be_lifted,
        review_due_on=due_on,
        is_overdue=overdue,
        is_open_ended=overdue and not counted,
        words=words,
    )


def _words(
    count: int,
    balance: Fraction,
    since: date,
    due_on: date,
    on: date,
    to_be_lifted: bool,
    was_reviewed: bool,
) -> str:
    """How it stands, in sentences."""
    points = "one point" if count == 1 else f"{count} points"
    days = (on - since).days
    lies = f"Bait lies at {points} since {day_words(since)}, {days} day{'' if days == 1 else 's'}"
    said = [f"{lies}: {shown(Quantity(max(balance, _NOTHING), 'g'))} by the record."]
    if to_be_lifted:
        said.append("By the last review it is to be lifted.")
    if on <= due_on:
        said.append(f"Review it by {day_words(due_on)}.")
    elif was_reviewed:
        said.append(f"The review was due on {day_words(due_on)}: say why it goes on, or lift it.")
    else:
        said.append(
            f"The review was due on {day_words(due_on)}, and nobody has said why it goes on: "
            "say so, or lift it."
        )
    return " ".join(said)


def _total(amounts: Iterable[Fraction]) -> Fraction:
    return sum(amounts, _NOTHING)
