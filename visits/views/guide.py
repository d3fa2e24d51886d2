"""The method guide: the table, trying it out, amending it."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.refusals import NotAllowed, Refused
from accounts.sheets import csv_answer
from sites.views.pages import read_filters, today_of
from visits.access import guide_lines_visible_to, require_may_keep_guide
from visits.dosing.guide import LAST_WORD, advise
from visits.forms.guide import AskGuide, FilterGuide, GuideLineForm, RetireGuideLine
from visits.models import GuideLine
from visits.queries.guide import (
    formulation_words,
    guide_rows,
    in_order,
    method_words,
    speaks_of_zone,
    told,
)
from visits.services import guide as services
from visits.views.answers import told_no

LINES_A_PAGE = 50
CSV_HEADER = (
    "key",
    "says",
    "formulation",
    "method",
    "order",
    "why",
    "where",
    "against",
    "surroundings",
    "source",
    "amended",
    "retired on",
)


def _require_may_look(request: PersonRequest) -> None:
    if not (request.user.is_office or request.user.is_technician):
        raise NotAllowed("The method guide is for the office and technicians.")


def _asked(request: PersonRequest) -> tuple[FilterGuide, list[GuideLine]]:
    """The filters, and the lines that they leave. One query: the table is short."""
    form = FilterGuide(request.GET)
    wanted = read_filters(form)
    lines = guide_lines_visible_to(request.user)
    if not wanted.get("retired"):
        lines = lines.filter(retired_on=None)
    if wanted.get("verdict"):
        lines = lines.filter(verdict=wanted["verdict"])
    zone_kind, group = wanted.get("zone_kind"), wanted.get("pest_group")
    found = [
        line
        for line in in_order(lines)
        if (not zone_kind or speaks_of_zone(line, zone_kind))
        and (not group or not line.pest_groups or group in line.pest_groups)
    ]
    return form, found


@require_GET
def guide(request: PersonRequest) -> HttpResponse:
    """The table in the order in which it is read; fifty a page."""
    _require_may_look(request)
    form, lines = _asked(request)
    page = Paginator(lines, LINES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "rows": told(page.object_list),
        "last_word": LAST_WORD,
        "csv_url": f"{reverse('visits:guide_csv')}?{request.GET.urlencode()}",
    }
    return render(request, "visits/guide.html", context)


@require_GET
def guide_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The table as a file, with the same filters."""
    _require_may_look(request)
    _, lines = _asked(request)
    return csv_answer("method-guide", CSV_HEADER, _csv_rows(lines))


def _csv_rows(lines: Sequence[GuideLine]) -> Iterator[Sequence[Any]]:
    for row in told(lines):
        line = row.line
        yield (
            line.key,
            line.get_verdict_display(),
            row.formulation,
            row.method,
            line.rank,
            line.words,
            "; ".join(row.where),
            "; ".join(row.against),
            "; ".join(row.around),
            line.source,
            "yes" if line.amended else "no",
            line.retired_on,
        )


@require_GET
def guide_try(request: PersonRequest) -> HttpResponse:
    """What the guide would say of a place; nothing is written."""
    _require_may_look(request)
    form = AskGuide(request.GET or None)
    advice = advise(form.situation(), guide_rows()) if form.is_valid() else None
    context = {
        "form": form,
        "advice": advice,
        "last_word": LAST_WORD,
        "preferred": [_named(one) for one in advice.preferred] if advice else [],
        "ruled_out": [_named(one) for one in advice.ruled_out] if advice else [],
    }
    status = 422 if form.errors else 200
    return render(request, "visits/guide_try.html", context, status=status)


def _named(one: Any) -> dict[str, str]:
    """A suggestion, or what is ruled out, in words."""
    return {
        "formulation": formulation_words(one.formulation),
        "method": method_words(one.method),
        "reason": one.reason,
    }


@require_http_methods(["GET", "POST"])
def guide_add(request: PersonRequest) -> HttpResponse:
    require_may_keep_guide(request.user)
    form = GuideLineForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.add_guide_line(by=request.user, **form.facts())
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "The line is in the guide.")
            return redirect("visits:guide")
    return _form(request, form)


@require_http_methods(["GET", "POST"])
def guide_amend(request: PersonRequest, guide_line_id: UUID) -> HttpResponse:
    line = get_object_or_404(guide_lines_visible_to(request.user), pk=guide_line_id)
    require_may_keep_guide(request.user)
    released = services.released_row(line.key)
    form = GuideLineForm(request.POST or None, instance=line)
    if request.method == "POST" and form.is_valid():
        try:
            services.amend_guide_line(
                guide_line_id, by=request.user, seen=form.cleaned_data["seen"], **form.facts()
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Amended. Phones get it with their next package.")
            return redirect("visits:guide")
    return _form(request, form, line=line, released=released)


def _form(request: PersonRequest, form: GuideLineForm, **context: Any) -> HttpResponse:
    status = 422 if form.errors else 200
    return render(request, "visits/guide_form.html", {"form": form, **context}, status=status)


@require_http_methods(["GET", "POST"])
def guide_retire(request: PersonRequest, guide_line_id: UUID) -> HttpResponse:
    line = get_object_or_404(guide_lines_visible_to(request.user), pk=guide_line_id)
    require_may_keep_guide(request.user)
    form = RetireGuideLine(request.POST or None, initial={"on": today_of(request.user)})
    if request.method == "POST" and form.is_valid():
        try:
            services.retire_guide_line(line.pk, by=request.user, **form.cleaned_data)
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Retired; it can be brought back.")
            return redirect("visits:guide")
    context = {"form": form, "line": line}
    return render(request, "visits/guide_retire.html", context, status=422 if form.errors else 200)


@require_POST
def guide_restore(request: PersonRequest, guide_line_id: UUID) -> HttpResponse:
    """Brings a retired line back."""
    line = get_object_or_404(guide_lines_visible_to(request.user), pk=guide_line_id)
    services.restore_guide_line(line.pk, by=request.user)
    messages.success(request, "It holds again.")
    return redirect("visits:guide")


@require_POST
def guide_put_back(request: PersonRequest, guide_line_id: UUID) -> HttpResponse:
    """Gives an amended line its first words again."""
    line = get_object_or_404(guide_lines_visible_to(request.user), pk=guide_line_id)
    services.put_back_guide_line(line.pk, by=request.user)
    messages.success(request, "It says again what it said when it came.")
    return redirect("visits:guide")
