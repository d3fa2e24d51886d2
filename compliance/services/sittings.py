"""Several decisions signed at one sitting: one password, and a sign-off for each action."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils import timezone

from accounts.models import User
from accounts.refusals import Refused, Unusable
from compliance.models import Decision
from compliance.services.actions import decide_action
from compliance.services.signing import Proof, prove_by_password

MOST_AT_ONCE = 20


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to one action, as ``decide_action`` takes it."""

    action_id: UUID
    revision: int
    shown_hash: str
    outcome: str
    option_id: UUID | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Answered:
    """What came of one answer: the decision, or why nothing was signed for it."""

    action_id: UUID
    decision: Decision | None
    refused: Refused | None = None


def decide_several(
    answers: Sequence[Answer],
    *,
    by: User,
    password: str = "",
    proof: Proof | None = None,
    at: datetime | None = None,
) -> list[Answered]:
    """Sign several answers, in their order, as the client's manager.

    The person is made sure of once. Then each action is decided as if it were alone, in a
    transaction of its own and bound to the sheet that was read of it: one that can no longer be
    signed hinders none of the others. The same answers sent twice are the same decisions. Raises
    ``Unusable`` for none, for more than twenty, and for two of one action; ``WrongPassword`` and
    ``TooManyTries``, by which nothing is signed.
    """
    if not answers:
        raise Unusable("Nothing is decided yet; choose an answer first.", code="answers_missing")
    if len(answers) > MOST_AT_ONCE:
        raise Unusable(
            f"Sign at most {MOST_AT_ONCE} decisions at once, then the rest.",
            code="answers_too_many",
        )
    if len({answer.action_id for answer in answers}) < len(answers):
        raise Unusable("One action was answered twice; answer it once.", code="answers_doubled")
    at = at or timezone.now()
    proof = proof or prove_by_password(by, password)
    return [_answered(answer, by=by, proof=proof, at=at) for answer in answers]


def _answered(answer: Answer, *, by: User, proof: Proof, at: datetime) -> Answered:
    try:
        decision = decide_action(
            answer.action_id,
            by=by,
            revision=answer.revision,
            shown_hash=answer.shown_hash,
            outcome=answer.outcome,
            option_id=answer.option_id,
            reason=answer.reason,
            proof=proof,
            at=at,
        )
    except Refused as refused:
        return Answered(answer.action_id, None, refused)
    return Answered(answer.action_id, decision)
