"""When a thing happened that a phone tells of later, and how long a visit took. Pure.

A technician's phone may have been set wrong for days, and it records where nothing can tell it. So
it measures, whenever it meets the server, by how many seconds its clock is ahead of the server's,
and says so with everything that it records from then on. Instants are aware, those that come out
are UTC, and so is all arithmetic: between two instants of one zone Python counts by the clock on
the wall, which is an hour out when the clocks change. docs/sync.md (Clocks) works an example;
docs/decisions/0010-whose-clock-stands-in-the-record.md says why.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

TOLERATED = timedelta(minutes=2)
"""As long as a clock is no further off, what it says stands. A slow line makes a measurement wrong
by seconds, and a record should say what its technician saw on the phone."""

MOST_AHEAD = 100 * 366 * 86_400
"""Seconds, either way: a century. A phone that has forgotten the time begins at 1970."""

CLOCKS_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
CLOCKS_END = datetime(2100, 1, 1, tzinfo=UTC)
NOTHING_BEFORE = datetime(2000, 1, 1, tzinfo=UTC)

TYPED_AHEAD = timedelta(days=1)
"""As long as it lies no further ahead of its arrival, an instant that was typed stands: it may be a
little ahead by intent, and by most of a day where the phone was set to another zone."""


@dataclass(frozen=True, slots=True)
class ClockOff:
    """By how many seconds a phone's clock was ahead; below zero it was behind.

    Where it was never ``measured`` it was ahead by at least as much, as what it recorded reached us
    before it had happened.
    """

    seconds: int
    measured: bool = True

    @property
    def sentence(self) -> str:
        """The phone's clock was 3 days fast; times here are corrected."""
        way = "fast" if self.seconds > 0 else "slow"
        span = in_words(self.seconds)
        if self.measured:
            return f"The phone's clock was {span} {way}; times here are corrected."
        return (
            f"The phone's clock was at least {span} {way}; what it dated later than that stands at "
            "the time it reached us."
        )


@dataclass(frozen=True, slots=True)
class When:
    """When an operation happened: ``at`` stands in the record; ``clock`` is None if right."""

    at: datetime
    received_at: datetime
    clock: ClockOff | None = None


def when(made_at: datetime, *, ahead: int | None, received_at: datetime) -> When:
    """All that is known of when an operation happened; the arguments are ``happened_at``'s."""
    return When(
        at=happened_at(made_at, ahead=ahead, received_at=received_at),
        received_at=received_at,
        clock=clock_off(made_at, ahead=ahead, received_at=received_at),
    )


def happened_at(made_at: datetime, *, ahead: int | None, received_at: datetime) -> datetime:
    """The instant for the record of what a phone made at ``made_at`` by its own clock.

    ``ahead`` is by how many seconds that clock was ahead when it was last measured (below zero:
    behind), None if it never was. It is taken off where it is more than two minutes. Nothing
    happened after it was received: what would lie later stands at ``received_at``, the one bound
    that is certain. There is no other bound, since a record may have lain on a phone for months.
    """
    return min(corrected(made_at, ahead), received_at.astimezone(UTC))


def corrected(made_at: datetime, ahead: int | None) -> datetime:
    """What a right clock would have shown when a phone's clock showed ``made_at``."""
    by = timedelta(seconds=ahead or 0)
    return made_at.astimezone(UTC) - (by if abs(by) > TOLERATED else timedelta())


def is_possible(made_at: datetime, ahead: int | None) -> bool:
    """Whether a phone may have shown that, and whether a visit may have been made then."""
    return (
        CLOCKS_BEGIN <= made_at < CLOCKS_END
        and abs(ahead or 0) <= MOST_AHEAD
        and corrected(made_at, ahead) >= NOTHING_BEFORE
    )


def clock_off(made_at: datetime, *, ahead: int | None, received_at: datetime) -> ClockOff | None:
    """By how much the clock was off, if by more than two minutes as far as anybody can tell."""
    if ahead is not None and abs(timedelta(seconds=ahead)) > TOLERATED:
        return ClockOff(ahead)
    before = made_at.astimezone(UTC) - received_at.astimezone(UTC)
    return ClockOff(before // timedelta(seconds=1), measured=False) if before > TOLERATED else None


def furthest_off(clocks: Iterable[ClockOff | None]) -> ClockOff | None:
    """The one that was most wrong; None where all were right."""
    return max(filter(None, clocks), key=lambda one: abs(one.seconds), default=None)


def typed_at(typed: datetime, *, at: datetime, received_at: datetime) -> datetime:
    """An instant that somebody typed into a record which they made ``at``.

    It stands as it was typed, unless it lies more than a day after it was received. That cannot be
    true, and comes of a clock that nobody had measured; what is known is that the thing was done by
    the time it was recorded.
    """
    return at if typed > received_at.astimezone(UTC) + TYPED_AHEAD else typed


def minutes_between(started_at: datetime, closed_at: datetime) -> int:
    """Whole minutes from the start of a visit to its closing, half a minute rounded up."""
    passed = max(closed_at.astimezone(UTC) - started_at.astimezone(UTC), timedelta())
    return (passed + timedelta(seconds=30)) // timedelta(minutes=1)


def in_words(seconds: int) -> str:
    """3 days, 36 hours, 4 minutes: in the largest unit of which there are two, as on the phone."""
    minutes = (abs(seconds) + 30) // 60
    units = ((24 * 60, "day"), (60, "hour"))
    size, unit = next((one for one in units if minutes >= 2 * one[0]), (1, "minute"))
    many = (minutes + size // 2) // size
    return f"{many} {unit}{'' if many == 1 else 's'}"
