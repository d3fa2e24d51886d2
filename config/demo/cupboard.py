"""The products of the demo: invented names, numbers and label rates around real active ingredients.

None of it is dosing advice; every page says so of a product marked as demo.
"""

from datetime import date, timedelta

from accounts.models import User
from visits.models import Product
from visits.services.products import add_product

_Form, _Unit = Product.Formulation, Product.Unit
INVENTED = "Invented for demonstration: never to be used as dosing advice."

# name, formulation, actives, unit, places, pests, cautions, re-entry
_LABELS = (
    (
        "Demo gel 0.5",
        _Form.GEL,
        "indoxacarb 5 g/kg",
        _Unit.GRAM,
        "Cracks, hinges and voids indoors, away from food and heat. 0.2 g a point (invented).",
        "Cockroaches",
        "Never on surfaces that food touches. Keep from children and animals.",
        "At once; keep off the points.",
    ),
    (
        "Demo dust P",
        _Form.DUST,
        "permethrin 5 g/kg",
        _Unit.GRAM,
        "Closed voids and pipe chases. 2 g/m², a barely visible film (invented).",
        "Crawling insects",
        "Voids only. Close light fittings and vents first. Fans off.",
        "After the dust has settled and the void is closed: 1 hour.",
    ),
    (
        "Demo spray L",
        _Form.LIQUID,
        "lambda-cyhalothrin 10 g/l",
        _Unit.MILLILITRE,
        "Edges of floors and walls. 50 ml/m² of the ready mixture (invented).",
        "Crawling insects, flies at rest",
        "Never near live electrics, food or fish tanks.",
        "When dry and aired: 2 hours.",
    ),
    (
        "Demo bait block",
        _Form.BAIT_BLOCK,
        "difenacoum 0.05 g/kg",
        _Unit.GRAM,
        "Locked stations indoors and round buildings. 40 g a station (invented).",
        "Rats, mice",
        "Locked stations only, out of reach of children and animals. Collect dead rodents.",
        "At once.",
    ),
    (
        "Demo crack aerosol",
        _Form.AEROSOL,
        "cyphenothrin 1 g/kg",
        _Unit.MILLILITRE,
        "Cracks and crevices, one second a metre (invented).",
        "Cockroaches, ants",
        "Pilot lights and burners off. Air the room.",
        "When aired: 1 hour.",
    ),
    (
        "Demo fly paste",
        _Form.BAIT_PASTE,
        "spinosad 10 g/kg",
        _Unit.GRAM,
        "Bait points out of reach in waste areas. 2 g a point (invented).",
        "House flies",
        "Not where rain or people can reach it.",
        "At once; keep off the points.",
    ),
)


def stock(*, by: User, today: date) -> dict[str, Product]:
    """Put the products on the register; by name."""
    return {
        name: add_product(
            by=by,
            name=name,
            registration_number=f"DEMO-{number:04}",
            authority="none (invented)",
            formulation=formulation,
            actives=actives,
            unit=unit,
            permitted_places=places,
            permitted_pests=pests,
            cautions=f"{cautions}\n{INVENTED}",
            re_entry=re_entry,
            safety_data_sheet_on=today - timedelta(days=200),
            authorised_until=today + timedelta(days=700),
            is_demo=True,
        )
        for number, (name, formulation, actives, unit, places, pests, cautions, re_entry) in (
            enumerate(_LABELS, start=1)
        )
    }
