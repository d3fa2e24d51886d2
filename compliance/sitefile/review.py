"""What a client's quarter amounts to, site by site: the content of a review, for page and paper.

Pure. Days and the quarter are by each site's own calendar; ``made`` says when all was counted, as
what is not reached, outstanding or saved is told as it stood at that moment.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from compliance.sitefile.content import Company, Coverage, Made, Outcome, TrendMonth, Visit
from compliance.sitefile.judging import due_and_looked, timing

IN_TIME = frozenset({"On time", "In time", "Early"})


@dataclass(frozen=True, slots=True)
class Kept:
    """Visits whose due window ended in the quarter, as things stood on the day.

    ``due``: those that ought to have been made by then, called-off ones not among them; ``kept``:
    made by the last day of their window, call-outs by their deadline; ``missed``: not made, and the
    window is over. ``to_come``: the window is still open.
    """

    due: int = 0
    kept: int = 0
    late: int = 0
    missed: int = 0
    called_off: int = 0
    to_come: int = 0

    def __add__(self, other: "Kept") -> "Kept":
        return Kept(
            self.due + other.due,
            self.kept + other.kept,
            self.late + other.late,
            self.missed + other.missed,
            self.called_off + other.called_off,
            self.to_come + other.to_come,
        )


@dataclass(frozen=True, slots=True)
class Unreached:
    """A place that still waits to be reached."""

    zone: str
    what: str
    reason: str
    whose_move: str
    since: date
    days: int
    times: int


@dataclass(frozen=True, slots=True)
class Picture:
    """How one pest stood at a site, month by month up to the end of the quarter."""

    pest: str
    months: tuple[TrendMonth, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Decided:
    """What the client decided in the quarter, and how far the work is by now."""

    action_id: str
    number: int
    title: str
    outcome: str
    option: str
    reason: str
    by: str
    on: date
    state: str


@dataclass(frozen=True, slots=True)
class Outstanding:
    """Options that wait for the client's word. ``asked``: who is to say it, if named."""

    action_id: str
    number: int
    title: str
    since: date
    days: int
    due_on: date
    asked: str


@dataclass(frozen=True, slots=True)
class SealedWork:
    """One checked sealing and what it has saved so far, in sentences."""

    action_id: str
    number: int
    title: str
    zone: str
    on: date
    state: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Raised:
    """An alarm of the quarter: more than usual, and what came of it."""

    month: date
    zone: str
    pest: str
    words: str
    is_open: bool
    explanation: str


@dataclass(frozen=True, slots=True)
class SiteReview:
    """One site's quarter. ``picture`` is None where nothing was caught in the year before its end;
    ``picture_words`` says so, or that nothing was counted."""

    site_id: str
    name: str
    zone: str
    kept: Kept
    coverage: Coverage
    picture: Picture | None = None
    picture_words: str = ""
    not_reached: tuple[Unreached, ...] = ()
    decided: tuple[Decided, ...] = ()
    outstanding: tuple[Outstanding, ...] = ()
    sealed: tuple[SealedWork, ...] = ()
    alarms: tuple[Raised, ...] = ()

    @property
    def alarms_answered(self) -> int:
        return sum(not one.is_open for one in self.alarms)

    @property
    def coverage_counts(self) -> tuple[int, int]:
        """Places that were due to be looked at, and those that were."""
        return due_and_looked(self.coverage)


@dataclass(frozen=True, slots=True)
class Totals:
    """The same over all sites, for the first page."""

    sites: int
    kept: Kept
    places_due: int
    places_looked: int
    not_reached: int
    decided: int
    outstanding: int
    alarms: int
    alarms_answered: int


@dataclass(frozen=True, slots=True)
class Review:
    """A quarter of a client. ``saved``: what all its sealing has saved so far, in sentences.

    ``time_zone``: in which the paper says when it was made.
    """

    company: Company
    client: str
    quarter: str
    first: date
    last: date
    made: Made
    time_zone: str
    sites: tuple[SiteReview, ...]
    saved: tuple[str, ...]

    @property
    def totals(self) -> Totals:
        due, looked = (sum(pair) for pair in zip(*_counts(self.sites), strict=True))
        return Totals(
            sites=len(self.sites),
            kept=sum((one.kept for one in self.sites), Kept()),
            places_due=due,
            places_looked=looked,
            not_reached=sum(len(one.not_reached) for one in self.sites),
            decided=sum(len(one.decided) for one in self.sites),
            outstanding=sum(len(one.outstanding) for one in self.sites),
            alarms=sum(len(one.alarms) for one in self.sites),
            alarms_answered=sum(one.alarms_answered for one in self.sites),
        )


def _counts(sites: Iterable[SiteReview]) -> list[tuple[int, int]]:
    return [(0, 0), *(one.coverage_counts for one in sites)]


def kept_of(visits: Iterable[Visit], zone: str, today: date) -> Kept:
    """How many of some visits were made when they were due, as it stood on a day of the site."""
    total = Kept()
    for visit in visits:
        word = timing(visit, zone, today).word
        if visit.outcome is Outcome.CALLED_OFF:
            total += Kept(called_off=1)
        elif word == "Still due":
            total += Kept(to_come=1)
        elif word in IN_TIME:
            total += Kept(due=1, kept=1)
        elif visit.outcome is Outcome.CLOSED:
            total += Kept(due=1, late=1)
        else:
            total += Kept(due=1, missed=1)
    return total
