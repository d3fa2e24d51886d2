"""Actions for lists and for an action's own page."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import BooleanField, Case, IntegerField, Q, QuerySet, Value, When

from accounts.models import Role, TrailEntry, User
from accounts.sealing import plain
from accounts.trail_words import sentence_of
from compliance.days import SiteDays
from compliance.models import (
    ActionPhoto,
    CorrectiveAction,
    Decision,
    DecisionPaper,
    SealedGap,
    SignOff,
)
from compliance.queries.asked import with_who_is_asked
from compliance.queries.sheets import Sheet
from compliance.queries.work import done_facts, done_hash
from compliance.services.actions import PRICED_KINDS, SHOWN_KINDS, needs_decision
from compliance.services.signing import is_whole, reported_facts, shown_facts
from compliance.stored_papers import trouble_of
from sites.models import Site
from visits.models import Finding, WhoseMove

State = CorrectiveAction.State

OPEN, TO_PRICE, URGENT, DECLINED, ALL = "open", "to_price", "urgent", "declined", "all"
DONE_UNCHECKED = State.DONE.value
STATE_FILTERS = [
    (OPEN, "Open"),
    (TO_PRICE, "To price"),
    (URGENT, "Open, found urgent"),
    *State.choices,
    (DECLINED, "Turned down"),
    (ALL, "All"),
]
# What a signature binds for ever. Names of the client, site and zone may change with the world.
BOUND_FACTS = (
    "revision",
    "kind",
    "title",
    "detail",
    "whose_move",
    "due_on",
    "photos_before",
    "currency",
    "options",
)


def still_to_do() -> Q:
    """Actions that somebody still has to do something about; turned down is an answer."""
    return Q(state__in=CorrectiveAction.OPEN_STATES, declined=False)


def action_filter(state: str) -> Q:
    """The condition behind one choice of the list's state filter."""
    if state == OPEN:
        return still_to_do()
    if state == TO_PRICE:
        return Q(state=State.RAISED, kind__in=PRICED_KINDS, whose_move=WhoseMove.US)
    if state == URGENT:
        return still_to_do() & Q(finding__urgency=Finding.Urgency.NOW)
    if state == DECLINED:
        return Q(state=State.DECIDED, declined=True)
    if state == State.DECIDED:
        return Q(state=State.DECIDED, declined=False)
    return Q() if state == ALL else Q(state=state)


def is_overdue(days: SiteDays) -> Q:
    """Actions past their day by their site's calendar and not done."""
    return days.where("due_on__lt") & Q(
        state__in=[State.RAISED, State.PRICED, State.DECIDED], declined=False
    )


def actions_listed(
    actions: QuerySet[CorrectiveAction],
    *,
    now: datetime,
    state: str = OPEN,
    kind: str = "",
    site: Site | None = None,
    overdue: bool = False,
) -> QuerySet[CorrectiveAction]:
    """Actions as lists show them, with ``late``: what is open first, each by its day.

    ``asked_stands`` says whether a manager is asked who may still decide. Two queries: the zones in
    use, and the rows with their site, client, zone and whoever is asked.
    """
    late = is_overdue(SiteDays(now))
    actions = actions.filter(action_filter(state))
    if kind:
        actions = actions.filter(kind=kind)
    if site:
        actions = actions.filter(site=site)
    if overdue:
        actions = actions.filter(late)
    return (
        with_who_is_asked(actions)
        .annotate(
            late=Case(When(late, then=Value(True)), default=False, output_field=BooleanField()),
            rank=Case(
                When(still_to_do(), then=Value(0)), default=Value(1), output_field=IntegerField()
            ),
        )
        .select_related("site__client", "zone", "asked")
        .order_by("rank", "due_on", "pk")
    )


@dataclass(frozen=True, slots=True)
class Signed:
    """A sign-off as the page lists it, with what may have happened to it since.

    ``trouble`` and ``paper_trouble`` are empty while all is well. ``superseded`` says that other
    options came later, or that the work reported was sent back. ``paper`` is that of a decision,
    once it was taken up.
    """

    sign_off: SignOff
    decision: Decision | None
    trouble: str
    superseded: bool
    paper: DecisionPaper | None = None
    paper_trouble: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """One entry of the trail about an action."""

    at: datetime
    who: str
    what: str
    reason: str


@dataclass(frozen=True, slots=True)
class Story:
    """Everything about an action beyond its own row and its sheet.

    ``gaps`` are those of every report, the latest first; ``done_hash`` is that of the report that
    stands, empty without one.
    """

    before: Sequence[ActionPhoto]
    start: Sequence[ActionPhoto]
    after: Sequence[ActionPhoto]
    gaps: Sequence[SealedGap]
    signed: Sequence[Signed]
    told: Sequence[Told]
    done_hash: str


def story_of(sheet: Sheet) -> Story:
    """The photos, gaps, signatures and history of an action. Four queries, and two once it is done.

    A signature is in trouble when its text no longer fits its hash, or when what it binds has
    changed although no newer revision says so.
    """
    action = sheet.action
    done = done_facts(action) if action.done_at else None
    photos = list(
        action.shown_by.select_related("photo").order_by("moment", "photo__created_at", "pk")
    )
    sign_offs = action.sign_offs.select_related("decision__option", "decision__paper").order_by(
        "-at", "-pk"
    )
    entries = TrailEntry.objects.filter(
        stream_id=f"site:{action.site_id}", target_id=str(action.pk)
    ).order_by("number")
    return Story(
        before=[one for one in photos if one.moment == ActionPhoto.Moment.BEFORE],
        start=[one for one in photos if one.moment == ActionPhoto.Moment.START],
        after=[one for one in photos if one.moment == ActionPhoto.Moment.AFTER],
        gaps=list(action.gaps.order_by("-attempt", "position", "pk")),
        signed=[_signed(one, sheet, plain(done)) for one in sign_offs],
        told=[
            Told(
                at=entry.at,
                who=entry.actor_name,
                what=sentence_of(entry.verb),
                reason=entry.facts.get("reason") or "",
            )
            for entry in entries
        ],
        done_hash=done_hash(done) if done else "",
    )


def _signed(sign_off: SignOff, sheet: Sheet, done: dict[str, object] | None) -> Signed:
    """``done`` is what is reported of the work as it stands, in plain values."""
    decision = getattr(sign_off, "decision", None)
    then, reported = shown_facts(sign_off), reported_facts(sign_off)
    # What was signed under a report is over with the report: the work was sent back since.
    sent_back = bool(reported and reported.get("at") != (done or {}).get("at"))
    superseded = sent_back or bool(decision and decision.revision != sheet.action.revision)
    trouble = ""
    if not is_whole(sign_off):
        trouble = "The signed text no longer fits its hash."
    elif not superseded and _bound(then) != _within(_bound(plain_facts(sheet)), _bound(then)):
        trouble = "The action has been changed since this was signed."
    elif not superseded and reported and _within(done, reported) != reported:
        trouble = "The report has been changed since this was signed."
    paper = getattr(decision, "paper", None)
    paper_trouble = trouble_of(paper) if paper and paper.made_at else ""
    return Signed(sign_off, decision, trouble, superseded, paper, paper_trouble)


def plain_facts(sheet: Sheet) -> dict[str, object]:
    """The sheet's facts as they come back out of a signed text."""
    found: dict[str, object] = plain(sheet.facts)
    return found


def _bound(facts: dict[str, object] | None) -> dict[str, object]:
    return {name: (facts or {}).get(name) for name in BOUND_FACTS}


def _within(now: object, then: object) -> object:
    """The facts of now, but for what sheets did not say yet when that was signed."""
    if isinstance(now, dict) and isinstance(then, dict):
        return {name: _within(value, then[name]) for name, value in now.items() if name in then}
    if isinstance(now, list) and isinstance(then, list) and len(now) == len(then):
        return [_within(*pair) for pair in zip(now, then, strict=True)]
    return now


@dataclass(frozen=True, slots=True)
class Moves:
    """What one person may do to an action as it stands, for the buttons of its page."""

    decide: bool = False
    ask: bool = False
    done: bool = False
    accept: bool = False
    check: bool = False
    price: bool = False
    change: bool = False
    withdraw: bool = False


def may_be_accepted(action: CorrectiveAction) -> bool:
    """Whether finished work of ours on the premises still waits for the client's word."""
    return (
        action.whose_move == WhoseMove.US
        and action.kind in SHOWN_KINDS
        and action.state in {State.DONE, State.CHECKED}
        and action.accepted_at is None
    )


def moves_of(action: CorrectiveAction, user: User) -> Moves:
    """What to offer; the services decide again. No query."""
    office, technician = user.role == Role.OFFICE, user.role == Role.TECHNICIAN
    client = user.role == Role.CLIENT_MANAGER
    may_be_done = (action.state == State.DECIDED and not action.declined) or (
        action.state == State.RAISED and not needs_decision(action)
    )
    theirs = client and action.whose_move != WhoseMove.US
    return Moves(
        decide=client and action.state == State.PRICED,
        ask=(client or office) and action.state == State.PRICED,
        done=may_be_done and (office or technician or theirs),
        accept=client and may_be_accepted(action),
        check=action.state == State.DONE and (office or technician),
        price=office and action.state in {State.RAISED, State.PRICED, State.DECIDED},
        change=office and action.state != State.WITHDRAWN,
        withdraw=office and action.state in CorrectiveAction.OPEN_STATES,
    )
