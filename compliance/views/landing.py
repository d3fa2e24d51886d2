"""The first page of the office, of a client's manager and of an auditor: what needs them now."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from accounts.access import require_office
from accounts.http import PersonRequest
from accounts.models import Role
from accounts.refusals import NotAllowed
from compliance.queries.auditor import read_sites, sites_to_read
from compliance.queries.client import asked_of_colleagues, sites_overseen, to_decide, to_do
from compliance.queries.today import actions_address, follow_ups_of, today_of
from compliance.queries.trends import standings_of
from compliance.services.looks import record_looks

SITES_PER_PAGE = 25
FILES_PER_PAGE = 5


@require_GET
def today(request: PersonRequest) -> HttpResponse:
    """The office: late, stuck, alarming, unplaced, and the follow-ups to answer."""
    require_office(request.user)
    follow_ups, number = follow_ups_of(request.user)
    context = {
        "parts": today_of(request.user),
        "follow_ups": follow_ups,
        "follow_ups_number": number,
    }
    return render(request, "compliance/today.html", context)


@require_GET
def your_sites(request: PersonRequest) -> HttpResponse:
    """A client's manager: what waits for their word first, then how the sites are."""
    if request.user.role != Role.CLIENT_MANAGER:
        raise NotAllowed("This page is for the managers of clients.")
    now = timezone.now()
    page = Paginator(sites_overseen(request.user), SITES_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "decide": to_decide(request.user, now),
        "decide_url": reverse("compliance:decisions"),
        "asked_of_colleagues": asked_of_colleagues(request.user),
        "colleagues_url": actions_address(state="priced"),
        "do": to_do(request.user, now),
        "do_url": actions_address(state="open"),
        "page": page,
        "standings": standings_of(list(page.object_list), request.user, now=now),
    }
    return render(request, "compliance/your_sites.html", context)


@require_GET
def the_file(request: PersonRequest) -> HttpResponse:
    """An auditor: the evidence of each site on the pass, missing first."""
    if request.user.role != Role.AUDITOR:
        raise NotAllowed("This page is for auditors; each site has its own evidence page.")
    page = Paginator(sites_to_read(request.user), FILES_PER_PAGE).get_page(request.GET.get("page"))
    sites = list(page.object_list)
    record_looks([site.pk for site in sites], by=request.user)
    context = {
        "page": page,
        "files": read_sites(request.user, sites),
        "standings": standings_of(sites, request.user, now=timezone.now()),
    }
    return render(request, "compliance/the_file.html", context)
