"""Questions about an action and their answers, between the client's manager and the office."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable, WrongState
from accounts.sealing import digest
from accounts.trail import record
from compliance.access import require_may_write
from compliance.models import ActionMessage, CorrectiveAction

LONGEST = 2000
TWICE = timedelta(minutes=2)
"""The same words again within this time are the same message, sent twice."""


@transaction.atomic
def write_message(
    action_id: UUID, *, by: User, text: str, at: datetime | None = None
) -> ActionMessage:
    """Ask or answer about an action, as the client's manager or the office.

    The same words sent twice are one message. Raises ``NotAllowed``, ``WrongState`` once the action
    is checked or withdrawn, ``Unusable`` without words and for more than 2,000 characters.
    """
    at = at or timezone.now()
    action = (
        CorrectiveAction.objects.select_for_update(of=("self",))
        .select_related("site__client")
        .get(pk=action_id)
    )
    require_may_write(by, action)
    text = text.strip()
    if not text:
        raise Unusable("Write what you want to know or say.", code="text_missing")
    if len(text) > LONGEST:
        raise Unusable("Keep it under 2,000 characters.", code="text_too_long")
    twice = ActionMessage.objects.filter(action=action, by=by, text=text, at__gt=at - TWICE)
    if sent := twice.order_by("at", "pk").first():
        return sent
    if action.state not in CorrectiveAction.OPEN_STATES:
        raise WrongState(
            f"{action} is {action.get_state_display().lower()}; there is nothing left to ask.",
            state=action.state,
        )
    message = ActionMessage.objects.create(
        action=action, by=by, at=at, text=text, revision=action.revision
    )
    record(by, "action.written", action, at=at, message=message.pk, sha256=digest(text))
    return message
