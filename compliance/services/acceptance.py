"""The client accepts finished work, signed under exactly what was reported of it."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Changed, WrongState
from accounts.trail import record
from compliance.access import require_may_accept
from compliance.models import CorrectiveAction, SignOff
from compliance.queries.sheets import sheet_of
from compliance.queries.work import done_facts, done_hash
from compliance.services.actions import SHOWN_KINDS
from compliance.services.signing import Proof, prove_by_password, sign

State = CorrectiveAction.State
FINISHED = (State.DONE, State.CHECKED)


def accept_work(
    action_id: UUID,
    *,
    by: User,
    shown_hash: str,
    password: str = "",
    proof: Proof | None = None,
    at: datetime | None = None,
) -> CorrectiveAction:
    """Accept work of ours that was reported done, as the client's manager.

    ``shown_hash`` says what was read: the hash of what was reported. Our own check may come before
    or after; neither stands for the other. The same acceptance twice is one. Raises ``NotAllowed``,
    ``WrongPassword``, ``TooManyTries``, ``Changed`` if the report is no longer what was read,
    ``WrongState`` unless it is done or checked, or once somebody else has accepted it.
    """
    # Before the transaction: a password takes a third of a second to check.
    proof = proof or prove_by_password(by, password)
    return _accept(action_id, by=by, shown_hash=shown_hash, proof=proof, at=at or timezone.now())


@transaction.atomic
def _accept(
    action_id: UUID, *, by: User, shown_hash: str, proof: Proof, at: datetime
) -> CorrectiveAction:
    action = (
        CorrectiveAction.objects.select_for_update(of=("self",))
        .select_related("site__client", "zone", "visit")
        .get(pk=action_id)
    )
    require_may_accept(by, action)
    if action.kind not in SHOWN_KINDS or action.state not in FINISHED:
        raise WrongState(
            f"{action} cannot be accepted: only work on the premises that was reported done can.",
            state=action.state,
        )
    done = done_facts(action)
    if shown_hash != done_hash(done):
        raise Changed(
            "The report changed while you were reading. Nothing was signed; read it again."
        )
    if action.accepted_by:
        if action.accepted_by == by:
            return action
        raise WrongState(
            f"{action.accepted_by.name} has already accepted this work.", state=action.state
        )
    sign_off = sign(
        action,
        by=by,
        meaning=SignOff.Meaning.ACCEPTS,
        content={"shown": {"facts": sheet_of(action).facts}, "done": done},
        proof=proof,
        at=at,
    )
    action.accepted_at, action.accepted_by = at, by
    action.save(update_fields=["accepted_at", "accepted_by"])
    record(
        by,
        "action.accepted",
        action,
        at=at,
        attempt=action.attempt,
        signed=sign_off.content_hash,
        known_by=proof.method,
    )
    return action
