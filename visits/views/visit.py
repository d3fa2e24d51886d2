"""The one page of a visit: the office's panel until it is closed, the report from then on."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from accounts.http import PersonRequest
from visits.access import visits_visible_to
from visits.forms.booking import BookVisit
from visits.models import Visit
from visits.queries.office_panel import OfficePanel, office_panel
from visits.queries.report import report_of
from visits.visit_sections import of_closed_visit, of_visit


def found(request: PersonRequest, visit_id: UUID) -> Visit:
    """The visit if this person may see it, with its site, client and service line; else 404."""
    visits: QuerySet[Visit] = visits_visible_to(request.user).select_related(
        "site__client", "line", "technician", "follows"
    )
    return get_object_or_404(visits, pk=visit_id)


@require_GET
def visit(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    return visit_page(request, found(request, visit_id))


def visit_page(
    request: PersonRequest,
    visit: Visit,
    *,
    booking: BookVisit | None = None,
    status: int = 200,
) -> HttpResponse:
    """Draws the page; ``booking`` is what was typed into the booking form and refused."""
    context: dict[str, Any] = {
        "visit": visit,
        "form": booking,
        "sections": of_visit.shown(visit, request),
    }
    if visit.state == Visit.State.CLOSED:
        context["report"] = report_of(visit, for_whom=request.user)
        context["afterwards"] = of_closed_visit.shown(visit, request)
    context["may_walk"] = (
        visit.technician_id == request.user.pk and visit.state in Visit.OPEN_STATES
    )
    if request.user.is_office and visit.state != Visit.State.CLOSED:
        panel = office_panel(visit, now=timezone.now())
        context["panel"] = panel
        if panel.may_plan:
            context["booking"] = booking or BookVisit(
                technicians=panel.technicians, initial=_first_guess(panel)
            )
    return render(request, "visits/visit.html", context, status=status)


def _first_guess(panel: OfficePanel) -> dict[str, Any]:
    """The booking as it stands, else the usual technician on the day it is due."""
    visit = panel.visit
    usual = visit.line.preferred_technician_id if visit.line else None
    return {
        "technician": visit.technician_id or usual,
        "day": visit.booked_on or max(visit.due_on, panel.today),
        "time": visit.booked_at_time,
        "version": visit.version,
    }
