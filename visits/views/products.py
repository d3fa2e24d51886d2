"""The register of products: the list, one product, adding, changing and withdrawing."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F, Q, QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.refusals import NotAllowed, Refused
from accounts.sheets import csv_answer
from sites.keeping import fingerprint
from visits.access import products_visible_to, require_may_keep_products
from visits.forms.products import FindProduct, ProductForm, WithdrawProduct
from visits.models import Product
from visits.services import products as services
from visits.views.answers import told_no

PRODUCTS_A_PAGE = 50
FACTS = ProductForm.Meta.fields


def _require_may_look(request: PersonRequest) -> None:
    if not (request.user.is_office or request.user.is_technician):
        raise NotAllowed("The register of products is for the office and technicians.")


def _found(request: PersonRequest, form: FindProduct) -> QuerySet[Product]:
    """The products asked for, those in use first, then by name."""
    told = form.cleaned_data if form.is_valid() else {}
    found = products_visible_to(request.user)
    if not told.get("withdrawn"):
        found = found.filter(withdrawn_on__isnull=True)
    if told.get("q"):
        text = told["q"].strip()
        found = found.filter(
            Q(name__icontains=text)
            | Q(registration_number__icontains=text)
            | Q(actives__icontains=text)
        )
    return found.order_by(F("withdrawn_on").asc(nulls_first=True), "name", "pk")


@require_GET
def products(request: PersonRequest) -> HttpResponse:
    _require_may_look(request)
    form = FindProduct(request.GET)
    page = Paginator(_found(request, form), PRODUCTS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "today": timezone.now().date(),
        "csv_url": f"{reverse('visits:products_csv')}?{request.GET.urlencode()}",
    }
    return render(request, "visits/products.html", context)


@require_GET
def products_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The list as a file, with the same filters."""
    _require_may_look(request)
    header = [*FACTS, "withdrawn_on"]
    rows = _found(request, FindProduct(request.GET))
    return csv_answer("products", header, _csv_rows(rows, header))


def _csv_rows(rows: QuerySet[Product], columns: Sequence[str]) -> Iterator[Sequence[Any]]:
    for product in rows.iterator(chunk_size=1000):
        yield [getattr(product, column) for column in columns]


@require_GET
def product(request: PersonRequest, product_id: UUID) -> HttpResponse:
    one = get_object_or_404(products_visible_to(request.user), pk=product_id)
    context = {
        "product": one,
        "cautions": [line for line in one.cautions.splitlines() if line.strip()],
        "lapsed": one.authorised_until is not None and one.authorised_until < timezone.now().date(),
    }
    return render(request, "visits/product.html", context)


@require_http_methods(["GET", "POST"])
def add(request: PersonRequest) -> HttpResponse:
    require_may_keep_products(request.user)
    form = ProductForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            one = services.add_product(by=request.user, **form.facts())
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, f"{one} is on the register.")
            return redirect("visits:product", one.pk)
    return render(
        request,
        "visits/product_form.html",
        {"form": form, "cancel_url": reverse("visits:products")},
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "POST"])
def change(request: PersonRequest, product_id: UUID) -> HttpResponse:
    one = get_object_or_404(products_visible_to(request.user), pk=product_id)
    require_may_keep_products(request.user)
    name, back = str(one), reverse("visits:product", args=[one.pk])
    form = ProductForm(
        request.POST or None, instance=one, initial={"seen": fingerprint(one, FACTS)}
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.change_product(
                product_id, by=request.user, seen=form.cleaned_data["seen"], **form.facts()
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Changed.")
            return redirect(back)
    return render(
        request,
        "visits/product_form.html",
        {"form": form, "name": name, "cancel_url": back},
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "POST"])
def withdraw(request: PersonRequest, product_id: UUID) -> HttpResponse:
    one = get_object_or_404(products_visible_to(request.user), pk=product_id)
    require_may_keep_products(request.user)
    form = WithdrawProduct(request.POST or None, initial={"on": timezone.now().date()})
    if request.method == "POST" and form.is_valid():
        try:
            services.withdraw_product(one.pk, by=request.user, **form.cleaned_data)
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, f"{one} is withdrawn.")
            return redirect("visits:product", one.pk)
    return render(
        request,
        "visits/product_withdraw.html",
        {"form": form, "product": one, "cancel_url": reverse("visits:product", args=[one.pk])},
        status=422 if form.errors else 200,
    )
