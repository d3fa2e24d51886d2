"""Placing by hand what a phone sent and what could not be applied."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Refused, Unusable, WrongState
from accounts.trail import record
from visits.access import require_may_plan
from visits.clocks import when
from visits.models import ParkedOperation, Visit
from visits.protocol import Clock
from visits.queries.inbox import what_was_said
from visits.services import closing, writing
from visits.services.amendments import amend_locked
from visits.services.operations import KINDS


class NotPlaceable(Refused):
    """The content cannot be applied to the visit that was chosen."""

    code = "not_placeable"


@transaction.atomic
def place_parked(parked_id: UUID, *, by: User, visit_id: UUID, note: str = "") -> Visit:
    """Place a parked operation on a visit, as the technician said it and in their name.

    On a closed visit it becomes an amendment beside the sealed record, in the name of who places
    it. Raises ``NotAllowed`` for anybody but the office, ``WrongState`` if it was settled before or
    the visit takes nothing, ``NotPlaceable`` if the content does not fit the visit.
    """
    return place_all_parked([parked_id], by=by, visit_id=visit_id, note=note)


@transaction.atomic
def place_all_parked(
    parked_ids: Sequence[UUID], *, by: User, visit_id: UUID, note: str = ""
) -> Visit:
    """Place several on one visit, in the order in which the phone made them: all or none."""
    require_may_plan(by)
    closing.lock_site_of(visit_id)
    visit = writing.locked(visit_id)
    for parked in _in_order(parked_ids):
        if visit.state == Visit.State.CLOSED:
            _amend(visit, parked, by=by, note=note)
        else:
            _apply(visit, parked)
        _settle(parked, by=by, how=f"Placed on {visit}.", visit=visit, note=note)
    return visit


@transaction.atomic
def set_aside_parked(parked_id: UUID, *, by: User, note: str) -> ParkedOperation:
    """Settle a parked operation without placing it; the note says why, and the content stays.

    Raises ``NotAllowed`` for anybody but the office, ``WrongState`` if it was settled before,
    ``Unusable`` without a note.
    """
    require_may_plan(by)
    (parked,) = _in_order([parked_id])
    note = note.strip()
    if not note:
        raise Unusable("Say why it is set aside; the note stays on the record.", field="note")
    _settle(parked, by=by, how=f"Set aside: {note}", note=note)
    return parked


def _in_order(parked_ids: Sequence[UUID]) -> list[ParkedOperation]:
    rows = list(
        ParkedOperation.objects.select_for_update(of=("self",))
        .select_related("person", "visit")
        .filter(pk__in=parked_ids)
    )
    for row in rows:
        if row.settled_at:
            raise WrongState("This record was settled before.", code="settled")
    return sorted(rows, key=lambda row: (_seq(row.sent), row.created_at, row.pk))


def _seq(sent: Any) -> int:
    seq = sent.get("seq") if isinstance(sent, dict) else None
    return seq if isinstance(seq, int) else 0


def _apply(visit: Visit, parked: ParkedOperation) -> None:
    """Write it on the visit by the hand, and at the time, of who recorded it.

    It had arrived when it was parked: placing it later makes it no later.
    """
    sent = parked.sent if isinstance(parked.sent, dict) else {}
    kind = KINDS.get(str(sent.get("kind")))
    clock = Clock(data=sent)
    checked = kind.body(data=sent.get("body")) if kind else None
    if kind is None or checked is None or not clock.is_valid() or not checked.is_valid():
        raise NotPlaceable(
            "This has not the shape of a record that a visit takes. Set it aside with a note, or "
            "amend the visit once it is closed."
        )
    made_at, ahead = clock.validated_data["made_at"], clock.validated_data["clock_ahead"]
    happened = when(made_at, ahead=ahead, received_at=parked.created_at)
    try:
        kind.write(visit, parked.person, happened, checked.validated_data)
    except writing.Unknown as refusal:
        raise NotPlaceable(f"It does not belong to this visit's site: {refusal}") from refusal


def _amend(visit: Visit, parked: ParkedOperation, *, by: User, note: str) -> None:
    sent = parked.sent if isinstance(parked.sent, dict) else {}
    kind = KINDS.get(str(sent.get("kind")))
    said = sent.get("body", parked.sent)
    lines = [f"{'  ' * one.depth}{one.label}: {one.value}" for one in what_was_said(said)]
    amend_locked(
        visit,
        by=by,
        about=f"{kind.words if kind else 'A record'}, sent by {parked.person.name}"[:160],
        correction="\n".join(lines) or "Nothing was said.",
        reason=note.strip() or f"It could not be applied when it came: {parked.reason}",
        at=timezone.now(),
    )


def _settle(
    parked: ParkedOperation,
    *,
    by: User,
    how: str,
    visit: Visit | None = None,
    note: str = "",
) -> None:
    parked.settled_at, parked.settled_by = timezone.now(), by
    parked.settlement = how[:300]
    parked.save(update_fields=["settled_at", "settled_by", "settlement"])
    record(
        by,
        "operation.placed",
        parked,
        operation=parked.operation_id,
        recorded_by=parked.person.name,
        on=visit.pk if visit else None,
        note=note or how,
    )
