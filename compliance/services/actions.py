"""Verbs of a corrective action: raised, priced, decided, done, checked, or withdrawn.

Each locks the action and looks at its state again. ``at`` is now unless said; days are in the
site's own zone. Refusals say what stands in the way and who can move it.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, Max, OuterRef
from django.utils import timezone

from accounts.models import Role, User
from accounts.refusals import Changed, Unusable, WrongState
from accounts.trail import record
from compliance.access import (
    require_may_check,
    require_may_decide,
    require_may_keep,
    require_may_report_done,
    require_may_send_back,
)
from compliance.models import ActionOption, ActionPhoto, CorrectiveAction, Decision, SignOff
from compliance.queries.money_terms import terms_in_force
from compliance.queries.not_reached import (
    access_to_ask_for,
    findings_to_answer,
    visits_without_their_actions,
)
from compliance.queries.sheets import figures_of, sheet_of
from compliance.queries.work import done_facts
from compliance.services.gaps import GapGiven, are_kept, keep_gaps
from compliance.services.signing import SIGNED_IN, Proof, prove_by_password, sign
from sites.models import Photo, Site, Zone
from sites.services.sites import site_to_keep
from visits.models import Finding, FindingPhoto, NotReached, Visit, WhoseMove

Kind = CorrectiveAction.Kind
State = CorrectiveAction.State

# How many days an action is given, by the urgency of its finding. Ours; no source.
DUE_DAYS = {Finding.Urgency.NOW: 2, Finding.Urgency.SOON: 14, Finding.Urgency.LOW: 42}
FEWEST_OPTIONS, MOST_OPTIONS = 2, 4
CENT = Decimal("0.01")

# Work that costs the client money beyond the contract waits for options and a decision when it is
# ours to do; everything else can be done without.
PRICED_KINDS = {Kind.PROOFING, Kind.REPAIR}
# What changes the premises can be shown, and is only taken for done with a photo.
SHOWN_KINDS = {Kind.PROOFING, Kind.REPAIR, Kind.HOUSEKEEPING}


@dataclass(frozen=True, slots=True)
class OptionGiven:
    """One way to answer an action, as the office gives it.

    Low and high come together or not at all, on both sides of the value itself. ``effect_percent``
    needs its basis, and an assumption the words for it. ``working`` is how its sums came about,
    as plain JSON (``compliance.queries.drafting``).
    """

    kind: str
    description: str
    cost_once: Decimal
    cost_monthly: Decimal
    life_years: int | None = None
    remaining_risk: str = ""
    cost_once_low: Decimal | None = None
    cost_once_high: Decimal | None = None
    cost_monthly_low: Decimal | None = None
    cost_monthly_high: Decimal | None = None
    life_years_low: int | None = None
    life_years_high: int | None = None
    effect_percent: int | None = None
    effect_basis: str = ""
    effect_words: str = ""
    working: dict[str, Any] = field(default_factory=dict)


def needs_decision(action: CorrectiveAction) -> bool:
    """Whether the client has to choose among priced options before the work is done."""
    return action.kind in PRICED_KINDS and action.whose_move == WhoseMove.US


# --- raised -------------------------------------------------------------------------------------


@transaction.atomic
def raise_action(
    site_id: UUID,
    *,
    by: User,
    kind: str,
    title: str,
    whose_move: str,
    detail: str = "",
    due_on: date | None = None,
    zone_id: UUID | None = None,
    photo_ids: Sequence[UUID] = (),
    internal_note: str = "",
    at: datetime | None = None,
) -> CorrectiveAction:
    """Raise an action by hand, as the office. It is due in two weeks unless a day is given.

    Raises ``NotAllowed`` for anybody else, ``WrongState`` for a closed site, ``Unusable``.
    """
    at = at or timezone.now()
    site = site_to_keep(site_id, by=by)
    if site.closed_on and site.day_of(at) >= site.closed_on:
        raise WrongState(f"{site} is closed; nothing more is raised there.")
    action = _raise(
        site,
        by=by,
        at=at,
        kind=kind,
        title=_wanted(title, "Say in a few words what must change."),
        detail=detail.strip(),
        whose_move=whose_move,
        due_on=due_on or usual_due_day(site, at),
        zone=_zone_of(site, zone_id),
        internal_note=internal_note.strip(),
    )
    _show(action, photo_ids, ActionPhoto.Moment.BEFORE)
    return action


@transaction.atomic
def raise_by_rule(
    site: Site, *, at: datetime, kind: str, title: str, detail: str, zone: Zone
) -> CorrectiveAction:
    """Raise an action that a rule of the company asks for; a job does so, in nobody's name.

    It is ours to do, and due in two weeks. The caller has locked the site.
    """
    return _raise(
        site,
        by=None,
        at=at,
        kind=kind,
        title=_shortened(title),
        detail=detail,
        whose_move=WhoseMove.US,
        due_on=usual_due_day(site, at),
        zone=zone,
    )


@transaction.atomic
def raise_actions_of_visit(visit_id: UUID) -> int:
    """Raise what a closed visit asks for, and say how many actions that were. Safe to repeat.

    One action for each finding with a remedy, and one for each place that the client should have
    opened and that was not reached twice or more running. They count as raised by the technician
    when the visit closed; what is urgent is due sooner.
    """
    visit = Visit.objects.select_related("site", "technician").get(pk=visit_id)
    site = _locked_site(visit.site_id)
    if visit.state != Visit.State.CLOSED or visit.closed_at is None:
        return 0
    findings = (
        findings_to_answer()
        .filter(visit=visit)
        .select_related("zone", "checkpoint", "pest")
        .order_by("at", "pk")
    )
    raised = [_raise_from_finding(site, visit, finding) for finding in findings]
    shut = (
        access_to_ask_for()
        .filter(visit=visit)
        .select_related("zone", "checkpoint", "monitor")
        .order_by("at", "pk")
    )
    raised += [_raise_for_access(site, visit, not_reached) for not_reached in shut]
    return len(raised)


def raise_missing_actions(limit: int = 200) -> int:
    """Raise the actions of closed visits that have not raised theirs. Safe twice, late, or never.

    It stands behind the signal that a visit was closed. Answers with how many were raised.
    """
    waiting = list(visits_without_their_actions().values_list("pk", flat=True)[:limit])
    raised = sum(raise_actions_of_visit(visit_id) for visit_id in waiting)
    show_late_photos()
    return raised


@transaction.atomic
def show_late_photos(limit: int = 200) -> int:
    """Put photos of findings that came after the visit was closed beside their actions.

    Only while an action is not yet put to the client: what was shown is what was shown. Safe twice,
    late, or never; answers with how many photos.
    """
    late = (
        FindingPhoto.objects.filter(finding__action__state=State.RAISED)
        .exclude(
            Exists(
                ActionPhoto.objects.filter(
                    action=OuterRef("finding__action"), photo=OuterRef("photo")
                )
            )
        )
        .select_related("finding__action", "photo")
        .order_by("pk")[:limit]
    )
    shown = 0
    for one in late:
        action = _locked(one.finding.action.pk)
        if action.state == State.RAISED:
            _show(action, [one.photo_id], ActionPhoto.Moment.BEFORE)
            record(None, "action.photo_added", action, photo=one.photo.sha256)
            shown += 1
    return shown


def _raise_from_finding(site: Site, visit: Visit, finding: Finding) -> CorrectiveAction:
    seen = f"{finding.get_kind_display()}: {finding.pest}" if finding.pest else str(finding)
    remedy = finding.remedy.strip()
    first_line = (
        remedy.splitlines()[0] if remedy else f"{finding.get_remedy_kind_display()}: {seen}"
    )
    detail = [
        f"{seen}. {finding.place}".strip() if finding.place else f"{seen}.",
        finding.note.strip(),
        remedy if remedy != first_line or len(first_line) > 160 else "",
    ]
    action = _raise(
        site,
        by=visit.technician,
        at=visit.closed_at or finding.at,
        kind=finding.remedy_kind,
        title=_shortened(first_line),
        detail="\n".join(part for part in detail if part),
        whose_move=finding.whose_move,
        due_on=site.day_of(visit.closed_at or finding.at)
        + timedelta(days=DUE_DAYS[Finding.Urgency(finding.urgency)]),
        zone=finding.zone,
        visit=visit,
        finding=finding,
    )
    photo_ids = list(finding.shown_by.order_by("position", "pk").values_list("photo_id", flat=True))
    _show(action, photo_ids, ActionPhoto.Moment.BEFORE)
    return action


def _raise_for_access(site: Site, visit: Visit, not_reached: NotReached) -> CorrectiveAction:
    if not_reached.checkpoint:
        place = f"{not_reached.checkpoint} ({not_reached.zone})"
    elif not_reached.monitor:
        place = f"{not_reached.monitor} ({not_reached.zone})"
    else:
        place = str(not_reached.zone)
    reason = f"Not reached on two or more visits running: {not_reached.get_reason_display()}."
    return _raise(
        site,
        by=visit.technician,
        at=visit.closed_at or not_reached.at,
        kind=Kind.ACCESS,
        title=_shortened(f"Give access to {place}"),
        detail=f"{reason}\n{not_reached.note}".strip(),
        whose_move=WhoseMove.CLIENT,
        due_on=usual_due_day(site, visit.closed_at or not_reached.at),
        zone=not_reached.zone,
        visit=visit,
        not_reached=not_reached,
    )


def _raise(
    site: Site,
    *,
    by: User | None,
    at: datetime,
    kind: str,
    title: str,
    detail: str,
    whose_move: str,
    due_on: date,
    zone: Zone | None,
    visit: Visit | None = None,
    finding: Finding | None = None,
    not_reached: NotReached | None = None,
    internal_note: str = "",
) -> CorrectiveAction:
    """Write one action under the site's lock, which keeps its numbers free of gaps and doubles."""
    last = CorrectiveAction.objects.filter(site=site).aggregate(last=Max("number"))["last"]
    action = CorrectiveAction.objects.create(
        site=site,
        number=(last or 0) + 1,
        zone=zone,
        visit=visit,
        finding=finding,
        not_reached=not_reached,
        kind=Kind(kind).value,
        title=title,
        detail=detail,
        whose_move=WhoseMove(whose_move).value,
        due_on=due_on,
        raised_at=at,
        raised_by=by,
        internal_note=internal_note,
    )
    record(
        by,
        "action.raised",
        action,
        at=at,
        kind=action.kind,
        title=title,
        whose_move=action.whose_move,
        due=due_on,
        zone=zone.name if zone else None,
        visit=visit.pk if visit else None,
    )
    return action


# --- changed ------------------------------------------------------------------------------------


@transaction.atomic
def change_action(
    action_id: UUID,
    *,
    by: User,
    kind: str,
    title: str,
    detail: str,
    whose_move: str,
    due_on: date,
    internal_note: str,
    zone_id: UUID | None = None,
) -> CorrectiveAction:
    """Change an action's words, as the office. What the client has before them gets a new revision.

    Raises ``NotAllowed``, ``Unusable``, and ``WrongState`` if what was decided would be changed: by
    then only the internal note may be.
    """
    action = _locked(action_id)
    require_may_keep(by, action)
    new = {
        "kind": Kind(kind).value,
        "title": _wanted(title, "Say in a few words what must change."),
        "detail": detail.strip(),
        "whose_move": WhoseMove(whose_move).value,
        "due_on": due_on,
        "zone_id": zone_id,
    }
    shown = {name: value for name, value in new.items() if getattr(action, name) != value}
    note_changed = action.internal_note != internal_note.strip()
    if not shown and not note_changed:
        return action
    if shown and action.state not in {State.RAISED, State.PRICED}:
        raise WrongState(
            f"{action} is {_standing(action)}; its words stay as they were. Price it anew to put "
            "something else to the client, or withdraw it.",
            state=action.state,
        )
    _zone_of(action.site, zone_id)
    old = {name: getattr(action, name) for name in shown}
    for name, value in shown.items():
        setattr(action, name, value)
    if shown and action.state == State.PRICED:
        action.revision += 1
    action.internal_note = internal_note.strip()
    action.save(update_fields=[*shown, "revision", "internal_note"])
    record(
        by,
        "action.changed",
        action,
        old=old,
        new=shown,
        internal_note_changed=note_changed,
        revision=action.revision,
    )
    return action


# --- priced -------------------------------------------------------------------------------------


@transaction.atomic
def price_action(
    action_id: UUID,
    *,
    by: User,
    options: Sequence[OptionGiven],
    seen_revision: int | None = None,
    at: datetime | None = None,
) -> CorrectiveAction:
    """Put two to four priced options to the client, in place of those before.

    Once the client has had something before them, other options are a new revision, and an action
    that was decided waits for a decision again; the old options and the old decision stay on
    record. The same options again change nothing. Raises ``NotAllowed`` for anybody but the office,
    ``WrongState`` once the work is done or the action withdrawn, ``Changed`` if ``seen_revision``
    is not the current one, ``Unusable`` for options that cannot be chosen among.
    """
    at = at or timezone.now()
    action = _locked(action_id)
    require_may_keep(by, action)
    if action.state not in {State.RAISED, State.PRICED, State.DECIDED}:
        raise WrongState(
            f"{action} is {_standing(action)}; there is nothing left to price.", state=action.state
        )
    if seen_revision is not None and seen_revision != action.revision:
        raise Changed(
            "Somebody else put other options to the client meanwhile. Look at them first.",
            revision=action.revision,
        )
    given = [_cleaned(option) for option in options]
    _require_a_choice(action, given)
    live = list(action.options.filter(withdrawn_at=None).order_by("position", "pk"))
    terms = terms_in_force()
    same_terms = terms == (action.horizon_years, action.yearly_rate, action.yearly_growth)
    if [_given(option) for option in live] == given and same_terms:
        return action
    action.options.filter(withdrawn_at=None).update(withdrawn_at=at)
    ActionOption.objects.bulk_create(
        ActionOption(action=action, position=position, **asdict(option))
        for position, option in enumerate(given, start=1)
    )
    was = action.state
    if was != State.RAISED:
        action.revision += 1
    action.state, action.priced_at, action.priced_by = State.PRICED, at, by
    action.declined, action.decided_at = False, None
    action.horizon_years, action.yearly_rate, action.yearly_growth = terms
    action.save(
        update_fields=[
            *("state", "priced_at", "priced_by", "declined", "decided_at", "revision"),
            *("horizon_years", "yearly_rate", "yearly_growth"),
        ]
    )
    record(
        by,
        "action.priced",
        action,
        at=at,
        was=was,
        revision=action.revision,
        years=action.horizon_years,
        yearly_rate=action.yearly_rate,
        yearly_growth=action.yearly_growth,
        options=[
            {
                "kind": option.kind,
                "description": option.description,
                "cost_once": option.cost_once,
                "cost_monthly": option.cost_monthly,
            }
            for option in given
        ],
    )
    return action


def _cleaned(option: OptionGiven) -> OptionGiven:
    """The option as it will be kept. Raises ``Unusable``."""
    if option.kind not in ActionOption.Kind.values:
        raise Unusable(
            "An option is lasting work, an interim fix, carrying on treating, or doing nothing."
        )
    if option.cost_once < 0 or option.cost_monthly < 0:
        raise Unusable("An option costs nothing or more, never less.")
    if option.kind == ActionOption.Kind.NOTHING and (option.cost_once or option.cost_monthly):
        raise Unusable("Doing nothing costs nothing; what it risks stands in words.")
    if option.life_years is not None and not 1 <= option.life_years <= 50:
        raise Unusable("Say how many years the work lasts, from 1 to 50, or leave it out.")
    _require_range(option.cost_once_low, option.cost_once, option.cost_once_high, "cost now")
    _require_range(
        option.cost_monthly_low, option.cost_monthly, option.cost_monthly_high, "cost each month"
    )
    _require_range(option.life_years_low, option.life_years, option.life_years_high, "life")
    _require_effect(option)
    return replace(
        option,
        description=_wanted(option.description, "Describe what each option is."),
        remaining_risk=_wanted(
            option.remaining_risk, "Say for each option what stays at risk, even if it is little."
        ),
        effect_words=option.effect_words.strip(),
        cost_once=option.cost_once.quantize(CENT),
        cost_once_low=_to_cents(option.cost_once_low),
        cost_once_high=_to_cents(option.cost_once_high),
        cost_monthly=option.cost_monthly.quantize(CENT),
        cost_monthly_low=_to_cents(option.cost_monthly_low),
        cost_monthly_high=_to_cents(option.cost_monthly_high),
    )


def _require_range(
    low: Decimal | int | None, likely: Decimal | int | None, high: Decimal | int | None, what: str
) -> None:
    """Raise ``Unusable`` unless both ends are left out, or given on both sides of the value."""
    if low is None and high is None:
        return
    if low is None or high is None or likely is None:
        raise Unusable(
            f"Give the {what} as its lowest, likely and highest, or leave lowest and highest out.",
            code="range_incomplete",
        )
    if not (0 if what != "life" else 1) <= low <= likely <= high:
        raise Unusable(
            f"The lowest {what} comes first, the highest last, the likely one between them.",
            code="range_out_of_order",
        )


def _require_effect(option: OptionGiven) -> None:
    if option.effect_percent is None and not option.effect_basis:
        return
    if option.effect_percent is None or option.effect_basis not in ActionOption.Basis.values:
        raise Unusable(
            "Say what the expected effect stands on: measured, or an assumption of yours.",
            code="effect_without_basis",
        )
    if not 0 <= option.effect_percent <= 100:
        raise Unusable("The expected effect is a share from 0 to 100 percent.")
    _wanted(option.effect_words, "Say why so much effect is expected; the client reads it.")


def _to_cents(money: Decimal | None) -> Decimal | None:
    return None if money is None else money.quantize(CENT)


def _given(option: ActionOption) -> OptionGiven:
    """A kept option as it was given."""
    return OptionGiven(**{one.name: getattr(option, one.name) for one in fields(OptionGiven)})


def _require_a_choice(action: CorrectiveAction, options: Sequence[OptionGiven]) -> None:
    if not FEWEST_OPTIONS <= len(options) <= MOST_OPTIONS:
        raise Unusable(
            f"Give {FEWEST_OPTIONS} to {MOST_OPTIONS} options, so that there is a choice.",
            code="options_too_few_or_many",
        )
    kinds = {option.kind for option in options}
    both = {ActionOption.Kind.LASTING, ActionOption.Kind.CARRY_ON}
    if action.kind == Kind.PROOFING and not both <= kinds:
        raise Unusable(
            "Proofing is put to the client as lasting work beside carrying on treating; give both.",
            code="options_one_sided",
        )


# --- decided ------------------------------------------------------------------------------------


def decide_action(
    action_id: UUID,
    *,
    by: User,
    revision: int,
    shown_hash: str,
    outcome: str,
    option_id: UUID | None = None,
    reason: str = "",
    password: str = "",
    proof: Proof | None = None,
    years: int | None = None,
    at: datetime | None = None,
) -> Decision:
    """Go ahead with one option, or turn the work down with a reason, as the client's manager.

    ``revision`` and ``shown_hash`` say what was read: the hash of the sheet over so many ``years``.
    The person is made sure of by ``password``, unless a ``proof`` is given. The same answer sent
    twice is one decision. Raises ``NotAllowed``, ``WrongPassword``, ``TooManyTries``, ``Changed``
    if the action is no longer what was read, ``WrongState`` unless it waits for a decision,
    ``Unusable`` without an option or a reason.
    """
    reason = reason.strip()
    if outcome not in Decision.Outcome.values:
        raise Unusable("Go ahead with an option, or turn it down.")
    if outcome == Decision.Outcome.GO_AHEAD and option_id is None:
        raise Unusable("Choose the option to go ahead with.", code="option_missing")
    if outcome == Decision.Outcome.DECLINED:
        option_id = None
        _wanted(reason, "Say why you turn it down; the reason stays on the record.")
    # Before the transaction: a password takes a third of a second to check.
    proof = proof or prove_by_password(by, password)
    return _decide(
        action_id,
        by=by,
        revision=revision,
        shown_hash=shown_hash,
        outcome=outcome,
        option_id=option_id,
        reason=reason,
        proof=proof,
        years=years,
        at=at or timezone.now(),
    )


@transaction.atomic
def _decide(
    action_id: UUID,
    *,
    by: User,
    revision: int,
    shown_hash: str,
    outcome: str,
    option_id: UUID | None,
    reason: str,
    proof: Proof,
    years: int | None,
    at: datetime,
) -> Decision:
    action = _locked(action_id)
    require_may_decide(by, action)
    if _is_doing_nothing(action, option_id):
        # Nothing is ordered, knowingly: the same answer as turning the work down.
        outcome = Decision.Outcome.DECLINED
        _wanted(reason, "Say why nothing is to be done; the reason stays on the record.")
    answered = (
        Decision.objects.select_related("sign_off").filter(action=action, revision=revision).first()
    )
    if answered:
        same = (answered.sign_off.person_id, answered.outcome, answered.option_id, answered.reason)
        if same == (by.pk, outcome, option_id, reason):
            return answered
        raise WrongState(
            f"{answered.sign_off.person_name} has already decided this: "
            f"{answered.get_outcome_display().lower()}.",
            state=action.state,
        )
    if action.state != State.PRICED:
        raise WrongState(_not_to_decide(action), state=action.state)
    sheet = sheet_of(action, years=years)
    if revision != action.revision or shown_hash != sheet.hash:
        raise Changed(
            "This changed while you were reading. Nothing was signed; read it again, then decide.",
            revision=action.revision,
        )
    option = next((one for one in sheet.options if one.pk == option_id), None)
    if option_id and option is None:
        raise Unusable("That option is not among those put to you.", code="option_unknown")
    sign_off = sign(
        action,
        by=by,
        meaning=(
            SignOff.Meaning.GO_AHEAD
            if outcome == Decision.Outcome.GO_AHEAD
            else SignOff.Meaning.DECLINES
        ),
        content={
            "shown": {
                "facts": sheet.facts,
                "figures": figures_of(sheet),
                "hash": sheet.hash,
            },
            "answer": {"outcome": outcome, "option": option_id, "reason": reason},
        },
        proof=proof,
        at=at,
    )
    decision = Decision.objects.create(
        action=action,
        revision=revision,
        outcome=outcome,
        option=option,
        reason=reason,
        sign_off=sign_off,
    )
    action.state, action.decided_at = State.DECIDED, at
    action.declined = outcome == Decision.Outcome.DECLINED
    action.asked = None
    action.save(update_fields=["state", "decided_at", "declined", "asked"])
    record(
        by,
        "action.decided",
        action,
        at=at,
        outcome=outcome,
        option=option_id,
        reason=reason,
        revision=revision,
        signed=sign_off.content_hash,
        known_by=proof.method,
    )
    return decision


def _is_doing_nothing(action: CorrectiveAction, option_id: UUID | None) -> bool:
    if option_id is None:
        return False
    return action.options.filter(pk=option_id, kind=ActionOption.Kind.NOTHING).exists()


def _not_to_decide(action: CorrectiveAction) -> str:
    if action.state == State.RAISED:
        return f"{action} has no options yet; the office prices it first."
    return f"{action} is {_standing(action)}; there is nothing to decide."


# --- done and checked ---------------------------------------------------------------------------


@transaction.atomic
def report_done(
    action_id: UUID,
    *,
    by: User,
    note: str,
    photo_ids: Sequence[UUID] = (),
    start_photo_ids: Sequence[UUID] = (),
    gaps: Sequence[GapGiven] = (),
    at: datetime | None = None,
) -> CorrectiveAction:
    """Report the work done, in words, with photos and the gaps it closed, as the client, a
    technician or the office.

    The client reports what is the client's or somebody else's move; our own work is reported by us.
    A client's report is signed as such. ``start_photo_ids`` show what was found when the work
    began. The same report twice is one. Raises ``NotAllowed``, ``WrongState`` while it waits for
    options or a decision or was turned down, ``Unusable`` without words, without a photo of what
    changes the premises, or for a gap left wider than keeps its pest out.
    """
    at = at or timezone.now()
    action = _locked(action_id)
    require_may_report_done(by, action)
    note = _wanted(note, "Say in a few words what was done.")
    again = action.state == State.DONE and (action.done_by_id, action.done_note) == (by.pk, note)
    if again and are_kept(action, gaps):
        return action
    _require_may_be_done(action)
    kept = keep_gaps(action, gaps)
    _show(action, start_photo_ids, ActionPhoto.Moment.START)
    _show(action, photo_ids, ActionPhoto.Moment.AFTER)
    action.state, action.done_at, action.done_by, action.done_note = State.DONE, at, by, note
    done = done_facts(action)
    if action.kind in SHOWN_KINDS and not done["photos_after"]:
        raise Unusable(_photo_wanted(action), code="photo_missing")
    action.save(update_fields=["state", "done_at", "done_by", "done_note"])
    signed = None
    if by.role == Role.CLIENT_MANAGER:
        signed = sign(
            action,
            by=by,
            meaning=SignOff.Meaning.CONFIRMS_DONE,
            content={"shown": {"facts": _facts(action)}, "done": done},
            proof=Proof(SIGNED_IN),
            at=at,
        )
    record(
        by,
        "action.done",
        action,
        at=at,
        note=note,
        attempt=action.attempt,
        gaps=[str(gap) for gap in kept],
        photos=done["photos_after"],
        signed=signed.content_hash if signed else None,
    )
    return action


def check_action(
    action_id: UUID,
    *,
    by: User,
    note: str = "",
    password: str = "",
    proof: Proof | None = None,
    at: datetime | None = None,
) -> CorrectiveAction:
    """Sign that the finished work was looked at and is sound, as a technician or the office.

    Raises ``NotAllowed``, ``WrongPassword``, ``TooManyTries``, ``WrongState`` unless it is done.
    """
    require_may_check(by)
    proof = proof or prove_by_password(by, password)
    return _check(action_id, by=by, note=note.strip(), proof=proof, at=at or timezone.now())


@transaction.atomic
def _check(action_id: UUID, *, by: User, note: str, proof: Proof, at: datetime) -> CorrectiveAction:
    action = _locked(action_id)
    if action.state == State.CHECKED:
        if (action.checked_by_id, action.check_note) == (by.pk, note):
            return action
        raise WrongState(
            f"{action} is checked already; what was signed stays as it was.", state=action.state
        )
    if action.state != State.DONE:
        raise WrongState(
            f"{action} is {_standing(action)}; it can be checked once it is reported done.",
            state=action.state,
        )
    sign_off = sign(
        action,
        by=by,
        meaning=SignOff.Meaning.CHECKED,
        content={
            "shown": {"facts": _facts(action)},
            "done": done_facts(action),
            "check": {"note": note},
        },
        proof=proof,
        at=at,
    )
    action.state, action.checked_at, action.checked_by = State.CHECKED, at, by
    action.check_note = note
    action.save(update_fields=["state", "checked_at", "checked_by", "check_note"])
    record(
        by,
        "action.checked",
        action,
        at=at,
        note=note,
        signed=sign_off.content_hash,
        known_by=proof.method,
    )
    return action


@transaction.atomic
def reopen_action(
    action_id: UUID, *, by: User, reason: str, at: datetime | None = None
) -> CorrectiveAction:
    """Send work that was reported done back, with the reason: a technician or the office that found
    it unsound, or the client's manager who does not accept what we did.

    A decision that was made for it still stands, and what was reported stays on record. Raises
    ``NotAllowed``, ``WrongState`` unless it is done (for the client also once we have checked it,
    until it is accepted), ``Unusable`` without a reason.
    """
    reason = _wanted(reason, "Say what is still to be done.")
    action = _locked(action_id)
    require_may_send_back(by, action)
    _require_may_go_back(action, by)
    at = at or timezone.now()
    old = {
        "done_at": action.done_at,
        "done_note": action.done_note,
        "accepted_at": action.accepted_at,
        "checked_at": action.checked_at,
    }
    action.state = State.DECIDED if action.decided_at else State.RAISED
    action.done_at = action.done_by = action.accepted_at = action.accepted_by = None
    action.checked_at = action.checked_by = None
    action.done_note = action.check_note = ""
    action.attempt += 1
    action.reopened_at, action.reopened_reason = at, reason
    action.save(
        update_fields=[
            *("state", "done_at", "done_by", "done_note", "accepted_at", "accepted_by"),
            *("checked_at", "checked_by", "check_note"),
            *("attempt", "reopened_at", "reopened_reason"),
        ]
    )
    record(by, "action.reopened", action, at=at, reason=reason, old=old, attempt=action.attempt)
    return action


def _require_may_go_back(action: CorrectiveAction, by: User) -> None:
    """Raise ``WrongState`` unless finished work may be sent back as things stand."""
    client = by.role == Role.CLIENT_MANAGER
    if action.state not in ({State.DONE, State.CHECKED} if client else {State.DONE}):
        raise WrongState(
            f"{action} is {_standing(action)}; only work reported done can be sent back.",
            state=action.state,
        )
    if client and action.accepted_by:
        raise WrongState(
            f"{action.accepted_by.name} has accepted this work. Write to the office if something "
            "is wrong with it.",
            state=action.state,
        )


@transaction.atomic
def withdraw_action(
    action_id: UUID, *, by: User, reason: str, at: datetime | None = None
) -> CorrectiveAction:
    """Withdraw an action that is no longer wanted, with the reason, as the office.

    Raises ``NotAllowed``, ``WrongState`` once it is checked or withdrawn, ``Unusable``.
    """
    reason = _wanted(reason, "Say why it is withdrawn; the reason stays on the record.")
    if len(reason) > 300:
        raise Unusable("Keep the reason under 300 characters.", code="reason_too_long")
    action = _locked(action_id)
    require_may_keep(by, action)
    if action.state not in CorrectiveAction.OPEN_STATES:
        raise WrongState(f"{action} is {_standing(action)}; that is final.", state=action.state)
    was = action.state
    action.state, action.withdrawn_reason = State.WITHDRAWN, reason
    action.withdrawn_at = at or timezone.now()
    action.save(update_fields=["state", "withdrawn_reason", "withdrawn_at"])
    record(by, "action.withdrawn", action, at=at, reason=reason, was=was)
    return action


# --- what the verbs share -----------------------------------------------------------------------


def _locked_site(site_id: UUID) -> Site:
    """The site, locked, so that two actions never take the same number."""
    return Site.objects.select_for_update(no_key=True).get(pk=site_id)


def _locked(action_id: UUID) -> CorrectiveAction:
    return (
        CorrectiveAction.objects.select_for_update(of=("self",))
        .select_related("site__client", "zone", "visit")
        .get(pk=action_id)
    )


def _zone_of(site: Site, zone_id: UUID | None) -> Zone | None:
    if zone_id is None:
        return None
    zone = Zone.objects.filter(pk=zone_id, site=site).first()
    if zone is None:
        raise Unusable("That zone belongs to another site.", code="zone_elsewhere")
    return zone


def _show(action: CorrectiveAction, photo_ids: Sequence[UUID], moment: str) -> None:
    """Put photos beside an action. Raises ``Unusable`` for photos of another site."""
    photos = Photo.objects.filter(pk__in=photo_ids, site=action.site_id)
    if len(photos) != len(set(photo_ids)):
        raise Unusable("A photo belongs to another site.", code="photo_elsewhere")
    ActionPhoto.objects.bulk_create(
        [
            ActionPhoto(action=action, photo=photo, moment=moment, attempt=action.attempt)
            for photo in photos
        ],
        ignore_conflicts=True,
    )


def _photo_wanted(action: CorrectiveAction) -> str:
    if action.attempt > 1:
        return "Add a new photo of the finished work; this was sent back before."
    return "Add a photo that shows the finished work."


def _facts(action: CorrectiveAction) -> dict[str, Any]:
    return sheet_of(action).facts


def _require_may_be_done(action: CorrectiveAction) -> None:
    """Raise ``WrongState`` unless the work may be reported done as things stand."""
    if action.state == State.DECIDED and not action.declined:
        return
    if action.state == State.RAISED and not needs_decision(action):
        return
    if action.state == State.RAISED:
        sentence = f"{action} has no options yet; the office prices it, then the client decides."
    elif action.state == State.PRICED:
        sentence = f"{action} waits for the client's decision."
    else:
        sentence = f"{action} is {_standing(action)}; there is nothing to report."
    raise WrongState(sentence, state=action.state)


def _standing(action: CorrectiveAction) -> str:
    """How the action stands, in words."""
    if action.declined and action.state == State.DECIDED:
        return "turned down"
    return action.get_state_display().lower()


def _wanted(text: str, sentence: str) -> str:
    text = text.strip()
    if not text:
        raise Unusable(sentence, code="text_missing")
    return text


def _shortened(text: str) -> str:
    """At most the 160 characters that a title holds, cut at a word."""
    return text if len(text) <= 160 else f"{text[:159].rsplit(' ', 1)[0]}…"


def usual_due_day(site: Site, at: datetime) -> date:
    """The day by which an action raised now is due unless a day is given."""
    return site.day_of(at) + timedelta(days=DUE_DAYS[Finding.Urgency.SOON])
