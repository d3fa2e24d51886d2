"""Two phones on one visit: where their words meet, and when nobody has to decide any more.

What a phone had not seen of another's words is what was applied after its ``base_version``. Most of
it concerns other places and is none of its business. Of the same place:

- the same words twice are no clash;
- a finding waits for nobody. It takes the place of a look; "not reached" it hands to the office,
  since that says whose move it is. A look that meets a finding changes nothing;
- findings stand beside each other, each by its own id;
- what is taken back is what the phone had seen: another phone's later word stays;
- all else is a clash: both are kept, and a person decides (``ChangedElsewhere``).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Refused
from accounts.trail import record
from visits.clocks import when
from visits.models import Operation, ParkedOperation, Visit
from visits.protocol import CLASH, Body, Clock, Touches
from visits.services.operations import KINDS

Envelope = Mapping[str, Any]

SAID_AGAIN = "The technician said it again after seeing the other."
SAID_OTHERWISE = "The technician has since said something else here."


class ChangedElsewhere(Refused):
    """Another phone said something else of the same place meanwhile."""

    code = CLASH


@dataclass(frozen=True, slots=True)
class Meeting:
    """What becomes of an operation among the words that were there before it.

    It ``changes`` nothing where a later word of its own phone stands, or one of another phone that
    says more. ``takes_back`` are findings of its own phone that it replaces all the same;
    ``overruled`` are words of other phones that it takes the place of, for the office to see.
    """

    changes: bool = True
    takes_back: Sequence[UUID] = ()
    overruled: Sequence[Operation] = ()


Word = tuple[Operation, Touches]


def meet(visit: Visit, envelope: Envelope, body: Body) -> Meeting:
    """What stands of the same place that its phone had not seen, and who gives way.

    Raises ``ChangedElsewhere`` where a person has to decide. One query, which in the usual order of
    things finds nothing; two where it gives way.
    """
    touches = body.touches()
    if touches == Touches():
        return Meeting()
    own, others = _said_since(visit, envelope)
    if any(touches.collides(later) for _, later in own):
        return Meeting(changes=False)
    standing = list(_standing(others))
    if any(touches.gives_way_to(theirs) for _, theirs in standing):
        kept = {name for _, theirs in standing for name in theirs.writes}
        return Meeting(
            changes=False, takes_back=list(_own_findings(visit, envelope, touches, but_not=kept))
        )
    overruled = []
    for one, theirs in standing:
        if touches.disputes(theirs) and not says_the_same(one, envelope, body):
            raise ChangedElsewhere(
                "Another phone has recorded something else here since; the office has both.",
                by_operation=str(one.pk),
            )
        if touches.overrules & theirs.writes and one.kind != "look.add":
            overruled.append(one)
    return Meeting(overruled=overruled)


def _said_since(visit: Visit, envelope: Envelope) -> tuple[list[Word], list[Word]]:
    """What the same phone said later, and what others changed after what this one had seen."""
    device = envelope["device"]
    wanted = Q(device=device, seq__gt=envelope["seq"])
    if envelope["base_version"] is not None:
        wanted |= ~Q(device=device) & Q(version__gt=envelope["base_version"])
    later = Operation.objects.filter(wanted, visit=visit, verdict=Operation.Verdict.APPLIED)
    own: list[Word] = []
    others: list[Word] = []
    for one in later.order_by("version", "received_at", "pk"):
        (own if one.device == device else others).append((one, Touches.from_json(one.touches)))
    return own, others


def _standing(words: Sequence[Word]) -> Iterator[Word]:
    """Those of which nothing was erased by a later one, latest first."""
    erased: set[str] = set()
    for one, touches in reversed(words):
        if touches.writes and not touches.writes & erased:
            yield one, touches
        erased |= touches.erases


def _own_findings(
    visit: Visit, envelope: Envelope, touches: Touches, *, but_not: Iterable[str]
) -> Iterator[UUID]:
    """The phone's own earlier findings in the place, of which no other phone has spoken."""
    before = Operation.objects.filter(
        visit=visit,
        device=envelope["device"],
        seq__lt=envelope["seq"],
        kind="finding.set",
        verdict=Operation.Verdict.APPLIED,
    )
    for one in before.order_by("seq", "pk"):
        theirs = Touches.from_json(one.touches)
        if touches.yields & theirs.writes:
            for name in sorted(theirs.writes.difference(but_not)):
                sort, _, finding = name.partition("/")
                if sort == "finding":
                    yield UUID(finding)


def says_the_same(one: Operation, envelope: Envelope, body: Body) -> bool:
    """Whether two operations say the same, however each phone wrote it."""
    if one.kind != envelope["kind"]:
        return False
    theirs = body_of({"kind": one.kind, "body": one.body})
    return theirs is not None and theirs.words() == body.words()


def body_of(sent: Any) -> Body | None:
    """The checked body of what was sent; None where it has not the shape of one."""
    if not isinstance(sent, Mapping):
        return None
    kind = KINDS.get(str(sent.get("kind")))
    body = kind.body(data=sent.get("body")) if kind else None
    return body if body and body.is_valid() else None


# --- what the office has to see -------------------------------------------------------------------


def hand_over(one: Operation, visit: Visit, *, by_operation: UUID) -> None:
    """Give a word that a finding took the place of to the office, which decides; once."""
    parked, is_new = ParkedOperation.objects.get_or_create(
        operation_id=one.pk,
        content_hash=one.content_hash,
        defaults={
            "person_id": one.person_id,
            "visit": visit,
            "sent": _as_sent(one),
            "reason": "Another phone has recorded a finding here; that stands.",
            "code": ChangedElsewhere.code,
            "by_operation": by_operation,
        },
    )
    if is_new:
        record(None, "operation.parked", parked, operation=one.pk, code=parked.code)


def _as_sent(one: Operation) -> dict[str, Any]:
    """The operation as it came, from its receipt."""
    return {
        "id": str(one.pk),
        "device": one.device,
        "seq": one.seq,
        "visit": one.visit_named,
        "kind": one.kind,
        "body": one.body,
        "base_version": one.base_version,
        "made_at": one.made_at.isoformat(),
        "offset_minutes": one.offset_minutes,
        "clock_ahead": one.clock_ahead_seconds,
    }


# --- when nobody has to decide any more -----------------------------------------------------------


def settle_clashes(visit: Visit, envelope: Envelope, body: Body, *, by: User) -> None:
    """Settle what waited of a place of which the same person has now said something.

    The same phone's later word is enough, since it was not a clash itself. Another phone's must be
    made after the word that waits, having seen the one that this clashed with: then the technician
    knew. One query; two more where something of the place waits.
    """
    named = body.speaks_of()
    if not named:
        return
    waiting = ParkedOperation.objects.filter(
        visit=visit, person=by, settled_at=None, code=ChangedElsewhere.code
    )
    for parked in waiting.order_by("created_at", "pk"):
        then = body_of(parked.sent)
        if then is None or not named & then.speaks_of() or not _is_after(parked, envelope):
            continue
        again = parked.sent["kind"] == envelope["kind"] and then.words() == body.words()
        settle_by_itself(parked, SAID_AGAIN if again else SAID_OTHERWISE)


def _is_after(parked: ParkedOperation, envelope: Envelope) -> bool:
    sent = parked.sent
    if sent.get("device") == envelope["device"]:
        return isinstance(sent.get("seq"), int) and sent["seq"] < envelope["seq"]
    clock = Clock(data=sent)
    if envelope["base_version"] is None or parked.by_operation is None or not clock.is_valid():
        return False
    then = when(
        clock.validated_data["made_at"],
        ahead=clock.validated_data["clock_ahead"],
        received_at=parked.created_at,
    )
    return (
        then.at < envelope["when"].at
        and Operation.objects.filter(
            pk=parked.by_operation, version__lte=envelope["base_version"]
        ).exists()
    )


def settle_by_itself(parked: ParkedOperation, how: str) -> None:
    """Settle what needs nobody any more; it stays readable, and the trail says why."""
    parked.settled_at, parked.settlement = timezone.now(), how
    parked.save(update_fields=["settled_at", "settlement"])
    record(None, "operation.placed", parked, operation=parked.operation_id, note=how)
