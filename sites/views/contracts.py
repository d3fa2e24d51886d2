"""What was agreed for a site."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from sites import access
from sites.forms import ContractForm
from sites.models import Contract
from sites.services.contracts import add_contract, change_contract
from sites.views.pages import done, form_page, posted, site_to_change


@require_http_methods(["GET", "POST"])
def contract_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Puts a contract on file."""
    site = site_to_change(request, site_id)
    form = ContractForm(
        posted(request),
        instance=Contract(site=site),
        initial={"starts_on": site.day_of(timezone.now())},
    )
    if form.is_bound and form.is_valid():
        added = done(form, add_contract, site_id, by=request.user, **form.facts())
        if added:
            messages.success(request, f"{added} is on file. Agree its service lines next.")
            return redirect(site)
    return form_page(
        request,
        form,
        title="Add a contract",
        submit="Add the contract",
        back=site.get_absolute_url(),
        back_label=str(site),
    )


@require_http_methods(["GET", "POST"])
def contract_edit(request: PersonRequest, contract_id: UUID) -> HttpResponse:
    """Changes what is on file for a contract."""
    contract = get_object_or_404(
        access.contracts_visible_to(request.user).select_related("site"), pk=contract_id
    )
    access.require_may_keep_sites(request.user)
    site, name = contract.site, str(contract)
    form = ContractForm(posted(request), instance=contract)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        changed = done(
            form, change_contract, contract_id, by=request.user, seen=seen, **form.facts()
        )
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect(site)
    return form_page(
        request,
        form,
        title=f"Change {name.lower()}",
        submit="Save the contract",
        back=site.get_absolute_url(),
        back_label=str(site),
    )
