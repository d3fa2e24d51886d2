"""The life of papers that people ask for and a job builds: site files, review packs.

Building takes seconds to minutes, so it happens outside any transaction, under a lease. Every time
a job takes a paper up the number of attempts grows, and whoever finds another number than their own
has lost the paper to somebody else and stops.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Generic, TypeVar
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from accounts.trail import record
from compliance.models.paper import BuiltPaper
from compliance.sitefile.build import Paper, Progress

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
RETRY_AFTER = timedelta(seconds=30)
MOST_ATTEMPTS = 3
State = BuiltPaper.State

Row = TypeVar("Row", bound=BuiltPaper)


class LostLease(Exception):
    """Another job has taken the paper up."""


@dataclass(frozen=True, slots=True)
class Kind(Generic[Row]):
    """One kind of paper.

    ``verb`` begins its verbs on the trail (``site_file.built``), ``words`` names it in the log.
    ``rows`` reads it with all that ``printed`` needs, which makes the paper and writes nothing.
    """

    rows: Callable[[], QuerySet[Row]]
    verb: str
    words: str
    printed: Callable[[Row, Progress], Paper]


def to_build(kind: Kind[Row], now: datetime) -> QuerySet[Row]:
    """Papers that wait, or whose builder has fallen silent, oldest first."""
    free = Q(lease_until=None) | Q(lease_until__lt=now)
    waiting = kind.rows().filter(free, state__in=[State.REQUESTED, State.BUILDING])
    return waiting.order_by("created_at", "pk")


def build_waiting(kind: Kind[Row], limit: int) -> int:
    """Build the papers that wait; returns how many were built. Safe twice, late, or never."""
    waiting = to_build(kind, timezone.now()).values_list("pk", flat=True)[:limit]
    return sum(build(kind, pk) for pk in list(waiting))


def build(kind: Kind[Row], paper_id: UUID) -> bool:
    """Build one paper unless somebody else is at it, and say whether it was built."""
    row = _claim(kind, paper_id)
    if row is None:
        return False
    if row.attempts > MOST_ATTEMPTS:
        _give_up(kind, row, "Building it failed several times; whoever runs Kickplate sees why.")
        return False
    try:
        return _keep(kind, row, _printed(kind, row))
    except LostLease:
        log.info("%s %s was taken up by another job", kind.words, paper_id)
        return False
    except OSError:
        log.exception("%s %s could not be built", kind.words, paper_id)
        _try_again(kind, row, "A text library or the file store is not at hand; the log says more.")
        return False
    except Exception:  # whatever it is, the other papers must go on; the log has the rest
        log.exception("%s %s could not be built", kind.words, paper_id)
        _try_again(kind, row, "Something in the record could not be printed.")
        return False


def _claim(kind: Kind[Row], paper_id: UUID) -> Row | None:
    now = timezone.now()
    claimed = (
        to_build(kind, now)
        .filter(pk=paper_id)
        .order_by()
        .update(
            state=State.BUILDING,
            lease_until=now + LEASE,
            attempts=F("attempts") + 1,
            step="Reading the record",
            steps_done=0,
        )
    )
    return kind.rows().get(pk=paper_id) if claimed else None


def _mine(kind: Kind[Row], row: Row) -> QuerySet[Row]:
    return kind.rows().filter(pk=row.pk, state=State.BUILDING, attempts=row.attempts)


def _printed(kind: Kind[Row], row: Row) -> Paper:
    """The paper itself, which tells how far it is."""

    def tell(done: int, steps: int, what: str) -> None:
        told = _mine(kind, row).update(
            step=what[:80],
            steps_done=done,
            steps_all=steps,
            lease_until=timezone.now() + LEASE,
        )
        if not told:
            raise LostLease

    paper = kind.printed(row, tell)
    for fault in paper.faults:
        log.warning("%s %s: %s", kind.words, row.pk, fault)
    return paper


def _keep(kind: Kind[Row], row: Any, paper: Paper) -> bool:
    """Store the paper and say that it is ready, unless somebody else was faster."""
    storage = row.file.storage
    field = row._meta.get_field("file")
    name = storage.save(
        field.generate_filename(row, f"{row.pk}.pdf"),
        ContentFile(paper.pdf),
    )
    with transaction.atomic():
        mine: Any = _mine(kind, row).select_for_update(of=("self",)).first()
        if mine is not None:
            mine.file.name = name
            mine.state, mine.step, mine.lease_until, mine.problem = State.READY, "", None, ""
            mine.sha256, mine.pages, mine.size = paper.sha256, paper.pages, len(paper.pdf)
            mine.built_at = timezone.now()
            mine.save()
            record(
                row.requested_by,
                f"{kind.verb}.built",
                row,
                sha256=paper.sha256,
                fingerprint=paper.fingerprint,
                pages=paper.pages,
                faults=list(paper.faults),
            )
            return True
    storage.delete(name)
    return False


def _try_again(kind: Kind[Row], row: Row, sentence: str) -> None:
    if row.attempts >= MOST_ATTEMPTS:
        _give_up(kind, row, sentence)
        return
    _mine(kind, row).update(
        state=State.REQUESTED,
        step="",
        problem=sentence[:300],
        lease_until=timezone.now() + RETRY_AFTER,
    )


@transaction.atomic
def _give_up(kind: Kind[Row], row: Any, sentence: str) -> None:
    mine = _mine(kind, row).select_for_update(of=("self",)).first()
    if mine is None:
        return
    mine.state, mine.step, mine.lease_until = State.FAILED, "", None
    mine.problem = sentence[:300]
    mine.save(update_fields=["state", "step", "lease_until", "problem"])
    record(row.requested_by, f"{kind.verb}.failed", row, problem=mine.problem)
