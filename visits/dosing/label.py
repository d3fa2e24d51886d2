"""What a product's label states, as far as sums and checks need it.

Everything is checked as it is made, so that no sum starts from a label that cannot be true. Amounts
are fractions. ``strength`` is in percent for ``w/w``, ``w/v`` (g in 100 ml) and ``v/v``, else in
the unit that its basis names. The three percentages are different things: 480 g/l is 48 % w/v, and
48 % w/w only if a litre weighs a kilogram.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import pairwise
from typing import Literal, get_args

from visits.dosing.units import (
    KIND_WORDS,
    UNIT_WORDS,
    DosingError,
    Kind,
    UnitError,
    convert,
    exact,
    kind_of,
    kinds_differ,
)

Basis = Literal["w/w", "w/v", "v/v", "g/l", "g/kg", "lb/us_gal"]
Per = Literal["area", "length", "void", "point", "finished"]

BASIS_WORDS: Mapping[Basis, str] = {
    "w/w": "% w/w",
    "w/v": "% w/v",
    "v/v": "% v/v",
    "g/l": "g/l",
    "g/kg": "g/kg",
    "lb/us_gal": "lb/US gal",
}

BY_WEIGHT: frozenset[Basis] = frozenset(("w/w", "g/kg"))
"""Stated in the weight of the product; the others are stated in its volume."""

KIND_OF_PER: Mapping[Per, Kind] = {
    "area": "area",
    "length": "length",
    "void": "void",
    "point": "points",
    "finished": "volume",
}

LIQUIDS = frozenset(("liquid", "aerosol"))
SOLIDS = frozenset(("gel", "dust", "bait_block", "bait_paste", "granule"))
"""Formulations that are measured by volume and by weight unless the register says otherwise."""

_MOST_OF: Mapping[Basis, int] = {"w/w": 100, "w/v": 100, "v/v": 100, "g/kg": 1000}


class LabelError(DosingError):
    """What a label cannot say. ``field`` names that of the form; the sentence is for the office."""


@dataclass(frozen=True, slots=True)
class Strength:
    """How much of something is in something else."""

    amount: Fraction
    basis: Basis

    def __post_init__(self) -> None:
        object.__setattr__(self, "amount", _number(self.amount, "strength"))
        _check_strength(self.amount, self.basis)

    @property
    def of_whole(self) -> Fraction:
        """The share for a percentage and g/kg; kg in a litre for g/l and lb/US gal.

        ``w/v`` is in kg in a litre too: 48 g in 100 ml are 0.48 kg in a litre.
        """
        return _of_whole(self.amount, self.basis)


@dataclass(frozen=True, slots=True)
class Active:
    """An active ingredient and how much of it is in the product."""

    name: str
    strength: Fraction
    basis: Basis

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise LabelError("name", "Give the active ingredient's name.")
        object.__setattr__(self, "strength", _number(self.strength, "strength"))
        _check_strength(self.strength, self.basis)

    @property
    def stated(self) -> Strength:
        return Strength(self.strength, self.basis)


@dataclass(frozen=True, slots=True)
class Cover:
    """How much finished spray goes over a place: 40 ml on each m², or 5 l on each 40 m²."""

    amount: Fraction
    unit: str
    per_amount: Fraction
    per_unit: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "amount", _positive(self.amount, "cover", "The cover"))
        object.__setattr__(
            self, "per_amount", _positive(self.per_amount, "cover", "The place that it covers")
        )
        if _kind(self.unit, "cover") != "volume":
            raise LabelError("cover", _must_be(self.unit, "The cover is", ("volume",)))
        if _kind(self.per_unit, "cover") in ("mass", "volume"):
            raise LabelError(
                "cover", "Finished spray covers an area, a length, a void or a number of points."
            )


@dataclass(frozen=True, slots=True)
class RateLine:
    """So much, at most, for so much of a place or of finished spray.

    ``most`` and ``least`` are in ``unit``, for ``per_amount`` of ``per_unit``: of the product as
    bought, or of the active ingredient that ``active`` names (which may stay empty where the label
    has one only). ``per`` is ``point`` for a spot, a station or a placement, ``finished`` for a
    volume of finished spray. ``methods`` and ``places`` narrow it; empty: wherever the label
    allows.
    """

    per: Per
    most: Fraction
    unit: str
    per_amount: Fraction
    per_unit: str
    least: Fraction | None = None
    of: Literal["product", "active"] = "product"
    active: str = ""
    cover: Cover | None = None
    methods: frozenset[str] = frozenset()
    places: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        object.__setattr__(self, "most", _positive(self.most, "most", "The rate"))
        object.__setattr__(
            self, "per_amount", _positive(self.per_amount, "per_amount", "What the rate is for")
        )
        if self.least is not None:
            object.__setattr__(self, "least", _positive(self.least, "least", "The least"))
        _check_rate(self)


@dataclass(frozen=True, slots=True)
class Label:
    """One version of a product's label.

    ``density`` is in kg/l of the product as bought. ``measured_in`` is ``g`` or ``ml`` where the
    register knows by which the product is handled; empty: by its formulation. ``wind_most_kmh`` is
    the wind, in km/h, above which it may not be sprayed outdoors; ``interval_days`` the days
    between two applications, at least. Pests and places are those of the register; where a set is
    empty the register does not say.
    """

    name: str
    formulation: str
    actives: tuple[Active, ...] = ()
    rates: tuple[RateLine, ...] = ()
    density: Fraction | None = None
    ready_to_use: bool = False
    pests: frozenset[str] = frozenset()
    pest_groups: frozenset[str] = frozenset()
    places: frozenset[str] = frozenset()
    methods: frozenset[str] = frozenset()
    interval_days: int | None = None
    most_a_year: int | None = None
    re_entry_minutes: int | None = None
    wind_most_kmh: Fraction | None = None
    authorised_until: date | None = None
    sheet_issued_on: date | None = None
    label_issued_on: date | None = None
    version: int = 1
    measured_in: Literal["", "g", "ml"] = ""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise LabelError("name", "Give the product's name as on the label.")
        if self.density is not None:
            object.__setattr__(self, "density", _positive(self.density, "density", "The density"))
        if self.wind_most_kmh is not None:
            wind = _positive(self.wind_most_kmh, "wind_most_kmh", "The wind")
            object.__setattr__(self, "wind_most_kmh", wind)
        _check_counts(self)
        _check_actives(self)
        for line in self.rates:
            _check_rate_of(self, line)

    @property
    def product_kind(self) -> Literal["mass", "volume"]:
        """Whether the product as bought is weighed or measured by volume.

        Said outright, else by the formulation, else by what its first strength is stated in; what
        says nothing at all is weighed.
        """
        return _product_kind(self)

    def active_of(self, line: RateLine) -> Active:
        """The active ingredient that a line of rates is for; the line is one of an active."""
        if not line.active and len(self.actives) == 1:
            return self.actives[0]
        wanted = _plain(line.active)
        for one in self.actives:
            if _plain(one.name) == wanted:
                return one
        if not line.active:
            raise LabelError("active", "Say of which active ingredient the rate is.")
        raise LabelError("active", f"“{line.active}” is not among the label's active ingredients.")


def _of_whole(amount: Fraction, basis: Basis) -> Fraction:
    if basis in ("w/w", "w/v", "v/v"):
        return amount / 100
    if basis == "lb/us_gal":
        return convert(amount, "lb", "kg") / convert(Fraction(1), "us_gal", "l")
    return amount / 1000


def _product_kind(label: Label) -> Literal["mass", "volume"]:
    if label.measured_in:
        return "mass" if label.measured_in == "g" else "volume"
    if label.formulation in LIQUIDS:
        return "volume"
    if label.formulation in SOLIDS:
        return "mass"
    if label.actives and label.actives[0].basis not in BY_WEIGHT:
        return "volume"
    return "mass"


def _plain(name: str) -> list[str]:
    """The words of a name, however they are spaced and whether capitals are used or not."""
    return name.casefold().split()


def _number(amount: Fraction, field: str) -> Fraction:
    try:
        return exact(amount)
    except UnitError as error:
        raise LabelError(field, str(error)) from error


def _positive(amount: Fraction, field: str, what: str) -> Fraction:
    number = _number(amount, field)
    if number <= 0:
        raise LabelError(field, f"{what} must be above zero.")
    return number


def _kind(unit: str, field: str) -> Kind:
    try:
        return kind_of(unit)
    except UnitError as error:
        raise LabelError(field, str(error)) from error


def _must_be(unit: str, what: str, kinds: tuple[Kind, ...]) -> str:
    """Why a unit does not do, with the sentence about ounces where it is one."""
    if kinds == ("volume",) and unit == "oz":
        return kinds_differ(unit, "l")
    wanted = " or ".join(KIND_WORDS[kind] for kind in kinds)
    return f"{what} {wanted}; {UNIT_WORDS[unit]} measures {KIND_WORDS[kind_of(unit)]}."


def _check_strength(amount: Fraction, basis: Basis) -> None:
    if not basis:
        raise LabelError(
            "basis", "Say what the strength is measured in: w/w, w/v, v/v, g/l or g/kg."
        )
    if basis not in get_args(Basis):
        raise LabelError("basis", f"“{basis}” is no way to state a strength that is used here.")
    if amount <= 0:
        raise LabelError("strength", "The strength must be above zero.")
    most = _MOST_OF.get(basis)
    if most is not None and amount > most:
        raise LabelError("strength", f"A strength cannot be above {most} {BASIS_WORDS[basis]}.")


def _check_rate(line: RateLine) -> None:
    if line.per not in get_args(Per):
        raise LabelError(
            "per", "Say what the rate is for: an area, a length, a void, a point or spray."
        )
    if _kind(line.unit, "unit") not in ("mass", "volume"):
        raise LabelError("unit", _must_be(line.unit, "A rate is", ("mass", "volume")))
    wanted = KIND_OF_PER[line.per]
    if _kind(line.per_unit, "per_unit") != wanted:
        raise LabelError("per_unit", _must_be(line.per_unit, "This rate is for", (wanted,)))
    if line.least is not None and line.least > line.most:
        raise LabelError("least", "The least cannot be more than the most.")
    if line.of not in ("product", "active"):
        raise LabelError("of", "Say whether the rate is of the product or of an active ingredient.")
    if line.cover is not None and line.per != "finished" and kind_of(line.cover.per_unit) != wanted:
        raise LabelError(
            "cover",
            f"The rate is for {KIND_WORDS[wanted]}, so the cover must be for {KIND_WORDS[wanted]}.",
        )
    if line.of == "product" and kind_of(line.unit) == "volume":
        _check_room(line)


def _check_room(line: RateLine) -> None:
    """Finished spray cannot hold more of a liquid than there is of it."""
    most = convert(line.most, line.unit, "l") / line.per_amount
    if line.per == "finished":
        if most > convert(Fraction(1), line.per_unit, "l"):
            raise LabelError("most", "That is more product than finished spray.")
    elif line.cover is not None:
        spray = convert(line.cover.amount, line.cover.unit, "l") / line.cover.per_amount
        if most * convert(Fraction(1), line.cover.per_unit, line.per_unit) > spray:
            raise LabelError("cover", "That is more product than finished spray.")


def _check_counts(label: Label) -> None:
    at_least = (("interval_days", 0), ("most_a_year", 1), ("re_entry_minutes", 0), ("version", 1))
    for field, least in at_least:
        value = getattr(label, field)
        if value is None and field != "version":
            continue
        if not isinstance(value, int) or isinstance(value, bool) or value < least:
            raise LabelError(field, f"Give a whole number, {least} or more.")
    if label.measured_in not in ("", "g", "ml"):
        raise LabelError("measured_in", "A product is measured in g or in ml.")


def _check_actives(label: Label) -> None:
    names = sorted(_plain(one.name) for one in label.actives)
    if any(one == other for one, other in pairwise(names)):
        raise LabelError("actives", "An active ingredient is named twice.")
    by_weight = [one.stated.of_whole for one in label.actives if one.basis in BY_WEIGHT]
    by_volume = [one.stated.of_whole for one in label.actives if one.basis == "v/v"]
    if sum(by_weight) > 1 or sum(by_volume) > 1:
        raise LabelError("actives", "The active ingredients come to more than the whole product.")
    in_litre = [
        one.stated.of_whole
        for one in label.actives
        if one.basis not in BY_WEIGHT and one.basis != "v/v"
    ]
    if label.density is not None and sum(in_litre) > label.density:
        raise LabelError(
            "density", "A litre would weigh less than the active ingredients that are in it."
        )


def _check_rate_of(label: Label, line: RateLine) -> None:
    if line.of == "active":
        active = label.active_of(line)
        if (active.basis == "v/v") != (kind_of(line.unit) == "volume"):
            raise LabelError(
                "unit",
                f"The rate of {active.name} and its strength must both be by weight, or both by "
                "volume (v/v).",
            )
    elif label.product_kind == "volume" and line.unit == "oz":
        raise LabelError("unit", kinds_differ("oz", "us_fl_oz"))
    if label.ready_to_use and line.per == "finished":
        raise LabelError(
            "rates", "A ready-to-use product is not diluted: give its rate for a place."
        )
    if label.ready_to_use and line.cover is not None:
        raise LabelError(
            "cover", "A ready-to-use product is its own finished spray: leave the cover empty."
        )
