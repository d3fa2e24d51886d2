"""Stock by batch, and what each technician carries."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F, Q, QuerySet
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.http import PersonRequest
from accounts.models import User
from accounts.queries import company_today
from accounts.refusals import NotAllowed, Refused
from accounts.sheets import csv_answer
from sites.keeping import fingerprint
from visits.access import (
    batches_visible_to,
    carriers_visible_to,
    products_visible_to,
    require_may_carry,
    require_may_keep_products,
)
from visits.forms.stock import BatchForm, CarryForm, CountForm, FindBatches, UsedUpForm
from visits.models import Batch, Carried
from visits.queries.stock import (
    EXPIRES_SOON,
    NEARLY,
    batches_reckoned,
    in_order,
    plain,
    stand_of,
    stands,
)
from visits.services import stock as services
from visits.views.answers import told_no

BATCHES_A_PAGE = 50
COUNTS_A_PAGE = 20
CARRIED_A_PAGE = 50
BATCH_COLUMNS = (
    "product_name",
    "registration_number",
    "batch_number",
    "unit",
    "received_on",
    "amount",
    "used",
    "left",
    "treatments_not_in_the_sum",
    "counted_on",
    "counted",
    "difference",
    "expires_on",
    "used_up_on",
    "note",
)


def _found(request: PersonRequest, form: FindBatches) -> QuerySet[Batch]:
    """The batches asked for, reckoned, in one query."""
    told = form.cleaned_data if form.is_valid() else {}
    found = batches_reckoned(batches_visible_to(request.user).select_related("product"))
    if text := (told.get("q") or "").strip():
        words = Q(number__icontains=text)
        words |= Q(product__found_by__contains=text.casefold())
        found = found.filter(words)
    today = company_today()
    state = told.get("state") or ""
    if state == "used_up":
        found = found.filter(used_up_on__isnull=False)
    elif state != "all":
        found = found.filter(used_up_on__isnull=True)
    if state == "expiring":
        found = found.filter(expires_on__lte=today + EXPIRES_SOON)
    if state == "differs":
        gap = F("counted") - F("amount") + F("used_to_count")
        found = found.alias(gap=gap).filter(
            Q(gap__gt=F("amount") * NEARLY) | Q(gap__lt=F("amount") * -NEARLY)
        )
    return in_order(found)


@require_GET
def batches(request: PersonRequest) -> HttpResponse:
    """All batches with what came in, what was used and what was counted."""
    require_may_keep_products(request.user)
    form = FindBatches(request.GET)
    page = Paginator(_found(request, form), BATCHES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "stands": list(stands(page, company_today())),
        "csv_url": f"{reverse('visits:batches_csv')}?{request.GET.urlencode()}",
    }
    return render(request, "visits/batches.html", context)


@require_GET
def batches_csv(request: PersonRequest) -> StreamingHttpResponse:
    """The list as a file, with the same filters."""
    require_may_keep_products(request.user)
    rows = _found(request, FindBatches(request.GET))
    return csv_answer("batches", BATCH_COLUMNS, _csv_rows(rows))


def _csv_rows(rows: QuerySet[Batch]) -> Iterator[Sequence[Any]]:
    today = company_today()
    for one in rows.iterator(chunk_size=1000):
        stand = stand_of(one, today)
        yield [
            one.product.name,
            one.product.registration_number,
            one.number,
            one.product.unit,
            one.received_on,
            _figure(one.amount),
            _figure(stand.used),
            _figure(stand.left),
            stand.unreckoned,
            stand.counted_on,
            _figure(stand.counted),
            _figure(stand.difference),
            one.expires_on,
            one.used_up_on,
            one.note,
        ]


def _figure(amount: Decimal | None) -> Decimal | None:
    """A number for a cell, without the zeros that sums add."""
    return None if amount is None else Decimal(plain(amount))


@require_GET
def batch(request: PersonRequest, batch_id: UUID) -> HttpResponse:
    """One batch: how it stands, and every count of it."""
    require_may_keep_products(request.user)
    rows = batches_reckoned(batches_visible_to(request.user).select_related("product"))
    one = get_object_or_404(rows, pk=batch_id)
    counts = one.counts.select_related("counted_by").order_by("-counted_on", "-created_at", "-pk")
    context = {
        "batch": one,
        "stand": stand_of(one, company_today()),
        "page": Paginator(counts, COUNTS_A_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "visits/batch.html", context)


@require_http_methods(["GET", "POST"])
def batch_receive(request: PersonRequest, product_id: UUID) -> HttpResponse:
    product = get_object_or_404(products_visible_to(request.user), pk=product_id)
    require_may_keep_products(request.user)
    today = company_today()
    form = BatchForm(request.POST or None, product=product, initial={"received_on": today})
    if request.method == "POST" and form.is_valid():
        try:
            one = services.receive_batch(product.pk, by=request.user, **form.facts())
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, f"Batch {one.number} is on file.")
            return redirect("visits:batch", one.pk)
    back = reverse("visits:product", args=[product.pk])
    return _form(request, form, "Take in a batch", str(product), "Put the batch on file", back)


@require_http_methods(["GET", "POST"])
def batch_change(request: PersonRequest, batch_id: UUID) -> HttpResponse:
    one = _batch(request, batch_id)
    held = {name: getattr(one, name) for name in services.BatchFacts.__annotations__}
    mark = fingerprint(one, held)
    form = BatchForm(request.POST or None, product=one.product, initial={**held, "seen": mark})
    if request.method == "POST" and form.is_valid():
        try:
            services.change_batch(
                one.pk, by=request.user, seen=form.cleaned_data["seen"], **form.facts()
            )
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "Changed.")
            return redirect("visits:batch", one.pk)
    return _batch_form(request, form, one, "Change a batch", "Save the batch")


@require_http_methods(["GET", "POST"])
def batch_count(request: PersonRequest, batch_id: UUID) -> HttpResponse:
    one = _batch(request, batch_id)
    today = company_today()
    form = CountForm(request.POST or None, product=one.product, initial={"counted_on": today})
    if request.method == "POST" and form.is_valid():
        try:
            services.count_batch(one.pk, by=request.user, **form.cleaned_data)
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, "The count is on file.")
            return redirect("visits:batch", one.pk)
    return _batch_form(request, form, one, "Count a batch", "Put the count on file")


@require_http_methods(["GET", "POST"])
def batch_use_up(request: PersonRequest, batch_id: UUID) -> HttpResponse:
    one = _batch(request, batch_id)
    form = UsedUpForm(request.POST or None, initial={"on": company_today()})
    if request.method == "POST" and form.is_valid():
        try:
            services.use_up_batch(one.pk, by=request.user, **form.cleaned_data)
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, f"Batch {one.number} is used up.")
            return redirect("visits:batch", one.pk)
    return _batch_form(request, form, one, "A batch is used up", "Nothing is left of it")


def _batch(request: PersonRequest, batch_id: UUID) -> Batch:
    require_may_keep_products(request.user)
    rows = batches_visible_to(request.user).select_related("product")
    return get_object_or_404(rows, pk=batch_id)


def _batch_form(
    request: PersonRequest, form: Any, one: Batch, title: str, submit: str
) -> HttpResponse:
    back = reverse("visits:batch", args=[one.pk])
    return _form(request, form, title, f"{one.product}, batch {one.number}", submit, back)


def _form(
    request: PersonRequest, form: Any, title: str, subtitle: str, submit: str, back: str
) -> HttpResponse:
    context = {
        "form": form,
        "title": title,
        "subtitle": subtitle,
        "submit": submit,
        "cancel_url": back,
    }
    status = 422 if form.errors else 200
    return render(request, "visits/stock_form.html", context, status=status)


@require_GET
def carriers(request: PersonRequest) -> HttpResponse:
    """Who carries how much; a technician is sent to their own van."""
    if request.user.is_technician:
        return redirect("visits:carried", request.user.pk)
    require_may_keep_products(request.user)
    people = carriers_visible_to(request.user).order_by("name", "pk")
    page = Paginator(people, CARRIED_A_PAGE).get_page(request.GET.get("page"))
    held: dict[UUID, list[Carried]] = {}
    rows = Carried.objects.filter(person__in=[one.pk for one in page])
    for one in rows.select_related("product").order_by("product__name", "pk"):
        held.setdefault(one.person_id, []).append(one)
    context = {"page": page, "vans": [(person, held.get(person.pk, [])) for person in page]}
    return render(request, "visits/carriers.html", context)


@require_http_methods(["GET", "POST"])
def carried(request: PersonRequest, person_id: UUID) -> HttpResponse:
    """What one technician has in the van; a product is added by its name or number."""
    person = _carrier(request, person_id)
    products = products_visible_to(request.user)
    form = CarryForm(request.POST or None, products=products)
    if request.method == "POST" and form.is_valid():
        product, batch = form.cleaned_data["product"], form.cleaned_data["batch"]
        try:
            services.carry(person.pk, product.pk, by=request.user, batch_id=batch and batch.pk)
        except Refused as refused:
            told_no(form, refused)
        else:
            messages.success(request, f"{product} is in the van.")
            return redirect("visits:carried", person.pk)
    rows = Carried.objects.filter(person=person).select_related("product__label", "batch")
    context = {
        "person": person,
        "is_own": person.pk == request.user.pk,
        "form": form,
        "page": Paginator(rows.order_by("product__name", "pk"), CARRIED_A_PAGE).get_page(
            request.GET.get("page")
        ),
        "today": company_today(),
    }
    status = 422 if form.errors else 200
    return render(request, "visits/carried.html", context, status=status)


@require_POST
def leave(request: PersonRequest, person_id: UUID, product_id: UUID) -> HttpResponse:
    """Takes a product out of a van."""
    person = _carrier(request, person_id)
    product = get_object_or_404(products_visible_to(request.user), pk=product_id)
    services.leave(person.pk, product.pk, by=request.user)
    messages.success(request, f"{product} is no longer in the van.")
    return redirect("visits:carried", person.pk)


def _carrier(request: PersonRequest, person_id: UUID) -> User:
    if not (request.user.is_office or request.user.is_technician):
        raise NotAllowed("What somebody carries is said by themselves or by the office.")
    person = get_object_or_404(carriers_visible_to(request.user), pk=person_id)
    require_may_carry(request.user, person)
    return person
