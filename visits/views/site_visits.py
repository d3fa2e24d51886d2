"""All visits of one site, for whoever may see the site."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from accounts.http import PersonRequest
from accounts.sheets import csv_answer
from sites.access import sites_visible_to
from sites.models import Site
from sites.views.pages import paged
from visits.forms.site_visits import FilterSiteVisits
from visits.queries.site_visits import visits_at

CSV_HEADER = ("day", "kind", "state", "technician", "due", "first day on time", "last day on time")


def _asked(request: PersonRequest, site_id: UUID) -> tuple[Site, FilterSiteVisits, QuerySet[Any]]:
    """The site, what the list is narrowed to, and the list."""
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    form = FilterSiteVisits(request.GET)
    rows = visits_at(request.user, site)
    told = form.cleaned_data if form.is_valid() else {}
    if told.get("kind"):
        rows = rows.filter(kind=told["kind"])
    if told.get("state"):
        rows = rows.filter(state=told["state"])
    return site, form, rows


@require_GET
def site_visits(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """The list, fifty a page; whoever may not open a visit does not find it here."""
    site, form, rows = _asked(request, site_id)
    csv_url = reverse("visits:site_visits_csv", args=[site.pk])
    context = {
        "site": site,
        "form": form,
        "page": paged(request, rows),
        "csv_url": f"{csv_url}?{request.GET.urlencode()}",
    }
    return render(request, "visits/site_visits.html", context)


@require_GET
def site_visits_csv(request: PersonRequest, site_id: UUID) -> StreamingHttpResponse:
    """The same list as a file, with the same filters."""
    site, _, rows = _asked(request, site_id)
    return csv_answer(f"visits-{slugify(site.reference)}", CSV_HEADER, _csv_rows(rows))


def _csv_rows(rows: QuerySet[Any]) -> Iterator[Sequence[Any]]:
    for visit in rows.iterator(chunk_size=1000):
        yield (
            visit.was_on,
            visit.get_kind_display(),
            visit.get_state_display(),
            visit.technician.name if visit.technician else None,
            visit.due_on,
            visit.opens_on,
            visit.closes_on,
        )
