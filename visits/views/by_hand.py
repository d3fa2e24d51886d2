"""Where the office enters what monitors showed on a day without a visit."""

from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from accounts.refusals import Refused
from sites.access import sites_visible_to
from visits.access import require_may_enter_readings
from visits.forms.by_hand import EnterReadings, ReadOn
from visits.models import Pest, Reading
from visits.queries.by_hand import likely_pests
from visits.services.readings import enter_readings, read_otherwise, standing_on

MONITORS_A_PAGE = 50


@require_http_methods(["GET", "POST"])
def enter(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Fifty monitors a page in walking order; saving one page leads to the next."""
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    require_may_enter_readings(request.user)
    now = timezone.now()
    asked = ReadOn(
        {"day": request.GET.get("day") or site.day_of(now).isoformat()}, latest=site.day_of(now)
    )
    here = reverse("visits:readings_enter", args=[site.pk])
    context = {"site": site, "asked": asked, "here": here}
    if not asked.is_valid():
        return render(request, "visits/readings_enter.html", context, status=422)
    day = asked.cleaned_data["day"]
    standing = standing_on(site, day).select_related("zone")
    page = Paginator(
        standing.order_by(F("zone__walk_order").asc(nulls_last=True), "zone_id", "number"),
        MONITORS_A_PAGE,
    ).get_page(request.GET.get("page"))
    ids = [one.pk for one in page]
    own = Reading.objects.filter(monitor_id__in=ids, read_on=day, source=Reading.Source.HAND)
    held = {one.monitor_id: one for one in own.prefetch_related("counts__pest")}
    also = [count.pest_id for one in held.values() for count in one.counts.all()]
    pests = likely_pests(site, (one.kind for one in page), also=also)
    form = EnterReadings(
        request.POST if request.method == "POST" else None,
        monitors=list(page),
        pests=pests,
        others=list(Pest.objects.exclude(pk__in=[one.pk for one in pests]).order_by("name", "pk")),
        held=held,
        otherwise=read_otherwise(ids, day),
    )
    if request.method == "POST" and form.is_valid():
        try:
            changed = enter_readings(
                site.pk,
                by=request.user,
                read_on=day,
                readings=form.given(),
                taken_back=form.taken_back(),
                now=now,
            )
        except Refused as refused:
            form.problems(refused.facts.get("problems", {}))
            form.add_error(None, str(refused))
        else:
            messages.success(request, _done(changed))
            if page.has_next():
                return redirect(f"{here}?day={day}&page={page.next_page_number()}")
            return redirect(f"{here}?day={day}&page={page.number}")
    context |= {"form": form, "page": page, "day": day}
    status = 422 if form.errors else 200
    return render(request, "visits/readings_enter.html", context, status=status)


def _done(changed: int) -> str:
    if not changed:
        return "Nothing was different from what is on file."
    return f"Saved: {changed} reading{'s' if changed > 1 else ''}."
