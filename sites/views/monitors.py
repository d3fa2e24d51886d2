"""Monitors: the list of a site, one monitor, placing, moving and removing."""

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
from sites.forms import (
    DayAndReason,
    FindMonitors,
    MonitorForm,
    MonitorRun,
    MoveMonitor,
    NewMonitorForm,
)
from sites.models import Monitor, Site, Zone
from sites.services.monitors import (
    change_monitor,
    move_monitor,
    next_number,
    place_monitor,
    place_monitors,
    remove_monitor,
)
from sites.views.pages import done, form_page, paged, posted, read_filters, site_to_change


@require_GET
def monitors(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """The monitors of a site, fifty a page."""
    site = get_object_or_404(access.sites_visible_to(request.user), pk=site_id)
    form = _filters(request, site)
    context = {
        "site": site,
        "filters": form,
        "page": paged(request, _found(request, site, form)),
        "may_keep": request.user.is_office,
    }
    return render(request, "sites/monitors.html", context)


@require_GET
def monitors_csv(request: PersonRequest, site_id: UUID) -> HttpResponseBase:
    """The same list as a file."""
    site = get_object_or_404(access.sites_visible_to(request.user), pk=site_id)
    found = _found(request, site, _filters(request, site))
    rows = (
        (
            one.number,
            one.get_kind_display(),
            one.zone.name,
            one.place,
            one.placed_on,
            one.removed_on,
        )
        for one in found.iterator()
    )
    header = ["number", "kind", "zone", "place", "stands since", "removed on"]
    return csv_answer(f"monitors {site.reference}", header, rows)


def _filters(request: PersonRequest, site: Site) -> FindMonitors:
    return FindMonitors(request.GET, zones=site.zones.order_by("walk_order", "pk"))


def _found(request: PersonRequest, site: Site, form: FindMonitors) -> QuerySet[Monitor]:
    asked = read_filters(form)
    zone = asked.get("zone")
    found = queries.monitors_found(
        access.monitors_visible_to(request.user).filter(site=site),
        zone_id=zone and zone.pk,
        kind=asked.get("kind", ""),
        with_removed=asked["removed"],
    )
    return queries.monitors_listed(found)


@require_GET
def monitor(request: PersonRequest, monitor_id: UUID) -> HttpResponse:
    """One monitor: where it stands, and what later rooms know of it."""
    found = _monitor(request, monitor_id)
    may_keep = request.user.is_office and found.removed_on is None
    context = {
        "monitor": found,
        "sections": site_sections.of_monitor.shown(found, request),
        "plans": queries.plans_in_use(found.site) if may_keep else [],
        "may_keep": may_keep,
    }
    return render(request, "sites/monitor.html", context)


@require_http_methods(["GET", "POST"])
def monitor_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Places one monitor."""
    site = site_to_change(request, site_id)
    form = NewMonitorForm(
        posted(request),
        instance=Monitor(site=site),
        zones=_zones(site),
        initial={**_first_guess(request, site), "number": next_number(site)},
    )
    if form.is_bound and form.is_valid():
        zone = form.cleaned_data["zone"]
        placed = done(form, place_monitor, zone.pk, by=request.user, **form.facts())
        if placed:
            messages.success(request, f"{placed} stands in {zone}.")
            return redirect("sites:monitor", placed.pk)
    return _monitors_form(request, form, site, title="Place a monitor", submit="Place the monitor")


@require_http_methods(["GET", "POST"])
def monitor_run(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Places several monitors, numbered one after another."""
    site = site_to_change(request, site_id)
    form = MonitorRun(
        posted(request),
        zones=_zones(site),
        initial={**_first_guess(request, site), "first_number": next_number(site)},
    )
    if form.is_bound and form.is_valid():
        facts = dict(form.cleaned_data)
        zone = facts.pop("zone")
        placed = done(form, place_monitors, zone.pk, by=request.user, **facts)
        if placed:
            first, last = placed[0].number, placed[-1].number
            messages.success(request, f"Monitors {first} to {last} stand in {zone}.")
            return redirect("sites:monitors", site_id)
    return _monitors_form(
        request, form, site, title="Place several monitors", submit="Place the monitors"
    )


def _first_guess(request: PersonRequest, site: Site) -> dict[str, Any]:
    return {"zone": request.GET.get("zone"), "placed_on": site.day_of(timezone.now())}


def _zones(site: Site) -> QuerySet[Zone]:
    return site.zones.filter(retired_on=None).order_by("walk_order", "pk")


def _monitors_form(
    request: PersonRequest, form: Any, site: Site, *, title: str, submit: str
) -> HttpResponse:
    return form_page(
        request,
        form,
        title=title,
        submit=submit,
        back=reverse("sites:monitors", args=[site.pk]),
        back_label="Monitors",
    )


@require_http_methods(["GET", "POST"])
def monitor_edit(request: PersonRequest, monitor_id: UUID) -> HttpResponse:
    """Corrects what is on file for a monitor that has not moved."""
    found = _monitor_to_change(request, monitor_id)
    name = str(found)
    form = MonitorForm(posted(request), instance=found)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        changed = done(form, change_monitor, monitor_id, by=request.user, seen=seen, **form.facts())
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect("sites:monitor", monitor_id)
    return _monitor_form(
        request,
        form,
        found,
        title=f"Correct {name.lower()}",
        hint="If it stands elsewhere now, move it instead: readings then belong to the new place.",
        submit="Save the monitor",
    )


@require_http_methods(["GET", "POST"])
def monitor_move(request: PersonRequest, monitor_id: UUID) -> HttpResponse:
    """Records that a monitor now stands elsewhere."""
    found = _monitor_to_change(request, monitor_id)
    form = MoveMonitor(
        posted(request),
        zones=_zones(found.site),
        initial={"zone": found.zone_id, "place": found.place},
    )
    if form.is_bound and form.is_valid():
        zone, place = form.cleaned_data["zone"], form.cleaned_data["place"]
        moved = done(form, move_monitor, monitor_id, by=request.user, zone_id=zone.pk, place=place)
        if moved:
            messages.success(request, f"{moved} now stands in {zone}. Mark it on the plan again.")
            return redirect("sites:monitor", monitor_id)
    return _monitor_form(
        request,
        form,
        found,
        title=f"Move {str(found).lower()}",
        hint="Its mark on the plan is taken away, and the trail keeps where it stood.",
        submit="Move the monitor",
    )


@require_http_methods(["GET", "POST"])
def monitor_remove(request: PersonRequest, monitor_id: UUID) -> HttpResponse:
    """Records that a monitor no longer stands, after asking once."""
    found = _monitor_to_change(request, monitor_id)
    today = found.site.day_of(timezone.now())
    form = DayAndReason(posted(request), initial={"on": today})
    if form.is_bound and form.is_valid():
        removed = done(form, remove_monitor, monitor_id, by=request.user, **form.cleaned_data)
        if removed:
            messages.success(request, f"{removed} is removed.")
            return redirect("sites:monitors", found.site_id)
    return _monitor_form(
        request,
        form,
        found,
        title=f"Remove {str(found).lower()}",
        hint="Its readings stay, and its number is not used again at this site.",
        submit="Remove the monitor",
        danger=True,
    )


def _monitor_form(
    request: PersonRequest,
    form: Any,
    monitor: Monitor,
    *,
    title: str,
    hint: str,
    submit: str,
    danger: bool = False,
) -> HttpResponse:
    return form_page(
        request,
        form,
        title=title,
        hint=hint,
        submit=submit,
        back=reverse("sites:monitor", args=[monitor.pk]),
        back_label=f"Monitor {monitor.number}",
        danger=danger,
    )


def _monitor(request: PersonRequest, monitor_id: UUID) -> Monitor:
    monitors = access.monitors_visible_to(request.user).select_related("site", "zone", "plan")
    return get_object_or_404(monitors, pk=monitor_id)


def _monitor_to_change(request: PersonRequest, monitor_id: UUID) -> Monitor:
    monitor = _monitor(request, monitor_id)
    access.require_may_keep_sites(request.user)
    return monitor
