"""Deciding several actions at one sitting, and asking a colleague to decide one.

Answers are collected page by page and kept with the session until they are signed or left. What is
signed comes back from the page that showed it, not from the session.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.models import Role, User
from accounts.refusals import Changed, NotAllowed, require_state
from accounts.sealing import canonical
from compliance import access
from compliance.forms import DECLINE
from compliance.models import ActionOption, CorrectiveAction, SignOff
from compliance.queries.asked import who_is_asked
from compliance.queries.client import asked_of_colleagues
from compliance.queries.sheets import Sheet, break_even_in_words, sheets_of
from compliance.queries.sittings import (
    first_photos_of,
    to_decide_at_a_sitting,
    to_sign_at_a_sitting,
)
from compliance.queries.today import actions_address
from compliance.services.asking import ask_colleague, ask_nobody
from compliance.services.signing import role_of
from compliance.services.sittings import MOST_AT_ONCE, Answer, Answered, decide_several
from compliance.sitting_forms import (
    LATER,
    AnswerNowOrLater,
    AskColleague,
    FilterDecisions,
    SignAnswers,
    answer_of,
)
from compliance.views.actions import cards_of
from compliance.views.proving import has_passkey, passkey_shown, use_up_passkey
from sites.access import sites_visible_to

PER_PAGE = 5
KEPT = "answers_not_signed"
State = CorrectiveAction.State
Draft = dict[str, Any]


def _require_manager(user: User) -> None:
    if user.role != Role.CLIENT_MANAGER:
        raise NotAllowed("This page is for the managers of clients.")


# --- collecting the answers -----------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def decisions(request: PersonRequest) -> HttpResponse:
    """What waits for a manager's decision, site by site; the answers are kept, not signed yet."""
    _require_manager(request.user)
    narrowing = FilterDecisions(request.GET, sites=sites_visible_to(request.user))
    waiting = to_decide_at_a_sitting(request.user, site=narrowing.wanted())
    page = Paginator(waiting, PER_PAGE).get_page(request.GET.get("page"))
    forms = _posted(request) if request.method == "POST" else _shown(request, list(page))
    wrong = [form for form in forms if form.is_bound and not form.is_valid()]
    if request.method == "POST" and not wrong:
        _keep(request, forms)
        return _go_on(request, page)
    actions = [form.sheet.action for form in forms]
    photos = first_photos_of(actions)
    context = {
        "page": page,
        "narrowing": narrowing,
        "rows": [_row(form, photos.get(form.sheet.action.pk)) for form in forms],
        "kept": len(_kept(request)),
        "wrong": wrong,
        "asked_of_colleagues": asked_of_colleagues(request.user),
        "colleagues_url": actions_address(state="priced"),
    }
    return render(request, "compliance/decisions.html", context, status=422 if wrong else 200)


def _kept(request: PersonRequest) -> dict[str, Draft]:
    """The answers that are kept and not signed, by their action."""
    return cast("dict[str, Draft]", request.session.get(KEPT, {}))


def _keep(request: PersonRequest, forms: Sequence[AnswerNowOrLater]) -> None:
    kept = dict(_kept(request))
    for form in forms:
        draft = form.drafted()
        if draft:
            kept[draft["action"]] = draft
        else:
            kept.pop(str(form.sheet.action.pk), None)
    request.session[KEPT] = kept


def _drop(request: PersonRequest, action_ids: Iterable[UUID]) -> None:
    dropped = {str(action_id) for action_id in action_ids}
    kept = _kept(request)
    request.session[KEPT] = {key: one for key, one in kept.items() if key not in dropped}


def _shown(request: PersonRequest, actions: Sequence[CorrectiveAction]) -> list[AnswerNowOrLater]:
    """A form for each action, with the answer that was kept if it was to what stands now."""
    kept = _kept(request)
    forms = []
    for sheet in sheets_of(actions):
        read = {"revision": sheet.action.revision, "shown_hash": sheet.hash}
        draft = kept.get(str(sheet.action.pk), {})
        answered = read.items() <= draft.items()
        initial = {"answer": LATER, **(draft if answered else {}), **read}
        forms.append(AnswerNowOrLater(sheet=sheet, initial=initial))
    return forms


def _posted(request: PersonRequest) -> list[AnswerNowOrLater]:
    """The forms that came back, however the list has changed since it was shown."""
    ids = [_uuid(given) for given in request.POST.getlist("action")[:PER_PAGE]]
    found = to_sign_at_a_sitting(request.user, ids)
    waiting = [action for action in found if action.state == State.PRICED]
    gone = [action for action in found if action.state != State.PRICED]
    if gone:
        _drop(request, [action.pk for action in gone])
        messages.info(request, f"No longer to decide: {', '.join(map(str, gone))}.")
    return [AnswerNowOrLater(request.POST, sheet=sheet) for sheet in sheets_of(waiting)]


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError as fault:
        raise Http404 from fault


def _go_on(request: PersonRequest, page: Any) -> HttpResponse:
    if request.POST.get("go") == "next" and page.has_next():
        query = request.GET.copy()
        query["page"] = str(page.next_page_number())
        return redirect(f"{reverse('compliance:decisions')}?{query.urlencode()}")
    return redirect("compliance:decisions_sign")


def _row(form: AnswerNowOrLater, photo_id: UUID | None) -> dict[str, Any]:
    sheet = form.sheet
    return {
        "form": form,
        "action": sheet.action,
        "site": sheet.action.site,
        "cards": cards_of(sheet, form, None, money_shown=True),
        "declines": form["answer"].value() == DECLINE,
        "crossing": break_even_in_words(sheet.comparison, sheet.currency),
        "photo_id": photo_id,
    }


# --- signing them ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ToSign:
    """One answer as it is put before whoever signs it."""

    answer: Answer
    sheet: Sheet
    option: ActionOption | None
    meaning: str
    draft: Draft


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def decisions_sign(request: PersonRequest) -> HttpResponse:
    """Exactly what will be signed, and one password for all of it."""
    _require_manager(request.user)
    proof = passkey_shown(request)
    if request.method == "POST":
        form = SignAnswers(request.POST, person=request.user, proof=proof)
        if form.is_valid():
            return _sign(request, form)
        answers = form.cleaned_data.get("answers", [])
    else:
        form = SignAnswers(person=request.user, proof=proof)
        answers = [answer_of(draft) for draft in _kept(request).values()]
    to_sign, moved = _as_they_stand(request.user, answers)
    if moved:
        _drop(request, [action.pk for action in moved])
        messages.warning(request, _moved_in_words(moved))
    if request.method == "GET" and not to_sign:
        messages.info(request, "Nothing is decided yet. Choose an answer first.")
        return redirect("compliance:decisions")
    context = {
        "form": form,
        "rows": to_sign[:MOST_AT_ONCE],
        "rest": max(len(to_sign) - MOST_AT_ONCE, 0),
        "answers": canonical([one.draft for one in to_sign[:MOST_AT_ONCE]]),
        "passkey": has_passkey(request.user),
        "signs_as": role_of(request.user),
    }
    status = 422 if form.errors else 200
    return render(request, "compliance/decisions_sign.html", context, status=status)


def _as_they_stand(
    user: User, answers: Sequence[Answer]
) -> tuple[list[ToSign], list[CorrectiveAction]]:
    """What can be signed of these answers, and the actions that are no longer what was read."""
    given = {answer.action_id: answer for answer in answers}
    to_sign, moved = [], []
    for sheet in sheets_of(list(to_sign_at_a_sitting(user, given))):
        answer = given[sheet.action.pk]
        option = next((one for one in sheet.options if one.pk == answer.option_id), None)
        read = (answer.revision, answer.shown_hash)
        stands = read == (sheet.action.revision, sheet.hash) and sheet.action.state == State.PRICED
        if stands and (option is None) == (answer.option_id is None):
            to_sign.append(_to_sign(answer, sheet, option))
        else:
            moved.append(sheet.action)
    return to_sign, moved


def _to_sign(answer: Answer, sheet: Sheet, option: ActionOption | None) -> ToSign:
    ordered = option is not None and option.kind != ActionOption.Kind.NOTHING
    meaning = SignOff.Meaning.GO_AHEAD if ordered else SignOff.Meaning.DECLINES
    draft = {
        "action": answer.action_id,
        "answer": str(answer.option_id) if option else DECLINE,
        "reason": answer.reason,
        "revision": answer.revision,
        "shown_hash": answer.shown_hash,
    }
    return ToSign(answer, sheet, option, meaning.label, draft)


def _moved_in_words(moved: Sequence[CorrectiveAction]) -> str:
    named = ", ".join(map(str, moved))
    return f"{len(moved)} changed while you were reading: nothing is signed for it. {named}."


def _sign(request: PersonRequest, form: SignAnswers) -> HttpResponse:
    answers: list[Answer] = form.cleaned_data["answers"]
    seen = to_sign_at_a_sitting(request.user, [answer.action_id for answer in answers])
    actions = {action.pk: action for action in seen}
    if any(answer.action_id not in actions for answer in answers):
        raise Http404
    told = decide_several(answers, by=request.user, proof=form.proof)
    use_up_passkey(request)
    _drop(request, actions)
    _say(request, actions, told)
    return redirect("compliance:decisions")


def _say(
    request: PersonRequest, actions: dict[UUID, CorrectiveAction], told: Sequence[Answered]
) -> None:
    """What came of each answer, in words."""
    signed = [
        f"{actions[one.action_id]}: {one.decision.get_outcome_display().lower()}"
        for one in told
        if one.decision
    ]
    moved = [actions[one.action_id] for one in told if isinstance(one.refused, Changed)]
    if signed:
        messages.success(request, f"Signed, {len(signed)} decided. {'; '.join(signed)}.")
    if moved:
        messages.warning(request, _moved_in_words(moved))
    for one in told:
        if one.refused and not isinstance(one.refused, Changed):
            action = actions[one.action_id]
            messages.warning(request, f"Nothing was signed for {action}. {one.refused}")


# --- asking a colleague ---------------------------------------------------------------------------


def _action(request: PersonRequest, action_id: UUID) -> CorrectiveAction:
    seen = access.actions_visible_to(request.user).select_related("site__client")
    found = get_object_or_404(seen, pk=action_id)
    access.require_may_ask(request.user, found)
    return found


@require_http_methods(["GET", "POST"])
def action_ask(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Ask one manager of the client to decide."""
    found = _action(request, action_id)
    require_state(found, State.PRICED)
    people = access.may_be_asked(found).exclude(pk=request.user.pk)
    form = AskColleague(request.POST or None, people=people)
    if request.method == "POST" and form.is_valid():
        person = form.cleaned_data["person"]
        ask_colleague(
            found.pk, by=request.user, person_id=person.pk, note=form.cleaned_data["note"]
        )
        messages.success(request, f"{person.name} is asked to decide.")
        return redirect(found)
    context = {"form": form, "action": found, "asked": who_is_asked(found), "people": len(people)}
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "compliance/action_ask.html", context, status=status)


@require_POST
def action_ask_nobody(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Ask nobody in particular any more."""
    found = _action(request, action_id)
    ask_nobody(found.pk, by=request.user)
    messages.success(request, "Nobody in particular is asked to decide.")
    return redirect(found)
