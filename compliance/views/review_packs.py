"""A client's quarters: one on a page, site by site, and the packs that say the same on paper."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.files import private_file
from accounts.http import PersonRequest
from accounts.models import Client
from accounts.wake import wake
from compliance import access
from compliance.drawn import drawn
from compliance.forms import RequestReviewPack
from compliance.models import ReviewPack
from compliance.quarters import Quarter, ended_quarters, quarter_from, quarter_of
from compliance.queries.review_packs import review_of, sites_of_quarter
from compliance.services.review_packs import note_download, request_review_pack
from compliance.sitefile.review import SiteReview
from compliance.sitefile.reviewing import kept_share, kept_words
from compliance.sitefile.trending import point_of
from compliance.sitefile.words import share
from compliance.tasks import build_review_packs
from compliance.trends.drawing import small_chart
from sites.access import sites_visible_to
from sites.views.pages import done, posted

SITES_PER_PAGE = 10
PACKS_PER_PAGE = 20
SHOWN_QUARTERS = 8
PDF = "application/pdf"


def _client(request: PersonRequest, client_id: UUID) -> Client:
    return get_object_or_404(access.reviewed_clients_visible_to(request.user), pk=client_id)


@require_GET
def quarters(request: PersonRequest, client_id: UUID) -> HttpResponse:
    """The last two years of a client quarter by quarter, and the packs that were made of them."""
    client = _client(request, client_id)
    today = timezone.now().date()
    packs = (
        access.review_packs_visible_to(request.user)
        .filter(client=client)
        .select_related("client", "requested_by")
        .order_by("-created_at", "-pk")
    )
    page = Paginator(packs, PACKS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "client": client,
        "running": quarter_of(today),
        "quarters": ended_quarters(today, SHOWN_QUARTERS),
        "page": page,
        "packs": [(pack, Quarter(pack.quarter)) for pack in page],
        "may_have_pack": _may_have_pack(request, client),
    }
    return render(request, "compliance/review_quarters.html", context)


def _may_have_pack(request: PersonRequest, client: Client) -> bool:
    return access.whole_clients_visible_to(request.user).filter(pk=client.pk).exists()


@require_http_methods(["GET", "POST"])
def review(request: PersonRequest, client_id: UUID, first_month: str) -> HttpResponse:
    """One quarter of a client over the sites that the person may see, and asking for its pack."""
    client = _client(request, client_id)
    now = timezone.now()
    quarter = quarter_from(first_month)
    if quarter is None or quarter > quarter_of(now.date()):
        raise Http404
    form = RequestReviewPack(posted(request))
    if form.is_bound and form.is_valid():
        asked = done(
            form, request_review_pack, client.pk, quarter, by=request.user, **form.cleaned_data
        )
        if asked:
            wake(build_review_packs)
            return redirect(asked)
    sites = sites_of_quarter(sites_visible_to(request.user).filter(client=client), quarter)
    found = review_of(client, list(sites), quarter, by=request.user, now=now)
    page = Paginator(found.sites, SITES_PER_PAGE).get_page(request.GET.get("page"))
    total = found.totals
    context = {
        "client": client,
        "quarter": quarter,
        "is_running": quarter.after > now.date(),
        "review": found,
        "total": total,
        "kept": kept_share(total.kept),
        "kept_words": kept_words(total.kept),
        "looked": share(total.places_looked, total.places_due),
        "alarms_note": f"{total.alarms_answered} of them answered",
        "page": page,
        "sites": [_shown(one, number) for number, one in enumerate(page)],
        "form": form,
        "may_have_pack": _may_have_pack(request, client),
        "earlier": quarter.before,
        "later": quarter_of(quarter.after) if quarter.after <= now.date() else None,
    }
    return render(request, "compliance/review.html", context, status=422 if form.is_bound else 200)


def _shown(one: SiteReview, number: int) -> dict[str, Any]:
    """A site with its picture and its figures in words."""
    due, looked = one.coverage_counts
    chart = None
    if one.picture:
        title = f"{one.name}, {one.picture.pest}"
        points = [point_of(month) for month in one.picture.months]
        chart = drawn(small_chart(points, title=title, name=f"site-{number}"))
    return {
        "site": one,
        "kept": kept_words(one.kept),
        "due": due,
        "looked": looked,
        "share": share(looked, due),
        "chart": chart,
    }


@require_GET
def review_pack(request: PersonRequest, pack_id: UUID) -> HttpResponse:
    """One pack: how far it is and, once it is ready, its hash and the way to have it."""
    pack = _pack(request, pack_id)
    context = {"pack": pack, "quarter": Quarter(pack.quarter)}
    return render(request, "compliance/review_pack.html", context)


@require_GET
def review_pack_download(request: PersonRequest, pack_id: UUID) -> HttpResponseBase:
    """The PDF. That it was taken away goes on the trail."""
    pack = _pack(request, pack_id)
    if pack.state != ReviewPack.State.READY:
        messages.info(request, "This review pack is not ready yet.")
        return redirect(pack)
    name = f"review {pack.client.reference} {Quarter(pack.quarter).key}.pdf"
    answer = private_file(pack.file, name=name, mime=PDF)
    note_download(pack.pk, by=request.user)
    return answer


def _pack(request: PersonRequest, pack_id: UUID) -> ReviewPack:
    packs = access.review_packs_visible_to(request.user).select_related("client", "requested_by")
    return get_object_or_404(packs, pk=pack_id)
