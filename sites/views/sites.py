"""Sites: the list, the one page of a site, and keeping what is on file for it."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.sheets import csv_answer
from sites import access, queries, site_sections
from sites.forms import DayAndReason, FindSites, NewSiteForm, Reason, SiteForm, Windows, openings_of
from sites.models import Site
from sites.services.sites import (
    add_site,
    change_site,
    close_site,
    reopen_site,
    set_access_windows,
)
from sites.views.pages import done, form_page, paged, posted, read_filters, site_to_change


@require_GET
def sites(request: PersonRequest) -> HttpResponse:
    """The sites a person may see, fifty a page."""
    form = _filters(request)
    context = {
        "filters": form,
        "page": paged(request, _found(request, form)),
        "may_keep": request.user.is_office,
    }
    return render(request, "sites/list.html", context)


@require_GET
def sites_csv(request: PersonRequest) -> HttpResponseBase:
    """The same list as a file."""
    found = _found(request, _filters(request))
    header = ["reference", "site", "client", "branch", "address", "postcode", "time zone"]
    counts = ["zones", "monitors", "closed on"]
    rows = (
        (
            site.reference,
            site.name,
            site.client.name,
            site.branch.name if site.branch else "",
            site.address,
            site.postcode,
            site.time_zone,
            site.zones_walked,
            site.monitors_standing,
            site.closed_on,
        )
        for site in found.iterator()
    )
    return csv_answer("sites", header + counts, rows)


def _filters(request: PersonRequest) -> FindSites:
    return FindSites(
        request.GET,
        clients=access.clients_visible_to(request.user),
        sites=access.sites_visible_to(request.user),
    )


def _found(request: PersonRequest, form: FindSites) -> QuerySet[Any]:
    asked = read_filters(form)
    client, branch = asked.get("client"), asked.get("branch")
    found = queries.sites_found(
        access.sites_visible_to(request.user),
        text=asked["text"],
        client_id=client and client.pk,
        branch_id=branch and branch.pk,
        with_closed=asked["closed"],
    )
    return queries.sites_listed(found)


@require_GET
def site(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """The one page of a site: every room's sections that this person's role may see."""
    found = get_object_or_404(
        access.sites_visible_to(request.user).select_related("client", "branch"), pk=site_id
    )
    context = {
        "site": found,
        "sections": site_sections.of_site.shown(found, request),
        "may_keep": request.user.is_office,
    }
    return render(request, "sites/site.html", context)


@require_http_methods(["GET", "POST"])
def site_new(request: PersonRequest) -> HttpResponse:
    """Puts a site on file; the address may name its client."""
    access.require_may_keep_sites(request.user)
    form = NewSiteForm(
        posted(request),
        instance=Site(),
        clients=access.clients_visible_to(request.user),
        initial={"client": request.GET.get("client")},
    )
    if form.is_bound and form.is_valid():
        client = form.cleaned_data["client"]
        added = done(form, add_site, client.pk, by=request.user, **form.facts())
        if added:
            messages.success(request, f"{added} is on file. Its zones come next.")
            return redirect(added)
    return form_page(
        request,
        form,
        title="Add a site",
        submit="Add the site",
        back=reverse("sites:list"),
        back_label="Sites",
    )


@require_http_methods(["GET", "POST"])
def site_edit(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Changes what is on file for a site."""
    found = site_to_change(request, site_id)
    name = str(found)
    form = SiteForm(posted(request), instance=found)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        changed = done(form, change_site, site_id, by=request.user, seen=seen, **form.facts())
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect(changed)
    return form_page(
        request,
        form,
        title=f"Change {name}",
        submit="Save the site",
        back=reverse("sites:site", args=[site_id]),
        back_label=name,
    )


@require_http_methods(["GET", "POST"])
def access_windows(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Says when the premises can be entered."""
    found = site_to_change(request, site_id)
    held = found.access_windows.order_by("weekday", "opens").values("weekday", "opens", "closes")
    formset = Windows(posted(request), initial=list(held), prefix="windows")
    if formset.is_bound and formset.is_valid():
        windows = openings_of(formset)
        set_access_windows(site_id, by=request.user, windows=windows)
        messages.success(request, "Saved when the premises can be entered.")
        return redirect(found)
    context = {"site": found, "formset": formset}
    status = 422 if formset.is_bound else 200
    return render(request, "sites/access_windows.html", context, status=status)


@require_http_methods(["GET", "POST"])
def site_close(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Closes a site, after asking once."""
    found = site_to_change(request, site_id)
    today = found.day_of(timezone.now())
    form = DayAndReason(posted(request), initial={"on": today})
    if form.is_bound and form.is_valid():
        closed = done(form, close_site, site_id, by=request.user, **form.cleaned_data)
        if closed:
            messages.success(request, f"{closed} is closed. Its record stays.")
            return redirect(closed)
    return form_page(
        request,
        form,
        title=f"Close {found}",
        hint="Nothing more can be placed or planned there. Its record stays, and the site can be "
        "opened again.",
        submit="Close the site",
        back=found.get_absolute_url(),
        back_label=str(found),
        danger=True,
    )


@require_http_methods(["GET", "POST"])
def site_reopen(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Opens a closed site again."""
    found = site_to_change(request, site_id)
    form = Reason(posted(request))
    if form.is_bound and form.is_valid():
        reopened = done(form, reopen_site, site_id, by=request.user, **form.cleaned_data)
        if reopened:
            messages.success(request, f"{reopened} is open again.")
            return redirect(reopened)
    return form_page(
        request,
        form,
        title=f"Open {found} again",
        submit="Open the site again",
        back=found.get_absolute_url(),
        back_label=str(found),
    )
