"""What a label allows for a measured place, and what was used against what it allows.

A measure is an area, a length, a void, a number of points, or a volume of finished spray (a tank).
The most is worked out and never exceeded; which amount within the label is enough stays with the
licensed technician.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from visits.dosing.label import BASIS_WORDS, KIND_OF_PER, Cover, Label, LabelError, RateLine
from visits.dosing.mixing import MixError, active_in, product_for
from visits.dosing.showing import (
    as_typed,
    figure,
    shown,
    shown_least,
    shown_most,
    shown_share,
    typed_quantity,
)
from visits.dosing.units import (
    KIND_WORDS,
    DosingError,
    Quantity,
    UnitError,
    convert,
    kind_of,
    kinds_differ,
    through_density,
)

NO_RATE = (
    "The register has no rate of this label, so no amount can be worked out. "
    "Read the label; the office can enter its rates."
)


class DoseError(DosingError):
    """``field`` is ``measure``, ``amount``, ``unit`` or ``rate``: what somebody has to change."""


@dataclass(frozen=True, slots=True)
class Dose:
    """What the label allows. Amounts are exact; ``showing`` rounds them, the most downwards.

    ``finished`` is the spray for the place, None where nothing is mixed or the label does not say.
    ``actives_most`` is in g (in ml where a strength is v/v), without those that would need a
    density that the register has not. ``per_litre`` is the product in each litre of finished spray
    at most, in g or ml. ``working`` is the sum in sentences.
    """

    product_least: Quantity | None
    product_most: Quantity
    finished: Quantity | None
    actives_most: tuple[tuple[str, Quantity], ...]
    per_litre: Quantity | None
    working: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Use:
    """What was used. ``share_of_most`` is 1 at the label's most; ``actives`` as in ``Dose``."""

    share_of_most: Fraction
    over: bool
    under: bool
    actives: tuple[tuple[str, Quantity], ...]
    finished: Quantity | None
    working: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Place:
    """``times`` is how often the rate's ``per_amount`` is in the place."""

    times: Fraction
    finished: Quantity | None
    working: tuple[str, ...]


def rates_for(label: Label, *, method: str = "", place: str = "") -> tuple[RateLine, ...]:
    """The lines of rates for a method and a permitted place, in the label's order.

    Empty words ask for any. Raises ``DoseError`` where there is none.
    """
    if not label.rates:
        raise DoseError("rate", NO_RATE)
    found = tuple(
        line
        for line in label.rates
        if (not method or not line.methods or method in line.methods)
        and (not place or not line.places or place in line.places)
    )
    if not found:
        raise DoseError(
            "rate",
            "The label has no rate for this method in this place. "
            "Choose another method or product.",
        )
    return found


def dose(line: RateLine | None, label: Label, measure: Quantity) -> Dose:
    """The least and the most product for a place, and what goes with it.

    Raises ``DoseError``; ``rate`` is also the field where a density is missing.
    """
    if line is None:
        raise DoseError("rate", NO_RATE)
    place = _place(line, measure)
    most, most_words = _product(line, label, line.most * place.times, "at most")
    least: Quantity | None = None
    least_words: tuple[str, ...] = ()
    if line.least is not None:
        least, least_words = _product(line, label, line.least * place.times, "at least")
    finished = most if label.ready_to_use and most.kind == "volume" else place.finished
    per_litre = _per_litre(most, finished) if not label.ready_to_use else None
    actives, actives_words = _actives(label, most, "The most holds")
    dilution = () if per_litre is None else (f"In each litre: {shown_most(per_litre)} at most.",)
    return Dose(
        product_least=least,
        product_most=most,
        finished=finished,
        actives_most=actives,
        per_litre=per_litre,
        working=(
            *place.working,
            _rate_words(line, label, place.times),
            *least_words,
            *most_words,
            *dilution,
            *actives_words,
        ),
    )


def use(line: RateLine | None, label: Label, measure: Quantity, amount: Quantity) -> Use:
    """An amount of product that was used in a place, against the label.

    What was used is never refused for being too much or too little: ``over`` and ``under`` say so.
    Raises ``DoseError`` where the sum cannot be done.
    """
    allowed = dose(line, label, measure)
    used = _in_unit_of(allowed.product_most, label, amount)
    most, least = allowed.product_most, allowed.product_least
    share = used.amount / most.amount
    over = used.amount > most.amount
    under = least is not None and used.amount < least.amount
    words = [f"{typed_quantity(amount)} is {shown_share(share)} of the most, {shown_most(most)}."]
    if over:
        words.append("That is over the label.")
    if under and least is not None:
        words.append(
            f"That is under the least, {shown_least(least)}: too little wastes the work and can "
            "breed resistance."
        )
    actives, actives_words = _actives(label, used, "That holds")
    finished = used if label.ready_to_use and used.kind == "volume" else allowed.finished
    return Use(share, over, under, actives, finished, (*words, *actives_words))


def _place(line: RateLine, measure: Quantity) -> _Place:
    """How often the rate is in the place, over the finished spray where the label says so."""
    _check_measure(measure)
    wanted, cover = KIND_OF_PER[line.per], line.cover
    if measure.kind == wanted:
        times = measure.to(line.per_unit).amount / line.per_amount
        if line.per == "finished":
            return _Place(times, measure, ())
        if cover is None:
            return _Place(times, None, ())
        finished = _spray_over(cover, measure)
        return _Place(times, finished, (_cover_words(cover, measure, finished),))
    if line.per == "finished" and cover is not None and _covers(cover, measure):
        finished = _spray_over(cover, measure)
        times = finished.to(line.per_unit).amount / line.per_amount
        return _Place(times, finished, (_cover_words(cover, measure, finished),))
    if measure.kind == "volume" and cover is not None:
        covered = measure.to(cover.unit).amount / cover.amount * cover.per_amount
        times = convert(covered, cover.per_unit, line.per_unit) / line.per_amount
        over = Quantity(covered, cover.per_unit)
        return _Place(times, measure, (_cover_words(cover, over, measure),))
    raise DoseError("measure", _why_not(line, measure))


def _check_measure(measure: Quantity) -> None:
    try:
        kind = measure.kind
    except UnitError as error:
        raise DoseError("unit", str(error)) from error
    if kind == "mass":
        raise DoseError(
            "measure",
            kinds_differ("oz", "l")
            if measure.unit == "oz"
            else "A place is measured as an area, a length, a void, points or finished spray.",
        )
    if measure.amount <= 0:
        raise DoseError("measure", "The measure must be above zero.")
    if kind == "points" and measure.amount.denominator > 1:
        raise DoseError("measure", "Points are counted: give a whole number.")


def _covers(cover: Cover, measure: Quantity) -> bool:
    return kind_of(cover.per_unit) == measure.kind


def _spray_over(cover: Cover, measure: Quantity) -> Quantity:
    many = measure.to(cover.per_unit).amount / cover.per_amount
    return Quantity(cover.amount * many, cover.unit)


def _why_not(line: RateLine, measure: Quantity) -> str:
    wanted = KIND_WORDS[KIND_OF_PER[line.per]]
    if line.per == "finished":
        if line.cover is None:
            return (
                "The rate is for finished spray, and the register does not say how much goes over "
                "a place. Give the volume of finished spray."
            )
        over = KIND_WORDS[kind_of(line.cover.per_unit)]
        return f"The rate is for finished spray. Give its volume, or {over} that it goes over."
    if measure.kind == "volume":
        return (
            f"The rate is for {wanted}, and the register does not say how much of it spray covers. "
            f"Give {wanted}."
        )
    return f"The rate is for {wanted}; {KIND_WORDS[measure.kind]} was given."


def _product(
    line: RateLine, label: Label, amount: Fraction, which: str
) -> tuple[Quantity, tuple[str, ...]]:
    """The product for an amount in the line's unit, through its strength where that is needed."""
    show = shown_most if which == "at most" else shown_least
    stated = Quantity(amount, line.unit)
    if line.of == "product":
        return stated, (f"{show(stated)} of the product {which}.",)
    try:
        active = label.active_of(line)
        product = product_for(stated, active.stated, kind=label.product_kind, density=label.density)
    except (LabelError, MixError) as error:
        raise DoseError("rate", str(error)) from error
    return product, (
        f"{show(stated)} of {active.name} {which}.",
        f"The product has {as_typed(active.strength)} {BASIS_WORDS[active.basis]}: "
        f"{show(product)} of the product {which}.",
    )


def _per_litre(most: Quantity, finished: Quantity | None) -> Quantity | None:
    if finished is None:
        return None
    litres = finished.to("l").amount
    if most.kind == "volume" and most.to("l").amount > litres:
        raise DoseError(
            "rate",
            "That would be more product than finished spray. The office has to look at the label's "
            "rate, strength and cover.",
        )
    unit = "g" if most.kind == "mass" else "ml"
    return Quantity(most.to(unit).amount / litres, unit)


def _actives(
    label: Label, product: Quantity, holds: str
) -> tuple[tuple[tuple[str, Quantity], ...], tuple[str, ...]]:
    """What an amount of product holds; a missing density is said in the working, not guessed."""
    held, words = [], []
    for one in label.actives:
        try:
            amount = active_in(product, one.stated, density=label.density)
        except MixError as error:
            words.append(f"{one.name} cannot be worked out. {error}")
            continue
        held.append((one.name, amount))
        words.append(f"{holds} {shown(amount)} of {one.name}.")
    return tuple(held), tuple(words)


def _in_unit_of(most: Quantity, label: Label, amount: Quantity) -> Quantity:
    """What somebody measured, in the unit in which the most stands."""
    try:
        kind = amount.kind
    except UnitError as error:
        raise DoseError("unit", str(error)) from error
    if amount.unit == "oz" and (most.kind == "volume" or label.measured_in == "ml"):
        raise DoseError("unit", kinds_differ("oz", "l"))
    if kind not in ("mass", "volume"):
        raise DoseError("unit", kinds_differ(amount.unit, most.unit))
    if amount.amount <= 0:
        raise DoseError("amount", "The amount must be above zero.")
    if kind == most.kind:
        return amount.to(most.unit)
    if label.density is None:
        raise DoseError(
            "unit",
            f"{kinds_differ(amount.unit, most.unit)} Give {KIND_WORDS[most.kind]}, or have the "
            "office enter the product's density.",
        )
    return Quantity(
        through_density(amount.amount, amount.unit, most.unit, label.density), most.unit
    )


def _cover_words(cover: Cover, place: Quantity, finished: Quantity) -> str:
    rate = f"{typed_quantity(Quantity(cover.amount, cover.unit))} for each "
    rate += typed_quantity(Quantity(cover.per_amount, cover.per_unit))
    return f"{typed_quantity(place)} at {rate}: {shown(finished)} of finished spray."


def _rate_words(line: RateLine, label: Label, times: Fraction) -> str:
    most = typed_quantity(Quantity(line.most, line.unit))
    each = typed_quantity(Quantity(line.per_amount, line.per_unit))
    what = "product" if line.of == "product" else label.active_of(line).name
    return f"The label allows {most} of {what} for each {each}; here {figure(times)} times that."


def words_of(working: Sequence[str]) -> str:
    """The sums on one line, as a record keeps them."""
    return " ".join(working)
