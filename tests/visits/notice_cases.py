"""Applications, and what the server finds against them, for the phone's copy of the checks.

``python -m tests.visits.notice_cases`` writes tests/js/notice-cases.json anew. Invented labels.
"""

import json
import os
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import django

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()

from tests.visits.dose_cases import without_ids
from visits.dosing.allowance import Applied
from visits.dosing.notices import Planned, notices, within_of
from visits.dosing.units import Quantity
from visits.dosing.vocabulary import SURFACES, ZONE_KINDS
from visits.models import LabelRate, Product, ProductLabel
from visits.queries.labels import pure_label, pure_rate
from visits.queries.treating import label_facts

CASES = Path(__file__).parents[1] / "js" / "notice-cases.json"
ON = date(2026, 12, 8)

Facts = dict[str, Any]
LABELS: dict[str, tuple[str, str, Facts, list[Facts]]] = {
    "gel": (
        "gel",
        "g",
        {
            "pests": ["german-cockroach"],
            "pest_groups": ["ant"],
            "places": ["food_premises", "voids"],
            "methods": ["gel"],
            "interval_days": 14,
            "most_a_year": 4,
            "safety_data_sheet_on": date(2024, 5, 1),
            "authorised_until": date(2028, 12, 31),
            "ready_to_use": True,
        },
        [{"per": "point", "least": "0.2", "most": "0.5", "unit": "g", "per_unit": "points"}],
    ),
    "spray": (
        "liquid",
        "ml",
        {
            "pest_groups": ["cockroach", "fly"],
            "places": ["outdoors", "indoors"],
            "methods": ["spray", "edge_spray"],
            "most_a_year": 1,
            "wind_most_kmh": Decimal("12.5"),
            "safety_data_sheet_on": date(2016, 2, 29),
            "authorised_until": date(2026, 12, 7),
        },
        [
            {
                "per": "area",
                "most": "0.5",
                "unit": "ml",
                "per_unit": "m2",
                "methods": ["edge_spray"],
                "places": ["outdoors"],
            }
        ],
    ),
    "bait": (
        "bait_block",
        "g",
        {"pest_groups": ["rodent"], "places": ["stations", "indoors"], "methods": ["bait_station"]},
        [{"per": "point", "most": "60", "unit": "g", "per_unit": "points"}],
    ),
    "foam": (
        "aerosol",
        "ml",
        {"places": ["voids", "outdoors", "drains"], "ready_to_use": True},
        [],
    ),
    "nothing said": ("other", "g", {}, []),
}
PESTS = (("german-cockroach", "cockroach"), ("garden-ant", "ant"), ("house-mouse", "rodent"))
METHODS = ("gel", "edge_spray", "bait_station")
DAYS = (
    [],
    ["2026-12-08"],
    ["2026-11-25", "2026-11-25"],
    ["2026-11-24"],
    ["2025-12-08", "2025-12-09", "2026-03-01", "2026-06-01", "2026-09-01"],
)
WINDS = ("", "8", "12.5", "12,6", "20", "much")
AMOUNTS = (("1", "g"), ("2", "g"), ("5", "g"), ("5.01", "g"), ("3", "ml"), ("100", "ml"))
MEASURES = (("10", "points"), ("20", "m2"))
EVERY = 7


def label_of(name: str) -> tuple[ProductLabel, list[LabelRate]]:
    """One of ``LABELS`` as the register would hold it, not saved."""
    formulation, unit, facts, lines = LABELS[name]
    product = Product(name=f"Demo {name}", formulation=formulation, unit=unit)
    label = ProductLabel(product=product, number=1, **facts)
    decimal = ("least", "most")
    rates = [
        LabelRate(
            label=label,
            position=position,
            per_amount=Decimal(1),
            **{key: Decimal(value) if key in decimal else value for key, value in line.items()},
        )
        for position, line in enumerate(lines, start=1)
    ]
    return label, rates


def notice_cases() -> str:
    """All cases as JSON, one on a line; places, pests, methods, days and amounts take turns."""
    products, cases = {}, []
    for name in LABELS:
        label, rates = label_of(name)
        products[name] = {
            "name": label.product.name,
            "formulation": label.product.formulation,
            "label": without_ids(label_facts(label, rates)),
        }
        places = [(kind, surface) for kind in ZONE_KINDS for surface in ("", *SURFACES)]
        for turn, (kind, surface) in enumerate(places[len(cases) % EVERY :: EVERY]):
            cases.append(_case(name, label, rates, turn, kind, surface))
    return f'{{"products": {json.dumps(products)},\n"cases": [\n{_lines(cases)}\n]}}\n'


def _case(
    name: str, label: ProductLabel, rates: list[LabelRate], turn: int, kind: str, surface: str
) -> Facts:
    pest, group = PESTS[turn % len(PESTS)]
    days = DAYS[turn % len(DAYS)]
    wind = WINDS[turn % len(WINDS)]
    nth = turn % (len(rates) + 1)
    licensed = (True, False, None)[turn % 4 % 3]
    asked = {
        "on": str(ON),
        "zone_kind": kind,
        "surface": surface,
        "pest": pest,
        "pest_group": group,
        "method": METHODS[turn // 2 % len(METHODS)],
        "outdoors": turn % 5 == 0,
        "boundary": "outside" if turn % 11 == 0 else "within",
        "wind": wind,
        "licensed": licensed,
    }
    measure, amount = MEASURES[turn // 4 % len(MEASURES)], AMOUNTS[turn // 2 % len(AMOUNTS)]
    planned = Planned(
        on=ON,
        zone_kind=kind,
        within=within_of(surface, kind),
        pest=pest,
        pest_group=group,
        method=str(asked["method"]),
        outdoors=bool(asked["outdoors"]),
        measure=Quantity(Fraction(measure[0]), measure[1]),
        amount=Quantity(Fraction(amount[0]), amount[1]),
        line=pure_rate(rates[nth]) if nth < len(rates) else None,
        wind_kmh=None if wind in ("", "much") else Fraction(wind.replace(",", ".")),
        licensed=licensed,
        boundary=str(asked["boundary"]),
    )
    found = notices(
        planned,
        pure_label(label, rates),
        applied=[Applied(date.fromisoformat(day)) for day in days],
    )
    # Of which pest is usual where the server tells the phone.
    return {
        "product": name,
        "planned": asked,
        "rate": nth if nth < len(rates) else None,
        "measure": measure,
        "amount": amount,
        "days": days,
        "unusual": any(one.code == "unusual_find" for one in found),
        "found": [[one.code, one.forbidden, one.words] for one in found],
    }


def _lines(rows: list[Facts]) -> str:
    return ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows)


if __name__ == "__main__":
    CASES.write_text(notice_cases(), encoding="utf-8")
