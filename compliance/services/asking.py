"""Who of the client's managers is asked to decide. Any manager of the site may decide all the same.

The note stands among the questions and answers, so that whoever reads them sees it.
"""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable, WrongState
from accounts.sealing import digest
from accounts.trail import record
from compliance.access import may_be_asked, require_may_ask
from compliance.models import ActionMessage, CorrectiveAction

LONGEST_NOTE = 1000


@transaction.atomic
def ask_colleague(
    action_id: UUID, *, by: User, person_id: UUID, note: str = "", at: datetime | None = None
) -> CorrectiveAction:
    """Ask one manager of the client to decide, as another manager or as the office on their word.

    Asking the same person again in the same words changes nothing. Raises ``NotAllowed``,
    ``WrongState`` unless it waits for a decision, ``Unusable`` for anybody who is no manager of the
    client with this site, for oneself, and for a note of more than 1,000 characters.
    """
    at = at or timezone.now()
    action = _waiting(action_id, by=by)
    note = note.strip()
    if len(note) > LONGEST_NOTE:
        raise Unusable("Keep the note under 1,000 characters.", code="text_too_long")
    if person_id == by.pk:
        raise Unusable("You may decide it yourself; ask somebody else.", code="asks_oneself")
    person = may_be_asked(action).filter(pk=person_id).first()
    if person is None:
        raise Unusable(
            "Ask a manager of this client who may sign in and sees this site.",
            code="person_unknown",
        )
    text = f"{person.name} is asked to decide this.\n{note}".strip()
    if action.asked == person and _is_said_already(action, by, text):
        return action
    message = ActionMessage.objects.create(
        action=action, by=by, at=at, text=text, revision=action.revision, asks=person
    )
    was, action.asked = action.asked, person
    action.save(update_fields=["asked"])
    record(
        by,
        "action.asked",
        action,
        at=at,
        person=person.pk,
        name=person.name,
        was=was and was.pk,
        message=message.pk,
        sha256=digest(text),
    )
    return action


@transaction.atomic
def ask_nobody(action_id: UUID, *, by: User, at: datetime | None = None) -> CorrectiveAction:
    """Ask nobody in particular any more. Where nobody is asked nothing changes.

    Raises ``NotAllowed``, ``WrongState`` unless it waits for a decision.
    """
    action = _waiting(action_id, by=by)
    if action.asked is None:
        return action
    was, action.asked = action.asked, None
    action.save(update_fields=["asked"])
    record(by, "action.asked_nobody", action, at=at, was=was.pk, name=was.name)
    return action


def _is_said_already(action: CorrectiveAction, by: User, text: str) -> bool:
    latest = action.messages.exclude(asks=None).order_by("-at", "-pk").first()
    return latest is not None and (latest.by_id, latest.text) == (by.pk, text)


def _waiting(action_id: UUID, *, by: User) -> CorrectiveAction:
    """The action, locked, if it waits for a decision."""
    action = (
        CorrectiveAction.objects.select_for_update(of=("self",))
        .select_related("site__client", "asked")
        .get(pk=action_id)
    )
    require_may_ask(by, action)
    if action.state != CorrectiveAction.State.PRICED:
        raise WrongState(
            f"{action} is {action.get_state_display().lower()}; nobody has to decide it now.",
            state=action.state,
        )
    return action
