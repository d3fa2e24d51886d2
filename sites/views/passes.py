"""Auditors' passes, and which sites a client's manager sees."""

from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import people_visible_to, require_office
from accounts.forms import DayInput, offer
from accounts.http import PersonRequest
from accounts.models import Client, Role, User
from sites import access
from sites.models import PassSite, Site
from sites.services.grants import issue_pass, limit_manager, revoke_pass


class ChooseClient(forms.Form):
    """For whose sites the pass is."""

    client = forms.ModelChoiceField(Client.objects.none())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "client", Client.objects.order_by("name", "pk"))


class IssuePass(forms.Form):
    """Who may read what, for which period, until when. Days are days of the office's own zone."""

    auditor = forms.ModelChoiceField(User.objects.none())
    sites = forms.ModelMultipleChoiceField(Site.objects.none(), widget=forms.CheckboxSelectMultiple)
    period_from = forms.DateField(widget=DayInput(), label="Records from")
    period_to = forms.DateField(widget=DayInput(), label="Records to")
    valid_until = forms.DateField(widget=DayInput(), label="Last day on which the pass works")
    purpose = forms.CharField(max_length=200, required=False, label="Purpose")

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        auditors = User.objects.filter(role=Role.AUDITOR, is_active=True)
        offer(self, "auditor", auditors.order_by("name", "pk"))
        offer(self, "sites", sites)

    def clean(self) -> dict[str, object]:
        data = super().clean() or self.cleaned_data
        first, last = data.get("period_from"), data.get("period_to")
        if first and last and last < first:
            self.add_error("period_to", "The period's last day is before its first.")
        if data.get("valid_until") and data["valid_until"] < timezone.now().date():
            self.add_error("valid_until", "That day has passed.")
        return data


class RevokePass(forms.Form):
    """Why a pass ends early."""

    reason = forms.CharField(max_length=300)


class LimitManager(forms.Form):
    """Which sites of the client a manager sees."""

    sites = forms.ModelMultipleChoiceField(
        Site.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None chosen means all sites of the client.",
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "sites", sites)


@require_GET
def passes(request: PersonRequest) -> HttpResponse:
    """Passes, newest first, with the sites they name that the reader may see."""
    named = PassSite.objects.filter(site__in=access.sites_visible_to(request.user))
    found = (
        access.passes_visible_to(request.user)
        .select_related("auditor", "client")
        .prefetch_related(
            Prefetch("named", named.select_related("site").order_by("site__name", "pk"))
        )
        .order_by("-valid_until", "-pk")
    )
    context = {
        "page": Paginator(found, 50).get_page(request.GET.get("page")),
        "now": timezone.now(),
        "choose_client": ChooseClient() if request.user.is_office else None,
    }
    return render(request, "sites/passes.html", context)


@require_http_methods(["GET", "POST"])
def pass_new(request: PersonRequest) -> HttpResponse:
    """Issue a pass for one client's sites (``?client=``)."""
    require_office(request.user)
    choice = ChooseClient(request.GET)
    if not choice.is_valid():
        return render(request, "sites/pass_client.html", {"form": ChooseClient()})
    client = choice.cleaned_data["client"]
    of_client = access.sites_visible_to(request.user).filter(client=client).order_by("name", "pk")
    form = IssuePass(request.POST or None, sites=of_client)
    if not (request.method == "POST" and form.is_valid()):
        context = {"form": form, "client": client}
        return render(request, "sites/pass_new.html", context, status=422 if form.is_bound else 200)
    data = form.cleaned_data
    last_day = data.pop("valid_until") + timedelta(days=1)
    issued = issue_pass(
        data.pop("auditor").pk,
        by=request.user,
        valid_from=timezone.now(),
        valid_until=datetime.combine(last_day, time(), ZoneInfo(request.user.time_zone)),
        **data,
    )
    messages.success(request, f"{issued.auditor} can read the sites named until the pass lapses.")
    return redirect("sites:passes")


@require_http_methods(["GET", "POST"])
def pass_revoke(request: PersonRequest, pass_id: UUID) -> HttpResponse:
    require_office(request.user)
    found = get_object_or_404(access.passes_visible_to(request.user), pk=pass_id)
    form = RevokePass(request.POST or None)
    if not (request.method == "POST" and form.is_valid()):
        context = {"form": form, "auditor_pass": found}
        return render(
            request, "sites/pass_revoke.html", context, status=422 if form.is_bound else 200
        )
    revoke_pass(found.pk, by=request.user, reason=form.cleaned_data["reason"])
    messages.success(request, "The pass has ended.")
    return redirect("sites:passes")


@require_http_methods(["GET", "POST"])
def manager_sites(request: PersonRequest, person_id: UUID) -> HttpResponse:
    """Limit a client's manager to some of the client's sites."""
    require_office(request.user)
    managers = people_visible_to(request.user).filter(role=Role.CLIENT_MANAGER)
    person = get_object_or_404(managers, pk=person_id)
    of_client = Site.objects.filter(client=person.client_id).order_by("name", "pk")
    initial = {"sites": person.site_grants.values_list("site_id", flat=True)}
    form = LimitManager(request.POST or None, sites=of_client, initial=initial)
    if not (request.method == "POST" and form.is_valid()):
        context = {"form": form, "person": person}
        return render(
            request, "sites/manager_sites.html", context, status=422 if form.is_bound else 200
        )
    limit_manager(person.pk, by=request.user, sites=list(form.cleaned_data["sites"]))
    messages.success(request, f"Saved which sites {person} sees.")
    return redirect("accounts:person", person.pk)
