"""The technician's pages: the day, what to know at the door, the walk, closing it."""

from datetime import date, timedelta
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from visits.access import require_may_record, visits_visible_to
from visits.models import (
    Finding,
    NotReached,
    Product,
    Reading,
    RemedyKind,
    Treatment,
    Visit,
    WhoseMove,
)
from visits.queries.walk import briefing, day_of
from visits.services.recording import start_visit

OPEN = (Visit.State.BOOKED, Visit.State.UNDER_WAY)


def own_visit(request: PersonRequest, visit_id: UUID) -> Visit:
    """A visit booked for the person who asks, with its site, client and line; else 404."""
    visits = visits_visible_to(request.user).filter(technician_id=request.user.pk)
    return get_object_or_404(
        visits.select_related("site__client", "line", "technician"), pk=visit_id
    )


@require_GET
def my_day(request: PersonRequest) -> HttpResponse:
    """The stops of a day, in order; today unless another is asked for."""
    require_may_record(request.user)
    on = _asked_day(request.GET.get("day", ""))
    day = day_of(request.user, on=on, now=timezone.now())
    context = {"day": day, "before": day.on - timedelta(1), "after": day.on + timedelta(1)}
    return render(request, "visits/my_day.html", context)


def _asked_day(text: str) -> date | None:
    """A day within the calendar, or None for what is none."""
    try:
        day = parse_date(text)
    except ValueError:
        return None
    return day if day and date(2000, 1, 2) < day < date(2100, 1, 1) else None


@require_http_methods(["GET", "POST"])
def start(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """Hazards, access and what the last visit left open; one button starts the visit."""
    visit = own_visit(request, visit_id)
    if request.method == "POST":
        start_visit(visit.pk, by=request.user, at=timezone.now())
        messages.success(request, "Started.")
        return redirect("visits:walk", visit.pk)
    if visit.state not in OPEN:
        return redirect(visit)
    return render(request, "visits/start.html", {"visit": visit, "briefing": briefing(visit)})


@require_GET
def walk(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """The walk: its page is drawn by the phone from the package, so that it needs no line."""
    visit = own_visit(request, visit_id)
    if visit.state == Visit.State.BOOKED:
        return redirect("visits:start", visit.pk)
    if visit.state != Visit.State.UNDER_WAY:
        return redirect(visit)
    return render(request, "visits/walk.html", {"visit": visit, "words": WORDS})


@require_GET
def close(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """What will be sealed, what is missing, and the signature; drawn by the phone as well."""
    visit = own_visit(request, visit_id)
    if visit.state == Visit.State.BOOKED:
        return redirect("visits:start", visit.pk)
    if visit.state != Visit.State.UNDER_WAY:
        return redirect(visit)
    return render(request, "visits/close.html", {"visit": visit, "words": WORDS})


# The choices that the forms of the walk offer, in the words of the records.
WORDS = {
    "conditions": Reading.Condition.choices,
    "bait": Reading.Bait.choices,
    "findings": Finding.Kind.choices,
    "urgencies": Finding.Urgency.choices,
    "remedies": RemedyKind.choices,
    "moves": WhoseMove.choices,
    "reasons": NotReached.Reason.choices,
    "methods": Treatment.Method.choices,
    "area_units": Treatment.AreaUnit.choices,
    "units": Product.Unit.choices,
}
