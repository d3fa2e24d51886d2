"""Taking in what phones recorded: each operation once, in whatever order, however often it comes.

Every operation is one transaction under its visit's lock, with its receipt in the same one. A
receipt is kept for ever: the same id with the same content gets the same answer again, the same id
with other content is a conflict. A visit that happened is a fact, so what cannot be applied is
parked whole for the office to place, and the phone is told why. docs/sync.md tells the protocol.
"""

import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, InterfaceError, OperationalError, transaction
from django.utils import timezone

from accounts.models import Role, User
from accounts.refusals import NotAllowed, Refused, Unusable
from accounts.sealing import digest
from accounts.trail import record
from sites.access import sites_visible_to
from visits.clocks import when
from visits.models import Operation, ParkedOperation, Visit
from visits.protocol import (
    BY_FILE,
    MOST_BYTES,
    MOST_DEPTH,
    MOST_OPERATIONS,
    Body,
    Envelope,
    Touches,
)
from visits.services import clashes, closing, writing
from visits.services.operations import CLOSE, KINDS, Kind

logger = logging.getLogger(__name__)

Answer = dict[str, Any]
AS_TEXT = "as_text"


class Malformed(Refused):
    """What was sent has not the shape of an operation."""

    code = "malformed"
    status = 422


class NotOnYourList(Refused):
    """There is no such visit, or it is none of this person's: the same words for both."""

    code = "unknown_visit"


class Waits(Exception):
    """The operation cannot be judged before others that were made before it have arrived."""


@dataclass(frozen=True, slots=True)
class Sent:
    """One operation as it came: ``raw`` is all of it, ``content_hash`` says whose and what."""

    id: UUID
    raw: Any
    content_hash: str


def apply_operations(operations: Sequence[Any], *, by: User) -> list[Answer]:
    """Take in a batch of operations and answer each, in the order in which they came.

    They are applied in the order of their ``seq``. A verdict is ``applied``; ``parked`` (kept
    whole for the office); ``wait`` (not kept: send it again later); or ``refused`` (not kept, as
    it cannot be told from noise). ``again`` says that the answer was given before. Raises
    ``NotAllowed`` for anybody but a technician, ``Unusable`` for more than a hundred at once.
    """
    if not by.is_active or by.role != Role.TECHNICIAN:
        raise NotAllowed("Only technicians send visits.")
    if len(operations) > MOST_OPERATIONS:
        raise Unusable(f"Send at most {MOST_OPERATIONS} operations at once.", code="too_many")
    answers: dict[int, Answer] = {}
    for place in sorted(range(len(operations)), key=lambda one: _seq(operations[one])):
        answers[place] = apply_operation(operations[place], by=by)
    return [answers[place] for place in range(len(operations))]


def _seq(raw: Any) -> int:
    seq = raw.get("seq") if isinstance(raw, Mapping) else None
    return seq if isinstance(seq, int) else 0


def apply_operation(raw: Any, *, by: User) -> Answer:
    """Take in one operation. Raises only if the database is away; then nothing was kept."""
    sent = sent_of(raw, by)
    if sent is None:
        given = raw.get("id") if isinstance(raw, Mapping) else None
        return {
            "id": given if isinstance(given, str) else None,
            "verdict": "refused",
            "code": "malformed",
            "message": "This is no operation: it has no id, or is too large to be one.",
        }
    try:
        envelope = _envelope(sent.raw, received_at=timezone.now())
    except Malformed as refusal:
        return _parked_alone(sent, refusal, by)
    try:
        return _settled(sent, envelope, by)
    except IntegrityError:
        # The same operation came twice at once and named no visit to lock: the other is first.
        again = _answer_given(sent)
        if again is None:
            raise
        return again


# --- the shape of it ------------------------------------------------------------------------------


def sent_of(raw: Any, by: User) -> Sent | None:
    """The operation with its id and hash; None for what is not one, or too much to keep."""
    if not isinstance(raw, Mapping) or _depth(raw) > MOST_DEPTH:
        return None
    as_text = json.dumps(raw, ensure_ascii=True, sort_keys=True)
    if len(as_text) > MOST_BYTES:
        return None
    try:
        op_id = UUID(raw["id"]) if isinstance(raw.get("id"), str) else None
    except ValueError:
        op_id = None
    if op_id is None:
        return None
    # Whose it is belongs to the content: nobody is told of another's answer by guessing an id.
    return Sent(op_id, _storable(raw, as_text), digest(f"{by.pk}\n{as_text}"))


def _depth(value: Any) -> int:
    """How deep lists and objects lie in each other; without recursion, as it may be absurd."""
    deepest, waiting = 0, [(value, 1)]
    while waiting:
        here, depth = waiting.pop()
        deepest = max(deepest, depth)
        if depth > MOST_DEPTH:
            break
        if isinstance(here, Mapping):
            waiting.extend((one, depth + 1) for one in here.values())
        elif isinstance(here, list):
            waiting.extend((one, depth + 1) for one in here)
    return deepest


def _storable(raw: Any, as_text: str) -> Any:
    """The content, or its text where it has something in it that databases do not keep."""
    try:
        json.dumps(raw, ensure_ascii=False, allow_nan=False).encode()
    except ValueError:  # half of a character, or a number beyond all numbers
        return {AS_TEXT: as_text}
    return {AS_TEXT: as_text} if "\\u0000" in as_text else raw


def _envelope(raw: Any, *, received_at: datetime) -> dict[str, Any]:
    """The envelope, checked, and ``when`` it happened: settled once, on its first arrival."""
    if AS_TEXT in raw:
        raise Malformed("It has something in it that cannot be kept.")
    checked = Envelope(data=raw)
    if not checked.is_valid():
        raise Malformed(_first_error(checked.errors), fields=sorted(checked.errors))
    told = dict(checked.validated_data)
    told["when"] = when(told["made_at"], ahead=told["clock_ahead"], received_at=received_at)
    return told


def _body(kind: Kind, given: Any) -> Body:
    checked = kind.body(data=given)
    if not checked.is_valid():
        raise Malformed(_first_error(checked.errors), fields=sorted(map(str, checked.errors)))
    return checked


def _first_error(errors: Any, name: str = "") -> str:
    """The first thing that is wrong, as a sentence with the name of its field."""
    if isinstance(errors, Mapping):
        key, inner = next(iter(errors.items()))
        return _first_error(inner, name or str(key))
    if isinstance(errors, list) and errors:
        wrong = next((one for one in errors if one), errors[0])
        return _first_error(wrong, name)
    label = "" if name in {"", "non_field_errors"} else f"{name.replace('_', ' ').capitalize()}: "
    return f"{label}{errors}"


# --- the verdict ----------------------------------------------------------------------------------


def _answer_given(sent: Sent) -> Answer | None:
    """What was answered to the same content before. Two queries at most."""
    for receipt in (
        Operation.objects.filter(pk=sent.id, content_hash=sent.content_hash),
        ParkedOperation.objects.filter(operation_id=sent.id, content_hash=sent.content_hash),
    ):
        found = receipt.first()
        if isinstance(found, Operation):
            return {**found.answer, "again": True}
        if found is not None:
            return {**_parked_answer(found), "again": True}
    return None


@transaction.atomic
def _settled(sent: Sent, envelope: dict[str, Any], by: User) -> Answer:
    """One operation in one transaction: what it writes, its receipt, its answer."""
    visit = _lock(envelope)
    again = _answer_given(sent)
    if again is not None:
        return again
    if Operation.objects.filter(pk=sent.id).exists():
        return _park(
            sent,
            Refused("The same id came before with other content.", code="other_content"),
            by=by,
            at=envelope["when"].at,
            visit=visit,
        )
    touches = Touches()
    before = visit.version if visit else None
    try:
        with transaction.atomic():
            if visit is None:
                raise NotOnYourList("This visit is not on your list.")
            _require_own(visit, by)
            touches = _written(visit, envelope, by)
    except Waits as waits:
        return {"id": str(sent.id), "verdict": "wait", "code": "waits", "message": str(waits)}
    except (OperationalError, InterfaceError):
        raise  # the database is away: nothing is kept, and the phone tries again
    except Refused as refusal:
        return _kept(sent, envelope, by, visit, before, refusal, touches)
    except Exception:
        # A fault of ours in one operation must not keep all others on the phone for ever.
        logger.exception("an operation could not be applied", extra={"operation": str(sent.id)})
        fault = Refused("Kickplate could not apply this; the office has it whole.", code="fault")
        return _kept(sent, envelope, by, visit, before, fault, touches)
    return _kept(sent, envelope, by, visit, before, None, touches)


def _lock(envelope: dict[str, Any]) -> Visit | None:
    """The visit, locked; its site first for a closing, which is numbered within the site."""
    try:
        if envelope["kind"] == CLOSE:
            closing.lock_site_of(envelope["visit"])
        return writing.locked(envelope["visit"])
    except Visit.DoesNotExist:
        return None


def _require_own(visit: Visit, by: User) -> None:
    """Raise unless the visit is this technician's; one they never saw is as one that is not."""
    if visit.technician_id == by.pk:
        return
    if not sites_visible_to(by).filter(pk=visit.site_id).exists():
        raise NotOnYourList("This visit is not on your list.")
    if visit.state in writing.STANDS_IN_THE_WAY and visit.technician_id is None:
        writing.require_open(visit)
    raise Refused("The office has given this visit to somebody else.", code="reassigned")


def _written(visit: Visit, envelope: dict[str, Any], by: User) -> Touches:
    """Apply the operation unless a later word stands; says what it writes and erases."""
    kind = KINDS.get(envelope["kind"])
    if kind is None:
        raise Malformed("This phone says something that Kickplate does not know.", code="kind")
    body = _body(kind, envelope["body"])
    if envelope["kind"] == CLOSE:
        _require_all_there(visit, envelope, body.validated_data["operations"])
    meeting = clashes.meet(visit, envelope, body)
    if meeting.changes:
        kind.write(visit, by, envelope["when"], body.validated_data)
        if envelope["kind"] == CLOSE:
            _settle_earlier_closings(visit)
    for finding_id in meeting.takes_back:
        writing.unwrite_finding(visit, by=by, at=envelope["when"].at, finding_id=finding_id)
    clashes.settle_clashes(visit, envelope, body, by=by)
    for one in meeting.overruled:
        clashes.hand_over(one, visit, by_operation=envelope["id"])
    return body.touches()


def _require_all_there(visit: Visit, envelope: dict[str, Any], named: int | None) -> None:
    """Raise ``Waits`` while what the phone made before the closing is still on its way."""
    if not named:
        return
    receipts = Operation.objects.filter(
        visit=visit, device=envelope["device"], seq__lt=envelope["seq"]
    )
    missing = named - receipts.count()
    if missing > 0:
        # What came in a file has no receipt, and the phone is told that it is here.
        by_file = ParkedOperation.objects.filter(
            person=visit.technician_id,
            code=BY_FILE,
            sent__visit=str(visit.pk),
            sent__device=envelope["device"],
            sent__seq__lt=envelope["seq"],
        ).exclude(operation_id__in=receipts.values("pk"))
        missing -= by_file.count()
    if missing > 0:
        raise Waits(f"{missing} records made before the closing are still on their way.")


def _settle_earlier_closings(visit: Visit) -> None:
    """A closing that was parked needs nobody once the visit is closed."""
    waiting = ParkedOperation.objects.filter(visit=visit, settled_at=None, sent__kind=CLOSE)
    for parked in waiting.order_by("created_at", "pk"):
        clashes.settle_by_itself(parked, "The visit was closed by a later operation.")


# --- the receipt ----------------------------------------------------------------------------------


def _kept(
    sent: Sent,
    envelope: dict[str, Any],
    by: User,
    visit: Visit | None,
    before: int | None,
    refusal: Refused | None,
    touches: Touches,
) -> Answer:
    """Keep the receipt, and the content as well where it was refused.

    Only what changed the visit, which had the version ``before``, has a version of its own: what
    another phone must have seen is what stands.
    """
    version = visit.version if visit and refusal is None else None
    if refusal is None:
        answer: Answer = {"id": str(sent.id), "verdict": "applied", "version": version}
    else:
        answer = _park(sent, refusal, by=by, at=envelope["when"].at, visit=visit)
    own = visit if visit and visit.technician_id == by.pk else None
    Operation.objects.create(
        pk=sent.id,
        person=by,
        visit=own,
        visit_named=str(envelope["visit"]),
        device=envelope["device"],
        seq=envelope["seq"],
        kind=envelope["kind"],
        body=sent.raw.get("body", sent.raw),
        base_version=envelope["base_version"],
        made_at=envelope["made_at"],
        offset_minutes=envelope["offset_minutes"],
        clock_ahead_seconds=envelope["clock_ahead"],
        content_hash=sent.content_hash,
        verdict=answer["verdict"],
        answer=answer,
        touches=touches.as_json(),
        version=version if version != before else None,
    )
    return answer


def _park(
    sent: Sent, refusal: Refused, *, by: User, at: datetime | None, visit: Visit | None
) -> Answer:
    """Keep the content whole until the office has placed it, and say so on the trail."""
    parked = ParkedOperation.objects.create(
        operation_id=sent.id,
        person=by,
        visit=visit,
        sent=sent.raw,
        content_hash=sent.content_hash,
        reason=str(refusal)[:300],
        code=refusal.code,
        by_operation=refusal.facts.get("by_operation"),
    )
    record(by, "operation.parked", parked, at=at, operation=sent.id, code=refusal.code)
    return _parked_answer(parked)


def _parked_answer(parked: ParkedOperation) -> Answer:
    return {
        "id": str(parked.operation_id),
        "verdict": "parked",
        "code": parked.code,
        "message": parked.reason,
    }


def _parked_alone(sent: Sent, refusal: Refused, by: User) -> Answer:
    """Park what has an id and no shape; it has no receipt but the parked content itself."""
    try:
        with transaction.atomic():
            return _answer_given(sent) or _park(sent, refusal, by=by, at=None, visit=None)
    except IntegrityError:
        again = _answer_given(sent)
        if again is None:
            raise
        return again
