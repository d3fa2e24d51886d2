"""Follow-ups that treatments ask for: the list, accepting one or several, passing one over."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.refusals import Refused
from accounts.sheets import csv_answer
from sites.views.pages import paged, read_filters
from visits.access import follow_ups_visible_to, require_may_plan
from visits.forms.follow_ups import ALL, FilterFollowUps, PassOver
from visits.models import FollowUp
from visits.queries.follow_ups import follow_ups_listed, is_late
from visits.queries.objections import words_of
from visits.services import follow_ups as services
from visits.views.answers import told_no

CSV_HEADER = (
    "client",
    "site",
    "pest",
    "first day",
    "last day",
    "why",
    "treated on visit of",
    "state",
    "follow-up visit due",
    "answered by",
    "answer",
)


def _asked(request: PersonRequest) -> tuple[FilterFollowUps, QuerySet[FollowUp]]:
    form = FilterFollowUps(request.GET)
    told = read_filters(form)
    rows = follow_ups_visible_to(request.user)
    if told.get("site"):
        rows = rows.filter(visit__site=told["site"])
    state = told.get("state") or FollowUp.State.PROPOSED
    return form, follow_ups_listed(rows, state="" if state == ALL else state)


@require_GET
def follow_ups(request: PersonRequest) -> HttpResponse:
    """What waits for an answer, soonest first; fifty a page."""
    require_may_plan(request.user)
    form, rows = _asked(request)
    now = timezone.now()
    page = paged(request, rows)
    for one in page:
        one.late = is_late(one, now)  # type: ignore[attr-defined]  # for the template
    csv_url = f"{reverse('visits:follow_ups_csv')}?{request.GET.urlencode()}"
    return render(
        request,
        "visits/follow_ups.html",
        {"form": form, "page": page, "csv_url": csv_url, "back": request.GET.urlencode()},
    )


@require_GET
def follow_ups_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same list as a file, with the same filters."""
    require_may_plan(request.user)
    _, rows = _asked(request)
    return csv_answer("follow-ups", CSV_HEADER, _csv_rows(rows))


def _csv_rows(rows: QuerySet[FollowUp]) -> Iterator[Sequence[Any]]:
    for one in rows.iterator(chunk_size=1000):
        yield (
            one.visit.site.client.name,
            one.visit.site.name,
            one.pest.name,
            one.first_on,
            one.by_on,
            one.reason,
            one.visit.booked_on,
            one.get_state_display(),
            one.booked.due_on if one.booked else None,
            one.answered_by.name if one.answered_by else None,
            one.answer,
        )


@require_POST
def accept(request: PersonRequest, follow_up_id: UUID) -> HttpResponse:
    """Puts one on the plan: one tap."""
    one = get_object_or_404(follow_ups_visible_to(request.user), pk=follow_up_id)
    visit = services.accept_follow_up(one.pk, by=request.user).booked
    if visit:
        messages.success(
            request,
            f"On the plan: due by {words_of(visit.closes_on)}. It waits to be booked.",
        )
    return redirect(_back(request))


@require_POST
def accept_many(request: PersonRequest) -> HttpResponse:
    """Puts the ticked ones on the plan, each in its own right, and says what became of each."""
    require_may_plan(request.user)
    ticked = _ticked(request)
    if not ticked:
        messages.warning(request, "Tick the follow-ups to put on the plan first.")
        return redirect(_back(request))
    rows = follow_ups_listed(follow_ups_visible_to(request.user).filter(pk__in=ticked))
    found = {row.pk: row for row in rows}
    answers = services.accept_follow_ups([pk for pk in ticked if pk in found], by=request.user)
    done = sum(answer.refusal is None for answer in answers)
    context = {
        "outcomes": [{"follow_up": found[one.follow_up_id], "answer": one} for one in answers],
        "result": f"{done} of {len(answers)} put on the plan",
        "back": _back(request),
    }
    return render(request, "visits/follow_ups_accepted.html", context)


@require_http_methods(["GET", "POST"])
def pass_over(request: PersonRequest, follow_up_id: UUID) -> HttpResponse:
    """Says why nobody looks again."""
    one = get_object_or_404(follow_ups_listed(follow_ups_visible_to(request.user)), pk=follow_up_id)
    form = PassOver(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.pass_over_follow_up(
                one.pk, by=request.user, reason=form.cleaned_data["reason"]
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Passed over; the reason is on the record.")
            return redirect("visits:follow_ups")
    return render(
        request,
        "visits/follow_up_pass_over.html",
        {"form": form, "follow_up": one},
        status=422 if form.errors else 200,
    )


def _ticked(request: PersonRequest) -> list[UUID]:
    """The ids of the ticked ones, each once; what cannot be read is dropped."""
    found = []
    for value in request.POST.getlist("follow_up"):
        try:
            found.append(UUID(value))
        except ValueError:
            continue
    return list(dict.fromkeys(found))


def _back(request: PersonRequest) -> str:
    """The page from which it was asked, if it is one of ours; else the list."""
    back = request.POST.get("next", "")
    if back.startswith("/") and url_has_allowed_host_and_scheme(back, allowed_hosts=None):
        return back
    return f"{reverse('visits:follow_ups')}?{request.POST.get('back', '')}".rstrip("?")
