"""Trend reviews: the quarters of a site, one signed review, and the page on which one is signed."""

import json
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.refusals import Refused
from compliance import access
from compliance.drawn import drawn
from compliance.models import PlaceMonth, TrendReview
from compliance.quarters import Quarter, quarter_from, quarter_of
from compliance.queries.reviews import (
    PlaceQuarter,
    ReviewSheet,
    competence_on,
    quarters_of,
    review_sheet,
)
from compliance.queries.trends import point_of
from compliance.review_forms import SignReview
from compliance.services.signing import role_of
from compliance.services.trend_reviews import SheetMoved, same_review, sign_review, trouble_of
from compliance.trends.drawing import small_chart
from compliance.views.proving import has_passkey, passkey_shown, use_up_passkey
from sites.access import sites_visible_to
from sites.models import Site


def _site(request: PersonRequest, site_id: UUID) -> Site:
    sites = sites_visible_to(request.user).select_related("client")
    return get_object_or_404(sites, pk=site_id)


@require_GET
def trend_reviews(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """The last three years of a site, quarter by quarter: signed, due, or nothing to review."""
    site = _site(request, site_id)
    now = timezone.now()
    context = {
        "site": site,
        "lines": quarters_of(site, request.user, today=site.day_of(now)),
        "may_review": access.may_review(request.user, site),
    }
    return render(request, "compliance/trend_reviews.html", context)


@require_GET
def trend_review(request: PersonRequest, review_id: UUID) -> HttpResponse:
    """One signed review, whole, and whether it still stands as it was signed."""
    reviews = access.trend_reviews_visible_to(request.user).select_related("site__client")
    review = get_object_or_404(reviews, pk=review_id)
    alarms = review.alarms.select_related("zone", "pest").order_by("month", "pk")
    trouble = trouble_of(review)
    context = {
        "review": review,
        "site": review.site,
        "quarter": Quarter(review.quarter),
        "alarms": alarms,
        "trouble": trouble,
        # Of a text that was altered nothing is shown as if it had been signed.
        "figures": [] if trouble else _figures(review),
    }
    return render(request, "compliance/trend_review.html", context)


def _figures(review: TrendReview) -> list[dict[str, Any]]:
    """What stood before the one who signed, a row for each place, pest and month."""
    return [
        {
            "zone": place["zone"],
            "pest": place["pest"],
            "month": date.fromisoformat(f"{month['month']}-01"),
            "count": month["count"],
            "at_least": month["at_least"],
            "trap_days": month["half_trap_days"] / 2,
            "state": PlaceMonth.State(month["state"]),
        }
        for place in json.loads(review.content)["shown"]["places"]
        for month in place["months"]
    ]


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def trend_review_new(request: PersonRequest, site_id: UUID, month: str) -> HttpResponse:
    """What a quarter showed, the words about it, and the signature."""
    site = _site(request, site_id)
    access.require_may_review(request.user, site)
    now = timezone.now()
    quarter = _quarter(month, site.day_of(now))
    sheet = review_sheet(site, quarter)
    proof = passkey_shown(request)
    if request.method == "POST":
        form = SignReview(request.POST, sheet=sheet, person=request.user, proof=proof)
        twin = same_review(site, quarter, by=request.user, **form.sent())
        if twin is not None:
            messages.info(request, f"You have signed this review of {quarter} already.")
            return redirect("compliance:trend_review", twin.pk)
        if form.is_valid():
            try:
                review = sign_review(site.pk, quarter, by=request.user, at=now, **form.answered())
            except Refused as refused:
                # Pages of words were typed; the form comes back with them, under what stands now.
                if isinstance(refused, SheetMoved):
                    sheet = review_sheet(site, quarter)
                    form = SignReview(request.POST, sheet=sheet, person=request.user, proof=proof)
                if not form.errors:
                    form.add_error(None, str(refused))
            else:
                use_up_passkey(request)
                messages.success(request, f"Signed: the review of {quarter}.")
                return redirect("compliance:trend_review", review.pk)
        return _page(request, sheet, form, status=422)
    form = SignReview(
        sheet=sheet, person=request.user, proof=proof, initial={"shown_hash": sheet.hash}
    )
    return _page(request, sheet, form)


def _quarter(month: str, today: date) -> Quarter:
    """The ended quarter that begins with a month written as 2026-07. Raises ``Http404``."""
    quarter = quarter_from(month)
    if quarter is None or quarter.first >= quarter_of(today).first:
        raise Http404
    return quarter


def _page(
    request: PersonRequest, sheet: ReviewSheet, form: SignReview, status: int = 200
) -> HttpResponse:
    site = sheet.site
    signed = access.trend_reviews_visible_to(request.user).filter(
        site=site, quarter=sheet.quarter.first
    )
    context: dict[str, Any] = {
        "site": site,
        "quarter": sheet.quarter,
        "sheet": sheet,
        "loud": [
            _shown(one, number) for number, one in enumerate(sheet.places) if not one.is_quiet
        ],
        "quiet": [one for one in sheet.places if one.is_quiet],
        "form": form,
        "signed_before": list(signed.order_by("number")),
        "competence": competence_on(request.user, site.day_of(timezone.now())),
        "signs_as": role_of(request.user),
        "passkey": has_passkey(request.user),
    }
    return render(request, "compliance/trend_review_new.html", context, status=status)


def _shown(place: PlaceQuarter, number: int) -> dict[str, Any]:
    """A place with its picture of three months."""
    title = f"{place.zone}, {place.pest}"
    points = [point_of(one) for one in place.months]
    svg = small_chart(points, title=title, name=f"review-{number}")
    return {"place": place, "title": title, "chart": drawn(svg)}
