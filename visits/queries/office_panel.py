"""What the office sees beside a visit that is not closed: how it stands, and what may be done."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from accounts.models import TrailEntry, User
from accounts.trail_words import sentence_of
from sites.models import AccessWindow
from visits.models import ParkedOperation, Visit
from visits.queries.objections import Objection, objections, words_of
from visits.queries.phone_clock import phone_clock_of

ON_THE_PLAN = (Visit.State.PLANNED, Visit.State.BOOKED)
ENTRIES_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Happened:
    """One entry of the trail, in words."""

    at: datetime
    who: str
    what: str
    note: str


@dataclass(frozen=True, slots=True)
class OfficePanel:
    """Everything the panel shows. ``objections`` are those against the booking as it stands."""

    visit: Visit
    today: date
    late: bool
    may_plan: bool
    may_be_missed: bool
    technicians: Sequence[User]
    objections: Sequence[Objection]
    access_windows: Sequence[AccessWindow]
    follow_ups: Sequence[Visit]
    parked: int
    clock_note: str
    history: Sequence[Happened]


def office_panel(visit: Visit, *, now: datetime) -> OfficePanel:
    """The panel of one visit, whose ``site`` and ``line`` are at hand. Eleven queries at most."""
    today = visit.site.day_of(now)
    booked = visit.state == Visit.State.BOOKED
    against: list[Objection] = []
    if booked and visit.technician and visit.booked_on:
        found = objections(
            [visit], technician=visit.technician, day=visit.booked_on, at=visit.booked_at_time
        )
        against = found[visit.pk]
    counts_from = min(visit.opens_on, visit.booked_on or visit.opens_on)
    may_plan = visit.state in ON_THE_PLAN
    clock = phone_clock_of(visit)
    return OfficePanel(
        visit=visit,
        today=today,
        late=_is_late(visit, today, now),
        may_plan=may_plan,
        may_be_missed=may_plan and today >= counts_from,
        technicians=list(
            User.objects.filter(role=User.Role.TECHNICIAN, is_active=True).order_by("name", "pk")
        ),
        objections=against,
        access_windows=list(visit.site.access_windows.order_by("weekday", "opens", "pk")),
        follow_ups=list(visit.followed_by.order_by("due_on", "pk")),
        parked=ParkedOperation.objects.filter(visit=visit, settled_at__isnull=True).count(),
        clock_note=clock.sentence if clock else "",
        history=[_told(entry) for entry in _entries(visit)],
    )


def _is_late(visit: Visit, today: date, now: datetime) -> bool:
    """The same rule as ``lateness.is_late``, for one visit at hand."""
    if not visit.is_open:
        return False
    unanswered = (
        visit.respond_by is not None and visit.respond_by < now and visit.started_at is None
    )
    return visit.closes_on < today or unanswered


def _entries(visit: Visit) -> Iterable[TrailEntry]:
    return TrailEntry.objects.filter(target_id=str(visit.pk), target_type="visits.visit").order_by(
        "-pk"
    )[:ENTRIES_SHOWN]


def _told(entry: TrailEntry) -> Happened:
    return Happened(entry.at, entry.actor_name, sentence_of(entry.verb), _note(entry.facts))


def _note(facts: dict[str, Any]) -> str:
    """What is worth reading of an entry's facts: who and when, days, the reason."""
    new = facts.get("new") or {}
    words = []
    if new.get("technician"):
        time = f", {new['time'][:5]}" if new.get("time") else ""
        words.append(f"{new['technician']}, {_day(new['day'])}{time}")
    if new.get("due"):
        words.append(f"due {_day(new['due'])}, {_day(new['opens'])} to {_day(new['closes'])}")
    if new.get("minutes"):
        words.append(f"{new['minutes']} minutes")
    if facts.get("reason"):
        words.append(str(facts["reason"]))
    if facts.get("problem"):
        words.append(str(facts["problem"]))
    if facts.get("despite_access"):
        words.append("outside the hours of access")
    return "; ".join(words)


def _day(text: str) -> str:
    return words_of(date.fromisoformat(text))
