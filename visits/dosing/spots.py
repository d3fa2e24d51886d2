"""How many spots go along a length or over an area, and how much product they take.

The fence-post rule: spots along a skirting begin at one end and stand at the spacing, and both ends
count, so that 24 ft at 1 ft are 25 spots. Round a closed line (a column, a pallet) the last meets
the first, and one fewer is counted. What is left over at the end gets no spot of its own: spots
never come closer than the label says, nor denser over an area.
"""

from fractions import Fraction

from visits.dosing.units import DosingError, Kind, Quantity, UnitError, exact, kind_of, kinds_differ


class SpotError(DosingError):
    """``field`` is ``length``, ``spacing``, ``area``, ``density``, ``spots`` or ``each``."""


def spots_along(length: Quantity, spacing: Quantity, *, closed: bool = False) -> int:
    """Spots along a length, at least one; ``closed`` where its end meets its beginning."""
    _positive(length, "length", ("length",), "m")
    _positive(spacing, "spacing", ("length",), "m")
    intervals = length.amount // spacing.to(length.unit).amount
    return max(1, intervals) if closed else intervals + 1


def spots_over(area: Quantity, spots: int, per: Quantity) -> int:
    """Spots over an area, at so many for so much of it: none where it is too small for one."""
    _positive(area, "area", ("area",), "m2")
    _positive(per, "density", ("area",), "m2")
    if _whole(spots, "density") < 1:
        raise SpotError("density", "Give at least one spot for an area.")
    return spots * area.amount // per.to(area.unit).amount


def product_for_spots(spots: int, each: Quantity) -> Quantity:
    """What so many spots of one size take together."""
    _positive(each, "each", ("mass", "volume"), "g")
    if _whole(spots, "spots") < 0:
        raise SpotError("spots", "There cannot be fewer spots than none.")
    return Quantity(each.amount * spots, each.unit)


def spots_from(product: Quantity, each: Quantity) -> int:
    """Whole spots that an amount of product is enough for."""
    _positive(each, "each", ("mass", "volume"), "g")
    _positive(product, "product", (each.kind,), each.unit)
    return product.amount // each.to(product.unit).amount


def _whole(number: int, field: str) -> int:
    value = exact(number)
    if value.denominator > 1:
        raise SpotError(field, "Spots are counted: give a whole number.")
    return value.numerator


def _positive(quantity: Quantity, field: str, kinds: tuple[Kind, ...], like: str) -> None:
    try:
        kind = kind_of(quantity.unit)
    except UnitError as error:
        raise SpotError(field, str(error)) from error
    if kind not in kinds:
        raise SpotError(field, kinds_differ(quantity.unit, like))
    if quantity.amount <= Fraction(0):
        raise SpotError(field, "The amount must be above zero.")
