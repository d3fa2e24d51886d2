"""The plan of a site, and marking monitors and zones on it by tapping.

Tapping needs no script: the plan is an image button, and the browser sends where it was pressed.
With script the press is read in shares of the plan's sides; without, in pixels of the size that
the page itself has set.
"""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.files import private_file
from accounts.http import PersonRequest
from sites import access, queries
from sites.forms import MarkOnPlan, NewPlan, Nothing, Outline
from sites.models import Monitor, SitePlan, Zone
from sites.queries import Drawing
from sites.services.monitors import mark_monitor
from sites.services.plans import add_plan, retire_plan
from sites.services.zones import MOST_CORNERS, Corner, draw_zone
from sites.views.pages import done, form_page, posted, site_to_change

SHOWN_UNMARKED = 50
TAP_WIDTH = 680  # pixels: how wide the image button is drawn where no script stretches it


@require_GET
def plan(request: PersonRequest, plan_id: UUID) -> HttpResponse:
    """The drawing with zones and monitors on it, and what is not on it yet."""
    found = _plan(request, plan_id)
    may_keep = request.user.is_office and found.retired_on is None
    standing = found.site.monitors.filter(removed_on=None)
    unmarked = queries.monitors_listed(standing.filter(plan=None))[:SHOWN_UNMARKED]
    context = {
        "plan": found,
        "drawing": queries.drawing_of(found),
        "zones": queries.zones_walked(found.site) if may_keep else [],
        "unmarked": unmarked if may_keep else [],
        "others": queries.plans_in_use(found.site).exclude(pk=found.pk),
        "may_keep": may_keep,
    }
    return render(request, "sites/plan.html", context)


@require_GET
def plan_image(request: PersonRequest, plan_id: UUID) -> HttpResponseBase:
    """The drawing itself."""
    found = _plan(request, plan_id)
    return private_file(
        found.image, name=f"{found.title} {found.sha256[:8]}", mime=found.mime, inline=True
    )


@require_http_methods(["GET", "POST"])
def plan_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Puts a drawing on file, from a picture or a page of a PDF."""
    site = site_to_change(request, site_id)
    form = NewPlan(posted(request), request.FILES or None)
    if form.is_bound and form.is_valid():
        facts = dict(form.cleaned_data)
        data = facts.pop("file").read()
        added = done(form, add_plan, site_id, by=request.user, data=data, **facts)
        if added:
            messages.success(request, f"{added} is on file. Mark zones and monitors on it next.")
            return redirect("sites:plan", added.pk)
    return form_page(
        request,
        form,
        title="Add a plan",
        submit="Add the plan",
        back=site.get_absolute_url(),
        back_label=str(site),
    )


@require_http_methods(["GET", "POST"])
def plan_retire(request: PersonRequest, plan_id: UUID) -> HttpResponse:
    """Puts a plan out of use, after asking once."""
    found = _plan(request, plan_id)
    access.require_may_keep_sites(request.user)
    form = Nothing(posted(request))
    if form.is_bound and form.is_valid():
        retire_plan(plan_id, by=request.user)
        messages.success(request, f"{found} is out of use.")
        return redirect(found.site)
    return form_page(
        request,
        form,
        title=f"Put {found} out of use",
        hint="Zones and monitors that are marked on it wait to be marked on another plan.",
        submit="Put out of use",
        back=reverse("sites:plan", args=[plan_id]),
        back_label=str(found),
        danger=True,
    )


@require_http_methods(["GET", "POST"])
def monitor_mark(request: PersonRequest, plan_id: UUID, monitor_id: UUID) -> HttpResponse:
    """Marks where a monitor stands: by a tap on the plan, or by two numbers."""
    found = _plan(request, plan_id)
    monitor = get_object_or_404(
        access.monitors_visible_to(request.user).filter(site=found.site_id).select_related("zone"),
        pk=monitor_id,
    )
    access.require_may_keep_sites(request.user)
    tapped = _tap(request.POST, found)
    form = MarkOnPlan(
        request.POST if request.method == "POST" and tapped is None else None,
        initial=_percent(monitor) if monitor.plan_id == found.pk else None,
    )
    point = tapped or (form.point() if form.is_bound and form.is_valid() else None)
    if point:
        x, y = point
        mark_monitor(monitor_id, by=request.user, plan_id=plan_id, x=x, y=y)
        messages.success(request, f"{monitor} is marked on {found}.")
        return redirect("sites:plan", plan_id)
    context = {
        "plan": found,
        "monitor": monitor,
        "drawing": queries.drawing_of(found),
        "form": form,
        **_tap_size(found),
    }
    return render(request, "sites/monitor_mark.html", context, status=422 if form.errors else 200)


@require_POST
def monitor_unmark(request: PersonRequest, monitor_id: UUID) -> HttpResponse:
    """Takes a monitor's mark off the plan."""
    monitor = get_object_or_404(access.monitors_visible_to(request.user), pk=monitor_id)
    access.require_may_keep_sites(request.user)
    mark_monitor(monitor_id, by=request.user, plan_id=None)
    messages.success(request, f"{monitor} is off the plan.")
    return redirect("sites:monitor", monitor_id)


@require_http_methods(["GET", "POST"])
def zone_draw(request: PersonRequest, plan_id: UUID, zone_id: UUID) -> HttpResponse:
    """Draws a zone's outline: corner by corner by tapping, or as a list of numbers.

    The corners tapped so far travel in the address, so that nothing is kept until it is saved.
    """
    found = _plan(request, plan_id)
    zone = get_object_or_404(
        access.zones_visible_to(request.user).filter(site=found.site_id), pk=zone_id
    )
    access.require_may_keep_sites(request.user)
    corners = _corners_so_far(request.GET, zone, found)
    form = Outline(posted(request), initial={"corners": _as_lines(corners)})
    if form.is_bound and form.is_valid():
        drawn = done(
            form,
            draw_zone,
            zone_id,
            by=request.user,
            plan_id=plan_id,
            corners=form.cleaned_data["corners"],
        )
        if drawn:
            messages.success(request, f"{drawn} is drawn on {found}.")
            return redirect("sites:plan", plan_id)
    drawing = queries.drawing_of(found)
    context = {
        "plan": found,
        "zone": zone,
        "drawing": drawing,
        "form": form,
        "corners": [f"{x:.4f},{y:.4f}" for x, y in corners],
        "drawn_corners": _drawn(corners, drawing),
        "points": queries.outline_points(corners, drawing.height),
        "most_corners": MOST_CORNERS,
        **_tap_size(found),
    }
    return render(request, "sites/zone_draw.html", context, status=422 if form.errors else 200)


@require_POST
def zone_undraw(request: PersonRequest, zone_id: UUID) -> HttpResponse:
    """Takes a zone's outline off the plan."""
    zone = get_object_or_404(access.zones_visible_to(request.user), pk=zone_id)
    access.require_may_keep_sites(request.user)
    draw_zone(zone_id, by=request.user, plan_id=None)
    messages.success(request, f"{zone} is off the plan.")
    return redirect("sites:zone", zone_id)


def _plan(request: PersonRequest, plan_id: UUID) -> SitePlan:
    return get_object_or_404(
        access.plans_visible_to(request.user).select_related("site"), pk=plan_id
    )


def _tap_size(plan: SitePlan) -> dict[str, Any]:
    """How large the image button is drawn, in pixels."""
    return {"tap_width": TAP_WIDTH, "tap_height": round(TAP_WIDTH * plan.height / plan.width)}


def _tap(sent: QueryDict, plan: SitePlan) -> Corner | None:
    """Where the plan was tapped, from 0 to 1, or None if it was not.

    An image button sends ``tap.x`` and ``tap.y`` in pixels of how it is drawn; the page's script
    says how wide that is in ``width``, else it is as wide as the page has set it.
    """
    try:
        width = float(sent.get("width", "") or TAP_WIDTH)
        x, y = float(sent.get("tap.x", "")), float(sent.get("tap.y", ""))
    except ValueError:
        return None
    # An image button that is pressed by keyboard tells of a tap at 0, 0: that is no place.
    if not 1 <= width <= 100_000 or x == y == 0:
        return None
    height = width * plan.height / plan.width
    # A press on the very edge may come out a pixel beyond it.
    return min(max(x / width, 0.0), 1.0), min(max(y / height, 0.0), 1.0)


def _corners_so_far(sent: QueryDict, zone: Zone, plan: SitePlan) -> list[Corner]:
    if not sent:
        drawn = zone.outline if zone.plan_id == plan.pk else []
        return [(float(x), float(y)) for x, y in drawn]
    corners: list[Corner] = []
    for text in sent.getlist("corner")[:MOST_CORNERS]:
        try:
            x, y = (float(part) for part in text.split(","))
        except ValueError:
            continue
        if 0 <= x <= 1 and 0 <= y <= 1:
            corners.append((x, y))
    if "back" in sent:
        return corners[:-1]
    tapped = _tap(sent, plan)
    return [*corners, tapped] if tapped and len(corners) < MOST_CORNERS else corners


def _as_lines(corners: list[Corner]) -> str:
    return "\n".join(f"{x * 100:.2f}, {y * 100:.2f}" for x, y in corners)


def _drawn(corners: list[Corner], drawing: Drawing) -> list[tuple[float, float]]:
    return [(round(x * drawing.width, 1), round(y * drawing.height, 1)) for x, y in corners]


def _percent(monitor: Monitor) -> dict[str, float]:
    return {
        "x": round((monitor.x or 0) * 100, 2),
        "y": round((monitor.y or 0) * 100, 2),
    }
