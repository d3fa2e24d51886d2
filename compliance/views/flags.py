"""Pages of flags: the list, and answering one."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import require_office
from accounts.http import PersonRequest
from accounts.sheets import csv_answer
from compliance.access import flags_visible_to
from compliance.forms import AcknowledgeFlag, FilterFlags
from compliance.models import Flag
from compliance.queries.flags import flags_listed
from compliance.services.flags import acknowledge_flag

PER_PAGE = 50
CSV_HEADER = ("kind", "what", "site", "late since", "state", "acknowledged by", "note")


def _listed(request: PersonRequest) -> tuple[FilterFlags, QuerySet[Flag]]:
    form = FilterFlags(request.GET)
    form.is_valid()
    return form, flags_listed(flags_visible_to(request.user), **form.cleaned_data)


@require_GET
def flags(request: PersonRequest) -> HttpResponse:
    """What is wrong or late, longest first."""
    require_office(request.user)
    form, listed = _listed(request)
    page = Paginator(listed, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "compliance/flags.html", {"form": form, "page": page})


@require_GET
def flags_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same list, whole, as CSV."""
    require_office(request.user)
    _, listed = _listed(request)
    return csv_answer("flags", CSV_HEADER, _lines(listed))


def _lines(listed: QuerySet[Flag]) -> Iterator[list[Any]]:
    for flag in listed.iterator(chunk_size=500):
        yield [
            flag.get_kind_display(),
            flag.sentence,
            flag.site.name if flag.site else "",
            flag.late_since,
            flag.get_state_display(),
            flag.acknowledged_by.name if flag.acknowledged_by else "",
            flag.note,
        ]


@require_http_methods(["GET", "POST"])
def flag_acknowledge(request: PersonRequest, flag_id: UUID) -> HttpResponse:
    """Say what is being done about a flag."""
    flag = get_object_or_404(flags_visible_to(request.user).select_related("site"), pk=flag_id)
    form = AcknowledgeFlag(request.POST or None)
    if request.method == "POST" and form.is_valid():
        acknowledge_flag(flag.pk, by=request.user, note=form.cleaned_data["note"])
        messages.success(request, "Acknowledged. The flag clears itself once its cause is gone.")
        return redirect("compliance:flags")
    status = 422 if form.is_bound else 200
    context = {"form": form, "flag": flag}
    return render(request, "compliance/flag_acknowledge.html", context, status=status)
