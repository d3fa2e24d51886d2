"""The application register of the company or of one site: as a page, as CSV, as a workbook."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from accounts.http import PersonRequest
from accounts.models import Company
from accounts.sheets import csv_answer
from sites.access import sites_visible_to
from sites.models import Site
from sites.views.pages import read_filters
from visits.access import visits_visible_to
from visits.application_sheet import MOST_ROWS, register_workbook
from visits.forms.application_register import NarrowRegister
from visits.models import Treatment, Visit
from visits.queries.application_register import (
    HEADER,
    Narrowed,
    applications,
    cells_of,
    rows_of,
    slice_of,
)
from visits.queries.report import client_copy_of

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
PAGING = ("older", "newer")


@dataclass(frozen=True, slots=True)
class Register:
    """What was asked for: of one site or of all, narrowed to what, and the rows of it."""

    site: Site | None
    form: NarrowRegister
    asked: Narrowed
    rows: QuerySet[Treatment]


def asked_of(request: PersonRequest, site_id: UUID | None) -> Register:
    """The register that an address asks for; 404 for a site that is hidden. Four queries."""
    site = None
    if site_id is not None:
        visible = sites_visible_to(request.user).select_related("client")
        site = get_object_or_404(visible, pk=site_id)
    form = NarrowRegister(request.GET, of_one_site=site is not None)
    told = {name: value for name, value in read_filters(form).items() if value}
    if "pest" in told:
        told["pest"] = UUID(told["pest"])
    asked = Narrowed(**told)
    return Register(site, form, asked, applications(request.user, asked, site=site))


@require_GET
def applications_page(request: PersonRequest, site_id: UUID | None = None) -> HttpResponse:
    """Fifty applications, newest first, with what each record leaves unsaid."""
    register = asked_of(request, site_id)
    site = register.site
    older, newer = request.GET.get("older", ""), request.GET.get("newer", "")
    page = slice_of(register.rows, mark=newer or older, back=bool(newer))
    kept = request.GET.copy()
    for name in PAGING:
        kept.pop(name, None)
    of = [site.pk] if site else []
    kind = "site_applications" if site else "applications"
    files = {
        "csv": reverse(f"visits:{kind}_csv", args=of),
        "xlsx": reverse(f"visits:{kind}_xlsx", args=of),
    }
    context = {
        "site": site,
        "form": register.form,
        "page": page,
        "here": reverse(f"visits:{kind}", args=of),
        "query": kept.urlencode(),
        "files": files,
        "may_choose_rules": request.user.is_office,
    }
    return render(request, "visits/applications.html", context)


@require_GET
def applications_csv(request: PersonRequest, site_id: UUID | None = None) -> HttpResponseBase:
    """The same list with every element of every record, sent row by row as it is read."""
    register = asked_of(request, site_id)
    return csv_answer(file_name(register.site), HEADER, _cells(register.rows))


@require_GET
def applications_xlsx(request: PersonRequest, site_id: UUID | None = None) -> HttpResponseBase:
    """The same as a workbook, up to ``MOST_ROWS`` rows."""
    register = asked_of(request, site_id)
    if too_many(register.rows, MOST_ROWS):
        return too_many_answer(request, register.site, most=MOST_ROWS, paper="A workbook")
    book = register_workbook(HEADER, _cells(register.rows))
    name = f"{file_name(register.site)}.xlsx"
    return FileResponse(book, as_attachment=True, filename=name, content_type=XLSX)


@require_GET
def applied(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """The client's copy: what was applied on a closed visit, and when people may come back."""
    visit = get_object_or_404(
        visits_visible_to(request.user).select_related("site__client", "line", "technician"),
        pk=visit_id,
        state=Visit.State.CLOSED,
    )
    return render(request, "visits/applied.html", {"copy": client_copy_of(visit)})


def file_name(site: Site | None) -> str:
    return f"applications-{slugify(site.reference)}" if site else "applications"


def too_many(rows: QuerySet[Treatment], most: int) -> bool:
    """Whether there are more rows than ``most``. One query, which stops counting there."""
    return rows.order_by()[: most + 1].count() > most


def too_many_answer(
    request: PersonRequest, site: Site | None, *, most: int, paper: str
) -> HttpResponse:
    """A page that says how to get at the rows all the same."""
    kind = "site_applications" if site else "applications"
    of = [site.pk] if site else []
    query = request.GET.urlencode()
    context = {
        "site": site,
        "most": most,
        "paper": paper,
        "back_url": f"{reverse(f'visits:{kind}', args=of)}?{query}",
        "csv_url": f"{reverse(f'visits:{kind}_csv', args=of)}?{query}",
    }
    return render(request, "visits/applications_too_many.html", context, status=409)


def _cells(rows: QuerySet[Treatment]) -> Iterator[list[Any]]:
    company = Company.objects.first()
    for one in rows_of(rows):
        yield cells_of(one, company)
