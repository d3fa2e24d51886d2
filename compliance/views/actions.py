"""Pages of corrective actions: the list, the action itself, and one form for each step."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.refusals import Unusable
from accounts.sheets import csv_answer
from accounts.templatetags.kickplate import money
from compliance import access
from compliance.economics.chart import cost_chart
from compliance.economics.costs import LONGEST_YEARS, SHORTEST_YEARS
from compliance.forms import (
    DECLINE,
    CheckAction,
    DecideAction,
    FilterActions,
    GiveReason,
    LookOverYears,
    PriceOptions,
    RaiseAction,
    ReportDone,
    SeenRevision,
    WordAction,
    option_rows,
)
from compliance.models import CorrectiveAction
from compliance.queries.actions import actions_listed, moves_of, story_of
from compliance.queries.sheets import Sheet, break_even_in_words, by_year, sheet_of
from compliance.services import actions as services
from compliance.services.looks import record_looks
from compliance.services.signing import role_of
from compliance.views.proving import has_passkey, passkey_shown, use_up_passkey
from sites.access import require_may_keep_sites, sites_visible_to
from sites.services.photos import add_photo

PER_PAGE = 50
CSV_HEADER = (
    "client",
    "site",
    "number",
    "kind",
    "title",
    "zone",
    "whose move",
    "state",
    "turned down",
    "due by",
    "raised on",
    "overdue",
)


def _actions(request: PersonRequest) -> QuerySet[CorrectiveAction]:
    return access.actions_visible_to(request.user).select_related(
        "site__client", "zone", "visit", "raised_by", "priced_by", "done_by", "checked_by"
    )


def _action(request: PersonRequest, action_id: UUID) -> CorrectiveAction:
    return get_object_or_404(_actions(request), pk=action_id)


# --- the list -----------------------------------------------------------------------------------


@require_GET
def actions(request: PersonRequest) -> HttpResponse:
    """Actions of the sites a person sees, what is open first, each by its day."""
    form = FilterActions(request.GET, sites=sites_visible_to(request.user))
    listed = actions_listed(
        access.actions_visible_to(request.user), now=timezone.now(), **form.wanted()
    )
    page = Paginator(listed, PER_PAGE).get_page(request.GET.get("page"))
    if request.user.is_auditor:
        record_looks({action.site_id for action in page}, by=request.user)
    return render(request, "compliance/actions.html", {"form": form, "page": page})


@require_GET
def actions_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The same list, whole, as CSV."""
    form = FilterActions(request.GET, sites=sites_visible_to(request.user))
    listed = actions_listed(
        access.actions_visible_to(request.user), now=timezone.now(), **form.wanted()
    )
    if request.user.is_auditor:
        record_looks(listed.order_by().values_list("site_id", flat=True), by=request.user)
    return csv_answer("actions", CSV_HEADER, _lines(listed))


def _lines(listed: QuerySet[Any]) -> Iterator[list[Any]]:
    for action in listed.iterator(chunk_size=500):
        yield [
            action.site.client.name,
            action.site.name,
            action.number,
            action.get_kind_display(),
            action.title,
            action.zone.name if action.zone else "",
            action.get_whose_move_display(),
            action.get_state_display(),
            "yes" if action.declined else "no",
            action.due_on,
            action.site.day_of(action.raised_at),
            "yes" if action.late else "no",
        ]


# --- the action and its decision ----------------------------------------------------------------


@require_GET
def action(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """One action, for whoever may see it; the client's manager decides here."""
    found = _action(request, action_id)
    years = LookOverYears(request.GET).wanted()
    return _action_page(request, sheet_of(found, years=years))


@sensitive_post_parameters("password")
@require_POST
def action_decide(request: PersonRequest, action_id: UUID) -> HttpResponse:
    found = _action(request, action_id)
    access.require_may_decide(request.user, found)
    sheet = sheet_of(found, years=LookOverYears(request.POST).wanted())
    form = DecideAction(
        request.POST, sheet=sheet, person=request.user, proof=passkey_shown(request)
    )
    if found.state == CorrectiveAction.State.PRICED and not form.is_valid():
        return _action_page(request, sheet, form, status=422)
    if not form.is_valid():
        messages.info(request, "This has been decided already; nothing was signed.")
        return redirect(found)
    decision = services.decide_action(found.pk, by=request.user, **form.answered())
    use_up_passkey(request)
    messages.success(request, f"Signed: {decision.get_outcome_display().lower()}.")
    return redirect(found)


def _action_page(
    request: PersonRequest, sheet: Sheet, form: DecideAction | None = None, status: int = 200
) -> HttpResponse:
    user, found = request.user, sheet.action
    moves = moves_of(found, user)
    if moves.decide and form is None:
        form = DecideAction(
            sheet=sheet,
            person=user,
            proof=passkey_shown(request),
            initial={
                "revision": found.revision,
                "shown_hash": sheet.hash,
                "years": sheet.comparison.years,
            },
        )
    story = story_of(sheet)
    answer = next((one.decision for one in story.signed if one.decision), None)
    current = answer if answer and answer.revision == found.revision else None
    money_shown = access.sees_money(user)
    context = {
        "action": found,
        "site": found.site,
        "sheet": sheet,
        "cards": _cards(sheet, form, current.option_id if current else None, money_shown),
        "costs": _costs(sheet) if money_shown else {},
        "money_shown": money_shown,
        "declines": bool(form and form["answer"].value() == DECLINE),
        "story": story,
        "decision": current,
        "moves": moves,
        "form": form if moves.decide else None,
        "passkey": moves.decide and has_passkey(user),
        "signs_as": role_of(user) if moves.decide else "",
        "late": _is_late(found),
        "needs_price": services.needs_decision(found),
        "is_office": user.is_office,
        "is_client": user.is_client_manager,
    }
    return render(request, "compliance/action.html", context, status=status)


def _is_late(action: CorrectiveAction) -> bool:
    return (
        action.state in {"raised", "priced", "decided"}
        and not action.declined
        and action.due_on < action.site.day_of(timezone.now())
    )


def _costs(sheet: Sheet) -> dict[str, Any]:
    """The picture, the working and the table of what the options cost; empty without options."""
    if not sheet.options:
        return {}
    chart = cost_chart(sheet.comparison, currency=sheet.currency, name="costs")
    return {
        "chart": mark_safe(chart),  # noqa: S308  # our own drawing, which escapes every word in it
        "currency": sheet.currency,
        "years": sheet.comparison.years,
        "months": sheet.comparison.months,
        "break_even": break_even_in_words(sheet),
        "by_year": by_year(sheet.comparison),
        "choices": range(SHORTEST_YEARS, LONGEST_YEARS + 1),
    }


def _cards(
    sheet: Sheet, form: DecideAction | None, chosen: UUID | None, money_shown: bool
) -> list[dict[str, Any]]:
    """The options as cards: what each costs over the years looked at, and what remains at risk."""
    years = sheet.comparison.years
    answered = form["answer"].value() if form else None
    cards = []
    for option, line in zip(sheet.options, sheet.comparison.lines, strict=True):
        figures = []
        if money_shown:
            figures = [
                ("Cost now", money(option.cost_once, sheet.currency)),
                ("Cost each month", money(option.cost_monthly, sheet.currency)),
                ("A year, on average", money(line.per_year, sheet.currency)),
            ]
        if option.life_years:
            lasts = "1 year" if option.life_years == 1 else f"{option.life_years} years"
            figures.append(("Lasts", lasts))
        cards.append(
            {
                "value": str(option.pk),
                "title": f"{option.position}. {option.get_kind_display()}",
                "text": option.description,
                "total": money(line.total, sheet.currency) if money_shown else "",
                "total_label": f"in {years} {'year' if years == 1 else 'years'}",
                "figures": figures,
                "remains": option.remaining_risk,
                "chosen": option.pk == chosen,
                "checked": answered == str(option.pk),
                "line": line,
                "bought": line.renewals + 1,
                "option": option,
            }
        )
    return cards


# --- the office's steps -------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def action_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Raise an action by hand."""
    require_may_keep_sites(request.user)
    site = get_object_or_404(sites_visible_to(request.user).select_related("client"), pk=site_id)
    form = RaiseAction(
        request.POST or None,
        request.FILES or None,
        site=site,
        initial={"due_on": services.usual_due_day(site, timezone.now())},
    )
    if request.method == "POST" and form.is_valid():
        try:
            raised = services.raise_action(
                site.pk,
                by=request.user,
                photo_ids=_kept(request, site.pk, form.cleaned_data["photos"]),
                **form.words(),
            )
        except Unusable as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"Raised action {raised.number}.")
            return redirect(raised)
    context = {"form": form, "site": site}
    return render(request, "compliance/action_new.html", context, status=_status(form))


@require_http_methods(["GET", "POST"])
def action_change(request: PersonRequest, action_id: UUID) -> HttpResponse:
    found = _action(request, action_id)
    access.require_may_keep(request.user, found)
    first = {
        "title": found.title,
        "kind": found.kind,
        "whose_move": found.whose_move,
        "zone": found.zone,
        "due_on": found.due_on,
        "detail": found.detail,
        "internal_note": found.internal_note,
    }
    form = WordAction(request.POST or None, site=found.site, initial=first)
    if request.method == "POST" and form.is_valid():
        services.change_action(found.pk, by=request.user, **form.words())
        messages.success(request, "Saved.")
        return redirect(found)
    context = {"form": form, "action": found}
    return render(request, "compliance/action_change.html", context, status=_status(form))


@require_http_methods(["GET", "POST"])
def action_price(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Put two to four priced options to the client."""
    found = _action(request, action_id)
    access.require_may_keep(request.user, found)
    sheet = sheet_of(found)
    seen = SeenRevision(request.POST or None, initial={"revision": found.revision})
    options = PriceOptions(request.POST or None, rows=option_rows(sheet.options), prefix="option")
    refusal = ""
    if request.method == "POST" and options.is_valid() and seen.is_valid():
        try:
            services.price_action(
                found.pk,
                by=request.user,
                options=options.given(),
                seen_revision=seen.cleaned_data["revision"],
            )
        except Unusable as refused:
            refusal = str(refused)
        else:
            messages.success(request, f"Put to {found.site.client}; they are asked to decide.")
            return redirect(found)
    context = {
        "action": found,
        "site": found.site,
        "options": options,
        "seen": seen,
        "currency": sheet.currency,
        "refusal": refusal,
        "has_errors": bool(refusal) or (options.is_bound and not options.is_valid()),
    }
    status = 422 if context["has_errors"] else 200
    return render(request, "compliance/action_price.html", context, status=status)


@require_http_methods(["GET", "POST"])
def action_withdraw(request: PersonRequest, action_id: UUID) -> HttpResponse:
    found = _action(request, action_id)
    access.require_may_keep(request.user, found)
    form = GiveReason(request.POST or None)
    if request.method == "POST" and form.is_valid():
        services.withdraw_action(found.pk, by=request.user, **form.cleaned_data)
        messages.success(request, f"Withdrew action {found.number}.")
        return redirect(found)
    context = {"form": form, "action": found}
    return render(request, "compliance/action_withdraw.html", context, status=_status(form))


# --- done and checked ---------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def action_done(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Report the work done, in words and photos."""
    found = _action(request, action_id)
    access.require_may_report_done(request.user, found)
    form = ReportDone(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            photo_ids = _kept(request, found.site_id, told["photos"])
            services.report_done(found.pk, by=request.user, note=told["note"], photo_ids=photo_ids)
        except Unusable as refused:
            form.add_error("photos", str(refused))
        else:
            messages.success(request, "Reported done; it waits to be checked.")
            return redirect(found)
    context = {"form": form, "action": found}
    return render(request, "compliance/action_done.html", context, status=_status(form))


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def action_check(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Sign that the finished work is sound, or send it back."""
    found = _action(request, action_id)
    access.require_may_check(request.user)
    form = CheckAction(request.POST or None, person=request.user, proof=passkey_shown(request))
    if request.method == "POST" and form.is_valid():
        services.check_action(
            found.pk, by=request.user, note=form.cleaned_data["note"], proof=form.proof
        )
        use_up_passkey(request)
        messages.success(request, f"Signed: action {found.number} is checked.")
        return redirect(found)
    return _check_page(request, found, form, GiveReason(prefix="back"))


@require_POST
def action_reopen(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Send work that was reported done back, with the reason."""
    found = _action(request, action_id)
    access.require_may_check(request.user)
    form = GiveReason(request.POST, prefix="back")
    if not form.is_valid():
        checking = CheckAction(person=request.user, proof=passkey_shown(request))
        return _check_page(request, found, checking, form)
    services.reopen_action(found.pk, by=request.user, **form.cleaned_data)
    messages.success(request, f"Sent action {found.number} back.")
    return redirect(found)


def _check_page(
    request: PersonRequest, found: CorrectiveAction, form: CheckAction, back: GiveReason
) -> HttpResponse:
    context = {
        "form": form,
        "back": back,
        "action": found,
        "site": found.site,
        "story": story_of(sheet_of(found)),
        "passkey": has_passkey(request.user),
        "signs_as": role_of(request.user),
    }
    status = 422 if form.errors or back.errors else 200
    return render(request, "compliance/action_check.html", context, status=status)


def _kept(request: PersonRequest, site_id: UUID, uploads: list[Any]) -> list[UUID]:
    """Keep the photos that came with a form. The same one sent again is the one kept already."""
    return [add_photo(site_id, by=request.user, data=one.read()).pk for one in uploads]


def _status(form: Any) -> int:
    return 422 if form.is_bound and form.errors else 200
