"""What the pages of this room have in common."""

from collections.abc import Callable
from datetime import date
from typing import Any, ParamSpec, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.core.paginator import Page, Paginator
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from accounts.http import PersonRequest
from accounts.models import User
from accounts.refusals import Refused, Unusable
from sites import access
from sites.keeping import Taken
from sites.models import Site
from sites.services.storage import NoRoom

ROWS_A_PAGE = 50

Row = TypeVar("Row", bound=Model)
Given = ParamSpec("Given")
Result = TypeVar("Result")


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, or None for a form that is shown for the first time."""
    return request.POST if request.method == "POST" else None


def paged(request: HttpRequest, rows: QuerySet[Row]) -> "Page[Row]":
    """Fifty rows, of the page that the address asks for. Two queries."""
    return Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page"))


def today_of(person: User) -> date:
    """The day where the reader is, for what belongs to no site."""
    return timezone.now().astimezone(ZoneInfo(person.time_zone)).date()


def read_filters(form: forms.Form) -> dict[str, Any]:
    """What a filter row asks for; what cannot be read filters nothing."""
    form.is_valid()
    return form.cleaned_data


def site_to_change(request: PersonRequest, site_id: UUID) -> Site:
    """The site whose record the page changes: 404 if hidden, a refusal if not theirs to change."""
    site = get_object_or_404(
        access.sites_visible_to(request.user).select_related("client"), pk=site_id
    )
    access.require_may_keep_sites(request.user)
    return site


def done(
    form: forms.BaseForm,
    verb: Callable[Given, Result],
    *args: Given.args,
    **facts: Given.kwargs,
) -> Result | None:
    """Do it; what cannot be used goes on the form, beside its field, so nothing typed is lost.

    Any other refusal goes on to the page that says it.
    """
    try:
        return verb(*args, **facts)
    except (Unusable, Taken, NoRoom) as refusal:
        _put_on(form, refusal)
        return None


def _put_on(form: forms.BaseForm, refusal: Refused) -> None:
    by_field = refusal.facts.get("fields") or {refusal.facts.get("field"): [str(refusal)]}
    for field, sentences in by_field.items():
        for sentence in sentences:
            form.add_error(field if field in form.fields else None, sentence)


def form_page(
    request: HttpRequest,
    form: forms.BaseForm,
    *,
    title: str,
    submit: str,
    back: str,
    back_label: str,
    hint: str = "",
    danger: bool = False,
) -> HttpResponse:
    """A page with one form: 200 when first shown, 422 with what is wrong."""
    context = {
        "form": form,
        "title": title,
        "submit": submit,
        "back": back,
        "back_label": back_label,
        "hint": hint,
        "danger": danger,
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "sites/form.html", context, status=status)
