"""The register of products. What a label states stands in its versions (``services/labels.py``)."""

from collections.abc import Mapping
from datetime import date
from typing import Any, TypedDict, Unpack
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import WrongState
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from sites.media import CleanFile
from visits.access import require_may_keep_products
from visits.models import Batch, Product, ProductLabel, Treatment
from visits.services.labels import (
    LabelFacts,
    Papers,
    clean_papers,
    drafted,
    keep_label,
    keep_papers,
    require_begun,
    require_sound,
    words_to_find,
)


class ProductFacts(TypedDict, total=False):
    """What stays the same from one version of the label to the next."""

    name: str
    registration_number: str
    authority: str
    formulation: str
    unit: str
    is_demo: bool


def add_product(
    *,
    by: User,
    label: LabelFacts | None = None,
    in_force_from: date | None = None,
    papers: Papers | None = None,
    **facts: Unpack[ProductFacts],
) -> Product:
    """Put a product on the register, with the first version of its label.

    The version is in force from today unless another day is given. Raises ``NotAllowed``,
    ``Taken`` for a name that has this registration number already, or ``Unusable``. Files are
    looked at before the transaction.
    """
    require_may_keep_products(by)
    return _add(by, label or {}, in_force_from, clean_papers(papers), facts)


@transaction.atomic
def _add(
    by: User,
    stated: LabelFacts,
    in_force_from: date | None,
    files: Mapping[str, CleanFile],
    facts: ProductFacts,
) -> Product:
    product = Product(**facts)
    version, rates = drafted(product, stated)
    version.number, version.entered_by = 1, by
    version.in_force_from = in_force_from or timezone.now().date()
    require_begun(version.in_force_from)
    product.label, product.found_by = version, words_to_find(product, version)
    # The two name each other; the database looks at that when the transaction ends.
    keep_new(product)
    keep_label(version, rates)
    kept = keep_papers(version, files, by)
    record(
        by,
        "product.added",
        product,
        registration_number=product.registration_number,
        label={**stated},
        papers=kept,
    )
    return product


@transaction.atomic
def change_product(
    product_id: UUID, *, by: User, seen: str = "", **facts: Unpack[ProductFacts]
) -> Product:
    """Change what is the same for every version; treatments keep what they were recorded with.

    ``seen`` is the fingerprint of the same facts as they were shown; raises ``Changed`` if somebody
    else wrote since, ``NotAllowed``, ``Taken``, ``Unusable``, or ``WrongState`` once withdrawn and
    for another unit than the one that records and batches were counted in.
    """
    require_may_keep_products(by)
    product = Product.objects.select_for_update(of=("self",)).get(pk=product_id)
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn; it stays as it was used.")
    _require_same_unit(product, facts)
    changed = keep_changes(product, facts, seen=seen)
    if changed:
        version = ProductLabel.objects.get(pk=product.label_id)
        version.product = product
        require_sound(version, list(version.rates.order_by("position")))
        product.found_by = words_to_find(product, version)
        product.save(update_fields=["found_by"])
        record(by, "product.changed", product, changed=changed)
    return product


def _require_same_unit(product: Product, facts: Mapping[str, Any]) -> None:
    """Amounts on file are in the product's own unit, and mean nothing in another."""
    if facts.get("unit", product.unit) == product.unit:
        return
    used = Treatment.objects.filter(product=product).exists()
    if used or Batch.objects.filter(product=product).exists():
        raise WrongState(
            f"Treatments or batches of {product} are on file in {product.get_unit_display()}. "
            "Put a product that is measured otherwise on the register beside it.",
            field="unit",
        )


@transaction.atomic
def withdraw_product(product_id: UUID, *, by: User, on: date, reason: str) -> Product:
    """Take a product out of use from a day on; what was recorded with it stays.

    Raises ``NotAllowed``, or ``WrongState`` if it was withdrawn before.
    """
    require_may_keep_products(by)
    product = Product.objects.select_for_update(of=("self",)).get(pk=product_id)
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn before.", withdrawn_on=product.withdrawn_on)
    product.withdrawn_on = on
    product.save(update_fields=["withdrawn_on"])
    record(by, "product.withdrawn", product, on=on, reason=reason)
    return product
