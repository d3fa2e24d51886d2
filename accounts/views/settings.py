"""What a person keeps for themselves, and what an administrator keeps for the company."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.forms import model_to_dict
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from knox.models import AuthToken

from accounts import access
from accounts.forms import ChangeCompany, FilterTrail, IssueToken
from accounts.http import PersonRequest
from accounts.models import TrailStream
from accounts.services.company import change_company, company_in_use
from accounts.services.tokens import issue_token, revoke_token
from accounts.verification import breaks_of


@never_cache
@require_http_methods(["GET", "POST"])
def tokens(request: PersonRequest) -> HttpResponse:
    """A person's own tokens for programs. A new one is shown once, on the answer to its form."""
    form, fresh = IssueToken(request.POST or None), None
    if request.method == "POST" and form.is_valid():
        _, fresh = issue_token(request.user, days=form.cleaned_data["days"])
        form = IssueToken()
    own = AuthToken.objects.filter(user=request.user).order_by("-created", "pk")
    context = {"tokens": own, "form": form, "fresh": fresh}
    return render(request, "accounts/tokens.html", context, status=422 if form.is_bound else 200)


@require_POST
def token_end(request: PersonRequest, token_key: str) -> HttpResponse:
    revoke_token(token_key, by=request.user)
    messages.success(request, "That token no longer works.")
    return redirect("accounts:tokens")


@require_http_methods(["GET", "POST"])
def company(request: PersonRequest) -> HttpResponse:
    """The details that papers carry."""
    access.require_administrator(request.user)
    form = ChangeCompany(request.POST or None, initial=model_to_dict(company_in_use()))
    if request.method == "POST" and form.is_valid():
        change_company(by=request.user, **form.cleaned_data)
        messages.success(request, "Saved.")
        return redirect("accounts:company")
    status = 422 if form.is_bound else 200
    return render(request, "accounts/company.html", {"form": form}, status=status)


@require_GET
def trail(request: PersonRequest) -> HttpResponse:
    """The trail, newest first, with a filter by chain and by word."""
    access.require_administrator(request.user)
    entries = access.trail_visible_to(request.user).order_by("-pk")
    filters = FilterTrail(request.GET)
    wanted = filters.cleaned_data if filters.is_valid() else {}
    chain = wanted.get("chain", "")
    if chain:
        entries = entries.filter(stream_id=chain)
    if wanted.get("q"):
        entries = entries.filter(target_label__icontains=wanted["q"])
    context = {
        "page": Paginator(entries, 100).get_page(request.GET.get("page")),
        "filters": filters,
        "chain": chain,
        "head": TrailStream.objects.filter(key=chain).first() if chain else None,
    }
    return render(request, "accounts/trail.html", context)


@require_GET
def trail_check(request: PersonRequest) -> HttpResponse:
    """Whether one chain holds, recomputed now."""
    access.require_administrator(request.user)
    chain = TrailStream.objects.filter(key=request.GET.get("chain", "company")).first()
    found = list(breaks_of(chain))[:100] if chain else []
    return render(request, "accounts/trail_check.html", {"chain": chain, "breaks": found})
