"""Rodent bait: what lies at a site, its review, and every site where bait lies."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.refusals import Refused
from accounts.sheets import csv_answer
from sites.access import sites_visible_to
from sites.models import Site
from sites.views.pages import read_filters
from visits.access import require_may_plan, require_may_review_baiting
from visits.forms.baiting import FilterBaiting, ReviewBaiting
from visits.queries.baiting import SiteBaiting, open_baiting, site_baiting
from visits.services import baiting as services
from visits.views.answers import told_no

SITES_A_PAGE = 50
POINTS_A_PAGE = 50
LIST_HEADER = (
    "client",
    "site",
    "points with bait",
    "g by the record",
    "since",
    "days",
    "reviewed on",
    "review due on",
    "past its review day",
    "to be lifted",
)
SITE_HEADER = (
    "point",
    "zone",
    "place",
    "laid g",
    "taken g",
    "lifted g",
    "g by the record",
    "baited since",
    "days",
    "last looked at",
    "taken away on",
)


def _site(request: PersonRequest, site_id: UUID) -> Site:
    return get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)


@require_GET
def bait(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """What lies at each point of a site; fifty points a page."""
    site = _site(request, site_id)
    found = site_baiting(site, request.user, timezone.now())
    page = Paginator(found.points, POINTS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "site": site,
        "baiting": found,
        "page": page,
        "csv_url": reverse("visits:bait_csv", args=[site.pk]),
        "may_review": request.user.is_office and not found.state.is_lifted,
    }
    return render(request, "visits/bait.html", context)


@require_GET
def bait_csv(request: PersonRequest, site_id: UUID) -> StreamingHttpResponse:
    """The points of a site as a file."""
    site = _site(request, site_id)
    found = site_baiting(site, request.user, timezone.now())
    return csv_answer(f"bait-{slugify(site.reference)}", SITE_HEADER, _point_rows(found))


def _point_rows(found: SiteBaiting) -> Iterator[Sequence[Any]]:
    for one in found.points:
        yield (
            one.monitor.number,
            one.monitor.zone.name,
            one.monitor.place,
            one.laid_g,
            one.taken_g,
            one.lifted_g,
            one.balance_g,
            one.state.open_since,
            one.state.days_open if one.state.is_open else None,
            one.state.last_on,
            one.monitor.removed_on,
        )


@require_http_methods(["GET", "POST"])
def bait_review(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Says why bait goes on lying, or that it is lifted."""
    site = _site(request, site_id)
    require_may_review_baiting(request.user)
    form = ReviewBaiting(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.review_baiting(site.pk, by=request.user, **form.cleaned_data)
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Reviewed; it is on the record.")
            return redirect("visits:bait", site.pk)
    context = {
        "site": site,
        "form": form,
        "baiting": site_baiting(site, request.user, timezone.now()),
    }
    return render(request, "visits/bait_review.html", context, status=422 if form.errors else 200)


def _asked(request: PersonRequest) -> tuple[FilterBaiting, list[SiteBaiting]]:
    form = FilterBaiting(request.GET)
    overdue = bool(read_filters(form).get("overdue"))
    sites = sites_visible_to(request.user).filter(closed_on=None).select_related("client")
    return form, open_baiting(sites, timezone.now(), overdue_only=overdue)


@require_GET
def baiting(request: PersonRequest) -> HttpResponse:
    """Every site where bait lies, the one whose review is due first on top; fifty a page."""
    require_may_plan(request.user)
    form, found = _asked(request)
    page = Paginator(found, SITES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "csv_url": f"{reverse('visits:baiting_csv')}?{request.GET.urlencode()}",
    }
    return render(request, "visits/baiting.html", context)


@require_GET
def baiting_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same list as a file, with the same filter."""
    require_may_plan(request.user)
    _, found = _asked(request)
    return csv_answer("open-baiting", LIST_HEADER, _site_rows(found))


def _site_rows(found: Sequence[SiteBaiting]) -> Iterator[Sequence[Any]]:
    for one in found:
        yield (
            one.site.client.name,
            one.site.name,
            len(one.state.open_points),
            one.balance_g,
            one.state.open_since,
            one.state.days_open,
            one.state.reviewed_on,
            one.state.review_due_on,
            "yes" if one.state.is_overdue else "no",
            "yes" if one.state.is_to_be_lifted else "no",
        )
