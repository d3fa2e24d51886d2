"""Zones in walking order, and what is looked at in each."""

from uuid import UUID

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from sites import access, queries
from sites.forms import CheckpointForm, NewCheckpoint, Reason, ZoneForm
from sites.models import Checkpoint, Zone
from sites.services.zones import (
    add_checkpoint,
    add_zone,
    bring_back_zone,
    change_checkpoint,
    change_zone,
    order_zones,
    retire_checkpoint,
    retire_zone,
)
from sites.views.pages import done, form_page, posted, site_to_change


@require_GET
def zones(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """The walk: every zone in walking order, and those that are off it."""
    site = get_object_or_404(access.sites_visible_to(request.user), pk=site_id)
    may_keep = request.user.is_office
    context = {
        "site": site,
        "zones": queries.zones_walked(site),
        "retired": queries.zones_retired(site) if may_keep else [],
        "may_keep": may_keep,
    }
    return render(request, "sites/zones.html", context)


@require_http_methods(["GET", "POST"])
def zone_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Adds a zone with the starting set of its kind."""
    site = site_to_change(request, site_id)
    form = ZoneForm(posted(request), instance=Zone(site=site))
    if form.is_bound and form.is_valid():
        added = done(form, add_zone, site_id, by=request.user, **form.facts())
        if added:
            messages.success(
                request, f"{added} is on the walk, with the usual places to look at. Adapt them."
            )
            return redirect("sites:zone", added.pk)
    return form_page(
        request,
        form,
        title="Add a zone",
        hint="It comes last on the walk and brings the places usually looked at in its kind.",
        submit="Add the zone",
        back=reverse("sites:zones", args=[site_id]),
        back_label="Zones",
    )


@require_GET
def zone(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """One zone: its boundary, its checkpoints at three heights, its monitors."""
    found = _zone(request, zone_id)
    context = {
        "zone": found,
        "heights": queries.places_by_height(found),
        "monitors": queries.monitors_listed(found.monitors.filter(removed_on=None)),
        "may_keep": request.user.is_office,
        "checkpoint_form": NewCheckpoint(),
    }
    return render(request, "sites/zone.html", context)


@require_http_methods(["GET", "POST"])
def zone_edit(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """Changes a zone's name, kind or boundary."""
    found = _zone_to_change(request, zone_id)
    name = str(found)
    form = ZoneForm(posted(request), instance=found)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        changed = done(form, change_zone, zone_id, by=request.user, seen=seen, **form.facts())
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect("sites:zone", zone_id)
    return form_page(
        request,
        form,
        title=f"Change {name}",
        submit="Save the zone",
        back=reverse("sites:zone", args=[zone_id]),
        back_label=name,
    )


@require_http_methods(["GET", "POST"])
def zone_retire(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """Takes a zone off the walk, after asking once."""
    found = _zone_to_change(request, zone_id)
    form = Reason(posted(request))
    if form.is_bound and form.is_valid():
        retired = retire_zone(zone_id, by=request.user, **form.cleaned_data)
        messages.success(request, f"{retired} is off the walk.")
        return redirect("sites:zones", found.site_id)
    return form_page(
        request,
        form,
        title=f"Retire {found}",
        hint="It is no longer walked. What was recorded there stays, and it can be brought back.",
        submit="Retire the zone",
        back=reverse("sites:zone", args=[zone_id]),
        back_label=str(found),
        danger=True,
    )


@require_POST
def zone_bring_back(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """Puts a retired zone back on the walk."""
    found = _zone_to_change(request, zone_id)
    brought = bring_back_zone(zone_id, by=request.user)
    messages.success(request, f"{brought} is on the walk again.")
    return redirect("sites:zones", found.site_id)


@require_POST
def zone_earlier(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """Walks a zone before the one that came before it."""
    return _move(request, zone_id, by=-1)


@require_POST
def zone_later(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """Walks a zone after the one that came after it."""
    return _move(request, zone_id, by=1)


def _move(request: PersonRequest, zone_id: UUID, *, by: int) -> HttpResponse:
    found = _zone_to_change(request, zone_id)
    order = list(queries.zones_walked(found.site).values_list("pk", flat=True))
    if zone_id in order:
        here = order.index(zone_id)
        there = min(max(here + by, 0), len(order) - 1)
        order.insert(there, order.pop(here))
        order_zones(found.site_id, by=request.user, zone_ids=order)
    return redirect(reverse("sites:zones", args=[found.site_id]) + f"#zone-{zone_id}")


@require_POST
def checkpoint_new(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """Adds a place to look at."""
    found = _zone_to_change(request, zone_id)
    form = NewCheckpoint(request.POST)
    if form.is_valid():
        added = done(form, add_checkpoint, zone_id, by=request.user, **form.cleaned_data)
        if added:
            messages.success(request, f"“{added}” is on the walk.")
            return redirect("sites:zone", zone_id)
    return _checkpoint_page(request, form, found, title="Add a checkpoint", submit="Add the place")


@require_http_methods(["GET", "POST"])
def checkpoint_edit(request: PersonRequest, checkpoint_id: UUID) -> HttpResponse:
    """Changes a place's words or height."""
    checkpoint = _checkpoint(request, checkpoint_id)
    zone = checkpoint.zone
    form = CheckpointForm(posted(request), instance=checkpoint)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        changed = done(
            form, change_checkpoint, checkpoint_id, by=request.user, seen=seen, **form.facts()
        )
        if changed:
            messages.success(request, f"“{changed}” is saved.")
            return redirect("sites:zone", zone.pk)
    return _checkpoint_page(
        request, form, zone, title="Change a checkpoint", submit="Save the place"
    )


@require_POST
def checkpoint_retire(request: PersonRequest, checkpoint_id: UUID) -> HttpResponse:
    """Takes a place off the walk; adding the same words brings it back."""
    checkpoint = _checkpoint(request, checkpoint_id)
    retired = retire_checkpoint(checkpoint_id, by=request.user)
    messages.success(request, f"“{retired}” is off the walk. Add it again to bring it back.")
    return redirect("sites:zone", checkpoint.zone_id)


def _checkpoint_page(
    request: PersonRequest, form: BaseForm, zone: Zone, *, title: str, submit: str
) -> HttpResponse:
    return form_page(
        request,
        form,
        title=title,
        submit=submit,
        back=reverse("sites:zone", args=[zone.pk]),
        back_label=str(zone),
    )


def _zone(request: PersonRequest, zone_id: UUID) -> Zone:
    zones = access.zones_visible_to(request.user).select_related("site", "plan")
    return get_object_or_404(zones, pk=zone_id)


def _zone_to_change(request: PersonRequest, zone_id: UUID) -> Zone:
    zone = _zone(request, zone_id)
    access.require_may_keep_sites(request.user)
    return zone


def _checkpoint(request: PersonRequest, checkpoint_id: UUID) -> Checkpoint:
    places = Checkpoint.objects.filter(zone__in=access.zones_visible_to(request.user))
    checkpoint = get_object_or_404(places.select_related("zone__site"), pk=checkpoint_id)
    access.require_may_keep_sites(request.user)
    return checkpoint
