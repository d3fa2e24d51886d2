"""The rules for records: what each asks for, how far that was confirmed, and which one holds."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from sites.access import sites_visible_to
from sites.views.pages import posted
from visits.access import require_may_choose_rules
from visits.forms.record_rules import ChooseRules
from visits.models import ChosenRules
from visits.queries.record_rules import company_rules, rules_at, shown_rules
from visits.services.record_rules import choose_rules, choose_rules_at


@require_http_methods(["GET", "POST"])
def record_rules(request: PersonRequest) -> HttpResponse:
    """Every set of rules with its source, and the choice for the whole company."""
    require_may_choose_rules(request.user)
    chosen = company_rules()
    form = ChooseRules(posted(request), initial={"rule_set": chosen.slug})
    if form.is_bound and form.is_valid():
        choose_rules(form.cleaned_data["rule_set"], by=request.user)
        messages.success(request, "The rules for records are chosen.")
        return redirect("visits:record_rules")
    context = {
        "form": form,
        "chosen": chosen,
        "rule_sets": shown_rules(),
        "may_choose": request.user.is_administrator,
    }
    status = 422 if form.is_bound else 200
    return render(request, "visits/record_rules.html", context, status=status)


@require_http_methods(["GET", "POST"])
def site_rules(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """The choice for one site, whose country may ask for other things than the company's."""
    visible = sites_visible_to(request.user).select_related("client")
    site = get_object_or_404(visible, pk=site_id)
    require_may_choose_rules(request.user)
    own = ChosenRules.objects.filter(site=site).values_list("rule_set", flat=True).first()
    form = ChooseRules(posted(request), initial={"rule_set": own or ""}, fallback=company_rules())
    if form.is_bound and form.is_valid():
        choose_rules_at(site.pk, form.cleaned_data["rule_set"], by=request.user)
        messages.success(request, "The rules for records of this site are chosen.")
        return redirect("visits:site_applications", site.pk)
    context = {"site": site, "form": form, "chosen": rules_at([site.pk])[site.pk]}
    status = 422 if form.is_bound else 200
    return render(request, "visits/site_rules.html", context, status=status)
