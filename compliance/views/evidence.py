"""The evidence of one site, for whoever may see it."""

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from accounts.http import PersonRequest
from accounts.models import Role
from accounts.refusals import NotAllowed
from compliance.queries.auditor import read_sites, sites_to_read
from compliance.queries.looks import looks_at


@require_GET
def evidence(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """What published texts ask to see, and whether this site has it, current."""
    if request.user.role == Role.TECHNICIAN:
        raise NotAllowed("The evidence list is for the office, the client and auditors.")
    site = get_object_or_404(sites_to_read(request.user), pk=site_id)
    context = {
        "site": site,
        "file": read_sites(request.user, [site])[0],
        "looks": [] if request.user.is_auditor else looks_at(site),
    }
    return render(request, "compliance/evidence.html", context)
