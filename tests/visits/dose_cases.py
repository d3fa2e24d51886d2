"""Labels, measures and amounts, and what the server's sums say of them, for the phone's copy.

``python -m tests.visits.dose_cases`` writes tests/js/dose-cases.json anew. The labels are invented.
"""

import json
import os
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import django

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()

from visits.dosing.doses import dose, use
from visits.dosing.label import Label, RateLine
from visits.dosing.showing import (
    measured_out,
    shown,
    shown_most,
    shown_range,
    shown_share,
    typed_quantity,
)
from visits.dosing.units import UNITS_OF, DosingError, Quantity, convert, read_number
from visits.models import LabelRate, Product, ProductLabel
from visits.queries.labels import pure_label, pure_rate
from visits.queries.treating import exact_text, label_facts

CASES = Path(__file__).parents[1] / "js" / "dose-cases.json"

GEL = {"name": "indoxacarb", "strength": "0.6", "basis": "w/w"}
LIQUID = {"name": "deltamethrin", "strength": "25", "basis": "g/l"}
POWDER = {"name": "bendiocarb", "strength": "75", "basis": "w/w"}
DUST = {"name": "diatomaceous earth", "strength": "100", "basis": "w/w"}

# formulation, unit, other facts of the label, actives, and its lines of rates
LABELS: dict[str, tuple[str, str, dict[str, Any], list[dict[str, str]], list[dict[str, Any]]]] = {
    "gel by spots": (
        "gel",
        "g",
        {"ready_to_use": True},
        [GEL],
        [
            {"per": "point", "least": "0.2", "most": "0.5", "unit": "g", "per_unit": "points"},
            {"per": "area", "most": "2", "unit": "g", "per_unit": "m2", "methods": ["spot"]},
        ],
    ),
    "concentrate over an area": (
        "liquid",
        "ml",
        {},
        [LIQUID],
        [
            {
                "per": "area",
                "least": "0.3",
                "most": "0.5",
                "unit": "ml",
                "per_unit": "m2",
                "cover": ("40", "ml", "1", "m2"),
            },
            {
                "per": "finished",
                "most": "10",
                "unit": "ml",
                "per_unit": "l",
                "least": "5",
                "cover": ("5", "l", "40", "m2"),
            },
            {"per": "finished", "most": "1", "unit": "us_fl_oz", "per_unit": "us_gal"},
        ],
    ),
    "powder by its active": (
        "other",
        "g",
        {},
        [POWDER],
        [
            {
                "per": "area",
                "of": "active",
                "most": "2",
                "unit": "g",
                "per_unit": "m2",
                "cover": ("40", "ml", "1", "m2"),
            }
        ],
    ),
    "dust in the United States": (
        "dust",
        "g",
        {"ready_to_use": True},
        [DUST],
        [
            {
                "per": "area",
                "least": "1",
                "most": "2",
                "unit": "oz",
                "per_amount": "100",
                "per_unit": "ft2",
            },
            {"per": "void", "most": "0.4", "unit": "lb", "per_amount": "1000", "per_unit": "ft3"},
        ],
    ),
    "aerosol along a crack, with its density": (
        "aerosol",
        "ml",
        {"ready_to_use": True, "density": Decimal("0.8")},
        [],
        [{"per": "length", "most": "3", "unit": "ml", "per_unit": "m"}],
    ),
    "in imperial gallons": (
        "liquid",
        "ml",
        {},
        [LIQUID],
        [
            {
                "per": "finished",
                "most": "2",
                "unit": "imp_fl_oz",
                "per_amount": "1",
                "per_unit": "imp_gal",
                "cover": ("1", "imp_gal", "1000", "ft2"),
            }
        ],
    ),
    "least hardly below the most": (
        "granule",
        "g",
        {"ready_to_use": True},
        [DUST],
        [
            {"per": "area", "least": "2.496", "most": "2.504", "unit": "g", "per_unit": "m2"},
            {"per": "length", "least": "3", "most": "3", "unit": "g", "per_unit": "m"},
        ],
    ),
    "rate that needs a density": (
        "liquid",
        "ml",
        {},
        [POWDER],
        [{"per": "area", "of": "active", "most": "2", "unit": "g", "per_unit": "m2"}],
    ),
}

MEASURES = (
    ("10", "points"),
    ("1", "points"),
    ("1.5", "points"),
    ("0", "m2"),
    ("12.5", "m2"),
    ("40", "m2"),
    ("130", "ft2"),
    ("7", "yd2"),
    ("18", "m"),
    ("33.3", "ft"),
    ("60", "m3"),
    ("900", "ft3"),
    ("5", "l"),
    ("2", "us_gal"),
    ("1", "imp_gal"),
    ("250", "ml"),
    ("3", "kg"),
    ("4", "oz"),
    ("1", ""),
    ("1", "cubit"),
)
AMOUNTS = (
    ("2.5", "g"),
    ("5", "g"),
    ("5.0001", "g"),
    ("0.05", "kg"),
    ("6.25", "ml"),
    ("12", "ml"),
    ("0.5", "l"),
    ("1", "us_fl_oz"),
    ("2", "imp_fl_oz"),
    ("3", "oz"),
    ("1", "lb"),
    ("0", "g"),
    ("10", "m2"),
    ("1", ""),
)
TYPED = (
    "12.5",
    "12,5",
    "0,625",
    ".5",
    "5.",
    " 7 ",
    "007",
    "1,234",
    "1,234.5",
    "1.234.5",
    "1.234",
    "0,250",
    "",
    "  ",
    "-3",
    "−3",
    "5 g",
    "1/2",
    "1e3",
    "١٢",
    "1 234",
    "0",
    "123456789012345678901",
)
AMOUNTS_SHOWN = (
    ("0.009", "g"),
    ("999.6", "mg"),
    ("1000", "ml"),
    ("12345.678", "g"),
    ("2/3", "l"),
    ("0.156", "us_gal"),
    ("20", "us_fl_oz"),
    ("0.4", "lb"),
    ("0", "ml"),
    ("1", "points"),
    ("12", "points"),
    ("0.0625", "kg"),
    ("0.1", "imp_gal"),
    ("3.14159", "m2"),
)


def label_of(name: str) -> tuple[ProductLabel, list[LabelRate]]:
    """One of ``LABELS`` as the register would hold it, not saved."""
    formulation, unit, more, actives, lines = LABELS[name]
    product = Product(name=name, formulation=formulation, unit=unit)
    label = ProductLabel(product=product, number=1, actives=actives, **more)
    rates = []
    for position, line in enumerate(lines, start=1):
        facts = dict(line)
        cover = facts.pop("cover", None)
        if cover:
            names = ("cover_amount", "cover_unit", "cover_per_amount", "cover_per_unit")
            facts |= dict(zip(names, cover, strict=True))
        for key in ("least", "most", "per_amount", "cover_amount", "cover_per_amount"):
            if key in facts:
                facts[key] = Decimal(facts[key])
        rates.append(
            LabelRate(label=label, position=position, **{"per_amount": Decimal(1), **facts})
        )
    return label, rates


def dose_cases() -> str:
    """All cases as JSON, one on a line."""
    labels, doses, uses = {}, [], []
    for name in LABELS:
        label, rates = label_of(name)
        labels[name] = without_ids(label_facts(label, rates))
        pure = pure_label(label, rates)
        for nth, rate in enumerate(rates):
            line = pure_rate(rate)
            for measure in MEASURES:
                asked = {"label": name, "rate": nth, "measure": measure}
                doses.append({**asked, **_told(_dose, line, pure, _quantity(*measure))})
            fitting = [
                one["measure"]
                for one in doses
                if one["label"] == name and one["rate"] == nth and "most" in one
            ][:2]
            for measure in fitting:
                for amount in AMOUNTS:
                    asked = {"label": name, "rate": nth, "measure": measure, "amount": amount}
                    answer = _told(_use, line, pure, _quantity(*measure), _quantity(*amount))
                    uses.append({**asked, **answer})
    return (
        "{"
        + f'"labels": {json.dumps(labels, ensure_ascii=False)},\n"doses": [\n{_lines(doses)}\n],\n'
        f'"uses": [\n{_lines(uses)}\n],\n"typed": [\n{_lines([_typed(one) for one in TYPED])}\n],\n'
        f'"units": [\n{_lines(_units())}\n],\n"shown": [\n{_lines(_shown())}\n]' + "}\n"
    )


def _told(sum_of: Callable[..., dict[str, Any]], *given: Any) -> dict[str, Any]:
    try:
        return sum_of(*given)
    except DosingError as error:
        return {"fault": error.field, "sentence": str(error)}


def _dose(line: RateLine, label: Label, measure: Quantity) -> dict[str, Any]:
    found = dose(line, label, measure)
    most = found.product_most
    return {
        "most": exact_text(most.amount),
        "unit": most.unit,
        "range": shown_range(found.product_least, most),
        "offered": typed_quantity(measured_out(most)),
        "finished": shown(found.finished) if found.finished else "",
        "per_litre": shown_most(found.per_litre) if found.per_litre else "",
    }


def _use(line: RateLine, label: Label, measure: Quantity, amount: Quantity) -> dict[str, Any]:
    found = use(line, label, measure, amount)
    return {
        "share": exact_text(found.share_of_most),
        "words": shown_share(found.share_of_most),
        "over": found.over,
        "under": found.under,
    }


def _typed(text: str) -> dict[str, Any]:
    try:
        return {"typed": text, "number": exact_text(read_number(text))}
    except DosingError as error:
        return {"typed": text, "sentence": str(error)}


def _units() -> list[dict[str, str]]:
    return [
        {"unit": unit, "to": to, "one": exact_text(convert(Fraction(1), unit, to))}
        for units in UNITS_OF.values()
        for unit in units
        for to in units
    ]


def _shown() -> list[dict[str, str]]:
    quantities = [_quantity(*one) for one in AMOUNTS_SHOWN]
    return [
        {
            "amount": exact_text(one.amount),
            "unit": one.unit,
            "nearest": shown(one),
            "down": shown(one, way="down"),
            "up": shown(one, way="up"),
            "typed": typed_quantity(one),
        }
        for one in quantities
    ]


def _quantity(amount: str, unit: str) -> Quantity:
    return Quantity(Fraction(amount), unit)


def without_ids(facts: dict[str, Any]) -> dict[str, Any]:
    """The same every time: rows that are not saved have new ids each time."""
    rates = [{key: value for key, value in one.items() if key != "id"} for one in facts["rates"]]
    return {**{key: value for key, value in facts.items() if key != "id"}, "rates": rates}


def _lines(rows: list[dict[str, Any]]) -> str:
    return ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows)


if __name__ == "__main__":
    CASES.write_text(dose_cases(), encoding="utf-8")
