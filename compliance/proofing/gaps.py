"""How wide a gap may be left, by the pest that is to be kept out. All widths in millimetres."""

from dataclasses import dataclass
from decimal import Decimal

MOUSE, RAT, OTHER = "mouse", "rat", "other"

# A house mouse passes any opening over 1/4 inch (6.35 mm), a rat any over 1/2 inch (12.7 mm):
# Internet Center for Wildlife Damage Management, "Rodent Exclusion Methods". One page of the
# University of Nebraska gives 3/8 inch for a grown mouse; young ones pass less, so 6 mm stands.
# Rounded down to whole millimetres, as a rule on a technician's folding rule.
WIDEST_MM = {MOUSE: Decimal(6), RAT: Decimal(12)}

_KEPT_OUT = {MOUSE: "mice", RAT: "rats"}
_RODENTS = {"house-mouse": MOUSE, "brown-rat": RAT, "black-rat": RAT}


@dataclass(frozen=True, slots=True)
class Limit:
    """How wide a gap may be left, and whom that keeps out: ``mice`` or ``rats``."""

    widest_mm: Decimal
    kept_out: str


def risk_from(pest_slug: str) -> str | None:
    """The risk that a found pest stands for; None for one that no gap keeps out by its width."""
    return _RODENTS.get(pest_slug)


def limit_of(*risks: str | None) -> Limit | None:
    """The narrowest limit of these risks; None where none of them is a rodent's."""
    limits = [(WIDEST_MM[risk], _KEPT_OUT[risk]) for risk in risks if risk in WIDEST_MM]
    return Limit(*min(limits)) if limits else None


def too_wide(after_mm: Decimal, *risks: str | None) -> Limit | None:
    """The limit that a gap of so many millimetres breaks; None where it is narrow enough."""
    limit = limit_of(*risks)
    return limit if limit and after_mm > limit.widest_mm else None


def in_words(width_mm: Decimal) -> str:
    """A width as people read it: "6 mm", "12.5 mm"."""
    return f"{width_mm.normalize():f} mm"
