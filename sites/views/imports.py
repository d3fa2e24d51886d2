"""Spreadsheets in and out: upload, look at every row, accept; and the same sheets back."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from sites import access
from sites.exporting import export_csv, export_xlsx
from sites.importing.books import MOST_ROWS
from sites.importing.sheets import known_sheets
from sites.models import ImportJob, Site
from sites.services.imports import accept_import, drop_import, receive_import

ROWS_A_PAGE = 100
VERDICTS = {
    "error": ("Error", "late"),
    "new": ("New", "sound"),
    "changed": ("Changes", "soon"),
    "same": ("As on file", "plain"),
}
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class Upload(forms.Form):
    """A spreadsheet."""

    file = forms.FileField(
        label="Spreadsheet",
        help_text=f"XLSX with a sheet for each kind, or one kind as CSV; up to {MOST_ROWS:,} rows.",
        widget=forms.FileInput(attrs={"accept": ".xlsx,.csv"}),
    )


class FilterRows(forms.Form):
    """Which rows of a checked spreadsheet are shown."""

    verdict = forms.ChoiceField(
        required=False,
        label="Rows",
        choices=[("", "All rows"), *((word, label) for word, (label, _) in VERDICTS.items())],
    )


@require_http_methods(["GET", "POST"])
def imports(request: PersonRequest) -> HttpResponse:
    """Send in a spreadsheet; what came in before; and the columns."""
    access.require_may_keep_sites(request.user)
    form = Upload(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        job = receive_import(file.read(), file.name, by=request.user)
        return redirect(job)
    jobs = access.imports_visible_to(request.user).defer("outcome").select_related("uploaded_by")
    context = {
        "form": form,
        "page": Paginator(jobs.order_by("-pk"), 20).get_page(request.GET.get("page")),
        "sheets": known_sheets(),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "sites/imports.html", context, status=status)


@require_GET
def import_job(request: PersonRequest, job_id: UUID) -> HttpResponse:
    """Every row of one spreadsheet, what it would do or did, and every error with its cell."""
    access.require_may_keep_sites(request.user)
    job = get_object_or_404(access.imports_visible_to(request.user), pk=job_id)
    filters = FilterRows(request.GET)
    verdict = filters.cleaned_data["verdict"] if filters.is_valid() else ""
    rows = [row for row in _rows(job) if not verdict or row["verdict"] == verdict]
    counts = job.outcome.get("counts", {})
    context = {
        "job": job,
        "filters": filters,
        "page": Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "counts": [(label, tone, counts.get(word, 0)) for word, (label, tone) in VERDICTS.items()],
        "errors": counts.get("error", 0),
        "writes": counts.get("new", 0) + counts.get("changed", 0),
        "ignored": [
            (sheet["title"], sheet["ignored"])
            for sheet in job.outcome.get("sheets", [])
            if sheet["ignored"]
        ],
        "is_working": job.state in (ImportJob.State.RECEIVED, ImportJob.State.ACCEPTED),
    }
    return render(request, "sites/import_job.html", context)


def _rows(job: ImportJob) -> Iterator[dict[str, Any]]:
    for sheet in job.outcome.get("sheets", []):
        for number, verdict, words, problems in sheet["rows"]:
            label, tone = VERDICTS[verdict]
            yield {
                "sheet": sheet["title"],
                "number": number,
                "verdict": verdict,
                "label": label,
                "tone": tone,
                "words": words,
                "problems": problems,
            }


@require_POST
def import_accept(request: PersonRequest, job_id: UUID) -> HttpResponse:
    access.require_may_keep_sites(request.user)
    job = get_object_or_404(access.imports_visible_to(request.user), pk=job_id)
    good_rows_only = request.POST.get("good_rows_only") == "yes"
    accept_import(job.pk, by=request.user, good_rows_only=good_rows_only)
    return redirect(job)


@require_POST
def import_drop(request: PersonRequest, job_id: UUID) -> HttpResponse:
    access.require_may_keep_sites(request.user)
    job = get_object_or_404(access.imports_visible_to(request.user), pk=job_id)
    drop_import(job.pk, by=request.user)
    messages.success(request, f"Dropped {job}. Nothing of it was imported.")
    return redirect("sites:import")


@require_GET
def export(request: PersonRequest) -> HttpResponseBase:
    """The sites on file as a spreadsheet: ``?client=`` limits it, ``?sheet=`` gives one as CSV."""
    access.require_may_keep_sites(request.user)
    sites = access.sites_visible_to(request.user)
    if client := request.GET.get("client"):
        clients = access.clients_visible_to(request.user)
        sites = sites.filter(client__in=clients.filter(reference__iexact=client))
    day = timezone.now().date()
    if key := request.GET.get("sheet"):
        found = [sheet for sheet in known_sheets() if sheet.key == key]
        if not found:
            raise Http404
        csv = StreamingHttpResponse(export_csv(found[0], sites), content_type="text/csv")
        csv["Content-Disposition"] = f'attachment; filename="{key}-{day}.csv"'
        return csv
    return _xlsx(export_xlsx(sites), f"sites-{day}.xlsx")


@require_GET
def import_blank(request: PersonRequest) -> HttpResponse:
    """An empty spreadsheet with the columns that import takes."""
    access.require_may_keep_sites(request.user)
    return _xlsx(export_xlsx(Site.objects.none()), "blank.xlsx")


def _xlsx(data: bytes, name: str) -> HttpResponse:
    disposition = f'attachment; filename="{name}"'
    return HttpResponse(data, content_type=XLSX, headers={"Content-Disposition": disposition})
