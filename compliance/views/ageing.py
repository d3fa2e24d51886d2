"""How long actions stay open: for the office by client, for a client's manager by site."""

from collections.abc import Iterator, Sequence
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from accounts.http import PersonRequest
from accounts.sheets import csv_answer
from compliance import access
from compliance.ageing_forms import FilterAgeing
from compliance.drawn import drawn
from compliance.queries.ageing import (
    Age,
    ageing_of,
    ages,
    by_group,
    by_kind,
    curve_rows,
    spans_of,
)
from compliance.trends.duration import duration_words, still_open
from compliance.trends.duration_chart import open_chart
from sites.access import clients_visible_to

PER_PAGE = 25
ALL = "All"
CSV_HEADER = (
    "by",
    "name",
    "raised",
    "open",
    "overdue",
    "closed",
    "turned down or withdrawn",
    "days to a quarter closed",
    "days to half closed",
    "days to three quarters closed",
)


def _found(request: PersonRequest) -> tuple[FilterAgeing, list[Age]]:
    access.require_may_see_ageing(request.user)
    by_site = request.user.is_client_manager
    form = FilterAgeing(request.GET, clients=None if by_site else clients_visible_to(request.user))
    found = ages(
        access.actions_visible_to(request.user),
        now=timezone.now(),
        by_site=by_site,
        **form.wanted(),
    )
    return form, found


@require_GET
def ageing(request: PersonRequest) -> HttpResponse:
    """How long it takes until an action is closed, with what is open still counted in."""
    form, found = _found(request)
    page = Paginator(by_group(found), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "all": ageing_of(ALL, found),
        "groups": [ageing_of(name, members) for name, members in page],
        "kinds": [ageing_of(name, members) for name, members in by_kind(found)],
        "by": _by(request),
        **_curve(found),
    }
    return render(request, "compliance/ageing.html", context)


def _curve(found: Sequence[Age]) -> dict[str, Any]:
    if not found:
        return {}
    spans = spans_of(found)
    curve = still_open(spans)
    chart = open_chart(
        curve,
        longest=int(spans.days.max()),
        title="Share of actions that is open still, by days since it was raised",
        name="open",
    )
    return {
        "chart": drawn(chart),
        "rows": curve_rows(curve, spans),
        "words": duration_words(spans),
    }


def _by(request: PersonRequest) -> str:
    return "site" if request.user.is_client_manager else "client"


@require_GET
def ageing_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same figures, whole, as CSV. A day that is not yet known is empty."""
    _, found = _found(request)
    return csv_answer("ageing", CSV_HEADER, _lines(found, _by(request)))


def _lines(found: Sequence[Age], by: str) -> Iterator[list[Any]]:
    groups = [
        ("all", ALL, found),
        *(("kind", name, members) for name, members in by_kind(found)),
        *((by, name, members) for name, members in by_group(found)),
    ]
    for of, name, members in groups:
        one = ageing_of(name, members)
        yield [
            of,
            one.name,
            one.raised,
            one.open,
            one.overdue,
            one.closed,
            one.left,
            *("" if day is None else day for day in (one.quarter, one.half, one.three_quarters)),
        ]
