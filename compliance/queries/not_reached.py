"""Places that could not be looked at, visit after visit.

A place is a checkpoint, a monitor, or a whole zone; its key is the id of whichever it is.
"""

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from compliance.models import CorrectiveAction
from visits.models import Finding, NotReached, Visit, WhoseMove
from visits.queries.not_reached import standing_not_reached

__all__ = ["access_to_ask_for", "place_key", "standing_not_reached"]


def place_key(prefix: str = "") -> Coalesce:
    """The key of the place that a record names; ``prefix`` is the path to the record."""
    return Coalesce(f"{prefix}checkpoint", f"{prefix}monitor", f"{prefix}zone")


def access_to_ask_for() -> QuerySet[NotReached]:
    """Standing records that are the client's move, for the second time or more, and unanswered.

    Answered is a place with an action that was still open when the visit closed: nobody is asked
    twice for the same key. Without order.
    """
    standing = standing_not_reached().alias(place=place_key())
    before = standing.filter(
        place=OuterRef("place"), visit__closed_at__lt=OuterRef("visit__closed_at")
    )
    answered = CorrectiveAction.objects.alias(place=place_key("not_reached__")).filter(
        Q(checked_at=None) | Q(checked_at__gte=OuterRef("visit__closed_at")),
        Q(withdrawn_at=None) | Q(withdrawn_at__gte=OuterRef("visit__closed_at")),
        not_reached__isnull=False,
        place=OuterRef("place"),
    )
    return standing.filter(
        Exists(before), ~Exists(answered), whose_move=WhoseMove.CLIENT, action=None
    )


def findings_to_answer() -> QuerySet[Finding]:
    """Findings of closed visits that recommend something and have no action yet. Without order."""
    return Finding.objects.filter(visit__state=Visit.State.CLOSED, action=None).exclude(
        remedy_kind=""
    )


def visits_without_their_actions() -> QuerySet[Visit]:
    """Closed visits from which actions are still to be raised, oldest closing first."""
    return Visit.objects.filter(
        Exists(findings_to_answer().filter(visit=OuterRef("pk")))
        | Exists(access_to_ask_for().filter(visit=OuterRef("pk")))
    ).order_by(F("closed_at").asc(), "pk")
