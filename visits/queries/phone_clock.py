"""By how much the clock of a visit's phone was off, where it was."""

from datetime import timedelta

from django.db.models import F, Q

from accounts.models import TrailEntry
from visits.clocks import TOLERATED, ClockOff, clock_off, furthest_off
from visits.models import Operation, Visit

FAR = TOLERATED // timedelta(seconds=1)


def phone_clock_of(visit: Visit) -> ClockOff | None:
    """As the trail tells it of a closed visit, as its operations do until then. One query."""
    if visit.state != Visit.State.CLOSED:
        return clock_of_operations(visit)
    closed = TrailEntry.objects.filter(
        target_id=str(visit.pk), target_type="visits.visit", verb="visit.closed"
    )
    facts = closed.order_by("pk").values_list("facts", flat=True).first() or {}
    seconds = facts.get("phone_clock_ahead_seconds")
    if seconds is None:
        return None
    return ClockOff(seconds, measured=facts.get("phone_clock_measured", True))


def clock_of_operations(visit: Visit) -> ClockOff | None:
    """The furthest that the clock was off in what has arrived so far. One query."""
    off = Operation.objects.filter(
        Q(clock_ahead_seconds__gt=FAR)
        | Q(clock_ahead_seconds__lt=-FAR)
        | Q(made_at__gt=F("received_at") + TOLERATED),
        visit=visit,
    )
    return furthest_off(
        clock_off(made_at, ahead=ahead, received_at=received_at)
        for made_at, ahead, received_at in off.values_list(
            "made_at", "clock_ahead_seconds", "received_at"
        )
    )
