"""The register of products: what each label says, in short. The label itself comes first."""

from datetime import date
from typing import TypedDict, Unpack
from uuid import UUID

from django.db import transaction

from accounts.models import User
from accounts.refusals import WrongState
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from visits.access import require_may_keep_products
from visits.models import Product


class ProductFacts(TypedDict, total=False):
    """What a label says of a product."""

    name: str
    registration_number: str
    authority: str
    formulation: str
    actives: str
    unit: str
    permitted_places: str
    permitted_pests: str
    cautions: str
    re_entry: str
    safety_data_sheet_on: date | None
    authorised_until: date | None
    is_demo: bool


@transaction.atomic
def add_product(*, by: User, **facts: Unpack[ProductFacts]) -> Product:
    """Put a product on the register.

    Raises ``NotAllowed``, ``Taken`` for a name that has this registration number already, or
    ``Unusable``.
    """
    require_may_keep_products(by)
    product = Product(**facts)
    keep_new(product)
    record(by, "product.added", product, registration_number=product.registration_number)
    return product


@transaction.atomic
def change_product(
    product_id: UUID, *, by: User, seen: str = "", **facts: Unpack[ProductFacts]
) -> Product:
    """Change what the register says of a product; treatments keep what they were recorded with.

    ``seen`` is the fingerprint of the same facts as they were shown; raises ``Changed`` if somebody
    else wrote since, ``NotAllowed``, ``Taken``, ``Unusable``, or ``WrongState`` once withdrawn.
    """
    require_may_keep_products(by)
    product = Product.objects.select_for_update().get(pk=product_id)
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn; it stays as it was used.")
    changed = keep_changes(product, facts, seen=seen)
    if changed:
        record(by, "product.changed", product, changed=changed)
    return product


@transaction.atomic
def withdraw_product(product_id: UUID, *, by: User, on: date, reason: str) -> Product:
    """Take a product out of use from a day on; what was recorded with it stays.

    Raises ``NotAllowed``, or ``WrongState`` if it was withdrawn before.
    """
    require_may_keep_products(by)
    product = Product.objects.select_for_update().get(pk=product_id)
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn before.", withdrawn_on=product.withdrawn_on)
    product.withdrawn_on = on
    product.save(update_fields=["withdrawn_on"])
    record(by, "product.withdrawn", product, on=on, reason=reason)
    return product
