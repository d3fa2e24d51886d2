"""Every page of a site that an auditor opens is a look at that site, and is noted as such."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.urls import ResolverMatch

from accounts.access import is_somebody
from accounts.models import Role
from compliance.models import CorrectiveAction, SiteFile
from compliance.services.looks import record_looks
from sites.access import valid_pass_sites
from sites.models import Contract, Document, Monitor, Photo, Site, SitePlan, Zone
from visits.models import Visit

# The part of an address that names a record, and how that record knows its site.
SITE_OF: dict[str, Callable[[UUID], Any]] = {
    "site_id": lambda pk: pk,
    "visit_id": lambda pk: _site_id(Visit.objects.filter(pk=pk)),
    "action_id": lambda pk: _site_id(CorrectiveAction.objects.filter(pk=pk)),
    "monitor_id": lambda pk: _site_id(Monitor.objects.filter(pk=pk)),
    "zone_id": lambda pk: _site_id(Zone.objects.filter(pk=pk)),
    "plan_id": lambda pk: _site_id(SitePlan.objects.filter(pk=pk)),
    "contract_id": lambda pk: _site_id(Contract.objects.filter(pk=pk)),
    "document_id": lambda pk: _site_id(Document.objects.filter(pk=pk)),
    "photo_id": lambda pk: _site_id(Photo.objects.filter(pk=pk)),
    "site_file_id": lambda pk: _site_id(SiteFile.objects.filter(pk=pk)),
}


def _site_id(records: Any) -> UUID | None:
    found: UUID | None = records.values_list("site_id", flat=True).first()
    return found


class AuditorLooksMiddleware:
    """Notes an auditor's look once a site and day. Costs nobody else a query.

    A page that lists several sites says itself which; a program that asks for a list may have read
    every site of the pass. If the look cannot be noted the page is not shown: what an auditor sees
    and the client cannot know of must not exist.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        user = getattr(request, "user", None)
        if (
            user is not None
            and response.status_code == 200
            and is_somebody(user)
            and user.role == Role.AUDITOR
        ):
            site_ids = _sites_named(request.resolver_match) or _sites_asked_for(request)
            if site_ids:
                record_looks(site_ids, by=user)
        return response


def _sites_named(match: ResolverMatch | None) -> set[UUID]:
    named = match.kwargs if match else {}
    found = {
        SITE_OF[name](pk) for name, pk in named.items() if name in SITE_OF and isinstance(pk, UUID)
    }
    return {site_id for site_id in found if site_id}


def _sites_asked_for(request: HttpRequest) -> set[UUID]:
    """The sites that an operation for programs answered about: that of its record, or all."""
    match = request.resolver_match
    visible = getattr(getattr(match.func, "cls", None), "visible", None) if match else None
    if match is None or visible is None:
        return set()
    if "pk" not in match.kwargs:
        return set(valid_pass_sites(request.user).values_list("site_id", flat=True))
    row = visible(request.user).filter(pk=match.kwargs["pk"]).first()
    site_id = row.pk if isinstance(row, Site) else getattr(row, "trail_site_id", None)
    found = site_id or getattr(row, "site_id", None)
    return {found} if found else set()
