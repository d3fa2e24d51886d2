"""A price list for tests."""

from decimal import Decimal
from itertools import count
from typing import Any

from accounts.models import User
from compliance.models import Remedy
from compliance.services.remedies import RemedyGiven, add_remedy
from tests.builders.accounts import make_office

_numbers = count(1)


def make_remedy(*, by: User | None = None, **fields: Any) -> Remedy:
    """Mesh and cement in a hole, at 12 (9 to 16) and 40 minutes, that lasts 15 years (10 to 25).

    Ranges are left out where another price or life is given without them.
    """
    n = next(_numbers)
    facts = {
        "name": f"Mesh and cement {n}",
        "unit": Remedy.Unit.HOLE,
        "holds": Remedy.Holds.LASTING,
        "basis": "Our own experience.",
        "minutes": 40,
        "cautions": f"Gloves against cement {n}.",
        "finding_kinds": ["entry_point"],
        "remedy_kinds": ["proofing"],
    }
    if "price" not in fields:
        facts |= {"price": Decimal(12), "price_low": Decimal(9), "price_high": Decimal(16)}
    if "life_years" not in fields:
        facts |= {"life_years": 15, "life_years_low": 10, "life_years_high": 25}
    return add_remedy(RemedyGiven(**{**facts, **fields}), by=by or make_office())


def make_labour(price: str = "45", *, by: User | None = None) -> Remedy:
    """An hour of labour."""
    return make_remedy(
        by=by,
        name="Labour",
        unit=Remedy.Unit.HOUR,
        holds=Remedy.Holds.LABOUR,
        price=Decimal(price),
        life_years=None,
        minutes=0,
        cautions="",
    )
