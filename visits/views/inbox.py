"""Records that phones sent and that could not be applied: the list, one of them, settling it."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.refusals import Refused
from sites.views.pages import paged, read_filters
from visits.access import parked_visible_to, require_may_plan, visits_visible_to
from visits.forms.inbox import FilterInbox, PlaceParked, SetAside
from visits.queries.clash import clash_of
from visits.queries.inbox import candidates, listed, names_in, sent_with, what_was_said
from visits.services.parked import place_all_parked, set_aside_parked
from visits.views.answers import told_no


@require_GET
def inbox(request: PersonRequest) -> HttpResponse:
    """What waits to be placed, longest first; fifty a page."""
    require_may_plan(request.user)
    form = FilterInbox(request.GET)
    parked = parked_visible_to(request.user)
    if not read_filters(form).get("settled"):
        parked = parked.filter(settled_at__isnull=True)
    context = {"form": form, "page": paged(request, listed(parked))}
    return render(request, "visits/inbox.html", context)


@require_http_methods(["GET", "POST"])
def inbox_item(request: PersonRequest, parked_id: UUID) -> HttpResponse:
    """One record, whole, and the two ways to settle it."""
    parked = get_object_or_404(
        parked_visible_to(request.user).select_related("person", "visit__site", "settled_by"),
        pk=parked_id,
    )
    require_may_plan(request.user)
    others = [other.pk for other in sent_with(parked)]
    clash = None if parked.settled_at else clash_of(parked)
    step = request.POST.get("step")
    place = PlaceParked(
        request.POST if step == "place" else None,
        visits=[] if clash else candidates(parked, visits_visible_to(request.user)),
        others=len(others),
        must=parked.visit if clash else None,
        prefix="place",
    )
    aside = SetAside(request.POST if step == "aside" else None, prefix="aside")
    form = {"place": place, "aside": aside}.get(step or "")
    if form is not None and form.is_valid():
        told = form.cleaned_data
        try:
            if form is place:
                together = others if told.get("together") else []
                visit = place_all_parked(
                    [parked.pk, *together],
                    by=request.user,
                    visit_id=UUID(told["visit"]),
                    note=told["note"],
                )
                messages.success(request, f"Placed on {visit}.")
            else:
                set_aside_parked(parked.pk, by=request.user, note=told["note"])
                messages.success(request, "Set aside; it stays readable here.")
        except Refused as refused:
            told_no(form, refused)
        else:
            return redirect("visits:inbox")
    context = {
        "parked": parked,
        "said": what_was_said(parked.sent, names_in(parked.sent)),
        "clash": clash,
        "place": place,
        "aside": aside,
        "form": form,
    }
    status = 422 if form is not None and form.errors else 200
    return render(request, "visits/inbox_item.html", context, status=status)
