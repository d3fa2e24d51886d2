"""How amounts on file are written on pages."""

from decimal import Decimal

from django import template

from visits.queries.stock import plain

register = template.Library()


@register.filter
def plain_amount(amount: Decimal | None) -> str:
    """A figure without the zeros that a column adds; nothing for none."""
    return "" if amount is None else plain(amount).replace("-", "−")
