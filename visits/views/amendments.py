"""Amending a closed visit."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from accounts.refusals import require_state
from visits.access import require_may_amend
from visits.forms.amendments import AmendVisit
from visits.models import Visit
from visits.services.amendments import amend_visit
from visits.views.visit import found


@require_http_methods(["GET", "POST"])
def amend(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """Put a correction beside the sealed record."""
    visit = found(request, visit_id)
    require_may_amend(request.user, visit)
    require_state(visit, Visit.State.CLOSED)
    form = AmendVisit(request.POST or None)
    if request.method == "POST" and form.is_valid():
        amend_visit(visit.pk, by=request.user, **form.cleaned_data)
        messages.success(request, "The amendment stands beside the record, sealed.")
        return redirect(f"{visit.get_absolute_url()}#amendments")
    status = 422 if form.is_bound else 200
    return render(request, "visits/amend.html", {"visit": visit, "form": form}, status=status)
