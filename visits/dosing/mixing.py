"""Mixing: how much of a concentrate makes how much of a weaker mixture, and what is in it.

Q = A × S ÷ C: the amount wanted, its strength, the concentrate's strength. Where a strength by
weight meets a volume, or the other way round, a density comes between, and where there is none the
sum is refused and not guessed. Amounts are exact; ``to_step`` rounds to what can be measured, and
says what that does to the strength.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from visits.dosing.label import BASIS_WORDS, BY_WEIGHT, Strength
from visits.dosing.showing import as_typed, shown, shown_share, typed_quantity
from visits.dosing.units import (
    DosingError,
    Kind,
    Quantity,
    UnitError,
    convert,
    exact,
    kind_of,
    kinds_differ,
    through_density,
)

WATER = Fraction(1)
"""kg/l. Published sheets take 8.34 lb/US gal, which is 0.99935; a caller may give that instead."""


class MixError(DosingError):
    """``field`` names what to change: finished, wanted, concentrate, density, parts, tank, step…"""


@dataclass(frozen=True, slots=True)
class Mix:
    """``diluent`` is None where a powder goes in and the whole is filled up to ``finished``."""

    product: Quantity
    diluent: Quantity | None
    finished: Quantity
    working: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fill:
    """So many tanks alike: what goes into each."""

    tanks: int
    finished: Quantity
    product: Quantity


@dataclass(frozen=True, slots=True)
class Measured:
    """An amount that can be measured, and ``share``: how much of the wanted strength it gives."""

    amount: Quantity
    share: Fraction
    working: str

    def strength(self, wanted: Strength) -> Strength:
        """The strength that results when that much was measured out."""
        return Strength(wanted.amount * self.share, wanted.basis)


def density_of(weight: Quantity, volume: Quantity) -> Fraction:
    """kg in a litre: 8.34 lb for 1 US gal is 0.99935."""
    _positive(weight, "density", "mass")
    _positive(volume, "density", "volume")
    return weight.to("kg").amount / volume.to("l").amount


def active_in(
    product: Quantity, strength: Strength, *, density: Fraction | None = None
) -> Quantity:
    """The active ingredient in an amount of product: in g, and in ml where the strength is v/v.

    ``density`` is that of the product, in kg/l. Raises ``MixError`` where it is needed and missing.
    """
    if strength.basis in BY_WEIGHT:
        weight = _as(product, "kg", density, strength)
        return Quantity(weight * strength.of_whole, "kg").to("g")
    volume = _as(product, "l", density, strength)
    if strength.basis == "v/v":
        return Quantity(volume * strength.of_whole, "l").to("ml")
    return Quantity(volume * strength.of_whole, "kg").to("g")


def product_for(
    active: Quantity,
    strength: Strength,
    *,
    kind: Literal["mass", "volume"],
    density: Fraction | None = None,
) -> Quantity:
    """The product that holds so much active ingredient: in g for ``mass``, in ml for ``volume``.

    ``density`` is that of the product, in kg/l. Raises ``MixError`` where it is needed and missing.
    """
    if (strength.basis == "v/v") != (_positive(active, "active", None).kind == "volume"):
        raise MixError(
            "active",
            "A strength v/v tells the volume of the active ingredient, any other its weight.",
        )
    if strength.basis in BY_WEIGHT:
        whole = Quantity(active.to("kg").amount / strength.of_whole, "kg")
    elif strength.basis == "v/v":
        whole = Quantity(active.to("l").amount / strength.of_whole, "l")
    else:
        whole = Quantity(active.to("kg").amount / strength.of_whole, "l")
    unit = {"mass": "g", "volume": "ml"}[kind]
    return Quantity(_as(whole, unit, density, strength), unit)


def dilute(
    finished: Quantity,
    wanted: Strength,
    concentrate: Strength,
    *,
    diluent_density: Fraction = WATER,
) -> Mix:
    """How much concentrate makes ``finished`` of the ``wanted`` strength, and how much diluent.

    Strengths by weight take ``finished`` to weigh what as much diluent weighs (kg/l), as published
    tables do. The concentrate is weighed where its strength is by weight, else measured by volume.
    Cutting a dust is the same sum with ``finished`` a weight. Raises ``MixError``.
    """
    _positive(finished, "finished", None)
    density = exact(diluent_density)
    if density <= 0:
        raise MixError("density", "The density must be above zero.")
    if (wanted.basis == "v/v") != (concentrate.basis == "v/v"):
        raise MixError(
            "wanted", "A strength v/v can only be had from a concentrate that is stated v/v."
        )
    active = active_in(finished, wanted, density=density)
    product = product_for(
        active, concentrate, kind="mass" if concentrate.basis in BY_WEIGHT else "volume"
    )
    whole = through_density(finished.amount, finished.unit, product.unit, density)
    if product.amount > whole:
        raise MixError("wanted", "The mixture cannot be stronger than the concentrate.")
    if product.kind == finished.kind:
        product = product.to(finished.unit)
        diluent = Quantity(finished.amount - product.amount, finished.unit)
        rest = f"{shown(diluent)} of diluent"
    else:
        diluent = None
        rest = f"filled up to {typed_quantity(finished)}"
    working = (
        f"{typed_quantity(finished)} at {_words(wanted)} hold {shown(active)} of active.",
        f"{shown(active)} from {_words(concentrate)}: {shown(product)}, {rest}.",
    )
    return Mix(product, diluent, finished, working)


def mix_parts(finished: Quantity, product_parts: Fraction, diluent_parts: Fraction) -> Mix:
    """By parts: “1 to 9” is one part in ten of the whole, not one in nine."""
    share = share_of_parts(product_parts, diluent_parts)
    _positive(finished, "finished", None)
    product = Quantity(finished.amount * share, finished.unit)
    diluent = Quantity(finished.amount - product.amount, finished.unit)
    words = (
        f"{as_typed(product_parts)} to {as_typed(diluent_parts)} is {as_typed(product_parts)} in "
        f"{as_typed(product_parts + diluent_parts)}: {shown(product)} and {shown(diluent)}."
    )
    return Mix(product, diluent, finished, (words,))


def share_of_parts(product_parts: Fraction, diluent_parts: Fraction) -> Fraction:
    """The product's share of the whole: 1/10 for 1 to 9. Raises ``MixError``."""
    product_parts, diluent_parts = exact(product_parts), exact(diluent_parts)
    if product_parts <= 0 or diluent_parts < 0:
        raise MixError("parts", "Parts are counted from one: 1 to 9, say.")
    return product_parts / (product_parts + diluent_parts)


def share_when_added(product: Quantity, diluent: Quantity) -> Fraction:
    """The product's share where it is added to a measure: 12 fl oz to 1 gal is 12 in 140."""
    _positive(product, "product", None)
    _positive(diluent, "diluent", product.kind)
    added = diluent.to(product.unit).amount
    return product.amount / (product.amount + added)


def in_finished(rate: Quantity, per: Quantity, finished: Quantity) -> Quantity:
    """Product for an amount of finished spray, at a rate for so much of it: 2 lb in 100 US gal."""
    _positive(rate, "rate", None)
    _positive(per, "per", "volume")
    _positive(finished, "finished", "volume")
    return Quantity(rate.amount * finished.to(per.unit).amount / per.amount, rate.unit)


def finished_strength(active: Quantity, spray: Quantity) -> Strength:
    """g/l of a finished spray, from the active ingredient and the spray that one place gets."""
    _positive(active, "active", "mass")
    _positive(spray, "spray", "volume")
    return Strength(active.to("g").amount / spray.to("l").amount, "g/l")


def tank_fills(product: Quantity, finished: Quantity, tank: Quantity) -> tuple[Fill, ...]:
    """The fills of a tank that a job takes: the full ones, then what is left over.

    The last is the smaller: a rest of a full tank would have to be got rid of.
    """
    _positive(product, "product", None)
    _positive(finished, "finished", "volume")
    _positive(tank, "tank", "volume")
    whole = tank.to(finished.unit).amount
    full, rest = divmod(finished.amount, whole)
    fills = ((full, whole), (1, rest))
    return tuple(
        Fill(
            tanks,
            Quantity(spray, finished.unit),
            Quantity(product.amount * spray / finished.amount, product.unit),
        )
        for tanks, spray in fills
        if tanks and spray
    )


def to_step(wanted: Quantity, step: Quantity, *, most: Quantity | None) -> Measured:
    """The nearest amount that a measuring device with that step can show, but never over ``most``.

    ``most`` is what the label allows for the same place, None where nothing limits it: it has to be
    said, since an amount wanted is often the most itself. A half goes down.
    Raises ``MixError`` where the device is too coarse to measure any of it.
    """
    _positive(wanted, "product", None)
    _positive(step, "step", wanted.kind)
    size = step.to(wanted.unit).amount
    steps, rest = divmod(wanted.amount, size)
    if 2 * rest > size:
        steps += 1
    if most is not None:
        _positive(most, "most", wanted.kind)
        steps = min(steps, most.to(wanted.unit).amount // size)
    if not steps:
        raise MixError(
            "step",
            f"{shown(wanted)} cannot be measured in steps of {typed_quantity(step)}. "
            "Take a finer measure, or mix more at once.",
        )
    amount = Quantity(steps * size, wanted.unit)
    share = amount.amount / wanted.amount
    words = f"{shown(amount)} measured for {shown(wanted)}: {shown_share(share)} of the strength."
    return Measured(amount, share, words)


def total(amounts: Sequence[Quantity], unit: str) -> Quantity:
    """The sum of amounts of one kind, in ``unit``; nothing is zero. Raises ``UnitError``."""
    kind_of(unit)
    return Quantity(exact(sum(one.to(unit).amount for one in amounts)), unit)


def _words(strength: Strength) -> str:
    return f"{as_typed(strength.amount)} {BASIS_WORDS[strength.basis]}"


def _positive(quantity: Quantity, field: str, kind: Kind | None) -> Quantity:
    """The quantity, if it is above zero and of the kind asked for (None: a weight or a volume)."""
    try:
        is_of = quantity.kind
    except UnitError as error:
        raise MixError(field, str(error)) from error
    if is_of != kind if kind else is_of not in ("mass", "volume"):
        raise MixError(field, kinds_differ(quantity.unit, "l" if kind == "volume" else "g"))
    if quantity.amount <= 0:
        raise MixError(field, "The amount must be above zero.")
    return quantity


def _as(product: Quantity, unit: str, density: Fraction | None, strength: Strength) -> Fraction:
    """A product's amount in kg, l, g or ml, through its density where that is needed."""
    if product.kind == kind_of(unit):
        return convert(product.amount, product.unit, unit)
    if density is None:
        by = "weight" if strength.basis in BY_WEIGHT else "volume"
        raise MixError(
            "density",
            f"The strength ({_words(strength)}) is by {by}, the product is measured the other way: "
            "give its density in kg/l, as on the safety data sheet.",
        )
    return through_density(product.amount, product.unit, unit, density)
