"""A label's versions: entering the next one, putting the newest right, and looking at one."""

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.queries import company_today
from accounts.refusals import Refused
from visits.access import pests_visible_to, products_visible_to, require_may_keep_products
from visits.forms.labels import LabelEntry
from visits.models import LabelRate, Product, ProductLabel
from visits.queries.labels import label_shown
from visits.services import labels as services


def label_entry(
    request: PersonRequest,
    *,
    today: date,
    label: ProductLabel | None = None,
    rates: Any = (),
) -> LabelEntry:
    """The forms of a label, bound to what was sent. One query for the pests."""
    pests = pests_visible_to(request.user).order_by("group", "name", "pk")
    sent = request.method == "POST"
    return LabelEntry.made(
        pests=list(pests.values_list("slug", "name")),
        today=today,
        data=request.POST if sent else None,
        files=request.FILES if sent else None,
        label=label,
        rates=rates,
    )


def wants_more(request: PersonRequest) -> bool:
    """Whether only a further row was asked for: nothing is kept, nothing is refused."""
    return "more" in request.POST


def _of(request: PersonRequest, product_id: UUID) -> tuple[Product, list[LabelRate]]:
    visible = products_visible_to(request.user).select_related("label")
    product = get_object_or_404(visible, pk=product_id)
    return product, list(product.label.rates.order_by("position"))


@require_http_methods(["GET", "POST"])
def enter(request: PersonRequest, product_id: UUID) -> HttpResponse:
    """The next version of a label, starting from what stands in the one in force."""
    product, rates = _of(request, product_id)
    require_may_keep_products(request.user)
    today = company_today()
    entry = label_entry(request, today=today, label=product.label, rates=rates)
    if request.method == "POST" and not wants_more(request) and entry.is_valid(product):
        try:
            label = services.enter_label(
                product.pk,
                by=request.user,
                in_force_from=entry.form.cleaned_data["in_force_from"],
                seen=entry.form.cleaned_data["seen"],
                papers=entry.papers(),
                **entry.facts(),
            )
        except Refused as refused:
            entry.refused(refused.facts.get("fields", {}), str(refused))
        else:
            same = label.pk == product.label_id
            messages.success(
                request,
                f"Nothing in it differs; version {label.number} stays in force."
                if same
                else f"Version {label.number} is in force.",
            )
            return redirect("visits:product", product.pk)
    return _form_page(request, product, entry, "Enter a new version of the label")


@require_http_methods(["GET", "POST"])
def correct(request: PersonRequest, product_id: UUID) -> HttpResponse:
    """Puts right what was copied wrongly, while nobody has treated by the version in force."""
    product, rates = _of(request, product_id)
    require_may_keep_products(request.user)
    services.require_correctable(product, product.label)
    entry = label_entry(
        request, today=product.label.in_force_from, label=product.label, rates=rates
    )
    if request.method == "POST" and not wants_more(request) and entry.is_valid(product):
        try:
            services.correct_label(
                product.label_id,
                by=request.user,
                seen=entry.form.cleaned_data["seen"],
                in_force_from=entry.form.cleaned_data["in_force_from"],
                papers=entry.papers(),
                **entry.facts(),
            )
        except Refused as refused:
            entry.refused(refused.facts.get("fields", {}), str(refused))
        else:
            messages.success(request, f"Version {product.label.number} is put right.")
            return redirect("visits:product", product.pk)
    return _form_page(request, product, entry, f"Put version {product.label.number} right")


def _form_page(
    request: PersonRequest, product: Product, entry: LabelEntry, title: str
) -> HttpResponse:
    more = wants_more(request)
    context = {
        "product": product,
        "entry": entry,
        "problems": [] if more else entry.problems(),
        "title": title,
        "cancel_url": reverse("visits:product", args=[product.pk]),
    }
    status = 422 if request.method == "POST" and not more else 200
    return render(request, "visits/label_form.html", context, status=status)


@require_GET
def label(request: PersonRequest, product_id: UUID, number: int) -> HttpResponse:
    """One version, with the days on which it was in force."""
    product = get_object_or_404(products_visible_to(request.user), pk=product_id)
    rates = Prefetch("rates", LabelRate.objects.order_by("position"))
    versions = product.labels.select_related("product", "label_file", "sheet_file", "entered_by")
    one = get_object_or_404(versions.prefetch_related(rates), number=number)
    after = product.labels.filter(number__gt=number).order_by("number").first()
    pests = dict(pests_visible_to(request.user).values_list("slug", "name"))
    context = {
        "product": product,
        "label": one,
        "shown": label_shown(one, list(one.rates.all()), pests),
        "after": after,
    }
    return render(request, "visits/label.html", context)
