"""Pages of service lines: agree one, look at it, change it, end it."""

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.models import Company
from accounts.refusals import Refused
from accounts.sealing import canonical, digest
from sites.access import contracts_visible_to
from sites.models import Contract, ServiceLine
from sites.views.pages import posted
from visits.access import lines_visible_to, require_may_plan
from visits.forms.lines import AgreeLine, ChangeLine, ChangeRule, EndLine, recurrence_typed
from visits.models import Visit
from visits.queries.due import next_windows
from visits.recurrence.rules import RuleError, split
from visits.recurrence.words import describe
from visits.services.lines import (
    RuleChange,
    agree_service_line,
    change_line,
    change_rule_from,
    end_line,
    preview_rule_change,
)
from visits.views.answers import told_no

WINDOWS_SHOWN = 12


def _mark(told: dict[str, Any], *names: str) -> str:
    """What was looked at, so that nothing is agreed that nobody has seen."""
    return digest(canonical({name: told.get(name) for name in names}))[:16]


def _looked_at(form: BaseForm, mark: str) -> bool:
    """Whether this very content was previewed; if not, the form now says what is."""
    sent: Any = form.data
    form.data = sent.copy()
    form.data["looked_at"] = mark  # type: ignore[index]  # a copied QueryDict may be written
    return bool(sent.get("looked_at") == mark)


def _line(request: PersonRequest, line_id: UUID) -> ServiceLine:
    """The line, with all that its due days depend on: 404 if hidden, else for the office."""
    lines = lines_visible_to(request.user).select_related(
        "contract__site__client", "preferred_technician", "follows"
    )
    line = get_object_or_404(lines, pk=line_id)
    require_may_plan(request.user)
    return line


@require_http_methods(["GET", "POST"])
def line_new(request: PersonRequest, contract_id: UUID) -> HttpResponse:
    """Agrees a service line; its next due windows are shown before anything is saved."""
    contract = get_object_or_404(
        contracts_visible_to(request.user).select_related("site__client"), pk=contract_id
    )
    require_may_plan(request.user)
    today = contract.site.day_of(timezone.now())
    form = AgreeLine(posted(request), initial={"first_on": max(today, contract.starts_on)})
    context: dict[str, Any] = {"form": form, "contract": contract, "site": contract.site}
    if form.is_bound and form.is_valid():
        told = form.cleaned_data
        mark = _mark(told, "rule", "first_on", "last_on", "days_before", "days_after")
        looked_at = _looked_at(form, mark)
        if looked_at and request.POST.get("step") == "agree":
            try:
                line = agree_service_line(contract.pk, by=request.user, **form.facts())
            except Refused as refused:
                told_no(form, refused)
            else:
                messages.success(request, f"{line} is agreed; its visits are planned.")
                return redirect("visits:line", line.pk)
        context |= _preview(contract, told, today)
    return _page(request, "visits/line_new.html", form, context)


def _preview(contract: Contract, told: dict[str, Any], today: date) -> dict[str, Any]:
    line = ServiceLine(
        contract=contract,
        rule=told["rule"],
        first_on=told["first_on"],
        last_on=told["last_on"],
        days_before=told["days_before"],
        days_after=told["days_after"],
    )
    return {
        "windows": next_windows(line, today, WINDOWS_SHOWN),
        "words": describe(line.rule, line.first_on),
        "previewed": True,
    }


@require_GET
def line(request: PersonRequest, line_id: UUID) -> HttpResponse:
    """One service line: what was agreed, and its next visits."""
    one = _line(request, line_id)
    today = one.contract.site.day_of(timezone.now())
    company = Company.objects.first()
    context = {
        "line": one,
        "site": one.contract.site,
        "words": describe(one.rule, one.first_on),
        "competences": one.competences.order_by("name", "pk"),
        "followed_by": ServiceLine.objects.filter(follows=one).first(),
        "visits": one.visits.filter(closes_on__gte=today)
        .select_related("technician")
        .order_by("due_on", "pk")[:WINDOWS_SHOWN],
        "currency": company.currency if company else "GBP",
        "today": today,
    }
    return render(request, "visits/line.html", context)


@require_http_methods(["GET", "POST"])
def line_change(request: PersonRequest, line_id: UUID) -> HttpResponse:
    """Changes what a line asks for; planned visits follow."""
    one = _line(request, line_id)
    name, site = str(one), one.contract.site
    form = ChangeLine(posted(request), instance=one, initial={"competences": one.competences.all()})
    if form.is_bound and form.is_valid():
        try:
            change_line(
                line_id,
                by=request.user,
                seen=form.cleaned_data["seen"],
                competences=form.cleaned_data["competences"],
                **form.facts(),
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Changed; planned visits follow, booked ones stay.")
            return redirect("visits:line", line_id)
    context = {"line_id": line_id, "name": name, "site": site}
    return _page(request, "visits/line_change.html", form, context)


@require_http_methods(["GET", "POST"])
def line_rule(request: PersonRequest, line_id: UUID) -> HttpResponse:
    """Changes how often a service recurs from a day on, once what would change was shown."""
    one = _line(request, line_id)
    now = timezone.now()
    today = one.contract.site.day_of(now)
    from_on = _named_day(request) or _next_day(one, today)
    form = ChangeRule(
        posted(request),
        initial={
            "from_on": from_on,
            "days_before": one.days_before,
            "days_after": one.days_after,
            "minutes": one.minutes,
            **recurrence_typed(_rest_of_rule(one, from_on)),
        },
    )
    context: dict[str, Any] = {
        "form": form,
        "line": one,
        "site": one.contract.site,
        "words_now": describe(one.rule, one.first_on),
    }
    if form.is_bound and form.is_valid():
        told, wanted = form.cleaned_data, form.tolerance()
        mark = _mark(told, "rule", "from_on", *wanted)
        looked_at = _looked_at(form, mark)
        try:
            if looked_at and request.POST.get("step") == "change":
                following = change_rule_from(
                    one.pk,
                    by=request.user,
                    from_on=told["from_on"],
                    rule=told["rule"],
                    **wanted,
                )
                messages.success(request, f"Changed from {told['from_on']:%-d %b %Y} on.")
                return redirect("visits:line", following.pk)
            change = preview_rule_change(
                one, from_on=told["from_on"], rule=told["rule"], now=now, **wanted
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            context |= {
                "change": _shown(change),
                "words": describe(told["rule"], told["from_on"]),
                "from_on": told["from_on"],
            }
    return _page(request, "visits/line_rule.html", form, context)


def _named_day(request: PersonRequest) -> date | None:
    """The day in the address, if it is one."""
    try:
        return date.fromisoformat(request.GET.get("from", ""))
    except ValueError:
        return None


def _rest_of_rule(line: ServiceLine, from_on: date) -> str:
    """The rule as it would go on from a day: of ten times, those that are left."""
    try:
        return split(line.rule, line.first_on, from_on)[1]
    except RuleError:  # the day is none of its days, or the first
        return line.rule


def _next_day(line: ServiceLine, today: date) -> date:
    """The next day on which a visit of the line is planned, else today."""
    planned = line.visits.filter(state=Visit.State.PLANNED, occurrence_on__gte=today)
    coming = planned.order_by("occurrence_on").values_list("occurrence_on", flat=True).first()
    return coming or max(today, line.first_on)


def _shown(change: RuleChange) -> dict[str, Any]:
    """The change as the page lists it: the first dozen of each kind, and how many there are."""
    stay = [(visit, window) for visit, window in change.moved if visit.due_on == window.due_on]
    moved = [(visit, window) for visit, window in change.moved if visit.due_on != window.due_on]
    return {
        "kept": _few([visit for visit, _ in change.kept]),
        "made": _few(change.made),
        "stay": len(stay),
        "moved": _few([{"visit": visit, "window": window} for visit, window in moved]),
        "withdrawn": _few(change.withdrawn),
        "new": _few(change.new),
    }


def _few(rows: Sequence[Any]) -> dict[str, Any]:
    return {
        "rows": rows[:WINDOWS_SHOWN],
        "count": len(rows),
        "more": max(0, len(rows) - WINDOWS_SHOWN),
    }


@require_http_methods(["GET", "POST"])
def line_end(request: PersonRequest, line_id: UUID) -> HttpResponse:
    """Ends a service line; booked visits after its last day stay, and the page names them."""
    one = _line(request, line_id)
    today = one.contract.site.day_of(timezone.now())
    form = EndLine(posted(request), initial={"last_on": max(today, one.first_on)})
    if form.is_bound and form.is_valid():
        try:
            end_line(one.pk, by=request.user, **form.cleaned_data)
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, f"Ends on {form.cleaned_data['last_on']:%-d %b %Y}.")
            return redirect("visits:line", one.pk)
    booked = one.visits.filter(state=Visit.State.BOOKED, due_on__gte=today)
    context = {
        "line": one,
        "site": one.contract.site,
        "booked": booked.select_related("technician").order_by("due_on", "pk")[:WINDOWS_SHOWN],
    }
    return _page(request, "visits/line_end.html", form, context)


def _page(
    request: PersonRequest, template: str, form: BaseForm, context: dict[str, Any]
) -> HttpResponse:
    status = 422 if form.is_bound and form.errors else 200
    return render(request, template, {"form": form, **context}, status=status)
