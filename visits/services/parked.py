"""Placing by hand what a phone sent and what could not be applied."""

import heapq
import logging
from collections import defaultdict
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db import InterfaceError, OperationalError, transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Refused, Unusable, WrongState
from accounts.trail import record_each
from visits.access import require_may_plan
from visits.clocks import When, when
from visits.models import ParkedOperation, Visit
from visits.protocol import Clock, photos_named
from visits.queries.inbox import names_in, what_was_said
from visits.services import closing, writing
from visits.services.amendments import amend_locked
from visits.services.clashes import body_of
from visits.services.judging import words_against
from visits.services.operations import KINDS
from visits.services.sent_photos import take_along

logger = logging.getLogger(__name__)


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
    """Place several on one visit, in the order in which the phone made them: all or none.

    On a closed visit, or after the closing among them, they become one amendment. Raises as
    ``place_parked`` does; of several, ``NotPlaceable`` says which one stands in the way. A dozen
    queries or so for each, however many there are.
    """
    require_may_plan(by)
    closing.lock_site_of(visit_id)
    visit = writing.locked(visit_id)
    rows = _in_order(parked_ids)
    for number, parked in enumerate(rows, start=1):
        if visit.state == Visit.State.CLOSED:
            _amend(visit, rows[number - 1 :], by=by, note=note)
            break
        writing.require_open(visit)
        try:
            _apply(visit, parked)
        except Refused as refusal:
            if len(rows) == 1:
                raise
            raise NotPlaceable(
                f"{_named(parked, visit)} ({number} of {len(rows)}) stands in the way, so nothing "
                f"was placed: {refusal}",
                parked=str(parked.pk),
                why=refusal.code,
            ) from refusal
    _settle(rows, by=by, how=f"Placed on {visit}.", visit=visit, note=note)
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
    _settle([parked], by=by, how=f"Set aside: {note}", note=note)
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
    # Each phone counts its own; between phones only their clocks tell the order.
    phones: dict[str, list[ParkedOperation]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: (_seq(row.sent), row.created_at, row.pk)):
        phones[str(_told(row.sent, "device"))].append(row)
    return list(heapq.merge(*phones.values(), key=lambda row: (_happened(row).at, row.pk)))


def _told(sent: Any, name: str) -> Any:
    return sent.get(name) if isinstance(sent, dict) else None


def _seq(sent: Any) -> int:
    seq = _told(sent, "seq")
    return seq if isinstance(seq, int) else 0


def _happened(parked: ParkedOperation) -> When:
    """When it happened; it had arrived when it was parked, and placing it makes it no later."""
    clock = Clock(data=parked.sent)
    if not clock.is_valid():
        return when(parked.created_at, ahead=None, received_at=parked.created_at)
    told = clock.validated_data
    return when(told["made_at"], ahead=told["clock_ahead"], received_at=parked.created_at)


def _named(parked: ParkedOperation, visit: Visit) -> str:
    """A record as it is spoken of: Reading, Tue 8 Dec 2026, 09:12."""
    at = timezone.localtime(_happened(parked).at, visit.site.zone_info)
    return f"{_kind_words(parked)}, {at:%a %-d %b %Y, %H:%M}"


def _kind_words(parked: ParkedOperation) -> str:
    kind = KINDS.get(str(_told(parked.sent, "kind")))
    return kind.words if kind else "A record"


def _apply(visit: Visit, parked: ParkedOperation) -> None:
    """Write it on the visit by the hand, and at the time, of who recorded it."""
    body = body_of(parked.sent)
    if body is None or not Clock(data=parked.sent).is_valid():
        raise NotPlaceable(
            "This has not the shape of a record that a visit takes. Set it aside with a note, or "
            "amend the visit once it is closed."
        )
    write = KINDS[parked.sent["kind"]].write
    try:
        write(visit, parked.person, _happened(parked), body.validated_data)
    except writing.Unknown as refusal:
        raise NotPlaceable(f"It does not belong to this visit's site: {refusal}") from refusal
    except (Refused, OperationalError, InterfaceError):
        raise
    except Exception as fault:
        logger.exception("a record could not be placed", extra={"parked": str(parked.pk)})
        raise NotPlaceable(
            "Kickplate could not apply it. Whoever runs this installation finds why in its log."
        ) from fault


def _amend(visit: Visit, rows: Sequence[ParkedOperation], *, by: User, note: str) -> None:
    """Put them beside the sealed record; their photos become the site's, named by their hashes."""
    said = [_told(parked.sent, "body") or parked.sent for parked in rows]
    names = names_in(said)
    parts = []
    for parked, words in zip(rows, said, strict=True):
        take_along(visit, photos_named(words), by=parked.person)
        lines = [
            f"{'  ' * one.depth}{one.label}: {one.value}" for one in what_was_said(words, names)
        ]
        lines += [f"Against the label: {found}" for found in _against(visit, parked)]
        heading = [f"{_named(parked, visit)}:"] if len(rows) > 1 else []
        parts.append("\n".join([*heading, *lines]) or "Nothing was said.")
    people = " and ".join(dict.fromkeys(parked.person.name for parked in rows))
    what = _kind_words(rows[0]) if len(rows) == 1 else f"{len(rows)} records"
    why = " ".join(dict.fromkeys(parked.reason for parked in rows))
    it = "It" if len(rows) == 1 else "They"
    amend_locked(
        visit,
        by=by,
        about=f"{what}, sent by {people}"[:160],
        correction="\n\n".join(parts),
        reason=note.strip() or f"{it} could not be applied on arrival: {why}",
        at=timezone.now(),
    )


def _against(visit: Visit, parked: ParkedOperation) -> list[str]:
    """What stands against a treatment that comes after its visit was sealed; else nothing."""
    body = body_of(parked.sent) if _told(parked.sent, "kind") == "treatment.set" else None
    return words_against(visit, body.validated_data, by=parked.person) if body else []


def _settle(
    rows: Sequence[ParkedOperation],
    *,
    by: User,
    how: str,
    visit: Visit | None = None,
    note: str = "",
) -> None:
    for parked in rows:
        parked.settled_at, parked.settled_by = timezone.now(), by
        parked.settlement, parked.placed_on = how[:300], visit
    ParkedOperation.objects.bulk_update(
        rows, ["settled_at", "settled_by", "settlement", "placed_on"], batch_size=100
    )
    record_each(
        by,
        "operation.placed",
        rows,
        own=[
            {"operation": parked.operation_id, "recorded_by": parked.person.name} for parked in rows
        ],
        on=visit.pk if visit else None,
        note=note or how,
    )
