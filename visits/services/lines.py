"""What recurs: agreeing a service line, changing it from a day on, ending it.

Nothing here rewrites the past. A changed recurrence ends the line the day before and a new line
follows it; visits that were made stay on the line they were made for.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import TypedDict, Unpack
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import CompetenceKind, User
from accounts.refusals import Unusable, WrongState
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from sites.models import Contract, ServiceLine, VisitKind
from sites.services.sites import require_open_site
from visits.access import require_may_plan
from visits.models import Visit
from visits.queries.due import HORIZON, LOOK_BACK, windows_of
from visits.recurrence.rules import RuleError, check
from visits.recurrence.windows import DueWindow
from visits.services.planning import MOVED_FIELDS, plan_lines, put_on

KEPT_STATES = (Visit.State.BOOKED, Visit.State.UNDER_WAY)


class LineFacts(TypedDict, total=False):
    """What may be said of a service line besides when it recurs; ``price`` is of one visit."""

    kind: str
    title: str
    days_before: int
    days_after: int
    minutes: int
    preferred_technician: User | None
    price: Decimal


class Tolerance(TypedDict, total=False):
    """What a changed recurrence may change with it; the rest is as it was."""

    days_before: int
    days_after: int
    minutes: int


@dataclass(slots=True)
class RuleChange:
    """What a changed recurrence does to visits from its first day on.

    ``kept``: booked, under way or moved by hand, each with the due day whose place it takes, if
    any; ``moved``: planned, with their new days; ``withdrawn``: planned, no longer due; ``new``:
    due and not planned before; ``made``: closed, missed or called off, never touched.
    """

    kept: list[tuple[Visit, DueWindow | None]] = field(default_factory=list)
    moved: list[tuple[Visit, DueWindow]] = field(default_factory=list)
    withdrawn: list[Visit] = field(default_factory=list)
    new: list[DueWindow] = field(default_factory=list)
    made: list[Visit] = field(default_factory=list)


def _checked(rule: str, first_on: date) -> str:
    try:
        return check(rule, first_on)
    except RuleError as error:
        raise Unusable(str(error), code="rule_unusable", field="rule") from error


def _require_agreeable(line: ServiceLine) -> None:
    contract = line.contract
    if line.kind == VisitKind.CALL_OUT:
        raise Unusable("Call-outs do not recur; they are taken as they come.", field="kind")
    if line.first_on < contract.starts_on:
        raise Unusable(
            f"{contract} starts on {contract.starts_on:%-d %b %Y}; no service starts before it.",
            field="first_on",
        )
    if contract.ends_on and line.first_on > contract.ends_on:
        raise Unusable(
            f"{contract} ends on {contract.ends_on:%-d %b %Y}; no service starts after it.",
            field="first_on",
        )


@transaction.atomic
def agree_service_line(
    contract_id: UUID,
    *,
    by: User,
    rule: str,
    first_on: date,
    last_on: date | None = None,
    competences: Collection[CompetenceKind] = (),
    now: datetime | None = None,
    **facts: Unpack[LineFacts],
) -> ServiceLine:
    """Agree a recurring service and plan its visits; ``title`` is needed.

    ``rule`` is RFC 5545 text counted from ``first_on`` in the site's own zone. Raises
    ``NotAllowed``, ``WrongState`` for a closed site, or ``Unusable``.
    """
    require_may_plan(by)
    contract = (
        Contract.objects.select_for_update(of=("self",), no_key=True)
        .select_related("site")
        .get(pk=contract_id)
    )
    require_open_site(contract.site)
    line = ServiceLine(
        contract=contract,
        rule=_checked(rule, first_on),
        first_on=first_on,
        last_on=last_on,
        **facts,
    )
    _require_agreeable(line)
    keep_new(line)
    line.competences.set(competences)
    record(
        by,
        "line.agreed",
        line,
        contract=contract.number,
        rule=line.rule,
        first_on=first_on,
        last_on=last_on,
        competences=sorted(kind.name for kind in competences),
    )
    plan_lines([line.pk], by=by, now=now)
    return line


def _locked(line_id: UUID) -> ServiceLine:
    return (
        ServiceLine.objects.select_for_update(of=("self",), no_key=True)
        .select_related("contract__site")
        .get(pk=line_id)
    )


@transaction.atomic
def change_line(
    line_id: UUID,
    *,
    by: User,
    seen: str = "",
    competences: Collection[CompetenceKind] | None = None,
    now: datetime | None = None,
    **facts: Unpack[LineFacts],
) -> ServiceLine:
    """Change what a line asks for, not when it recurs; planned visits follow.

    ``seen`` is the fingerprint of the same facts as they were shown. Raises ``NotAllowed``,
    ``Changed`` or ``Unusable``.
    """
    require_may_plan(by)
    line = _locked(line_id)
    if facts.get("kind") == VisitKind.CALL_OUT:
        raise Unusable("Call-outs do not recur; they are taken as they come.", field="kind")
    changed = keep_changes(line, facts, seen=seen)
    if competences is not None:
        held = sorted(line.competences.values_list("name", flat=True))
        wanted = sorted(kind.name for kind in competences)
        if held != wanted:
            line.competences.set(competences)
            changed["competences"] = [held, wanted]
    if changed:
        record(by, "line.changed", line, changed=changed)
        plan_lines([line.pk], by=by, now=now)
    return line


@transaction.atomic
def end_line(
    line_id: UUID, *, by: User, last_on: date, reason: str, now: datetime | None = None
) -> ServiceLine:
    """Give a line its last day; planned visits after it are withdrawn, booked ones stay.

    Raises ``NotAllowed``, ``WrongState`` if it ends before already, or ``Unusable``.
    """
    require_may_plan(by)
    line = _locked(line_id)
    if last_on < line.first_on:
        raise Unusable(
            f"{line} starts on {line.first_on:%-d %b %Y} and cannot end before.", field="last_on"
        )
    if line.last_on and line.last_on <= last_on:
        raise WrongState(f"{line} ends on {line.last_on:%-d %b %Y} already.", last_on=line.last_on)
    was, line.last_on = line.last_on, last_on
    line.save(update_fields=["last_on"])
    record(by, "line.ended", line, last_on=last_on, was=was, reason=reason)
    plan_lines([line.pk], by=by, now=now)
    return line


@transaction.atomic
def change_rule_from(
    line_id: UUID,
    *,
    by: User,
    from_on: date,
    rule: str,
    now: datetime | None = None,
    **tolerance: Unpack[Tolerance],
) -> ServiceLine:
    """Change how often a service recurs from a day on; returns the line that follows.

    The line gets the day before as its last, and a new line follows it. From the line's very first
    day on, with no visit made yet, the line itself is changed. Raises ``NotAllowed``,
    ``WrongState`` or ``Unusable``.
    """
    require_may_plan(by)
    line = _locked(line_id)
    _require_changeable(line, from_on)
    change, following = _rule_change(line, from_on, rule, tolerance, now or timezone.now())
    before = {"rule": line.rule, "first_on": line.first_on, "last_on": line.last_on}
    if from_on <= line.first_on:
        following.save(update_fields=["rule", "first_on", *tolerance])
    else:
        line.last_on = from_on - timedelta(days=1)
        line.save(update_fields=["last_on"])
        keep_new(following)
        following.competences.set(line.competences.all())
    _carry_over(change, following)
    record(
        by,
        "line.rule_changed",
        following,
        old=before,
        new={"rule": following.rule, "first_on": following.first_on},
        from_on=from_on,
        kept=len(change.kept),
        moved=len(change.moved),
        withdrawn=len(change.withdrawn),
        added=len(change.new),
    )
    plan_lines(sorted({line.pk, following.pk}), by=by, now=now)
    return following


def preview_rule_change(
    line: ServiceLine,
    *,
    from_on: date,
    rule: str,
    now: datetime,
    **tolerance: Unpack[Tolerance],
) -> RuleChange:
    """What ``change_rule_from`` would do now; writes nothing. About six queries.

    Raises what that would raise.
    """
    _require_changeable(line, from_on)
    change, _ = _rule_change(line, from_on, rule, tolerance, now)
    return change


def _require_changeable(line: ServiceLine, from_on: date) -> None:
    if ServiceLine.objects.filter(follows=line).exists():
        raise WrongState(f"{line} was changed before; change the line that follows it.")
    if line.last_on and from_on > line.last_on:
        raise WrongState(
            f"{line} ends on {line.last_on:%-d %b %Y}; there is nothing to change after it.",
            last_on=line.last_on,
        )
    if from_on > line.first_on:
        return
    untouched = [Visit.State.PLANNED, Visit.State.BOOKED]
    if line.visits.exclude(state__in=untouched).exists():
        raise Unusable(
            f"Visits of {line} have been made since {line.first_on:%-d %b %Y}; "
            "change it from a later day on.",
            field="from_on",
        )


def _rule_change(
    line: ServiceLine, from_on: date, rule: str, tolerance: Tolerance, now: datetime
) -> tuple[RuleChange, ServiceLine]:
    """What would change, and the line as it would be from that day on; nothing is saved."""
    site = line.contract.site
    following = ServiceLine(
        contract=line.contract,
        kind=line.kind,
        title=line.title,
        rule=_checked(rule, from_on),
        first_on=from_on,
        last_on=line.last_on,
        days_before=tolerance.get("days_before", line.days_before),
        days_after=tolerance.get("days_after", line.days_after),
        minutes=tolerance.get("minutes", line.minutes),
        preferred_technician=line.preferred_technician,
        price=line.price,
        follows=line,
    )
    if from_on <= line.first_on:
        following.pk, following.follows_id = line.pk, line.follows_id
        following._state.adding = False
    _require_agreeable(following)
    today = site.day_of(now)
    windows = [
        window
        for window in windows_of(
            following, from_on=max(from_on, today - LOOK_BACK), to_on=today + HORIZON
        )
        if window.closes_on >= today
    ]
    visits = list(
        line.visits.filter(occurrence_on__gte=from_on)
        .select_related("technician", "site")
        .order_by("occurrence_on", "pk")
    )
    return _sorted_out(visits, windows, today), following


def _sorted_out(visits: Sequence[Visit], windows: Sequence[DueWindow], today: date) -> RuleChange:
    """Which visit takes the place of which due day: the nearest one, and each at most once."""
    change = RuleChange()
    free = list(windows)
    reach = _reach(windows)
    # What is kept chooses first: a booked visit must not stand beside a new one for the same days.
    kept = [visit for visit in visits if visit.state in KEPT_STATES or _held_by_hand(visit)]
    for visit in kept:
        change.kept.append((visit, _taken(visit.booked_on or visit.due_on, free, reach)))
    for visit in visits:
        if visit.state not in (*KEPT_STATES, Visit.State.PLANNED):
            change.made.append(visit)
        elif visit not in kept and visit.closes_on >= today:
            window = _taken(visit.due_on, free, reach)
            if window:
                change.moved.append((visit, window))
            else:
                change.withdrawn.append(visit)
    change.new = free
    return change


def _held_by_hand(visit: Visit) -> bool:
    return visit.state == Visit.State.PLANNED and visit.moved_by_hand


def _reach(windows: Sequence[DueWindow]) -> timedelta:
    """How far a visit may lie from a due day whose place it takes: half the way to the next."""
    days = [window.due_on for window in windows]
    gaps = [later - earlier for earlier, later in pairwise(days)]
    return min(gaps, default=timedelta(days=28)) / 2


def _taken(day: date, free: list[DueWindow], reach: timedelta) -> DueWindow | None:
    """The nearest window within reach of a day, taken from those that are free."""
    near = [window for window in free if abs(window.due_on - day) <= reach]
    if not near:
        return None
    window = min(near, key=lambda window: (abs(window.due_on - day), window.due_on))
    free.remove(window)
    return window


def _carry_over(change: RuleChange, following: ServiceLine) -> None:
    """Put kept and moved visits on the line that follows; those that were made stay."""
    chosen = [(visit, window) for visit, window in change.kept if window]
    for visit, window in [*chosen, *change.moved]:
        visit.line, visit.occurrence_on = following, window.occurrence_on
    for visit, window in change.moved:
        put_on(visit, following, window)
    carried = [visit for visit, _ in [*chosen, *change.moved]]
    # Two steps: a day that one visit leaves may be the day that another takes.
    Visit.objects.filter(pk__in=[visit.pk for visit in carried]).update(occurrence_on=None)
    Visit.objects.bulk_update(
        carried, ["line", "occurrence_on", *MOVED_FIELDS, "version"], batch_size=100
    )
