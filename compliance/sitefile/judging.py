"""What the records amount to: on time or late, looked at or not, valid or lapsed.

Everything is judged as it stood on a day that is given. Sources of the questions: the trade's
practice of asking for visits due against visits done, and competence on the day of each visit.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from compliance.evidence import Standing
from compliance.sitefile.content import (
    Action,
    Competence,
    Coverage,
    Document,
    Monitor,
    Outcome,
    Person,
    Reading,
    SiteFile,
    Visit,
)
from compliance.sitefile.words import local_day

ASKED = (Standing.MISSING, Standing.NOT_CURRENT, Standing.CURRENT)
"""Where there is something to show or to miss."""

UNREAD_CONDITIONS = frozenset({"missing", "blocked"})


@dataclass(frozen=True, slots=True)
class Timing:
    """A word, and how it is to be looked at: sound, due, late or unknown."""

    word: str
    look: str


def timing(visit: Visit, zone: str, today: date) -> Timing:
    """Whether a visit was on time. A call-out is measured by its deadline, others by the window."""
    if visit.outcome is Outcome.MISSED:
        return Timing("Missed", "late")
    if visit.outcome is Outcome.CALLED_OFF:
        return Timing("Called off", "unknown")
    if visit.outcome is Outcome.OPEN:
        overdue = today > visit.closes_on
        return Timing("Overdue", "late") if overdue else Timing("Still due", "due")
    came_at = visit.started_at or visit.closed_at
    if came_at is None:
        return Timing("Closed", "unknown")
    if visit.respond_by is not None:
        in_time = came_at <= visit.respond_by
        return Timing("In time", "sound") if in_time else Timing("Late", "late")
    came_on = local_day(came_at, zone)
    if came_on < visit.opens_on:
        return Timing("Early", "due")
    if came_on > visit.closes_on:
        return Timing("Late", "late")
    return Timing("On time", "sound")


def total_coverage(visits: Iterable[Visit]) -> Coverage:
    """Of everything that was due on the closed visits, how much was looked at."""
    closed = [visit.coverage for visit in visits if visit.outcome is Outcome.CLOSED]
    return Coverage(
        sum(one.checkpoints_due for one in closed),
        sum(one.checkpoints_looked for one in closed),
        sum(one.monitors_due for one in closed),
        sum(one.monitors_read for one in closed),
    )


def due_and_looked(coverage: Coverage) -> tuple[int, int]:
    """Checkpoints and monitors together: how many were due, how many were looked at."""
    return (
        coverage.checkpoints_due + coverage.monitors_due,
        coverage.checkpoints_looked + coverage.monitors_read,
    )


def uncovered_days(person: Person) -> tuple[date, ...]:
    """Days on which the person visited without a valid competence of each kind asked for.

    Where a visit asks for none in particular, any valid competence will do.
    """
    uncovered = []
    for attendance in person.attended:
        valid = {one.kind for one in person.competences if one.is_valid_on(attendance.day)}
        asked = set(attendance.asked)
        if not (asked <= valid if asked else valid):
            uncovered.append(attendance.day)
    return tuple(uncovered)


def days_valid(competence: Competence, person: Person) -> tuple[int, int]:
    """On how many of the days the person visited the competence counted, and how many they were."""
    days = {attendance.day for attendance in person.attended}
    return sum(competence.is_valid_on(day) for day in days), len(days)


def was_read(reading: Reading) -> bool:
    """Whether the monitor could be read: a missing or blocked one shows nothing."""
    return reading.condition_code not in UNREAD_CONDITIONS


def caught(reading: Reading) -> int:
    """How many pests of all kinds the monitor held."""
    return sum(count for _, count in reading.counts)


def shows_something(reading: Reading) -> bool:
    """Whether there is more to say than that it stood sound and held nothing."""
    return bool(
        caught(reading)
        or reading.bait_code in {"part", "all"}
        or reading.condition_code != "sound"
        or reading.note
    )


def stood_on(monitor: Monitor, day: date) -> bool:
    """Whether the monitor was in place on that day."""
    return monitor.placed_on <= day and (monitor.removed_on is None or day <= monitor.removed_on)


def is_overdue(action: Action, today: date) -> bool:
    """Whether an open action's day has passed."""
    return action.is_open and not action.declined and action.due_on < today


def has_lapsed(document: Document, today: date) -> bool:
    """Whether a document no longer counts: its last day has passed."""
    return document.expires_on is not None and document.expires_on < today


def last_day(file: SiteFile, today: date) -> date:
    """The day on which the period is judged: its last, or today while it still runs."""
    return min(file.period_to, today)


@dataclass(frozen=True, slots=True)
class Glance:
    """The figures of the first page."""

    due: int
    closed: int
    on_time: int
    missed: int
    called_off: int
    still_open: int
    places_due: int
    places_looked: int
    actions_open: int
    actions_overdue: int
    waiting_to_be_reached: int
    treatments: int
    evidence_current: int
    evidence_asked: int


def glance(file: SiteFile, today: date) -> Glance:
    """Counts over the whole period, as things stood on the day."""

    def number(*outcomes: Outcome) -> int:
        return sum(visit.outcome in outcomes for visit in file.visits)

    in_time = {"On time", "In time", "Early"}
    standings = [one.standing for one in file.evidence if one.standing in ASKED]
    places_due, places_looked = due_and_looked(total_coverage(file.visits))
    return Glance(
        due=len(file.visits),
        closed=number(Outcome.CLOSED),
        on_time=sum(timing(visit, file.site.zone, today).word in in_time for visit in file.visits),
        missed=number(Outcome.MISSED),
        called_off=number(Outcome.CALLED_OFF),
        still_open=number(Outcome.OPEN),
        places_due=places_due,
        places_looked=places_looked,
        actions_open=sum(action.is_open for action in file.actions),
        actions_overdue=sum(is_overdue(action, today) for action in file.actions),
        waiting_to_be_reached=sum(one.reached_on is None for one in file.not_reached),
        treatments=sum(len(visit.treatments) for visit in file.visits),
        evidence_current=standings.count(Standing.CURRENT),
        evidence_asked=len(standings),
    )


def latest_reading(number: int, readings: Sequence[Reading]) -> Reading | None:
    """The last reading of a monitor by day, later ones of the same day winning."""
    of_monitor = [reading for reading in readings if reading.monitor == number]
    return max(of_monitor, key=lambda reading: reading.day, default=None)
