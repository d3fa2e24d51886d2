"""Flags are kept in step with their causes: raised, reworded, cleared, and answered by a person."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import Company, User
from accounts.refusals import NotAllowed, WrongState
from accounts.trail import record
from compliance.access import flags_visible_to
from compliance.models import Flag
from compliance.queries.causes import Cause, causes_at


@dataclass(frozen=True, slots=True)
class Reconciled:
    """How many flags were raised and how many cleared."""

    raised: int
    cleared: int


def reconcile_flags(*, now: datetime | None = None) -> Reconciled:
    """Raise what has a cause and no flag, clear what has a flag and no cause. Safe to repeat.

    An acknowledged flag stays acknowledged until its cause is gone. Two runs at once end in the
    same flags: which of them writes a new one is settled by the database. The number of queries
    does not grow with the number of flags, and nothing is locked while the causes are looked for.
    """
    now = now or timezone.now()
    # The flags first: one that another run raises meanwhile is not seen, hence not cleared here.
    standing = {
        (flag.kind, flag.subject): flag for flag in Flag.objects.exclude(state=Flag.State.CLEARED)
    }
    causes = {(cause.kind, cause.subject): cause for cause in causes_at(now)}
    new = [_flag_of(cause) for key, cause in causes.items() if key not in standing]
    gone = [flag for key, flag in standing.items() if key not in causes]
    reworded = [
        flag for key, flag in standing.items() if key in causes and _reword(flag, causes[key])
    ]
    if new or gone or reworded:
        _write(new, gone, reworded, now)
    return Reconciled(raised=len(new), cleared=len(gone))


@transaction.atomic
def _write(new: list[Flag], gone: list[Flag], reworded: list[Flag], now: datetime) -> None:
    Flag.objects.bulk_create(new, ignore_conflicts=True, batch_size=500)
    Flag.objects.filter(pk__in=[flag.pk for flag in gone]).exclude(state=Flag.State.CLEARED).update(
        state=Flag.State.CLEARED, cleared_at=now
    )
    Flag.objects.bulk_update(reworded, ["sentence", "link", "late_since", "site"], batch_size=500)
    if new or gone:
        company = Company.objects.first() or Company(name="Kickplate")
        record(
            None,
            "flags.reconciled",
            company,
            raised=dict(Counter(flag.kind for flag in new)),
            cleared=dict(Counter(flag.kind for flag in gone)),
        )


def _flag_of(cause: Cause) -> Flag:
    flag = Flag(kind=cause.kind, subject=cause.subject)
    _reword(flag, cause)
    return flag


def _reword(flag: Flag, cause: Cause) -> bool:
    """Give a flag the words of its cause, and say whether that changed anything."""
    sentence = cause.sentence if len(cause.sentence) <= 300 else f"{cause.sentence[:299]}…"
    wanted = (sentence, cause.link, cause.late_since, cause.site_id)
    if (flag.sentence, flag.link, flag.late_since, flag.site_id) == wanted:
        return False
    flag.sentence, flag.link, flag.late_since, flag.site_id = wanted
    return True


@transaction.atomic
def acknowledge_flag(flag_id: UUID, *, by: User, note: str) -> Flag:
    """Say, as the office, that a flag is seen and what is done; it stays until its cause is gone.

    The same answer twice is one. Raises ``NotAllowed``, and ``WrongState`` once it has cleared
    itself or somebody else has acknowledged it.
    """
    if not flags_visible_to(by).filter(pk=flag_id).exists():
        raise NotAllowed("Only the office of this site's branch answers its flags.")
    flag = Flag.objects.select_for_update(of=("self",)).get(pk=flag_id)
    note = note.strip()[:300]
    if flag.state == Flag.State.ACKNOWLEDGED:
        if (flag.acknowledged_by_id, flag.note) == (by.pk, note):
            return flag
        raise WrongState(f"{flag.acknowledged_by} has acknowledged this already.", state=flag.state)
    if flag.state == Flag.State.CLEARED:
        raise WrongState("This flag has cleared itself; nothing is left to do.", state=flag.state)
    flag.state, flag.note = Flag.State.ACKNOWLEDGED, note
    flag.acknowledged_at, flag.acknowledged_by = timezone.now(), by
    flag.save(update_fields=["state", "note", "acknowledged_at", "acknowledged_by"])
    record(by, "flag.acknowledged", flag, kind=flag.kind, subject=flag.subject, note=note)
    return flag
