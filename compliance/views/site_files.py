"""Site files: asking for one, seeing how far it is, taking it away; and the report of one visit."""

from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.files import private_file, safe_name
from accounts.http import PersonRequest
from accounts.models import Role
from accounts.refusals import NotAllowed
from accounts.wake import wake
from compliance import access
from compliance.forms import RequestSiteFile
from compliance.models import SiteFile
from compliance.queries.site_file import usual_file_period, visit_report_of
from compliance.services.site_files import note_download, request_site_file
from compliance.sitefile.build import build_visit_report
from compliance.tasks import build_site_files
from sites.access import sites_visible_to
from sites.views.pages import done, posted
from visits.access import visits_visible_to
from visits.models import Visit

PER_PAGE = 20
PDF = "application/pdf"


@require_http_methods(["GET", "POST"])
def site_files(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """The site files of a site that a person may have, newest first, and asking for another."""
    if request.user.role == Role.TECHNICIAN:
        raise NotAllowed("Site files are for the office, the client and auditors.")
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    period = usual_file_period(site, request.user, now=timezone.now())
    form = RequestSiteFile(
        posted(request), initial={"period_from": period.first, "period_to": period.last}
    )
    if form.is_bound and form.is_valid():
        asked = done(form, request_site_file, site.pk, by=request.user, **form.cleaned_data)
        if asked:
            wake(build_site_files)
            return redirect(asked)
    listed = (
        access.site_files_visible_to(request.user)
        .filter(site=site)
        .select_related("requested_by")
        .order_by("-created_at", "-pk")
    )
    context = {
        "site": site,
        "form": form,
        "page": Paginator(listed, PER_PAGE).get_page(request.GET.get("page")),
    }
    status = 422 if form.is_bound else 200
    return render(request, "compliance/site_files.html", context, status=status)


@require_GET
def site_file(request: PersonRequest, site_file_id: UUID) -> HttpResponse:
    """One site file: how far it is and, once it is ready, its hash and the way to have it."""
    found = get_object_or_404(
        access.site_files_visible_to(request.user).select_related("site__client", "requested_by"),
        pk=site_file_id,
    )
    return render(request, "compliance/site_file.html", {"site_file": found})


@require_GET
def site_file_download(request: PersonRequest, site_file_id: UUID) -> HttpResponseBase:
    """The PDF. That it was taken away goes on the trail of the site."""
    found = get_object_or_404(
        access.site_files_visible_to(request.user).select_related("site"), pk=site_file_id
    )
    if found.state != SiteFile.State.READY:
        messages.info(request, "This site file is not ready yet.")
        return redirect(found)
    name = f"site file {found.site.reference} {found.period_from} to {found.period_to}.pdf"
    answer = private_file(found.file, name=name, mime=PDF)
    note_download(found.pk, by=request.user)
    return answer


@require_GET
def visit_report_pdf(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """The report of one closed visit as a paper, made from its sealed record. About a second."""
    visit = get_object_or_404(
        visits_visible_to(request.user).select_related("site__client", "line", "technician"),
        pk=visit_id,
        state=Visit.State.CLOSED,
    )
    gathered = visit_report_of(visit, by=request.user, role=request.user.role, now=timezone.now())
    paper = build_visit_report(gathered.report, media=gathered.pictures, render=render_to_string)
    answer = HttpResponse(paper.pdf, content_type=PDF)
    day = visit.site.day_of(visit.closed_at or timezone.now())
    name = safe_name(f"visit {visit.site.reference} {day}.pdf")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
