"""The register of products: the list, one product, adding, changing and withdrawing."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F, QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.queries import company_today
from accounts.refusals import NotAllowed, Refused
from accounts.sheets import csv_answer
from sites.keeping import fingerprint
from visits.access import (
    batches_visible_to,
    pests_visible_to,
    products_visible_to,
    require_may_keep_products,
)
from visits.dosing.label import Label, LabelError
from visits.forms.labels import LabelEntry, problems_of
from visits.forms.products import FindProduct, ProductForm, WithdrawProduct
from visits.forms.stock import TryDose
from visits.importing_products import Products, product_row
from visits.models import Carried, LabelRate, Product, ProductLabel
from visits.queries.labels import dose_shown, label_shown, pure_label
from visits.queries.stock import batches_reckoned, in_order, stands
from visits.services import products as services
from visits.views.answers import told_no
from visits.views.labels import label_entry, wants_more

PRODUCTS_A_PAGE = 50
VERSIONS_A_PAGE = 10
BATCHES_SHOWN = 10
VANS_SHOWN = 100
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
    for word in (told.get("q") or "").casefold().split():
        found = found.filter(found_by__contains=word)
    return found.select_related("label").order_by(
        F("withdrawn_on").asc(nulls_first=True), "name", "pk"
    )


@require_GET
def products(request: PersonRequest) -> HttpResponse:
    _require_may_look(request)
    form = FindProduct(request.GET)
    page = Paginator(_found(request, form), PRODUCTS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "today": company_today(),
        "csv_url": f"{reverse('visits:products_csv')}?{request.GET.urlencode()}",
    }
    return render(request, "visits/products.html", context)


@require_GET
def products_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The list as a file, with the same filters; import takes its columns again."""
    _require_may_look(request)
    header = [column.name for column in Products.columns]
    rows = _found(request, FindProduct(request.GET))
    return csv_answer("products", [*header, "withdrawn_on"], _csv_rows(rows, header))


def _csv_rows(rows: QuerySet[Product], header: Sequence[str]) -> Iterator[Sequence[Any]]:
    for product in rows.iterator(chunk_size=1000):
        row = product_row(product)
        yield [*(_said(row[name]) for name in header), product.withdrawn_on]


def _said(value: Any) -> Any:
    """Yes and no in the words that import reads."""
    return ("yes" if value else "no") if isinstance(value, bool) else value


@require_GET
def product(request: PersonRequest, product_id: UUID) -> HttpResponse:
    """One product: its label in force, a dose to try, its versions, its batches, who carries it."""
    visible = products_visible_to(request.user).select_related(
        "label__label_file", "label__sheet_file"
    )
    one = get_object_or_404(visible, pk=product_id)
    one.label.product = one
    today = company_today()
    rates = list(one.label.rates.order_by("position"))
    pests = dict(pests_visible_to(request.user).values_list("slug", "name"))
    shown = label_shown(one.label, rates, pests)
    tried = TryDose(request.GET if "try-measure" in request.GET else None, shown=shown)
    if tried.is_asked:
        tried.work_out(_sound_label(one.label, rates))
    until = one.label.authorised_until
    context = {
        "product": one,
        "shown": shown,
        "lapsed": until is not None and until < today,
        "form": tried,
        "tried": tried,
        "dose": tried.found and dose_shown(tried.found, tried.against),
        "is_used": one.label.treatments.exists(),
        "versions": Paginator(one.labels.order_by("-number"), VERSIONS_A_PAGE).get_page(
            request.GET.get("versions")
        ),
        **_stock_of(request, one, today),
    }
    return render(request, "visits/product.html", context)


def _sound_label(label: ProductLabel, rates: Sequence[LabelRate]) -> Label | None:
    """The label for the sums; nothing where what was taken over from before cannot be one."""
    try:
        return pure_label(label, rates)
    except LabelError:
        return None


def _stock_of(request: PersonRequest, one: Product, today: date) -> dict[str, Any]:
    """What the office sees of stock: the batches in use, and who carries the product."""
    if not request.user.is_office:
        return {}
    batches = in_order(batches_reckoned(batches_visible_to(request.user).filter(product=one)))
    page = Paginator(batches.select_related("product"), BATCHES_SHOWN).get_page(
        request.GET.get("batches")
    )
    vans = Carried.objects.filter(product=one).select_related("person", "batch")
    return {
        "batches": page,
        "stands": list(stands(page, today)),
        "vans": list(vans.order_by("person__name", "pk")[:VANS_SHOWN]),
    }


@require_http_methods(["GET", "POST"])
def add(request: PersonRequest) -> HttpResponse:
    """A product with the first version of its label."""
    require_may_keep_products(request.user)
    form = ProductForm(request.POST or None)
    entry = label_entry(request, today=company_today())
    more = wants_more(request)
    if request.method == "POST" and not more:
        sound = form.is_valid()
        if entry.is_valid(Product(**form.facts()) if sound else None) and sound:
            try:
                one = services.add_product(
                    by=request.user,
                    label=entry.facts(),
                    in_force_from=entry.form.cleaned_data["in_force_from"],
                    papers=entry.papers(),
                    **form.facts(),
                )
            except Refused as refused:
                _told_no(form, entry, refused)
            else:
                messages.success(request, f"{one} is on the register.")
                return redirect("visits:product", one.pk)
    context = {
        "form": form,
        "entry": entry,
        "problems": [] if more else [*problems_of(form), *entry.problems()],
        "cancel_url": reverse("visits:products"),
    }
    status = 422 if request.method == "POST" and not more else 200
    return render(request, "visits/product_add.html", context, status=status)


def _told_no(form: ProductForm, entry: LabelEntry, refused: Refused) -> None:
    """Says a no beside the product's own fields, else where the label's form has them."""
    fields = refused.facts.get("fields", {})
    if any(name in form.fields for name in fields):
        told_no(form, refused)
    else:
        entry.refused(fields, str(refused))


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
    form = WithdrawProduct(request.POST or None, initial={"on": company_today()})
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
