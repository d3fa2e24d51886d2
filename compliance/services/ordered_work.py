"""Ordered work becomes a visit: the client's go-ahead ends on the office's plan."""

from datetime import timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from accounts.trail import record
from compliance.models import ActionOption, CorrectiveAction, Decision, PastWorkVisit
from compliance.queries.work import order_of, without_work_visit
from compliance.services.actions import SHOWN_KINDS
from visits.models import WhoseMove
from visits.services.booking import add_ordered_visit

# Ours; no source. The office moves the day when it books.
WORK_DAYS = 28
WORK_MINUTES = 120


def ordered_without_visit() -> QuerySet[CorrectiveAction]:
    """Work of ours on the premises that the client ordered and no visit is to do, oldest first.

    A visit that was called off or missed does none, nor does one that was closed before the work
    was sent back. Carrying on treating needs no extra visit, and a closed site gets none.
    """
    ordered = Decision.objects.filter(
        action=OuterRef("pk"),
        revision=OuterRef("revision"),
        outcome=Decision.Outcome.GO_AHEAD,
    ).exclude(option__kind=ActionOption.Kind.CARRY_ON)
    return CorrectiveAction.objects.filter(
        without_work_visit(),
        Exists(ordered),
        state=CorrectiveAction.State.DECIDED,
        kind__in=SHOWN_KINDS,
        whose_move=WhoseMove.US,
        site__closed_on=None,
    ).order_by("decided_at", "pk")


def plan_ordered_work(limit: int = 100) -> int:
    """Plan a visit for every ordered job that has none, and say how many. Safe to repeat."""
    waiting = list(ordered_without_visit().values_list("pk", flat=True)[:limit])
    return sum(_plan_work(action_id) for action_id in waiting)


@transaction.atomic
def _plan_work(action_id: UUID) -> int:
    action = (
        CorrectiveAction.objects.select_for_update(of=("self",))
        .select_related("site", "zone", "work_visit")
        .get(pk=action_id)
    )
    # Looked at again under the lock: another worker may have planned it meanwhile.
    if not ordered_without_visit().filter(pk=action.pk).exists():
        return 0
    today = action.site.day_of(timezone.now())
    due_on = max(action.due_on, today)
    before = action.work_visit
    visit = add_ordered_visit(
        action.site_id,
        due_on=due_on,
        opens_on=today,
        closes_on=max(due_on, today + timedelta(days=WORK_DAYS)),
        minutes=WORK_MINUTES,
        office_note=_job_in_words(action),
    )
    action.work_visit = visit
    action.save(update_fields=["work_visit"])
    if before:
        PastWorkVisit.objects.create(action=action, visit=before)
    record(
        None,
        "action.work_planned",
        action,
        visit=visit.pk,
        due=visit.due_on,
        in_place_of=before.pk if before else None,
    )
    return 1


def _job_in_words(action: CorrectiveAction) -> str:
    """What the technician is told of the job: what was ordered, where, and what was not sound."""
    chosen = order_of(action)
    lines = [
        f"Ordered work. {action}",
        f"Where: {action.zone}" if action.zone else "",
        f"{chosen.get_kind_display()}: {chosen.description}" if chosen else "",
        f"Sent back: {action.reopened_reason}" if action.reopened_reason else "",
    ]
    return "\n".join(line for line in lines if line)
