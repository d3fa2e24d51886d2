"""What a client's manager comes for: what waits for their word, and how the sites are."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, IntegerField, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from accounts.models import User
from compliance.access import actions_visible_to
from compliance.models import CorrectiveAction
from compliance.queries.actions import actions_listed, still_to_do
from compliance.queries.asked import waiting_for, waiting_for_others
from compliance.queries.not_reached import standing_not_reached
from sites.access import sites_visible_to
from sites.models import Site
from visits.models import Visit, WhoseMove

SHOWN = 8


@dataclass(frozen=True, slots=True)
class Waiting:
    """The first actions of one kind that wait for the client, and how many there are."""

    number: int
    actions: list[CorrectiveAction]


def to_decide(user: User, now: datetime) -> Waiting:
    """What waits for this manager's decision or for nobody's in particular, by its day.

    Three queries.
    """
    return _waiting(waiting_for(actions_visible_to(user), user), now)


def asked_of_colleagues(user: User) -> int:
    """How many decisions colleagues are asked for. One query."""
    return waiting_for_others(actions_visible_to(user), user).count()


def to_do(user: User, now: datetime) -> Waiting:
    """What is the client's own move and needs no decision, by its day. Three queries."""
    move = Q(whose_move=WhoseMove.CLIENT)
    raised = Q(state=CorrectiveAction.State.RAISED)
    ordered = Q(state=CorrectiveAction.State.DECIDED, declined=False)
    return _waiting(actions_visible_to(user).filter(move & (raised | ordered)), now)


def _waiting(actions: QuerySet[CorrectiveAction], now: datetime) -> Waiting:
    found = actions_listed(actions, now=now)
    return Waiting(number=found.count(), actions=list(found[:SHOWN]))


def sites_overseen(user: User) -> QuerySet[Site]:
    """The sites of a manager by name, each with how it is. One query.

    Adds ``last_visit_id``, ``last_closed_at``, ``last_coverage``, ``next_on`` (the day booked),
    ``due_by`` (the last day of the next window, where no day is booked), ``open_actions`` and
    ``shut`` (places that have not been reached since they were found shut).
    """
    closed = Visit.objects.filter(site=OuterRef("pk"), state=Visit.State.CLOSED).order_by(
        "-closed_at", "-pk"
    )
    booked = Visit.objects.filter(
        site=OuterRef("pk"), state__in=[Visit.State.BOOKED, Visit.State.UNDER_WAY]
    ).order_by("booked_on", "pk")
    planned = Visit.objects.filter(site=OuterRef("pk"), state=Visit.State.PLANNED).order_by(
        "closes_on", "pk"
    )
    actions = (
        CorrectiveAction.objects.filter(still_to_do(), site=OuterRef("pk"))
        .order_by()
        .values("site")
        .annotate(number=Count("pk"))
    )
    shut = (
        standing_not_reached()
        .filter(visit__site=OuterRef("pk"))
        .order_by()
        .values("visit__site")
        .annotate(number=Count("zone", distinct=True))
    )
    return (
        sites_visible_to(user)
        .filter(closed_on=None)
        .annotate(
            last_visit_id=Subquery(closed.values("pk")[:1]),
            last_closed_at=Subquery(closed.values("closed_at")[:1]),
            last_coverage=Subquery(closed.values("coverage")[:1]),
            next_on=Subquery(booked.values("booked_on")[:1]),
            due_by=Subquery(planned.values("closes_on")[:1]),
            open_actions=Coalesce(
                Subquery(actions.values("number"), output_field=IntegerField()), 0
            ),
            shut=Coalesce(Subquery(shut.values("number"), output_field=IntegerField()), 0),
        )
        .order_by("name", "pk")
    )
