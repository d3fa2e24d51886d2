"""The page of the money terms: what holds, what held, and the form that sets them."""

from decimal import Decimal

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from accounts.refusals import Unusable
from compliance.access import require_may_keep_prices
from compliance.models import MoneyTerms
from compliance.money_forms import SetMoneyTerms
from compliance.queries.money_terms import terms_in_force
from compliance.services.money_terms import set_money_terms

PER_PAGE = 50
CENT = Decimal("0.01")


@require_http_methods(["GET", "POST"])
def money_terms(request: PersonRequest) -> HttpResponse:
    """Under what options are weighed from now on, for the office."""
    require_may_keep_prices(request.user)
    years, rate, growth = terms_in_force()
    first = {
        "years": years,
        "yearly_rate": (rate * 100).quantize(CENT),
        "yearly_growth": (growth * 100).quantize(CENT),
    }
    form = SetMoneyTerms(request.POST or None, initial=first)
    if request.method == "POST" and form.is_valid():
        try:
            set_money_terms(form.given(), by=request.user)
        except Unusable as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "Set. Options that are priced from now on are weighed so.")
            return redirect("compliance:money_terms")
    held = MoneyTerms.objects.select_related("set_by").order_by("-set_at", "-pk")
    page = Paginator(held, PER_PAGE).get_page(request.GET.get("page"))
    status = 422 if form.is_bound and form.errors else 200
    context = {"form": form, "page": page}
    return render(request, "compliance/money_terms.html", context, status=status)
