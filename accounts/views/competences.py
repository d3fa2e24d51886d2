"""Competences: what technicians are licensed to do."""

from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts import access, queries
from accounts.forms import AddCompetence, ChangeCompetence, NameCompetenceKind, WithdrawCompetence
from accounts.http import PersonRequest
from accounts.models import CompetenceKind
from accounts.services import competences as services


@require_http_methods(["GET", "POST"])
def competences(request: PersonRequest) -> HttpResponse:
    """Everybody's, soonest to lapse first; and the kinds there are."""
    access.require_office(request.user)
    form = NameCompetenceKind(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kind = services.add_competence_kind(by=request.user, **form.cleaned_data)
        messages.success(request, f"{kind} is on the list.")
        return redirect("accounts:competences")
    held = queries.competences_listed(access.competences_visible_to(request.user))
    context = {
        "page": Paginator(held, 50).get_page(request.GET.get("page")),
        "kinds": CompetenceKind.objects.order_by("name", "pk")[:200],
        "form": form,
        **queries.competence_days(),
    }
    return render(
        request, "accounts/competences.html", context, status=422 if form.is_bound else 200
    )


@require_GET
def my_competences(request: PersonRequest) -> HttpResponse:
    """A technician's own."""
    held = access.competences_visible_to(request.user).filter(person_id=request.user.pk)
    context = {
        "competences": queries.competences_listed(held)[:200],
        **queries.competence_days(),
    }
    return render(request, "accounts/my_competences.html", context)


@require_http_methods(["GET", "POST"])
def add(request: PersonRequest, person_id: UUID) -> HttpResponse:
    access.require_office(request.user)
    person = get_object_or_404(access.people_visible_to(request.user), pk=person_id)
    form = AddCompetence(request.POST or None)
    if not (request.method == "POST" and form.is_valid()):
        context = {"form": form, "person": person}
        status = 422 if form.is_bound else 200
        return render(request, "accounts/competence_add.html", context, status=status)
    services.add_competence(person.pk, by=request.user, **form.cleaned_data)
    messages.success(request, "Competence added.")
    return redirect("accounts:person", person.pk)


@require_http_methods(["GET", "POST"])
def change(request: PersonRequest, competence_id: UUID) -> HttpResponse:
    access.require_office(request.user)
    visible = access.competences_visible_to(request.user).select_related("person", "kind")
    competence = get_object_or_404(visible, pk=competence_id)
    initial = {
        "number": competence.number,
        "valid_from": competence.valid_from,
        "valid_until": competence.valid_until,
    }
    form = ChangeCompetence(request.POST or None, initial=initial)
    if not (request.method == "POST" and form.is_valid()):
        context = {"form": form, "competence": competence}
        status = 422 if form.is_bound else 200
        return render(request, "accounts/competence_change.html", context, status=status)
    services.change_competence(competence.pk, by=request.user, **form.cleaned_data)
    messages.success(request, "Competence saved.")
    return redirect("accounts:person", competence.person_id)


@require_http_methods(["GET", "POST"])
def withdraw(request: PersonRequest, competence_id: UUID) -> HttpResponse:
    access.require_office(request.user)
    visible = access.competences_visible_to(request.user).select_related("person", "kind")
    competence = get_object_or_404(visible, pk=competence_id)
    form = WithdrawCompetence(request.POST or None)
    if not (request.method == "POST" and form.is_valid()):
        context = {"form": form, "competence": competence}
        status = 422 if form.is_bound else 200
        return render(request, "accounts/competence_withdraw.html", context, status=status)
    services.withdraw_competence(competence.pk, by=request.user, **form.cleaned_data)
    messages.success(request, "Competence withdrawn.")
    return redirect("accounts:person", competence.person_id)
