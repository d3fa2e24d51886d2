"""Records that phones sent and that could not be applied: the list, one of them, settling it."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts.files import private_file
from accounts.http import PersonRequest
from accounts.refusals import Refused
from sites.access import photos_visible_to
from sites.views.pages import paged, read_filters
from visits.access import (
    parked_photos_visible_to,
    parked_visible_to,
    require_may_plan,
    visits_visible_to,
)
from visits.forms.inbox import FilterInbox, LoadLog, PlaceParked, SetAside
from visits.queries.clash import clash_of
from visits.queries.inbox import (
    candidates,
    listed,
    names_in,
    photos_of,
    sent_with,
    waiting_together,
    what_was_said,
)
from visits.services import log_files
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
        "photos": photos_of(parked, photos_visible_to(request.user)),
        "clash": clash,
        "place": place,
        "aside": aside,
        "form": form,
    }
    status = 422 if form is not None and form.errors else 200
    return render(request, "visits/inbox_item.html", context, status=status)


@require_http_methods(["GET", "POST"])
def load_log(request: PersonRequest) -> HttpResponse:
    """Take in a file that was saved on a phone, and say in numbers what became of it.

    The answer to the file is the page itself: loading it once more, as a reload does, adds nothing.
    """
    require_may_plan(request.user)
    form = LoadLog(request.POST or None, request.FILES or None)
    loaded, waiting = None, []
    if request.method == "POST" and form.is_valid():
        try:
            loaded = log_files.load_log(form.cleaned_data["file"], by=request.user)
        except Refused as refused:
            told_no(form, refused)
        else:
            waiting = waiting_together(parked_visible_to(request.user), loaded.operations)
            form = LoadLog()
    context = {"form": form, "loaded": loaded, "waiting": waiting}
    status = 422 if request.method == "POST" and loaded is None else 200
    return render(request, "visits/load_log.html", context, status=status)


@require_GET
def parked_photo(request: PersonRequest, parked_photo_id: UUID) -> HttpResponseBase:
    """A photo that a record here names, while it belongs to no site."""
    found = get_object_or_404(parked_photos_visible_to(request.user), pk=parked_photo_id)
    require_may_plan(request.user)
    return private_file(
        found.image, name=f"photo {found.sha256[:8]}.jpg", mime=found.mime, inline=True
    )
