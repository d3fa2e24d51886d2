"""The products of the demo: invented names, numbers and label rates around real active ingredients.

None of it is dosing advice; every page says so of a product marked as demo.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, cast

from accounts.models import User
from visits.models import Batch, LabelRate, Product, ProductLabel
from visits.queries.stock import batches_reckoned, stand_of
from visits.services.labels import LabelFacts, RateFacts, enter_label
from visits.services.products import add_product
from visits.services.stock import carry, count_batch, receive_batch

_Form, _Unit = Product.Formulation, Product.Unit
INVENTED = "Invented for demonstration: never to be used as dosing advice."

SINCE = 460
"""Days back: from before the first visit of the demo."""
RECEIVED = (455, 300, 160, 40)
"""Days back on which each product came in, the oldest first."""
NEW_GEL_LABEL = 120
"""Days back: since then the gel's second label is in force."""


@dataclass(frozen=True)
class DemoProduct:
    """A product with what its label states; days are counted from today."""

    name: str
    formulation: str
    unit: str
    label: Mapping[str, Any]
    cautions: Sequence[str]
    rates: Sequence[Mapping[str, Any]]
    batch: int
    authorised: int = 700
    sheet: int = 200
    carried: bool = True
    came_in: Sequence[int] = field(default=RECEIVED)


def _active(name: str, strength: str, basis: str) -> dict[str, str]:
    return {"name": name, "strength": strength, "basis": basis}


def _points(least: str | None, most: str, **more: Any) -> dict[str, Any]:
    return _rate("point", least, most, "g", "points", **more)


def _rate(
    per: str, least: str | None, most: str, unit: str, per_unit: str, **more: Any
) -> dict[str, Any]:
    return {
        "per": per,
        "least": None if least is None else Decimal(least),
        "most": Decimal(most),
        "unit": unit,
        "per_amount": Decimal(1),
        "per_unit": per_unit,
        **more,
    }


PRODUCTS = (
    DemoProduct(
        "Demo gel 0.5",
        _Form.GEL,
        _Unit.GRAM,
        {
            "actives": [_active("indoxacarb", "5", "g/kg")],
            "ready_to_use": True,
            "pest_groups": ["cockroach"],
            "permitted_pests": "Cockroaches",
            "places": ["indoors", "food_premises", "voids"],
            "permitted_places": "Cracks, hinges and voids indoors, away from food and heat.",
            "methods": ["gel", "crack_and_crevice"],
            "re_entry_minutes": 0,
            "re_entry": "At once; keep off the points.",
        },
        ("Never on surfaces that food touches.", "Keep from children and animals."),
        (_points("0.1", "0.25", words="0.1 to 0.25 g a point (invented)"),),
        batch=500,
    ),
    DemoProduct(
        "Demo dust P",
        _Form.DUST,
        _Unit.GRAM,
        {
            "actives": [_active("permethrin", "5", "g/kg")],
            "ready_to_use": True,
            "pest_groups": ["cockroach", "ant"],
            "permitted_pests": "Crawling insects",
            "places": ["indoors", "food_premises", "voids"],
            "permitted_places": "Closed voids and pipe chases.",
            "methods": ["dust_by_hand"],
            "most_a_year": 4,
            "re_entry_minutes": 60,
            "re_entry": "After the dust has settled and the void is closed: 1 hour.",
        },
        ("Voids only.", "Close light fittings and vents first.", "Fans off."),
        (
            _rate("area", "1", "2.5", "g", "m2", words="A barely visible film (invented)"),
            _rate("void", None, "5", "g", "m3"),
        ),
        batch=1000,
    ),
    DemoProduct(
        "Demo spray L",
        _Form.LIQUID,
        _Unit.MILLILITRE,
        {
            "actives": [_active("lambda-cyhalothrin", "10", "g/l")],
            "density": Decimal("1.02"),
            "pest_groups": ["cockroach", "ant", "fly"],
            "permitted_pests": "Crawling insects, flies at rest",
            "places": ["indoors", "food_premises", "outdoors"],
            "permitted_places": "Edges of floors and walls; outside walls.",
            "methods": ["spray", "edge_spray", "spot", "crack_and_crevice"],
            "interval_days": 14,
            "most_a_year": 6,
            "wind_most_kmh": Decimal(15),
            "names_weather": True,
            "re_entry_minutes": 120,
            "re_entry": "When dry and aired: 2 hours.",
        },
        ("Never near live electrics, food or fish tanks.",),
        (
            _rate(
                "finished",
                "5",
                "10",
                "ml",
                "l",
                cover_amount=Decimal(5),
                cover_unit="l",
                cover_per_amount=Decimal(100),
                cover_per_unit="m2",
                words="5 to 10 ml in a litre, 5 l over 100 m² (invented)",
            ),
        ),
        batch=2000,
    ),
    DemoProduct(
        "Demo bait block",
        _Form.BAIT_BLOCK,
        _Unit.GRAM,
        {
            "actives": [_active("difenacoum", "0.05", "g/kg")],
            "ready_to_use": True,
            "pests": ["house-mouse", "brown-rat"],
            "permitted_pests": "House mice and brown rats",
            "places": ["indoors", "food_premises", "outdoors", "stations"],
            "permitted_places": "Locked stations indoors and round buildings.",
            "methods": ["bait_station"],
            "re_entry_minutes": 0,
            "re_entry": "At once.",
        },
        (
            "Locked stations only, out of reach of children and animals.",
            "Collect dead rodents.",
        ),
        (_points("20", "40", words="20 to 40 g a station (invented)"),),
        batch=5000,
    ),
    DemoProduct(
        "Demo crack aerosol",
        _Form.AEROSOL,
        _Unit.MILLILITRE,
        {
            "actives": [_active("cyphenothrin", "1", "g/kg")],
            "density": Decimal("0.75"),
            "ready_to_use": True,
            "pest_groups": ["cockroach", "ant"],
            "permitted_pests": "Cockroaches, ants",
            "places": ["indoors", "food_premises", "voids"],
            "permitted_places": "Cracks and crevices.",
            "methods": ["crack_and_crevice"],
            "interval_days": 7,
            "re_entry_minutes": 60,
            "re_entry": "When aired: 1 hour.",
        },
        ("Pilot lights and burners off.", "Air the room."),
        (_rate("length", None, "6", "ml", "m", words="One second a metre (invented)"),),
        batch=1200,
        authorised=-20,
        sheet=2100,
        carried=False,
        came_in=(300,),
    ),
    DemoProduct(
        "Demo fly paste",
        _Form.BAIT_PASTE,
        _Unit.GRAM,
        {
            "actives": [_active("spinosad", "10", "g/kg")],
            "ready_to_use": True,
            "pest_groups": ["fly"],
            "permitted_pests": "House flies",
            "places": ["indoors", "food_premises", "outdoors"],
            "permitted_places": "Bait points out of reach in waste areas.",
            "methods": ["spot"],
            "re_entry_minutes": 0,
            "re_entry": "At once; keep off the points.",
        },
        ("Not where rain or people can reach it.",),
        (_points("1", "2", words="1 to 2 g a point (invented)"),),
        batch=1500,
        authorised=45,
    ),
)


def stock(*, by: User, today: date, technicians: Sequence[User] = ()) -> dict[str, Product]:
    """Put the products on the register, their batches in the store and into the vans; by name."""
    products = {
        one.name: _added(number, one, by, today) for number, one in enumerate(PRODUCTS, start=1)
    }
    gel = products["Demo gel 0.5"]
    enter_label(
        gel.pk,
        by=by,
        in_force_from=today - timedelta(days=NEW_GEL_LABEL),
        issued_on=today - timedelta(days=NEW_GEL_LABEL + 20),
        cautions="\n".join((*PRODUCTS[0].cautions, "Wear gloves.", INVENTED)),
        rates=[cast(RateFacts, _points("0.1", "0.2", words="0.1 to 0.2 g a point (invented)"))],
    )
    gel.refresh_from_db()
    for person in technicians:
        for one in PRODUCTS:
            if one.carried:
                newest = products[one.name].batches.latest("received_on")
                carry(person.pk, products[one.name].pk, by=by, batch_id=newest.pk)
    return products


def _added(number: int, one: DemoProduct, by: User, today: date) -> Product:
    label = {
        **one.label,
        "cautions": "\n".join((*one.cautions, INVENTED)),
        "rates": list(one.rates),
        "issued_on": today - timedelta(days=SINCE + 60),
        "safety_data_sheet_on": today - timedelta(days=one.sheet),
        "authorised_until": today + timedelta(days=one.authorised),
    }
    product = add_product(
        by=by,
        name=one.name,
        registration_number=f"DEMO-{number:04}",
        authority="none (invented)",
        formulation=one.formulation,
        unit=one.unit,
        is_demo=True,
        in_force_from=today - timedelta(days=SINCE),
        label=cast(LabelFacts, label),
    )
    for ago in one.came_in:
        received = today - timedelta(days=ago)
        receive_batch(
            product.pk,
            by=by,
            number=f"DEMO{number}{ago:03}",
            received_on=received,
            amount=Decimal(one.batch),
            expires_on=received + timedelta(days=3 * 365 if ago < 400 else 500),
        )
    return product


class Shelf:
    """What the demo's hands need to know of the cupboard, looked up once."""

    def __init__(self) -> None:
        self._batches: dict[str, list[Batch]] = {}
        for batch in Batch.objects.select_related("product").order_by("received_on", "pk"):
            self._batches.setdefault(batch.product.name, []).append(batch)
        self._labels: dict[str, list[ProductLabel]] = {}
        labels = ProductLabel.objects.select_related("product").prefetch_related("rates")
        for label in labels.order_by("number"):
            self._labels.setdefault(label.product.name, []).append(label)

    def batch(self, name: str, day: date, draw: int) -> str:
        """The number of a pack that was open on a day: one of the two that came in last."""
        there = [one for one in self._batches[name] if one.received_on <= day]
        return there[-2:][draw % len(there[-2:])].number if there else ""

    def label(self, name: str, day: date) -> ProductLabel:
        """The version in force on a day."""
        begun = [one for one in self._labels[name] if one.in_force_from <= day]
        return begun[-1] if begun else self._labels[name][0]

    def rate(self, label: ProductLabel, per_unit: str) -> LabelRate | None:
        """The first line of a version for places that are measured so."""
        rates = sorted(label.rates.all(), key=lambda one: one.position)
        return next((one for one in rates if one.per_unit == per_unit), None)


def count_up(*, by: User, today: date) -> None:
    """Count what is left once the past is told: all as it should be but one pack of bait."""
    rows = batches_reckoned(Batch.objects.select_related("product").order_by("pk"))
    for batch in rows:
        left = stand_of(batch, today).left
        short = Decimal(400) if batch.number == "DEMO4160" else Decimal(0)
        count_batch(
            batch.pk,
            by=by,
            counted_on=today,
            amount=round(max(left - short, Decimal(0)), 2),
            note="The yearly count of the store (invented).",
        )
