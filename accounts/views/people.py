"""People: who is here, inviting them, and stopping them."""

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts import access, queries
from accounts.forms import ChangePerson, FilterPeople, Invite, Join, StopPerson
from accounts.http import PersonRequest
from accounts.refusals import Refused
from accounts.services import people as services


@require_GET
def people(request: PersonRequest) -> HttpResponse:
    """Everybody, fifty a page."""
    access.require_office(request.user)
    filters = FilterPeople(request.GET)
    wanted = filters.cleaned_data if filters.is_valid() else {}
    found = queries.people_found(
        queries.people_listed(), text=wanted.get("q", ""), role=wanted.get("role", "")
    )
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    context = {"page": page, "filters": filters}
    return render(request, "accounts/people.html", context)


@require_http_methods(["GET", "POST"])
def invite(request: PersonRequest) -> HttpResponse:
    access.require_office(request.user)
    form = Invite(request.POST or None, by=request.user)
    if not (request.method == "POST" and form.is_valid()):
        return _form(request, "accounts/invite.html", form)
    details = form.cleaned_data
    try:
        person = services.invite_person(details.pop("email"), by=request.user, **details)
    except Refused as refused:
        if refused.facts.get("field") not in form.fields:
            raise
        form.add_error(refused.facts["field"], str(refused))
        return _form(request, "accounts/invite.html", form)
    messages.success(request, f"Invited {person}. The link works for a week.")
    return redirect("accounts:person", person.pk)


@require_GET
def person(request: PersonRequest, person_id: UUID) -> HttpResponse:
    access.require_office(request.user)
    somebody = get_object_or_404(access.people_visible_to(request.user), pk=person_id)
    competences = queries.competences_listed(somebody.competences.all())
    context = {
        "person": somebody,
        "joined": somebody.has_usable_password(),
        "may_manage": access.may_manage(request.user, somebody),
        "competences": competences,
        **queries.competence_days(),
    }
    return render(request, "accounts/person.html", context)


@require_http_methods(["GET", "POST"])
def change(request: PersonRequest, person_id: UUID) -> HttpResponse:
    somebody = get_object_or_404(access.people_visible_to(request.user), pk=person_id)
    access.require_may_manage(request.user, somebody)
    form = ChangePerson(request.POST or None, person=somebody)
    if not (request.method == "POST" and form.is_valid()):
        return _form(request, "accounts/person_change.html", form, person=somebody)
    services.change_person(somebody.pk, by=request.user, **form.cleaned_data)
    messages.success(request, f"Saved {somebody}.")
    return redirect("accounts:person", somebody.pk)


@require_POST
def invite_again(request: PersonRequest, person_id: UUID) -> HttpResponse:
    somebody = get_object_or_404(access.people_visible_to(request.user), pk=person_id)
    services.invite_again(somebody.pk, by=request.user)
    messages.success(request, f"Sent {somebody} a new link; the old one no longer works.")
    return redirect("accounts:person", somebody.pk)


@require_http_methods(["GET", "POST"])
def stop(request: PersonRequest, person_id: UUID) -> HttpResponse:
    somebody = get_object_or_404(access.people_visible_to(request.user), pk=person_id)
    access.require_may_manage(request.user, somebody)
    form = StopPerson(request.POST or None)
    if not (request.method == "POST" and form.is_valid()):
        return _form(request, "accounts/person_stop.html", form, person=somebody)
    services.stop_person(somebody.pk, by=request.user, reason=form.cleaned_data["reason"])
    messages.success(request, f"{somebody} can no longer sign in.")
    return redirect("accounts:person", somebody.pk)


@require_POST
def restore(request: PersonRequest, person_id: UUID) -> HttpResponse:
    somebody = get_object_or_404(access.people_visible_to(request.user), pk=person_id)
    services.restore_person(somebody.pk, by=request.user)
    messages.success(request, f"{somebody} can sign in again.")
    return redirect("accounts:person", somebody.pk)


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, secret: str) -> HttpResponse:
    """Where an invitation's link leads: set a password once."""
    invitation = services.open_invitation(secret)
    if invitation is None:
        return render(request, "accounts/join_over.html", status=410)
    form = Join(request.POST or None, person=invitation.person)
    if not (request.method == "POST" and form.is_valid()):
        return _form(request, "accounts/join.html", form, invitation=invitation)
    services.join(secret, password=form.cleaned_data["password"])
    messages.success(request, "Your password is set. Sign in with it.")
    return redirect("account_login")


def _form(request: HttpRequest, template: str, form: object, **context: object) -> HttpResponse:
    """The page of a form: as asked for, or 422 with what is wrong beside each field."""
    status = 422 if request.method == "POST" else 200
    return render(request, template, {"form": form, **context}, status=status)
