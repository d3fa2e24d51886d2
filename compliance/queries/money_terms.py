"""The money terms in force."""

from decimal import Decimal

from compliance.models import MoneyTerms

USUAL_YEARS = 5
USUAL_TERMS = (USUAL_YEARS, Decimal(0), Decimal(0))
"""What holds until the office has set terms: five years, neither interest nor growing prices."""


def terms_in_force() -> tuple[int, Decimal, Decimal]:
    """Years, interest and price growth a year as fractions. One query."""
    last = (
        MoneyTerms.objects.order_by("-set_at", "-pk")
        .values_list("years", "yearly_rate", "yearly_growth")
        .first()
    )
    return last or USUAL_TERMS
