"""Electronic traps of a site: what reports for them, and what they last said."""

from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.refusals import Refused
from sites.access import sites_visible_to
from sites.models import Site
from visits.access import require_may_let_traps_report, trap_senders_visible_to
from visits.forms.traps import TrapSenderForm
from visits.models import TrapSender
from visits.queries.traps import SILENT_AFTER, refused_of, senders_at, trap_shown, traps_at
from visits.services import trap_reports
from visits.services import trap_senders as services
from visits.views.answers import told_no

TRAPS_A_PAGE = 50
REFUSED_A_PAGE = 50


@never_cache
@require_http_methods(["GET", "POST"])
def traps(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """What reports at a site, and every trap; a new token is shown once, on the answer."""
    site = get_object_or_404(sites_visible_to(request.user), pk=site_id)
    require_may_let_traps_report(request.user)
    form, made = TrapSenderForm(request.POST or None), None
    if request.method == "POST" and form.is_valid():
        try:
            made = services.add_trap_sender(site.pk, by=request.user, **form.cleaned_data)
        except Refused as refused:
            told_no(form, refused)
        else:
            form = TrapSenderForm()
    return _page(request, site, form, made)


def _page(
    request: PersonRequest, site: Site, form: TrapSenderForm, made: services.Made | None
) -> HttpResponse:
    now = timezone.now()
    page = Paginator(traps_at(site), TRAPS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "site": site,
        "form": form,
        "made": made,
        "senders": senders_at(site)[: 2 * services.MOST_SENDERS],
        "page": page,
        "shown": [trap_shown(one, now) for one in page],
        "silent_after": SILENT_AFTER.days,
    }
    status = 422 if form.errors else 200
    return render(request, "visits/traps.html", context, status=status)


def _sender(request: PersonRequest, sender_id: UUID) -> TrapSender:
    visible = trap_senders_visible_to(request.user).select_related("site", "added_by")
    return get_object_or_404(visible, pk=sender_id)


@never_cache
@require_http_methods(["GET", "POST"])
def sender(request: PersonRequest, trap_sender_id: UUID) -> HttpResponse:
    """One sender with the reports of it that were refused. POST gives it another token."""
    found, made = _sender(request, trap_sender_id), None
    if request.method == "POST":
        made = services.renew_trap_token(found.pk, by=request.user)
        found = _sender(request, trap_sender_id)
    page = Paginator(refused_of(found), REFUSED_A_PAGE).get_page(request.GET.get("page"))
    context = {"sender": found, "site": found.site, "made": made, "page": page}
    return render(request, "visits/trap_sender.html", context)


@require_POST
def judge_again(request: PersonRequest, trap_sender_id: UUID) -> HttpResponse:
    """Applies what was refused and may be applied now."""
    found = _sender(request, trap_sender_id)
    applied = trap_reports.judge_again(found.pk, by=request.user, now=timezone.now())
    messages.success(
        request, f"{applied} reports applied." if applied else "What stands in the way still does."
    )
    return redirect("visits:trap_sender", found.pk)


@require_POST
def end(request: PersonRequest, trap_sender_id: UUID) -> HttpResponse:
    """Takes no more reports from it."""
    found = _sender(request, trap_sender_id)
    services.end_trap_sender(found.pk, by=request.user)
    messages.success(request, f"{found.name} reports no more. What it reported stays.")
    return redirect("visits:traps", found.site_id)
