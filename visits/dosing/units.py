"""The units in which labels and technicians measure, as exact fractions.

The names are ours (``us_fl_oz``), since they go into records, seals and programs; what each is in
another comes from pint, with ``fractions.Fraction`` throughout, so that nothing is lost between
what was typed and what is shown. A US gallon, an imperial gallon, an ounce and a fluid ounce are
four different things here and are never guessed from one another.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any, Literal

Kind = Literal["mass", "volume", "length", "area", "void", "points"]

UNITS_OF: Mapping[Kind, tuple[str, ...]] = {
    "mass": ("mg", "g", "kg", "oz", "lb"),
    "volume": (
        "ml",
        "l",
        "us_tsp",
        "us_tbsp",
        "us_fl_oz",
        "us_pt",
        "us_gal",
        "imp_fl_oz",
        "imp_gal",
    ),
    "length": ("m", "ft"),
    "area": ("m2", "ft2", "yd2"),
    "void": ("m3", "ft3"),
    "points": ("points",),
}

UNIT_WORDS: Mapping[str, str] = {
    "mg": "mg",
    "g": "g",
    "kg": "kg",
    "oz": "oz (weight)",
    "lb": "lb",
    "ml": "ml",
    "l": "l",
    "us_tsp": "US tsp",
    "us_tbsp": "US tbsp",
    "us_fl_oz": "US fl oz",
    "us_pt": "US pt",
    "us_gal": "US gal",
    "imp_fl_oz": "imperial fl oz",
    "imp_gal": "imperial gal",
    "m": "m",
    "ft": "ft",
    "m2": "m²",
    "ft2": "ft²",
    "yd2": "yd²",
    "m3": "m³",
    "ft3": "ft³",
    "points": "points",
}

KIND_WORDS: Mapping[Kind, str] = {
    "mass": "a weight",
    "volume": "a volume of liquid",
    "length": "a length",
    "area": "an area",
    "void": "the size of a void",
    "points": "a number of points",
}

_IN_PINT: Mapping[str, str] = {
    "mg": "milligram",
    "g": "gram",
    "kg": "kilogram",
    "oz": "ounce",
    "lb": "pound",
    "ml": "milliliter",
    "l": "liter",
    "us_tsp": "teaspoon",
    "us_tbsp": "tablespoon",
    "us_fl_oz": "fluid_ounce",
    "us_pt": "pint",
    "us_gal": "gallon",
    "imp_fl_oz": "imperial_fluid_ounce",
    "imp_gal": "imperial_gallon",
    "m": "meter",
    "ft": "foot",
    "m2": "meter ** 2",
    "ft2": "foot ** 2",
    "yd2": "yard ** 2",
    "m3": "meter ** 3",
    "ft3": "foot ** 3",
}

_KIND_OF: Mapping[str, Kind] = {unit: kind for kind, units in UNITS_OF.items() for unit in units}

LONGEST_NUMBER = 20
"""Characters: more than any scale, meter or tape can mean, and short enough to be shown again."""

_DIGITS = frozenset("0123456789")
_MINUS = ("-", "−", "–")


class DosingError(ValueError):
    """Why something cannot be worked out: ``str(error)`` is a sentence for the person who typed.

    ``field`` names what to change, so that the sentence can stand beside it.
    """

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


class UnitError(DosingError):
    """``field`` is ``unit``, or ``amount`` or ``density`` where that number is at fault."""


def kind_of(unit: str) -> Kind:
    """What a unit measures. Raises ``UnitError`` for no unit and for one that is not ours."""
    if not unit:
        raise UnitError("unit", "Choose a unit.")
    kind = _KIND_OF.get(unit)
    if kind is None:
        raise UnitError("unit", f"“{unit}” is no unit that is used here. Choose one of the list.")
    return kind


def convert(amount: Fraction, unit: str, to: str) -> Fraction:
    """The same amount in another unit of its kind, exactly.

    Raises ``UnitError`` where the two measure different things; a weight and a volume only meet
    over a density (``through_density``).
    """
    kind, other = kind_of(unit), kind_of(to)
    if kind != other:
        raise UnitError("unit", kinds_differ(unit, to))
    return exact(amount) * _ratio(unit, to)


def kinds_differ(unit: str, to: str) -> str:
    """Why an amount in one unit is none in the other, in a sentence; both are known units."""
    kind, other = kind_of(unit), kind_of(to)
    if other == "volume" and unit == "oz":
        return (
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz."
        )
    if kind == "volume" and to == "oz":
        return (
            "A volume was given, and this is measured by weight: "
            f"an ounce is no fluid ounce. Weigh it, and give it in {UNIT_WORDS['oz']}."
        )
    return (
        f"{UNIT_WORDS[unit]} measures {KIND_WORDS[kind]}, "
        f"{UNIT_WORDS[to]} measures {KIND_WORDS[other]}."
    )


def through_density(amount: Fraction, unit: str, to: str, density: Fraction) -> Fraction:
    """A weight as a volume or the other way round; ``density`` in kg/l, above zero.

    Units of one kind are converted as ever. Raises ``UnitError`` for anything else.
    """
    if density <= 0:
        raise UnitError("density", "A density must be above zero.")
    kinds = (kind_of(unit), kind_of(to))
    if kinds == ("mass", "volume"):
        return convert(convert(amount, unit, "kg") / density, "l", to)
    if kinds == ("volume", "mass"):
        return convert(convert(amount, unit, "l") * density, "kg", to)
    return convert(amount, unit, to)


def exact(number: Fraction | Decimal | int) -> Fraction:
    """A number as a fraction. Raises ``UnitError`` for a binary float, which has lost digits."""
    if isinstance(number, bool) or not isinstance(number, Fraction | Decimal | int):
        raise UnitError("amount", "Give amounts as whole numbers, decimals or fractions.")
    if isinstance(number, Decimal) and not number.is_finite():
        raise UnitError("amount", "Give a number.")
    return Fraction(number)


def read_number(typed: str) -> Fraction:
    """What somebody typed as an amount, zero or more: “12.5”, “12,5”, “0,625”, “.5”.

    One comma or point is the decimal sign. Raises ``UnitError`` for whatever could be read in two
    ways, such as “1,234”: a thousandfold dose would follow from a wrong guess.
    """
    text = typed.strip()
    if not text:
        raise UnitError("amount", "Type a number.")
    if len(text) > LONGEST_NUMBER:
        raise UnitError("amount", "That is more digits than anything here is measured to.")
    if text.startswith(_MINUS):
        raise UnitError("amount", "An amount cannot be below zero.")
    whole, _, part = text.replace(",", ".").partition(".")
    digits = "".join(text.replace(",", "").replace(".", "").split())
    if not digits or not _DIGITS.issuperset(digits):
        raise UnitError("amount", f"“{text}” is no number. Type digits; choose the unit beside it.")
    if whole + part != digits:
        raise UnitError(
            "amount",
            f"“{text}” can be read in more than one way. Write 1234.5, without separators.",
        )
    if "," in text and len(part) == 3 and int("0" + whole):
        raise UnitError(
            "amount",
            f"“{text}” can be read in more than one way. Write {whole}{part} or {whole}.{part}.",
        )
    return Fraction(int(digits), 10 ** len(part))


@dataclass(frozen=True, slots=True)
class Quantity:
    """An amount of something in one of our units. The unit is looked at when it is used."""

    amount: Fraction
    unit: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "amount", exact(self.amount))

    @property
    def kind(self) -> Kind:
        return kind_of(self.unit)

    def to(self, unit: str) -> "Quantity":
        """The same in another unit of its kind. Raises ``UnitError`` where there is no such."""
        return Quantity(convert(self.amount, self.unit, unit), unit)


@cache
def _registry() -> Any:
    """pint's units, made once and when first needed: they take a third of a second to read."""
    from pint import UnitRegistry

    return UnitRegistry(non_int_type=Fraction)


@cache
def _ratio(unit: str, to: str) -> Fraction:
    return _worked_out(unit, to)


def _worked_out(unit: str, to: str) -> Fraction:
    """How many of the other unit one is; both are of one kind."""
    if unit == to:
        return Fraction(1)
    ratio: Fraction = _registry().convert(Fraction(1), _IN_PINT[unit], _IN_PINT[to])
    return ratio
