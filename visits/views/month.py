"""The month page, the same list as a file, and booking many visits at once."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet
from django.http import HttpResponse, QueryDict, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from accounts.http import PersonRequest
from accounts.models import Branch, User
from accounts.sheets import csv_answer
from sites.access import clients_visible_to
from visits.access import require_may_plan, visits_visible_to
from visits.forms.month import BookMany, FilterMonth
from visits.models import Visit
from visits.queries.lateness import is_late
from visits.queries.month import (
    LATE,
    MonthFilter,
    days_of,
    month_counts,
    month_grid,
    month_load,
    month_visits,
    technicians_known,
)
from visits.services.booking import Booked, book_visits, preview_bookings, unbook_visits

ROWS_A_PAGE = 200


@dataclass(frozen=True, slots=True)
class Asked:
    """A request for a month, read."""

    form: FilterMonth
    wanted: MonthFilter
    visits: QuerySet[Visit]
    late: Q
    technicians: Sequence[User]
    today: date

    @property
    def rows(self) -> QuerySet[Any]:
        return month_visits(self.visits, self.wanted, self.late)


def _asked(request: PersonRequest) -> Asked:
    now = timezone.now()
    technicians = technicians_known()
    today = now.astimezone(ZoneInfo(request.user.time_zone)).date()
    query = request.GET.copy()
    query.setdefault("month", f"{today:%Y-%m}")
    form = FilterMonth(
        query,
        technicians=technicians,
        clients=list(clients_visible_to(request.user).order_by("name", "pk")),
        branches=list(Branch.objects.order_by("name", "pk")),
    )
    return Asked(
        form=form,
        wanted=form.wanted(today),
        visits=visits_visible_to(request.user),
        late=is_late(now),
        technicians=technicians,
        today=today,
    )


@require_GET
def month(request: PersonRequest) -> HttpResponse:
    """What is due, booked, closed and late in a month."""
    require_may_plan(request.user)
    asked = _asked(request)
    wanted = asked.wanted
    page = Paginator(asked.rows, ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": asked.form,
        "wanted": wanted,
        "month_name": f"{wanted.first:%B %Y}",
        "page": page,
        "counts": _state_links(request.GET, asked),
        "weeks": [] if wanted.state == LATE or wanted.day else month_grid(asked.rows, wanted),
        "days": list(days_of(wanted)),
        "load": month_load(asked.visits, asked.technicians, wanted),
        "today": asked.today,
        "batch": BookMany(technicians=[one for one in asked.technicians if one.is_active]),
        "csv_url": f"{reverse('visits:month_csv')}?{request.GET.urlencode()}",
    }
    return render(request, "visits/month.html", context)


def _state_links(query: QueryDict, asked: Asked) -> list[dict[str, Any]]:
    """How many visits there are in each state, each a link to just those."""
    counts = month_counts(asked.visits, asked.wanted, asked.late)
    shown = [
        ("", "This month", counts.all, ""),
        (Visit.State.PLANNED, "To book", counts.by_state[Visit.State.PLANNED], "soon"),
        (Visit.State.BOOKED, "Booked", counts.by_state[Visit.State.BOOKED], ""),
        (Visit.State.UNDER_WAY, "Under way", counts.by_state[Visit.State.UNDER_WAY], ""),
        (Visit.State.CLOSED, "Closed", counts.by_state[Visit.State.CLOSED], "sound"),
        (Visit.State.CALLED_OFF, "Called off", counts.by_state[Visit.State.CALLED_OFF], ""),
        (Visit.State.MISSED, "Missed", counts.by_state[Visit.State.MISSED], "late"),
        (LATE, "Late, any month", counts.late, "late"),
    ]
    links = []
    for state, label, count, tone in shown:
        narrowed = query.copy()
        for gone in ("page", "day", "state"):
            narrowed.pop(gone, None)
        if state:
            narrowed["state"] = state
        links.append(
            {
                "label": label,
                "value": count,
                "url": f"?{narrowed.urlencode()}",
                "tone": tone if count else "",
            }
        )
    return links


CSV_HEADER = (
    "day",
    "time",
    "technician",
    "client",
    "site reference",
    "site",
    "kind",
    "service line",
    "state",
    "late",
    "due",
    "first day on time",
    "last day on time",
    "minutes",
    "reason",
)


@require_GET
def month_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The list of the month page as a file, with the same filters."""
    require_may_plan(request.user)
    asked = _asked(request)
    return csv_answer(f"visits-{asked.wanted.first:%Y-%m}", CSV_HEADER, _csv_rows(asked.rows))


def _csv_rows(rows: QuerySet[Any]) -> Iterator[Sequence[Any]]:
    for visit in rows.iterator(chunk_size=1000):
        yield (
            visit.booked_on,
            f"{visit.booked_at_time:%H:%M}" if visit.booked_at_time else None,
            visit.technician.name if visit.technician else None,
            visit.site.client.name,
            visit.site.reference,
            visit.site.name,
            visit.get_kind_display(),
            visit.line.title if visit.line else None,
            visit.get_state_display(),
            "yes" if visit.late else "no",
            visit.due_on,
            visit.opens_on,
            visit.closes_on,
            visit.minutes,
            visit.state_reason,
        )


def _seen(values: Sequence[str]) -> list[tuple[UUID, int]]:
    """Visits with the version that was seen, from "id.version"; what cannot be read is dropped."""
    seen = []
    for value in values:
        visit_id, _, version = value.partition(".")
        try:
            seen.append((UUID(visit_id), int(version)))
        except ValueError:
            continue
    return seen


@require_POST
def book_many(request: PersonRequest) -> HttpResponse:
    """Shows what booking the ticked visits would do, and books them when asked to."""
    require_may_plan(request.user)
    back = f"{reverse('visits:month')}?{request.POST.get('back', '')}"
    seen = _seen(request.POST.getlist("visit"))
    visits = _ticked(request.user, seen)
    if not visits:
        messages.warning(request, "Tick the visits to book first.")
        return redirect(back)
    seen = [(visit_id, version) for visit_id, version in seen if visit_id in visits]
    form = BookMany(request.POST, technicians=[one for one in technicians_known() if one.is_active])
    context: dict[str, Any] = {
        "form": form,
        "back": back,
        "back_query": request.POST.get("back", ""),
    }
    if not form.is_valid():
        context["rows"] = [{"visit": visits[pk], "version": version} for pk, version in seen]
        return render(request, "visits/book_many.html", context, status=422)
    technician, day = form.cleaned_data["technician"], form.cleaned_data["day"]
    # A technician or a day that was changed since they were looked at is looked at again first.
    looked_at = f"{technician.pk} {day}"
    if request.POST.get("step") == "book" and request.POST.get("looked_at") == looked_at:
        outcomes = book_visits(
            seen,
            by=request.user,
            technician=technician,
            day=day,
            despite_access=request.POST.get("despite_access") == "on",
        )
        return _told(request, visits, outcomes, context | {"technician": technician, "day": day})
    found = preview_bookings(list(visits.values()), technician=technician, day=day)
    rows = [
        {
            "visit": visits[visit_id],
            "version": version,
            "objections": found[visit_id],
            "stopped": any(objection.final for objection in found[visit_id]),
            "asks": any(not objection.final for objection in found[visit_id]),
            "on_time": visits[visit_id].opens_on <= day <= visits[visit_id].closes_on,
        }
        for visit_id, version in seen
    ]
    context |= {
        "rows": rows,
        "technician": technician,
        "day": day,
        "looked_at": looked_at,
        "asks": any(row["asks"] and not row["stopped"] for row in rows),
        "bookable": sum(not row["stopped"] for row in rows),
    }
    return render(request, "visits/book_many.html", context)


def _ticked(user: User, seen: Sequence[tuple[UUID, int]]) -> dict[UUID, Visit]:
    """The visits that were ticked and may be seen. One query."""
    visits = visits_visible_to(user).filter(pk__in=[visit_id for visit_id, _ in seen])
    visits = visits.select_related("site__client", "technician", "line")
    return {visit.pk: visit for visit in visits}


def _told(
    request: PersonRequest,
    visits: dict[UUID, Visit],
    outcomes: Sequence[Booked],
    context: dict[str, Any],
) -> HttpResponse:
    """What became of each visit, with a way to undo what was booked anew."""
    undo = [
        f"{outcome.visit_id}.{visits[outcome.visit_id].version + 1}"
        for outcome in outcomes
        if outcome.refusal is None and visits[outcome.visit_id].state == Visit.State.PLANNED
    ]
    booked = sum(outcome.refusal is None for outcome in outcomes)
    context |= {
        "result": f"Booked {booked} of {len(outcomes)} for {context['technician'].name}",
        "outcomes": [
            {"visit": visits[outcome.visit_id], "refusal": outcome.refusal} for outcome in outcomes
        ],
        "undo": undo,
    }
    return render(request, "visits/booked_many.html", context)


@require_POST
def unbook_many(request: PersonRequest) -> HttpResponse:
    """Takes visits off the plan again that were just booked together."""
    require_may_plan(request.user)
    seen = _seen(request.POST.getlist("visit"))
    visits = _ticked(request.user, seen)
    outcomes = unbook_visits([one for one in seen if one[0] in visits], by=request.user)
    undone = sum(outcome.refusal is None for outcome in outcomes)
    messages.success(request, f"Taken off the plan again: {undone} of {len(outcomes)}.")
    for outcome in outcomes:
        if outcome.refusal is not None:
            messages.warning(request, f"{visits[outcome.visit_id].site}: {outcome.refusal}")
    return redirect(f"{reverse('visits:month')}?{request.POST.get('back', '')}")
