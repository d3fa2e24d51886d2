"""The demo company's price list: the usual remedies with invented prices."""

from dataclasses import fields
from decimal import Decimal

from accounts.models import User
from compliance.models import Remedy
from compliance.services.remedies import RemedyGiven, change_remedy, load_usual_remedies

# Invented, from nobody's books: lowest, likely and highest for one, or one price.
PRICES: dict[str, tuple[str, ...]] = {
    "labour-hour": ("46",),
    "sealant-bead": ("2.40", "3.20", "4.60"),
    "mesh-and-cement": ("11", "14", "22"),
    "pipe-collar": ("9", "12", "18"),
    "bristle-strip": ("34",),
    "base-plate": ("72", "85", "110"),
    "door-closer": ("58", "74", "120"),
    "insect-screen": ("38", "46", "60"),
    "ceiling-tile": ("9", "12", "19"),
    "brickwork": ("90", "130", "210"),
    "drain-grating": ("24", "31", "45"),
    "wool-plug": ("3.50",),
    "rodent-station": ("19",),
    "sticky-traps": ("4.20",),
}


def price_list(*, by: User) -> None:
    """The usual remedies, priced; one of them still waits for its price."""
    load_usual_remedies(by=by)
    for remedy in Remedy.objects.filter(slug__in=PRICES):
        facts = {one.name: getattr(remedy, one.name) for one in fields(RemedyGiven)}
        prices = [Decimal(one) for one in PRICES[remedy.slug]]
        if len(prices) == 1:
            facts |= {"price": prices[0]}
        else:
            facts |= dict(zip(("price_low", "price", "price_high"), prices, strict=True))
        change_remedy(remedy.pk, RemedyGiven(**facts), by=by)
