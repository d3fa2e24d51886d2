"""Pages of the price list: what the company does about findings, and what that costs."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.refusals import Unusable
from compliance.access import remedies_visible_to, require_may_keep_prices
from compliance.models import Remedy
from compliance.queries.remedies import remedies_listed
from compliance.queries.sheets import currency_in_use
from compliance.remedy_forms import FilterRemedies, KeepRemedy
from compliance.services import remedies as services
from sites.keeping import Taken

PER_PAGE = 50


@require_GET
def remedies(request: PersonRequest) -> HttpResponse:
    """The price list, for the office."""
    require_may_keep_prices(request.user)
    form = FilterRemedies(request.GET)
    listed = remedies_listed(remedies_visible_to(request.user), **form.wanted())
    page = Paginator(listed, PER_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "currency": currency_in_use()}
    return render(request, "compliance/remedies.html", context)


@require_POST
def remedies_usual(request: PersonRequest) -> HttpResponse:
    """Put the usual remedies on the list; they wait for their prices."""
    new = services.load_usual_remedies(by=request.user)
    added = f"Added {new}; they wait for your prices." if new else "All of them are known already."
    messages.success(request, added)
    return redirect("compliance:remedies")


@require_http_methods(["GET", "POST"])
def remedy_new(request: PersonRequest) -> HttpResponse:
    """Add a remedy to the list."""
    require_may_keep_prices(request.user)
    form = KeepRemedy(request.POST or None, initial={"holds": Remedy.Holds.LASTING})
    if request.method == "POST" and form.is_valid():
        try:
            made = services.add_remedy(form.given(), by=request.user)
        except (Unusable, Taken) as refused:
            _say(form, refused)
        else:
            messages.success(request, f"Added “{made}”.")
            return redirect("compliance:remedies")
    context = {"form": form, "currency": currency_in_use()}
    return render(request, "compliance/remedy_new.html", context, status=_status(form))


@require_http_methods(["GET", "POST"])
def remedy_change(request: PersonRequest, remedy_id: UUID) -> HttpResponse:
    """Change a remedy; options worked out before keep the price they had."""
    require_may_keep_prices(request.user)
    found = get_object_or_404(remedies_visible_to(request.user), pk=remedy_id)
    form = KeepRemedy(request.POST or None, initial=KeepRemedy.first(found))
    if request.method == "POST" and form.is_valid():
        seen = form.cleaned_data["seen"]
        try:
            services.change_remedy(found.pk, form.given(), by=request.user, seen=seen)
        except (Unusable, Taken) as refused:
            _say(form, refused)
        else:
            messages.success(request, "Saved. Options worked out before keep their prices.")
            return redirect("compliance:remedies")
    context = {"form": form, "remedy": found, "currency": currency_in_use()}
    return render(request, "compliance/remedy_change.html", context, status=_status(form))


@require_http_methods(["GET", "POST"])
def remedy_end(request: PersonRequest, remedy_id: UUID) -> HttpResponse:
    """Ask once, then take a remedy off the list."""
    require_may_keep_prices(request.user)
    found = get_object_or_404(remedies_visible_to(request.user), pk=remedy_id)
    if request.method == "POST":
        services.end_remedy(found.pk, by=request.user)
        messages.success(request, f"Took “{found}” off the price list.")
        return redirect("compliance:remedies")
    return render(request, "compliance/remedy_end.html", {"remedy": found})


def _say(form: KeepRemedy, refused: Unusable | Taken) -> None:
    """Show a refusal beside the fields that it is about."""
    by_field = refused.facts.get("fields") or {refused.facts.get("field"): [str(refused)]}
    for field, sentences in by_field.items():
        for sentence in sentences:
            form.add_error(field if field in form.fields else None, sentence)


def _status(form: Any) -> int:
    return 422 if form.is_bound and form.errors else 200
