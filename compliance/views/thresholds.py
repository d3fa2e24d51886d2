"""Pages of action thresholds: what is agreed, where it was reached, and what was done about it."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import require_administrator, require_office
from accounts.http import PersonRequest
from accounts.models import Role
from accounts.refusals import Unusable
from accounts.sheets import csv_answer
from compliance.access import breaches_visible_to, thresholds_visible_to
from compliance.models import ActionThreshold, Breach
from compliance.queries.thresholds import breaches_listed, open_beside, thresholds_listed
from compliance.services import thresholds as services
from compliance.threshold_forms import (
    AnswerBreach,
    FilterBreaches,
    FilterThresholds,
    SetThreshold,
)
from sites.access import require_may_keep_sites, sites_visible_to
from sites.models import Site

PER_PAGE = 50
THRESHOLDS_HEADER = (
    "name",
    "client",
    "site",
    "where",
    "pests",
    "to act from",
    "what follows",
    "contract",
    "holds from",
    "ended on",
    "set by",
    "reached",
    "still open",
)
BREACHES_HEADER = (
    "client",
    "site",
    "zone",
    "monitor",
    "pest",
    "on",
    "count",
    "trap-days",
    "at least",
    "threshold",
    "what was reached",
    "state",
    "action",
    "follow-up due",
    "answered by",
    "what was done",
)


# --- what is agreed -----------------------------------------------------------------------------


def _listed(request: PersonRequest) -> tuple[FilterThresholds, QuerySet[ActionThreshold]]:
    form = FilterThresholds(request.GET)
    user = request.user
    return form, thresholds_listed(
        thresholds_visible_to(user), breaches_visible_to(user), **form.wanted()
    )


@require_GET
def thresholds(request: PersonRequest) -> HttpResponse:
    """The office: all thresholds, those of the whole company first."""
    require_office(request.user)
    form, listed = _listed(request)
    page = Paginator(listed, PER_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "may_set": request.user.is_administrator}
    return render(request, "compliance/thresholds.html", context)


@require_GET
def thresholds_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same list, whole, as CSV."""
    require_office(request.user)
    return csv_answer("thresholds", THRESHOLDS_HEADER, _threshold_lines(_listed(request)[1]))


def _threshold_lines(listed: QuerySet[Any], *, shows_contract: bool = True) -> Iterator[list[Any]]:
    for one in listed.iterator(chunk_size=500):
        yield [
            one.name,
            one.site.client.name if one.site else "",
            one.site.name if one.site else "Whole company",
            one.place_words,
            one.pest_words,
            one.least_words,
            one.get_then_display(),
            one.contract.number if one.contract and shows_contract else "",
            one.begins_on,
            one.ended_on,
            one.set_by.name if one.set_by else "",
            one.reached,
            one.waiting,
        ]


def _listed_at(
    request: PersonRequest, site_id: UUID
) -> tuple[Site, FilterThresholds, QuerySet[ActionThreshold]]:
    user = request.user
    site = get_object_or_404(sites_visible_to(user).select_related("client"), pk=site_id)
    form = FilterThresholds(request.GET)
    mine = thresholds_visible_to(user)
    listed = thresholds_listed(
        mine.filter(site=site) | mine.filter(site=None),
        breaches_visible_to(user).filter(site=site),
        **form.wanted(),
    )
    return site, form, listed


@require_GET
def site_thresholds(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """What holds at a site, its own and the company's, and what each has caught there."""
    user = request.user
    site, form, listed = _listed_at(request, site_id)
    page = Paginator(listed, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "site": site,
        "form": form,
        "page": page,
        "may_set": user.is_office and site.closed_on is None,
        "shows_contract": user.role != Role.TECHNICIAN,
    }
    return render(request, "compliance/site_thresholds.html", context)


@require_GET
def site_thresholds_csv(request: PersonRequest, site_id: UUID) -> StreamingHttpResponse:
    """The same list, whole, as CSV."""
    _, _, listed = _listed_at(request, site_id)
    shows_contract = request.user.role != Role.TECHNICIAN
    lines = _threshold_lines(listed, shows_contract=shows_contract)
    return csv_answer("thresholds", THRESHOLDS_HEADER, lines)


@require_http_methods(["GET", "POST"])
def threshold_new(request: PersonRequest) -> HttpResponse:
    """Set a threshold for the whole company."""
    require_administrator(request.user)
    return _set(request, None)


@require_http_methods(["GET", "POST"])
def site_threshold_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Set a threshold for a site."""
    require_may_keep_sites(request.user)
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    return _set(request, site)


def _set(request: PersonRequest, site: Site | None) -> HttpResponse:
    first = {"per": ActionThreshold.Per.READING, "then": ActionThreshold.Then.FLAG}
    form = SetThreshold(request.POST or None, site=site, initial=first)
    if request.method == "POST" and form.is_valid():
        begins_on = form.cleaned_data["begins_on"]
        try:
            made = services.set_threshold(form.given(), by=request.user, begins_on=begins_on)
        except Unusable as refused:
            _say(form, refused)
        else:
            messages.success(request, f"Set “{made.name}”.")
            return redirect(_list_of(site))
    context = {"form": form, "site": site, "list_url": _list_of(site)}
    return render(request, "compliance/threshold_new.html", context, status=_status(form))


@require_http_methods(["GET", "POST"])
def threshold_change(request: PersonRequest, threshold_id: UUID) -> HttpResponse:
    """End a threshold and set another in its place."""
    found = _to_keep(request, threshold_id)
    first = SetThreshold.first(found)
    form = SetThreshold(request.POST or None, site=found.site, changes=True, initial=first)
    if request.method == "POST" and form.is_valid():
        try:
            made = services.change_threshold(found.pk, form.given(), by=request.user)
        except Unusable as refused:
            _say(form, refused)
        else:
            messages.success(request, f"“{made.name}” holds from today in its place.")
            return redirect(_list_of(found.site))
    context = {"form": form, "threshold": found, "list_url": _list_of(found.site)}
    return render(request, "compliance/threshold_change.html", context, status=_status(form))


@require_http_methods(["GET", "POST"])
def threshold_end(request: PersonRequest, threshold_id: UUID) -> HttpResponse:
    """Ask once, then end a threshold."""
    found = _to_keep(request, threshold_id)
    if request.method == "POST":
        services.end_threshold(found.pk, by=request.user)
        messages.success(request, f"Ended “{found.name}”. What it has caught stays.")
        return redirect(_list_of(found.site))
    context = {"threshold": found, "list_url": _list_of(found.site)}
    return render(request, "compliance/threshold_end.html", context)


def _to_keep(request: PersonRequest, threshold_id: UUID) -> ActionThreshold:
    """A threshold that this person may end: the office, an administrator where it holds for all."""
    mine = thresholds_visible_to(request.user).select_related("site__client", "zone", "pest")
    found = get_object_or_404(mine, pk=threshold_id)
    require_may_keep_sites(request.user)
    if found.site_id is None:
        require_administrator(request.user)
    return found


def _list_of(site: Site | None) -> str:
    if site is None:
        return reverse("compliance:thresholds")
    return reverse("compliance:site_thresholds", args=[site.pk])


def _say(form: SetThreshold, refused: Unusable) -> None:
    """Show a refusal beside the field that it is about."""
    field = refused.facts.get("field")
    form.add_error(field if field in form.fields else None, str(refused))


# --- where it was reached -----------------------------------------------------------------------


def _filtered(request: PersonRequest) -> tuple[FilterBreaches, QuerySet[Breach]]:
    form = FilterBreaches(request.GET, sites=sites_visible_to(request.user))
    return form, breaches_listed(breaches_visible_to(request.user), **form.wanted())


@require_GET
def breaches(request: PersonRequest) -> HttpResponse:
    """Where a threshold was reached, the latest first."""
    form, listed = _filtered(request)
    page = Paginator(listed, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "may_answer": request.user.is_office,
        "opens_actions": request.user.role != Role.AUDITOR,
    }
    return render(request, "compliance/breaches.html", context)


@require_GET
def breaches_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same list, whole, as CSV."""
    return csv_answer("breaches", BREACHES_HEADER, _breach_lines(_filtered(request)[1]))


def _breach_lines(listed: QuerySet[Breach]) -> Iterator[list[Any]]:
    for one in listed.select_related("follow_up").iterator(chunk_size=500):
        yield [
            one.site.client.name,
            one.site.name,
            one.zone.name,
            one.monitor.number if one.monitor else "",
            one.pest.name,
            one.on if one.monitor else f"{one.on:%Y-%m}",
            one.count,
            one.half_days / 2,
            "yes" if one.at_least else "",
            one.threshold.name,
            one.words,
            one.get_state_display(),
            one.action.number if one.action else "",
            one.follow_up.due_on if one.follow_up else "",
            one.answered_by.name if one.answered_by else "",
            one.answer,
        ]


@require_http_methods(["GET", "POST"])
def breach_answer(request: PersonRequest, breach_id: UUID) -> HttpResponse:
    """Say what was done about a breach."""
    related = ("site", "zone", "pest", "monitor", "threshold")
    mine = breaches_visible_to(request.user).select_related(*related)
    found = get_object_or_404(mine, pk=breach_id)
    require_office(request.user)
    form = AnswerBreach(request.POST or None, others=open_beside(found))
    if request.method == "POST" and form.is_valid():
        answered = services.answer_breach(
            found.pk,
            by=request.user,
            answer=form.cleaned_data["answer"],
            with_the_rest=form.cleaned_data.get("with_the_rest", False),
        )
        more = f" and {len(answered) - 1} more" if len(answered) > 1 else ""
        messages.success(request, f"Answered the breach in {found.zone}{more}.")
        return redirect("compliance:breaches")
    context = {"form": form, "breach": found}
    return render(request, "compliance/breach_answer.html", context, status=_status(form))


def _status(form: Any) -> int:
    return 422 if form.is_bound else 200
