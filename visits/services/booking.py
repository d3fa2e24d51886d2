"""Verbs of the office's plan: book, move, call off, miss, add, take a call-out.

Each locks the visit and looks at it again, since what a page showed is a rumour. ``seen_version``
is the version that the person saw; a visit that changed since is not changed over their head.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Min, Q
from django.utils import timezone

from accounts.models import Role, User
from accounts.refusals import Changed, NotAllowed, Refused, Unusable, WrongState, require_state
from accounts.trail import record
from sites.access import sites_visible_to
from sites.models import Contract, Site
from visits.access import require_may_plan
from visits.models import Visit
from visits.queries.objections import Objection, objections, words_of

DEFAULT_RESPONSE_HOURS = 24
CALL_OUT_MINUTES = 60
FOLLOW_UP_MINUTES = 45
MOST_AT_ONCE = 200

ON_THE_PLAN = (Visit.State.PLANNED, Visit.State.BOOKED)


@dataclass(frozen=True, slots=True)
class Booked:
    """What became of one visit of many: the refusal, or None."""

    visit_id: UUID
    refusal: Refused | None


def _locked(visit_id: UUID, seen_version: int | None) -> Visit:
    """The visit, locked until the transaction ends. One query.

    Raises ``Changed`` if it is gone or has another version than the one that was seen.
    """
    visit = (
        Visit.objects.select_for_update(of=("self",))
        .select_related("site", "technician", "line")
        .filter(pk=visit_id)
        .first()
    )
    if visit is None:
        raise Changed("This visit is no longer on the plan; its service line has changed.")
    if seen_version is not None and visit.version != seen_version:
        raise Changed(
            f"Somebody changed this visit meanwhile: it is now {_standing(visit)}. "
            "Look at it again before you change it.",
            version=visit.version,
            seen=seen_version,
        )
    return visit


def _standing(visit: Visit) -> str:
    """How the visit stands, in words."""
    state = visit.get_state_display().lower()
    if visit.state == Visit.State.BOOKED and visit.booked_on:
        return f"{state} for {visit.technician} on {words_of(visit.booked_on)}"
    return f"{state}, due {words_of(visit.due_on)}"


def _save(visit: Visit, *fields: str) -> None:
    visit.version += 1
    visit.save(update_fields=[*fields, "version"])


def _require_reason(reason: str) -> str:
    reason = reason.strip()
    if not reason:
        raise Unusable("Say why; the reason stays on the record.", code="reason_missing")
    if len(reason) > 300:
        raise Unusable("Keep the reason under 300 characters.", code="reason_too_long")
    return reason


def _require_days_in_order(due_on: date, opens_on: date, closes_on: date) -> None:
    if not opens_on <= due_on <= closes_on:
        raise Unusable(
            "The due day must lie between the first and the last day that count as on time.",
            code="days_out_of_order",
        )


@transaction.atomic
def book_visit(
    visit_id: UUID,
    *,
    by: User,
    technician: User,
    day: date,
    time: time | None = None,
    despite_access: bool = False,
    seen_version: int | None = None,
) -> Visit:
    """Book a visit, or book it anew, for a technician on a day; ``time`` is local to the site.

    A day outside the due window is allowed and stays visible as such. ``despite_access`` says that
    somebody has agreed to open the premises outside their hours. Raises ``NotAllowed``,
    ``Changed``, ``WrongState``, and ``Refused`` with the code of the first objection.
    """
    require_may_plan(by)
    # The technician's row is locked first: two bookings at once see each other.
    technician = User.objects.select_for_update(no_key=True).get(pk=technician.pk)
    visit = _locked(visit_id, seen_version)
    require_state(visit, *ON_THE_PLAN)
    found = objections([visit], technician=technician, day=day, at=time)[visit.pk]
    for objection in found:
        if objection.final or not despite_access:
            raise Refused(objection.sentence, code=objection.code, **objection.facts)
    before = {
        "technician": visit.technician.name if visit.technician else None,
        "day": visit.booked_on,
        "time": visit.booked_at_time,
    }
    visit.state = Visit.State.BOOKED
    visit.technician, visit.booked_on, visit.booked_at_time = technician, day, time
    _save(visit, "state", "technician", "booked_on", "booked_at_time")
    record(
        by,
        "visit.booked",
        visit,
        old=before,
        new={"technician": technician.name, "day": day, "time": time},
        on_time=visit.opens_on <= day <= visit.closes_on,
        despite_access=bool(found),
    )
    return visit


def book_visits(
    seen: Sequence[tuple[UUID, int]],
    *,
    by: User,
    technician: User,
    day: date,
    despite_access: bool = False,
) -> list[Booked]:
    """Book many visits for one technician on one day, each in its own right: one no stops no other.

    ``seen`` names each visit and the version that was seen. Answers in the same order.
    """
    require_may_plan(by)
    return _each(
        seen,
        lambda visit_id, version: book_visit(
            visit_id,
            by=by,
            technician=technician,
            day=day,
            despite_access=despite_access,
            seen_version=version,
        ),
    )


def unbook_visits(seen: Sequence[tuple[UUID, int]], *, by: User) -> list[Booked]:
    """Take many visits off the plan again, each in its own right. Answers in the same order."""
    require_may_plan(by)
    return _each(
        seen, lambda visit_id, version: unbook_visit(visit_id, by=by, seen_version=version)
    )


def _each(seen: Sequence[tuple[UUID, int]], verb: Callable[[UUID, int], Visit]) -> list[Booked]:
    if len(seen) > MOST_AT_ONCE:
        raise Unusable(f"Take at most {MOST_AT_ONCE} visits at once.", code="too_many")
    outcomes = []
    for visit_id, version in seen:
        try:
            verb(visit_id, version)
        except Refused as refusal:
            outcomes.append(Booked(visit_id, refusal))
        else:
            outcomes.append(Booked(visit_id, None))
    return outcomes


def preview_bookings(
    visits: Sequence[Visit], *, technician: User, day: date
) -> dict[UUID, list[Objection]]:
    """What ``book_visits`` would say to each visit now. Five queries, however many visits."""
    found = objections(visits, technician=technician, day=day, at=None)
    for visit in visits:
        if visit.state not in ON_THE_PLAN:
            found[visit.pk].insert(
                0, Objection("wrong_state", f"It is {visit.get_state_display().lower()}.")
            )
    return found


@transaction.atomic
def unbook_visit(visit_id: UUID, *, by: User, seen_version: int | None = None) -> Visit:
    """Take a booked visit off its day and technician; it stays due.

    Raises ``NotAllowed``, ``Changed``, or ``WrongState`` unless it is booked.
    """
    require_may_plan(by)
    visit = _locked(visit_id, seen_version)
    require_state(visit, Visit.State.BOOKED)
    before = {
        "technician": visit.technician.name if visit.technician else None,
        "day": visit.booked_on,
        "time": visit.booked_at_time,
    }
    visit.state = Visit.State.PLANNED
    visit.technician = visit.booked_on = visit.booked_at_time = None
    _save(visit, "state", "technician", "booked_on", "booked_at_time")
    record(by, "visit.unbooked", visit, old=before)
    return visit


@transaction.atomic
def move_visit(
    visit_id: UUID,
    *,
    by: User,
    due_on: date,
    opens_on: date,
    closes_on: date,
    seen_version: int | None = None,
) -> Visit:
    """Move the due days of this visit only; its recurrence no longer moves them.

    A booking stays as it is. Raises ``NotAllowed``, ``Changed``, ``WrongState`` or ``Unusable``.
    """
    require_may_plan(by)
    visit = _locked(visit_id, seen_version)
    require_state(visit, *ON_THE_PLAN)
    _require_days_in_order(due_on, opens_on, closes_on)
    if visit.kind == Visit.Kind.CALL_OUT:
        raise WrongState("A call-out keeps the deadline that was promised; book it instead.")
    before = {"due": visit.due_on, "opens": visit.opens_on, "closes": visit.closes_on}
    visit.due_on, visit.opens_on, visit.closes_on = due_on, opens_on, closes_on
    visit.moved_by_hand = True
    _save(visit, "due_on", "opens_on", "closes_on", "moved_by_hand")
    record(
        by,
        "visit.moved",
        visit,
        old=before,
        new={"due": due_on, "opens": opens_on, "closes": closes_on},
    )
    return visit


@transaction.atomic
def change_visit_note(
    visit_id: UUID, *, by: User, minutes: int, office_note: str, seen_version: int | None = None
) -> Visit:
    """Change how long a visit is expected to take and what the technician is told.

    Raises ``NotAllowed``, ``Changed``, ``WrongState`` or ``Unusable``.
    """
    require_may_plan(by)
    visit = _locked(visit_id, seen_version)
    require_state(visit, *ON_THE_PLAN)
    if not 5 <= minutes <= 1440:
        raise Unusable("A visit takes between 5 minutes and a day.", code="minutes_out_of_range")
    before = {"minutes": visit.minutes, "office_note": visit.office_note}
    visit.minutes, visit.office_note = minutes, office_note.strip()
    _save(visit, "minutes", "office_note")
    record(
        by,
        "visit.changed",
        visit,
        old=before,
        new={"minutes": visit.minutes, "office_note": visit.office_note},
    )
    return visit


@transaction.atomic
def call_off_visit(
    visit_id: UUID, *, by: User, reason: str, seen_version: int | None = None
) -> Visit:
    """Call off a visit that will not be made, with the reason.

    Raises ``NotAllowed``, ``Changed``, ``WrongState`` once it is under way, or ``Unusable``.
    """
    require_may_plan(by)
    reason = _require_reason(reason)
    visit = _locked(visit_id, seen_version)
    require_state(visit, *ON_THE_PLAN)
    was = visit.state
    visit.state, visit.state_reason = Visit.State.CALLED_OFF, reason
    _save(visit, "state", "state_reason")
    record(by, "visit.called_off", visit, reason=reason, was=was, due=visit.due_on)
    return visit


@transaction.atomic
def miss_visit(
    visit_id: UUID,
    *,
    by: User,
    reason: str,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> Visit:
    """Record that a visit was not made though it was due, with the reason.

    ``at`` is now unless said. Raises ``NotAllowed``, ``Changed``, ``WrongState`` before the visit
    was due at its site or once it is under way, or ``Unusable``.
    """
    require_may_plan(by)
    reason = _require_reason(reason)
    visit = _locked(visit_id, seen_version)
    require_state(visit, *ON_THE_PLAN)
    counts_from = min(visit.opens_on, visit.booked_on or visit.opens_on)
    if visit.site.day_of(at or timezone.now()) < counts_from:
        raise WrongState(
            f"{visit} is not due before {words_of(counts_from)}; call it off instead.",
            due=visit.due_on,
        )
    was = visit.state
    visit.state, visit.state_reason = Visit.State.MISSED, reason
    _save(visit, "state", "state_reason")
    record(by, "visit.missed", visit, reason=reason, was=was, due=visit.due_on)
    return visit


@transaction.atomic
def add_visit(
    site_id: UUID,
    *,
    by: User,
    kind: str,
    due_on: date,
    opens_on: date,
    closes_on: date,
    minutes: int = 45,
    office_note: str = "",
    follows_id: UUID | None = None,
) -> Visit:
    """Add one visit outside any recurrence: a follow-up, a survey, proofing, an extra round.

    Raises ``NotAllowed`` or ``Unusable``; call-outs have their own verb.
    """
    require_may_plan(by)
    return _add_visit(
        site_id,
        by=by,
        kind=kind,
        due_on=due_on,
        opens_on=opens_on,
        closes_on=closes_on,
        minutes=minutes,
        office_note=office_note,
        follows_id=follows_id,
    )


@transaction.atomic
def add_ordered_visit(
    site_id: UUID,
    *,
    due_on: date,
    opens_on: date,
    closes_on: date,
    minutes: int,
    office_note: str,
) -> Visit:
    """Add the proofing visit that a client ordered; a job does so, in nobody's name.

    Raises ``Unusable``, or ``WrongState`` once the site is closed.
    """
    return _add_visit(
        site_id,
        by=None,
        kind=Visit.Kind.PROOFING,
        due_on=due_on,
        opens_on=opens_on,
        closes_on=closes_on,
        minutes=minutes,
        office_note=office_note,
        follows_id=None,
    )


@transaction.atomic
def add_follow_up_by_rule(
    site_id: UUID, *, due_on: date, opens_on: date, closes_on: date, office_note: str
) -> Visit:
    """Add the follow-up that a rule of the company asks for; a job does so, in nobody's name.

    Raises ``Unusable``, or ``WrongState`` once the site is closed.
    """
    return _add_visit(
        site_id,
        by=None,
        kind=Visit.Kind.FOLLOW_UP,
        due_on=due_on,
        opens_on=opens_on,
        closes_on=closes_on,
        minutes=FOLLOW_UP_MINUTES,
        office_note=office_note,
        follows_id=None,
    )


@transaction.atomic
def look_for_also(visit_id: UUID, *, note: str) -> Visit:
    """Have a visit on the plan look for something else too: lines that its note lacks are added.

    Raises ``Changed`` if it is gone, ``WrongState`` once it has begun.
    """
    visit = _locked(visit_id, None)
    require_state(visit, *ON_THE_PLAN)
    told = visit.office_note.splitlines()
    new = [line for line in note.splitlines() if line not in told]
    if new:
        visit.office_note = "\n".join([*told, *new])
        _save(visit, "office_note")
    return visit


def _add_visit(
    site_id: UUID,
    *,
    by: User | None,
    kind: str,
    due_on: date,
    opens_on: date,
    closes_on: date,
    minutes: int,
    office_note: str,
    follows_id: UUID | None,
) -> Visit:
    site = Site.objects.select_for_update(no_key=True).get(pk=site_id)
    if kind not in Visit.Kind.values or kind == Visit.Kind.CALL_OUT:
        raise Unusable("Take a call-out instead; it has a deadline.", code="kind_not_addable")
    _require_days_in_order(due_on, opens_on, closes_on)
    _require_open(site, due_on)
    _require_same_site(site, follows_id)
    visit = Visit.objects.create(
        site=site,
        kind=kind,
        due_on=due_on,
        opens_on=opens_on,
        closes_on=closes_on,
        minutes=minutes,
        office_note=office_note.strip(),
        follows_id=follows_id,
        moved_by_hand=True,
    )
    record(
        by,
        "visit.added",
        visit,
        kind=kind,
        due=due_on,
        opens=opens_on,
        closes=closes_on,
        follows=follows_id,
    )
    return visit


@transaction.atomic
def take_call_out(
    site_id: UUID,
    *,
    by: User,
    reported_at: datetime,
    problem: str,
    reported_by: str,
    minutes: int = CALL_OUT_MINUTES,
    follows_id: UUID | None = None,
) -> Visit:
    """Take a call-out that somebody reported to the office.

    ``reported_at`` is when they called (aware); the deadline counts from it. Raises ``NotAllowed``
    or ``Unusable``.
    """
    require_may_plan(by)
    return _call_out(
        site_id,
        by=by,
        verb="call_out.taken",
        reported_at=reported_at,
        problem=problem,
        reported_by=reported_by,
        minutes=minutes,
        follows_id=follows_id,
    )


@transaction.atomic
def ask_call_out(site_id: UUID, *, by: User, at: datetime, problem: str) -> Visit:
    """Ask for a call-out as the client's manager; the deadline counts from ``at``.

    Raises ``NotAllowed`` for anybody else and for sites that are not theirs, or ``Unusable``.
    """
    theirs = by.role == Role.CLIENT_MANAGER and sites_visible_to(by).filter(pk=site_id).exists()
    if not theirs:
        raise NotAllowed("Only the client's manager asks for a call-out to this site.")
    return _call_out(
        site_id,
        by=by,
        verb="call_out.asked",
        reported_at=at,
        problem=problem,
        reported_by=by.name,
        minutes=CALL_OUT_MINUTES,
        follows_id=None,
    )


def response_hours(site: Site, day: date) -> int:
    """Within how many hours a call-out is answered: the strictest contract in force. One query."""
    hours = (
        Contract.objects.filter(Q(ends_on__isnull=True) | Q(ends_on__gte=day))
        .filter(site=site, starts_on__lte=day)
        .aggregate(hours=Min("response_hours"))["hours"]
    )
    return DEFAULT_RESPONSE_HOURS if hours is None else int(hours)


def _call_out(
    site_id: UUID,
    *,
    by: User,
    verb: str,
    reported_at: datetime,
    problem: str,
    reported_by: str,
    minutes: int,
    follows_id: UUID | None,
) -> Visit:
    site = Site.objects.select_for_update(no_key=True).get(pk=site_id)
    if not problem.strip():
        raise Unusable("Say what was seen and where.", code="problem_missing")
    reported_on = site.day_of(reported_at)
    _require_open(site, reported_on)
    _require_same_site(site, follows_id)
    respond_by = reported_at + timedelta(hours=response_hours(site, reported_on))
    respond_on = site.day_of(respond_by)
    visit = Visit.objects.create(
        site=site,
        kind=Visit.Kind.CALL_OUT,
        due_on=respond_on,
        opens_on=reported_on,
        closes_on=respond_on,
        reported_at=reported_at,
        respond_by=respond_by,
        reported_problem=problem.strip(),
        reported_by=reported_by.strip(),
        minutes=minutes,
        follows_id=follows_id,
        moved_by_hand=True,
    )
    record(
        by,
        verb,
        visit,
        reported_at=reported_at,
        respond_by=respond_by,
        reported_by=visit.reported_by,
        problem=visit.reported_problem,
    )
    return visit


def _require_open(site: Site, day: date) -> None:
    if site.closed_on and day >= site.closed_on:
        raise WrongState(f"{site} closed on {words_of(site.closed_on)}.", closed_on=site.closed_on)


def _require_same_site(site: Site, follows_id: UUID | None) -> None:
    if follows_id and not Visit.objects.filter(pk=follows_id, site=site).exists():
        raise Unusable(
            "The visit that this one follows belongs to another site.", code="follows_elsewhere"
        )
