"""A site's plan month by month: zones tinted and monitors sized by what they caught."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from accounts.http import PersonRequest
from compliance.queries.trend_plan import MonthShown, plan_months
from sites.access import plans_visible_to, sites_visible_to
from sites.models import SitePlan
from sites.queries import Drawing, drawing_of, plans_in_use


@require_GET
def trend_plan(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """One pest in one month; with script, all months of it.

    ``pest``, ``month`` (2026-10) and ``plan`` in the address; what is unknown gives the pest that
    most was caught of, the last month that was read, the first plan.
    """
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    shown = plan_months(site, request.user, pest=request.GET.get("pest", ""))
    context: dict[str, Any] = {"site": site, "shown": shown}
    if shown:
        place = shown.place(request.GET.get("month", ""))
        month = shown.months[place]
        plans = list(plans_in_use(site).filter(pk__in=plans_visible_to(request.user).values("pk")))
        plan = _chosen(plans, request.GET.get("plan", ""))
        drawing = drawing_of(plan) if plan else None
        context |= {
            "month": month,
            "place": place,
            "earlier": shown.months[place - 1] if place else None,
            "later": shown.months[place + 1] if place + 1 < len(shown.months) else None,
            "plan": plan,
            "others": [one for one in plans if one != plan],
            "drawing": drawing,
            "drawn": _drawn(drawing, month) if drawing else None,
            "for_script": shown.for_script(),
        }
    return render(request, "compliance/trend_plan.html", context)


def _chosen(plans: list[SitePlan], asked: str) -> SitePlan | None:
    return next((one for one in plans if str(one.pk) == asked), plans[0] if plans else None)


def _drawn(drawing: Drawing, month: MonthShown) -> Mapping[str, Any]:
    """What is drawn, each with how it stands; monitors that do not watch for the pest are not."""
    zones = {one.zone.pk: one for one in month.zones}
    return {
        "zones": [(one, zones[one.pk]) for one in drawing.zones if one.pk in zones],
        "pins": [(pin, month.monitors[pin.pk]) for pin in drawing.pins if pin.pk in month.monitors],
    }
