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
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.models import User
from accounts.refusals import Unusable
from accounts.sheets import csv_answer
from accounts.templatetags.kickplate import money
from accounts.wake import wake
from compliance import access
from compliance.drafting_forms import WorkOut, first_of_options
from compliance.drawn import drawn
from compliance.economics.chart import cost_chart
from compliance.economics.costs import LONGEST_YEARS, SHORTEST_YEARS
from compliance.forms import (
    DECLINE,
    AcceptWork,
    AnswerAction,
    CheckAction,
    DecideAction,
    FilterActions,
    GiveReason,
    LookOverYears,
    PriceOptions,
    PriceOptionsBase,
    RaiseAction,
    ReportDone,
    ReportGaps,
    SeenRevision,
    WordAction,
    option_rows,
    typed_rows,
)
from compliance.models import ActionMessage, ActionOption, CorrectiveAction
from compliance.proofing.gaps import WIDEST_MM, limit_of
from compliance.queries.actions import actions_listed, moves_of, story_of
from compliance.queries.asked import who_is_asked
from compliance.queries.drafting import (
    Draft,
    agreed_prices,
    cautions_of,
    drafted,
    with_workings,
)
from compliance.queries.effects import effects_at
from compliance.queries.money_terms import terms_in_force
from compliance.queries.sheets import (
    Sheet,
    break_even_in_words,
    by_year,
    payback_spread_in_words,
    sheet_of,
    spread_rows,
    terms_in_words,
    turn_in_words,
)
from compliance.queries.work import order_of, risk_of
from compliance.services import actions as services
from compliance.services.acceptance import accept_work
from compliance.services.looks import record_looks
from compliance.services.signing import role_of
from compliance.tasks import make_decision_papers
from compliance.views.proving import has_passkey, passkey_shown, use_up_passkey
from sites.access import require_may_keep_sites, sites_visible_to
from sites.services.photos import add_photo

PER_PAGE = 50
MESSAGES_SHOWN = 200
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
        "site__client",
        "zone",
        "visit",
        "raised_by",
        "priced_by",
        "done_by",
        "accepted_by",
        "checked_by",
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
    wake(make_decision_papers)
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
                "years": sheet.terms.years,
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
        "cards": cards_of(sheet, form, current.option_id if current else None, money_shown),
        "costs": _costs(sheet) if money_shown else {},
        "cautions": cautions_of(sheet.options),
        "money_shown": money_shown,
        "declines": bool(form and form["answer"].value() == DECLINE),
        "story": story,
        "decision": current,
        "moves": moves,
        "asked": who_is_asked(found) if money_shown else None,
        "form": form if moves.decide else None,
        "passkey": moves.decide and has_passkey(user),
        "signs_as": role_of(user) if moves.decide else "",
        "late": _is_late(found),
        "needs_price": services.needs_decision(found),
        "may_write": money_shown,
        "written": _written(found, user) if money_shown else [],
        "is_open": found.state in CorrectiveAction.OPEN_STATES,
        "is_office": user.is_office,
        "is_client": user.is_client_manager,
        "effects": effects_at(found.site, user, action=found)
        if _is_checked_proofing(found)
        else [],
    }
    return render(request, "compliance/action.html", context, status=status)


def _written(action: CorrectiveAction, user: User) -> list[ActionMessage]:
    """The latest of what was asked and answered, in the order of writing. One query."""
    seen = access.messages_visible_to(user).filter(action=action).select_related("by__client")
    return list(seen.order_by("-at", "-pk")[:MESSAGES_SHOWN])[::-1]


def _is_checked_proofing(action: CorrectiveAction) -> bool:
    return (
        action.kind == CorrectiveAction.Kind.PROOFING
        and action.state == CorrectiveAction.State.CHECKED
    )


def _is_late(action: CorrectiveAction) -> bool:
    return (
        action.state in {"raised", "priced", "decided"}
        and not action.declined
        and action.due_on < action.site.day_of(timezone.now())
    )


def _costs(sheet: Sheet) -> dict[str, Any]:
    """The picture, the working and the table of what the options cost; empty without options."""
    if not sheet.ways:
        return {}
    discounted = bool(sheet.terms.yearly_rate)
    chart = cost_chart(
        sheet.today, currency=sheet.currency, name="costs", in_todays_money=discounted
    )
    return {
        "chart": drawn(chart),
        "currency": sheet.currency,
        "years": sheet.terms.years,
        "months": sheet.terms.months,
        "terms": terms_in_words(sheet.terms),
        "discounted": discounted,
        "grows": bool(sheet.terms.yearly_growth),
        "break_even": break_even_in_words(sheet.comparison, sheet.currency),
        "break_even_today": break_even_in_words(sheet.today, sheet.currency) if discounted else "",
        "by_year": by_year(sheet.today),
        "choices": range(SHORTEST_YEARS, LONGEST_YEARS + 1),
        "spread": spread_rows(sheet),
        "payback_spread": payback_spread_in_words(sheet),
        "turns": [turn_in_words(turn, sheet) for turn in sheet.turns],
        "draws": sheet.spread.draws if sheet.spread else 0,
    }


def cards_of(
    sheet: Sheet, form: AnswerAction | None, chosen: UUID | None, money_shown: bool
) -> list[dict[str, Any]]:
    """The options as cards: what each costs over the years looked at, and what remains at risk."""
    years = sheet.terms.years
    answered = form["answer"].value() if form else None
    cards = []
    spent = {line.way.key: line for line in sheet.comparison.lines}
    discounted = {line.way.key: line for line in sheet.today.lines}
    for option in sheet.options:
        line, today = spent.get(str(option.pk)), discounted.get(str(option.pk))
        figures = []
        if money_shown and line and today:
            figures = [
                *_money_of(option, "cost_once", "Cost now", sheet.currency),
                *_money_of(option, "cost_monthly", "Cost each month", sheet.currency),
                ("A year, on average", money(line.per_year, sheet.currency)),
            ]
            if sheet.terms.yearly_rate:
                figures.append(("In today's money", money(today.total, sheet.currency)))
        if option.life_years:
            figures += _life_of(option)
        cards.append(
            {
                "value": str(option.pk),
                "title": f"{option.position}. {option.get_kind_display()}",
                "text": option.description,
                "total": money(line.total, sheet.currency) if money_shown and line else "",
                "total_label": f"in {years} {'year' if years == 1 else 'years'}",
                "figures": figures,
                "remains": option.remaining_risk,
                "chosen": option.pk == chosen,
                "checked": answered == str(option.pk),
                "line": line,
                "today": today,
                "effect": _effect_of(option),
                "working": option.working if money_shown else {},
                "bought": line.renewals + 1 if line else 0,
                "option": option,
            }
        )
    return cards


Figures = list[tuple[str, str]]
"""What something is, and the figure; a range stands in a row of its own, so that both fit."""


def _money_of(option: ActionOption, name: str, label: str, currency: str) -> Figures:
    found = [(label, money(getattr(option, name), currency))]
    low, high = getattr(option, f"{name}_low"), getattr(option, f"{name}_high")
    if low is not None:
        found.append(("between", f"{money(low, currency)} and {money(high, currency)}"))
    return found


def _life_of(option: ActionOption) -> Figures:
    found = [("Lasts", "1 year" if option.life_years == 1 else f"{option.life_years} years")]
    if option.life_years_low is not None:
        found.append(("between", f"{option.life_years_low} and {option.life_years_high} years"))
    return found


def _effect_of(option: ActionOption) -> str:
    """What an option is expected to save, and on what that stands; empty where nothing is said."""
    if option.effect_percent is None:
        return ""
    basis = option.get_effect_basis_display()
    return (
        f"Expected to save {option.effect_percent} % of the extra visits, treatments and "
        f"call-outs. {basis}: {option.effect_words}"
    )


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
    work = _work_out(request, sheet)
    if "work_out" in request.POST:
        drafts = _drafts(request, found, work)
        rows = [one.fields for one in drafts] or typed_rows(request.POST)
        options = PriceOptions(rows=rows, prefix="option")
        return _price_page(request, sheet, options, seen, work, worked=bool(drafts))
    # First values are for looking at: beside them a posted row that was left alone seems empty.
    rows = option_rows(sheet.options) if request.method == "GET" else []
    options = PriceOptions(request.POST or None, rows=rows, prefix="option")
    worked = bool(request.POST.get("worked_out") if request.method == "POST" else work.first)
    refusal = ""
    if request.method == "POST" and options.is_valid() and seen.is_valid():
        drafts = _drafts(request, found, work) if worked else []
        try:
            if not worked or drafts:
                services.price_action(
                    found.pk,
                    by=request.user,
                    options=with_workings(options.given(), drafts),
                    seen_revision=seen.cleaned_data["revision"],
                )
                messages.success(request, f"Put to {found.site.client}; they are asked to decide.")
                return redirect(found)
        except Unusable as refused:
            refusal = str(refused)
    return _price_page(request, sheet, options, seen, work, worked=worked, refusal=refusal)


def _work_out(request: PersonRequest, sheet: Sheet) -> WorkOut:
    site = sheet.action.site
    return WorkOut(
        request.POST or None,
        remedies=access.remedies_visible_to(request.user),
        prices=agreed_prices(site, site.day_of(timezone.now())),
        currency=sheet.currency,
        first=first_of_options(sheet.options),
    )


def _drafts(request: PersonRequest, found: CorrectiveAction, work: WorkOut) -> list[Draft]:
    """The options as worked out; none, and the reason in the form, where that cannot be."""
    if not work.is_valid():
        return []
    try:
        return drafted(found, work.wanted(), by=request.user)
    except Unusable as refused:
        work.error = str(refused)
        return []


def _price_page(
    request: PersonRequest,
    sheet: Sheet,
    options: PriceOptionsBase,
    seen: SeenRevision,
    work: WorkOut,
    *,
    worked: bool,
    refusal: str = "",
) -> HttpResponse:
    has_errors = bool(refusal or work.error) or (options.is_bound and not options.is_valid())
    context = {
        "action": sheet.action,
        "site": sheet.action.site,
        "options": options,
        "seen": seen,
        "work": work,
        "worked": worked,
        "currency": sheet.currency,
        "terms": terms_in_force(),
        "refusal": refusal,
        "has_errors": has_errors,
    }
    status = 422 if has_errors else 200
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
    """Report the work done, in words, photos and the gaps it closed."""
    found = _action(request, action_id)
    access.require_may_report_done(request.user, found)
    risk = risk_of(found)
    form = ReportDone(request.POST or None, request.FILES or None)
    gaps = ReportGaps(_gaps_posted(request), risk=risk, prefix="gap")
    rows_fit = not gaps.is_bound or gaps.is_valid()
    refusal = ""
    if request.method == "POST" and form.is_valid() and rows_fit:
        told = form.cleaned_data
        try:
            services.report_done(
                found.pk,
                by=request.user,
                note=told["note"],
                photo_ids=_kept(request, found.site_id, told["photos"]),
                start_photo_ids=_kept(request, found.site_id, told["start_photos"]),
                gaps=gaps.given() if gaps.is_bound else [],
            )
        except Unusable as refused:
            refusal = str(refused)
        else:
            messages.success(request, "Reported done; it waits to be checked.")
            return redirect(found)
    wrong = bool(refusal or form.errors) or not rows_fit
    context = {
        "form": form,
        "gaps": gaps if found.kind in services.PRICED_KINDS else None,
        "action": found,
        "ordered": order_of(found),
        "limit": limit_of(risk),
        "widest_mm": WIDEST_MM,
        "refusal": refusal,
        "rows_fit": rows_fit,
        "has_errors": wrong,
    }
    return render(request, "compliance/action_done.html", context, status=422 if wrong else 200)


def _gaps_posted(request: PersonRequest) -> Any:
    """The rows as they were posted; programs and old pages that post none report no gap."""
    return request.POST if "gap-TOTAL_FORMS" in request.POST else None


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def action_accept(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Sign as the client's manager that finished work of ours is accepted, or send it back."""
    found = _action(request, action_id)
    access.require_may_accept(request.user, found)
    form = AcceptWork(request.POST or None, person=request.user, proof=passkey_shown(request))
    if request.method == "POST" and form.is_valid():
        accept_work(
            found.pk,
            by=request.user,
            shown_hash=form.cleaned_data["shown_hash"],
            proof=form.proof,
        )
        use_up_passkey(request)
        messages.success(request, f"Signed: you accept the work of action {found.number}.")
        return redirect(found)
    return _finished_page(request, found, form, GiveReason(prefix="back"))


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
    return _finished_page(request, found, form, GiveReason(prefix="back"))


@require_POST
def action_reopen(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Send work that was reported done back, with the reason."""
    found = _action(request, action_id)
    access.require_may_send_back(request.user, found)
    form = GiveReason(request.POST, prefix="back")
    if not form.is_valid():
        signing = AcceptWork if request.user.is_client_manager else CheckAction
        unsigned = signing(person=request.user, proof=passkey_shown(request))
        return _finished_page(request, found, unsigned, form)
    services.reopen_action(found.pk, by=request.user, **form.cleaned_data)
    messages.success(request, f"Sent action {found.number} back.")
    return redirect(found)


def _finished_page(
    request: PersonRequest,
    found: CorrectiveAction,
    form: AcceptWork | CheckAction,
    back: GiveReason,
) -> HttpResponse:
    """The finished work with two answers under it: it is sound, or it is not."""
    story = story_of(sheet_of(found))
    form.initial["shown_hash"] = story.done_hash
    context = {
        "form": form,
        "back": back,
        "action": found,
        "site": found.site,
        "story": story,
        "passkey": has_passkey(request.user),
        "signs_as": role_of(request.user),
    }
    status = 422 if form.errors or back.errors else 200
    page = "action_accept" if isinstance(form, AcceptWork) else "action_check"
    return render(request, f"compliance/{page}.html", context, status=status)


def _kept(request: PersonRequest, site_id: UUID, uploads: list[Any]) -> list[UUID]:
    """Keep the photos that came with a form. The same one sent again is the one kept already."""
    return [add_photo(site_id, by=request.user, data=one.read()).pk for one in uploads]


def _status(form: Any) -> int:
    return 422 if form.is_bound and form.errors else 200
