"""Packs of products: received and counted by batch, and what each technician carries.

Amounts are in the product's own unit, g or ml. What was used is read from the treatments
themselves (``queries/stock.py``); nothing here is taken off by hand.
"""

from datetime import date
from decimal import Decimal
from typing import TypedDict, Unpack
from uuid import UUID

from django.db import transaction

from accounts.models import Role, User
from accounts.queries import company_today
from accounts.refusals import NotAllowed, Unusable, WrongState
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from visits.access import require_may_carry, require_may_keep_products
from visits.models import Batch, BatchCount, Carried, Product


class BatchFacts(TypedDict, total=False):
    """What is known of a batch; ``amount`` is in the product's own unit."""

    number: str
    received_on: date
    amount: Decimal
    expires_on: date | None
    note: str


@transaction.atomic
def receive_batch(product_id: UUID, *, by: User, **facts: Unpack[BatchFacts]) -> Batch:
    """Put a batch on file as it comes in.

    Raises ``NotAllowed``, ``WrongState`` for a withdrawn product, ``Taken`` for a number that this
    product has already, whatever its capitals, or ``Unusable``.
    """
    require_may_keep_products(by)
    product = Product.objects.select_for_update(of=("self",)).get(pk=product_id)
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn; no more of it is taken in.")
    batch = Batch(product=product, **facts)
    batch.number = " ".join(batch.number.split())
    _require_sound(batch)
    keep_new(batch)
    record(
        by,
        "batch.received",
        product,
        batch=batch.number,
        amount=batch.amount,
        unit=product.unit,
        received_on=batch.received_on,
        expires_on=batch.expires_on,
    )
    return batch


@transaction.atomic
def change_batch(batch_id: UUID, *, by: User, seen: str = "", **facts: Unpack[BatchFacts]) -> Batch:
    """Put right what was typed of a batch. Raises ``Changed`` and as ``receive_batch``."""
    require_may_keep_products(by)
    batch = _batch_to_keep(batch_id)
    if "number" in facts:
        facts["number"] = " ".join(facts["number"].split())
    before = {name: getattr(batch, name) for name in facts}
    for name, value in facts.items():
        setattr(batch, name, value)
    _require_sound(batch)
    for name, value in before.items():
        setattr(batch, name, value)
    changed = keep_changes(batch, facts, seen=seen)
    if changed:
        record(by, "batch.changed", batch.product, batch=batch.number, changed=changed)
    return batch


@transaction.atomic
def count_batch(
    batch_id: UUID, *, by: User, counted_on: date, amount: Decimal, note: str = ""
) -> BatchCount:
    """Say how much of a batch was there when somebody looked.

    Raises ``NotAllowed``, or ``Unusable`` for a day before it came in or still to come.
    """
    require_may_keep_products(by)
    batch = _batch_to_keep(batch_id)
    if counted_on < batch.received_on:
        _refuse("counted_on", f"This batch came in on {batch.received_on}; count it from then on.")
    if counted_on > company_today():
        _refuse("counted_on", "This day is still to come.")
    count = BatchCount(
        batch=batch, counted_on=counted_on, amount=amount, counted_by=by, note=note.strip()
    )
    keep_new(count)
    record(
        by,
        "batch.counted",
        batch.product,
        batch=batch.number,
        counted_on=counted_on,
        amount=amount,
        unit=batch.product.unit,
        note=count.note,
    )
    return count


@transaction.atomic
def use_up_batch(batch_id: UUID, *, by: User, on: date) -> Batch:
    """Say that nothing is left of a batch; nobody carries it any longer.

    Raises ``NotAllowed``, ``WrongState`` if that was said before, or ``Unusable`` for a day before
    it came in or still to come.
    """
    require_may_keep_products(by)
    batch = _batch_to_keep(batch_id)
    if batch.used_up_on:
        raise WrongState(f"{batch} was used up on {batch.used_up_on}.")
    if on < batch.received_on:
        _refuse("on", f"This batch came in on {batch.received_on}.")
    if on > company_today():
        _refuse("on", "This day is still to come.")
    batch.used_up_on = on
    batch.save(update_fields=["used_up_on"])
    Carried.objects.filter(batch=batch).update(batch=None)
    record(by, "batch.used_up", batch.product, batch=batch.number, on=on)
    return batch


@transaction.atomic
def carry(person_id: UUID, product_id: UUID, *, by: User, batch_id: UUID | None = None) -> Carried:
    """Say that a technician has a product in the van, and of which batch. Safe to say twice.

    Raises ``NotAllowed`` for anybody but the office and the technician; ``WrongState`` for a
    withdrawn product; ``Unusable`` for a batch of another product or one that is used up.
    """
    person = User.objects.get(pk=person_id)
    require_may_carry(by, person)
    if person.role != Role.TECHNICIAN or not person.is_active:
        raise NotAllowed("Only technicians who work here carry products.")
    product = Product.objects.select_for_update(of=("self",)).get(pk=product_id)
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn; nobody carries it.", field="product")
    batch = None
    if batch_id:
        # Locked, so that it is not used up between the look and the word.
        rows = Batch.objects.select_for_update(of=("self",))
        batch = rows.filter(pk=batch_id, product=product).first()
        if batch is None:
            _refuse("batch", f"{product} has no such batch.")
        elif batch.used_up_on:
            _refuse("batch", f"Batch {batch.number} is used up.")
    carried, is_new = Carried.objects.get_or_create(
        person=person, product=product, defaults={"batch": batch}
    )
    if is_new or carried.batch_id != (batch and batch.pk):
        carried.batch = batch
        carried.save(update_fields=["batch"])
        record(by, "product.carried", product, person=person.name, batch=batch and batch.number)
    return carried


@transaction.atomic
def leave(person_id: UUID, product_id: UUID, *, by: User) -> None:
    """Say that a technician no longer has a product in the van. Safe to say twice.

    Raises ``NotAllowed`` for anybody but the office and the technician.
    """
    person = User.objects.get(pk=person_id)
    require_may_carry(by, person)
    product = Product.objects.get(pk=product_id)
    gone, _ = Carried.objects.filter(person=person, product=product).delete()
    if gone:
        record(by, "product.left", product, person=person.name)


def _batch_to_keep(batch_id: UUID) -> Batch:
    rows = Batch.objects.select_for_update(of=("self",)).select_related("product")
    return rows.get(pk=batch_id)


def _require_sound(batch: Batch) -> None:
    if not batch.number:
        _refuse("number", "Give the number that stands on the pack.")
    if batch.amount is None or batch.amount <= 0:
        _refuse("amount", "Say how much came in.")
    if batch.received_on > company_today():
        _refuse("received_on", "This day is still to come.")
    if batch.expires_on and batch.expires_on < batch.received_on:
        _refuse("expires_on", "It would have expired before it came in.")


def _refuse(field: str, sentence: str) -> None:
    raise Unusable(sentence, fields={field: [sentence]})
