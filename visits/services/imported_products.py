"""Products, label versions and batches as a spreadsheet brings them, written many at once.

The rules are those of ``services/products.py``, ``labels.py`` and ``stock.py``; each product that
is touched has its own entries on the trail, as if it had been typed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from accounts.models import User
from accounts.trail import record
from visits.models import Batch, LabelRate, Product, ProductLabel
from visits.services.labels import differences, drafted, words_to_find

ROWS_AT_ONCE = 500


@dataclass(slots=True)
class TakenIn:
    """A product as the file leaves it.

    ``label`` and ``rates`` are the version in force, None for a new product; ``facts`` what the
    label states after the file (``LabelFacts``); ``changed`` what changed of the product itself.
    """

    product: Product
    label: ProductLabel | None
    rates: list[LabelRate]
    facts: dict[str, Any]
    in_force_from: date
    changed: dict[str, list[Any]] = field(default_factory=dict)
    is_dirty: bool = False


def keep_taken_in(
    taken: Sequence[TakenIn], *, by: User | None, pest_names: Mapping[str, str]
) -> None:
    """Add and change products; whatever a label states anew is a new version.

    Belongs in the import's transaction. A few statements for each 500 products, and one entry on
    the trail for each change of one.
    """
    slugs = frozenset(pest_names)
    new_products: list[Product] = []
    old_products: list[Product] = []
    labels: list[ProductLabel] = []
    rates: list[LabelRate] = []
    entries: list[tuple[str, Product, dict[str, Any]]] = []
    for one in taken:
        product, before = one.product, one.label
        changed = differences(before, one.rates, one.facts) if before else {}
        if before is None or changed:
            label, lines = drafted(product, one.facts, pests=slugs)
            label.number = before.number + 1 if before else 1
            label.in_force_from, label.entered_by = one.in_force_from, by
            if before is not None:
                # A file goes along unless the day of its paper changed, as for a typed version.
                label.label_file_id = None if "issued_on" in changed else before.label_file_id
                newer_sheet = "safety_data_sheet_on" in changed
                label.sheet_file_id = None if newer_sheet else before.sheet_file_id
            labels.append(label)
            rates += lines
            product.label = label
        product.found_by = words_to_find(product, product.label, pest_names)
        (old_products if before else new_products).append(product)
        if before is None:
            added = {"registration_number": product.registration_number, "label": one.facts}
            entries.append(("product.added", product, added))
            continue
        if one.changed:
            entries.append(("product.changed", product, {"changed": one.changed}))
        if changed:
            entered: dict[str, Any] = {
                "number": product.label.number,
                "in_force_from": one.in_force_from,
                "changed": changed,
                "papers": [],
            }
            entries.append(("label.entered", product, entered))
    Product.objects.bulk_create(new_products, batch_size=ROWS_AT_ONCE)
    ProductLabel.objects.bulk_create(labels, batch_size=ROWS_AT_ONCE)
    LabelRate.objects.bulk_create(rates, batch_size=ROWS_AT_ONCE)
    fields = ["authority", "formulation", "unit", "is_demo", "label", "found_by"]
    Product.objects.bulk_update(old_products, fields, batch_size=ROWS_AT_ONCE)
    for verb, product, told in entries:
        record(by, verb, product, **told)


def tell_of_batches(rows: Sequence[tuple[Batch, bool]], *, by: User | None) -> None:
    """One entry on the trail for each batch that a file added (True) or changed."""
    for batch, is_new in rows:
        told: dict[str, Any] = {
            "batch": batch.number,
            "amount": batch.amount,
            "unit": batch.product.unit,
        }
        if is_new:
            told |= {"received_on": batch.received_on, "expires_on": batch.expires_on}
        record(by, "batch.received" if is_new else "batch.changed", batch.product, **told)
