"""The price list as its page and the drafting of options read it."""

from django.db.models import Q, QuerySet

from compliance.models import Remedy

WANTED = {
    "": Q(ended_at=None),
    "unpriced": Q(ended_at=None, price=None),
    "ended": Q(ended_at__isnull=False),
    "all": Q(),
}


def remedies_listed(
    remedies: QuerySet[Remedy], *, state: str = "", holds: str = ""
) -> QuerySet[Remedy]:
    """Remedies as the list shows them: lasting work, labour, interim fixes. One query."""
    found = remedies.filter(WANTED[state])
    if holds:
        found = found.filter(holds=holds)
    return found.order_by("-holds", "name", "pk")


def priced_remedies(remedies: QuerySet[Remedy], holds: str) -> QuerySet[Remedy]:
    """Those that can be chosen for a kind of work: on the list, with a price. One query."""
    return remedies.filter(ended_at=None, price__isnull=False, holds=holds).order_by("name", "pk")
