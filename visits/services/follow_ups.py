"""Follow-ups that were proposed, answered by the office: put on the plan, or passed over."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import NotAllowed, Refused, Unusable, WrongState
from accounts.trail import record
from visits.access import follow_ups_visible_to, require_may_plan
from visits.models import FollowUp, Visit
from visits.queries.objections import words_of
from visits.services.booking import add_visit

MOST_AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class Answered:
    """What became of one of several follow-ups: the visit that looks again, or the refusal."""

    follow_up_id: UUID
    visit: Visit | None
    refusal: Refused | None


@transaction.atomic
def accept_follow_up(follow_up_id: UUID, *, by: User, now: datetime | None = None) -> FollowUp:
    """Put a proposed follow-up on the plan: a visit within its days, to be booked.

    Where a follow-up of the same visit was accepted whose visit is still open and due within these
    days too, that one looks for both pests. The same answer by the same person twice is one. Raises
    ``NotAllowed``, ``WrongState`` once somebody else has answered or the site is closed.
    """
    one = _locked(follow_up_id, by)
    if one.state == FollowUp.State.ACCEPTED and one.answered_by_id == by.pk:
        return one
    _require_proposed(one)
    at = now or timezone.now()
    shared = _visit_for_both(one)
    if shared:
        shared.office_note = f"{shared.office_note}\n{_note(one)}".strip()
        shared.version += 1
        shared.save(update_fields=["office_note", "version"])
    today = one.visit.site.day_of(at)
    one.booked = shared or add_visit(
        one.visit.site_id,
        by=by,
        kind=Visit.Kind.FOLLOW_UP,
        due_on=min(max(one.first_on, today), one.by_on),
        opens_on=one.first_on,
        closes_on=one.by_on,
        office_note=_note(one),
        follows_id=one.visit_id,
    )
    one.state, one.answered_at, one.answered_by = FollowUp.State.ACCEPTED, at, by
    one.save(update_fields=["state", "booked", "answered_at", "answered_by"])
    record(
        by,
        "follow_up.accepted",
        one,
        pest=one.pest.name,
        first=one.first_on,
        by_day=one.by_on,
        visit=one.booked.pk,
        due=one.booked.due_on,
    )
    return one


@transaction.atomic
def pass_over_follow_up(follow_up_id: UUID, *, by: User, reason: str) -> FollowUp:
    """Say that a proposed follow-up is not made, and why; the reason stays on the record.

    The same answer by the same person twice is one. Raises ``NotAllowed``, ``Unusable`` without a
    reason, ``WrongState`` once it is answered.
    """
    one = _locked(follow_up_id, by)
    reason = reason.strip()
    if not reason:
        raise Unusable(
            "Say why nobody looks again; the reason stays on the record.",
            code="reason_missing",
            field="reason",
        )
    if len(reason) > 300:
        raise Unusable(
            "Keep the reason under 300 characters.", code="reason_too_long", field="reason"
        )
    answered = (one.state, one.answered_by_id, one.answer)
    if answered == (FollowUp.State.PASSED_OVER, by.pk, reason):
        return one
    _require_proposed(one)
    one.state, one.answer = FollowUp.State.PASSED_OVER, reason
    one.answered_at, one.answered_by = timezone.now(), by
    one.save(update_fields=["state", "answer", "answered_at", "answered_by"])
    record(
        by,
        "follow_up.passed_over",
        one,
        pest=one.pest.name,
        first=one.first_on,
        by_day=one.by_on,
        reason=reason,
    )
    return one


def accept_follow_ups(follow_up_ids: Sequence[UUID], *, by: User) -> list[Answered]:
    """Accept several, each in its own right: one no stops no other. Answers in the same order.

    Raises ``NotAllowed``, or ``Unusable`` for more than a hundred at once.
    """
    require_may_plan(by)
    if len(follow_up_ids) > MOST_AT_ONCE:
        raise Unusable(f"Take at most {MOST_AT_ONCE} follow-ups at once.", code="too_many")
    return [_answer(one, lambda pk: accept_follow_up(pk, by=by)) for one in follow_up_ids]


def _answer(follow_up_id: UUID, verb: Callable[[UUID], FollowUp]) -> Answered:
    try:
        return Answered(follow_up_id, verb(follow_up_id).booked, None)
    except Refused as refusal:
        return Answered(follow_up_id, None, refusal)


def _locked(follow_up_id: UUID, by: User) -> FollowUp:
    """The follow-up, locked until the transaction ends; only the office of its branch gets it."""
    require_may_plan(by)
    if not follow_ups_visible_to(by).filter(pk=follow_up_id).exists():
        raise NotAllowed("Only the office of this site's branch answers its follow-ups.")
    return (
        FollowUp.objects.select_for_update(of=("self",))
        .select_related("visit__site", "pest", "booked", "answered_by")
        .get(pk=follow_up_id)
    )


def _require_proposed(one: FollowUp) -> None:
    if one.state == FollowUp.State.PROPOSED:
        return
    who = one.answered_by.name if one.answered_by else "Kickplate"
    what = "put it on the plan" if one.state == FollowUp.State.ACCEPTED else "passed it over"
    raise WrongState(f"This follow-up is answered: {who} {what}.", state=one.state)


def _visit_for_both(one: FollowUp) -> Visit | None:
    """The open visit that an accepted follow-up of the same visit led to, if it is due in time.

    Locked, as its note grows; and so is the visit that both follow, lest two people who accept a
    pest each at the same instant put two visits on the plan.
    """
    Visit.objects.select_for_update(of=("self",)).only("pk").get(pk=one.visit_id)
    return (
        Visit.objects.select_for_update(of=("self",))
        .filter(
            follows_up__visit=one.visit_id,
            state__in=[Visit.State.PLANNED, Visit.State.BOOKED],
            due_on__gte=one.first_on,
            due_on__lte=one.by_on,
        )
        .order_by("due_on", "pk")
        .first()
    )


def _note(one: FollowUp) -> str:
    """What the technician is told of it."""
    return f"Look again for {one.pest.name}, by {words_of(one.by_on)}. {one.reason}"
