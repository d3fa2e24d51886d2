"""Telling people what concerns them: a sweep that asks what is still untold and tells it."""

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from accounts.services.notices import notify
from compliance.models import CorrectiveAction
from compliance.queries.telling import Telling, untold


def tell_people(*, now: datetime | None = None, limit: int = 500) -> int:
    """Tell what is untold, and say how many notices that made. Safe twice, late, or never.

    Each thing is one transaction with all its notices and letters, so that one that is cut off is
    told anew, and one that was told is not told again.
    """
    now = now or timezone.now()
    return sum(_tell(telling, now) for telling in untold(now)[:limit])


@transaction.atomic
def _tell(telling: Telling, now: datetime) -> int:
    """Write one thing's notices; 0 where it has been decided since it was looked up."""
    if telling.undecided is not None and not _still_waits(telling.action, telling.undecided):
        return 0
    return notify(
        telling.to,
        kind=telling.kind,
        key=telling.key,
        subject=telling.subject,
        text=telling.text,
        path=telling.path,
        site_id=telling.action.site_id,
        at=telling.at,
        now=now,
    )


def _still_waits(action: CorrectiveAction, revision: int) -> bool:
    """Whether the same options are still to be decided, from here on until we have told it."""
    waiting = CorrectiveAction.objects.select_for_update(of=("self",)).filter(
        pk=action.pk, state=CorrectiveAction.State.PRICED, revision=revision
    )
    return waiting.first() is not None
