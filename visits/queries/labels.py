"""What the register holds of a label, as the pure sums and checks take it. No queries here.

Whoever calls brings the label with its product (``select_related("product")``) and its lines of
rates, so that the cost stays where it can be counted.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal, cast

from visits.dosing.doses import Dose, Use
from visits.dosing.label import Active, Basis, Cover, Label, Per, RateLine
from visits.dosing.showing import shown, shown_most, shown_range, shown_share
from visits.dosing.units import DosingError
from visits.label_words import chosen_words, rate_words
from visits.models import LabelRate, Pest, PlaceKind, ProductLabel, Treatment


def pure_label(label: ProductLabel, rates: Iterable[LabelRate]) -> Label:
    """A label version for ``visits.dosing``; its product must be at hand.

    An active ingredient whose strength is not on file (as words taken over from before labels had
    fields) is left out, since no sum can be done with it. Raises ``LabelError`` for what no label
    can say; ``enter_label`` keeps such a version out of the register.
    """
    product = label.product
    return Label(
        name=product.name,
        formulation=product.formulation,
        actives=tuple(pure_active(one) for one in label.actives if one.get("strength")),
        rates=tuple(pure_rate(one) for one in rates),
        density=_fraction(label.density),
        ready_to_use=label.ready_to_use,
        pests=frozenset(label.pests),
        pest_groups=frozenset(label.pest_groups),
        places=frozenset(label.places),
        methods=frozenset(label.methods),
        interval_days=label.interval_days,
        most_a_year=label.most_a_year,
        re_entry_minutes=label.re_entry_minutes,
        wind_most_kmh=_fraction(label.wind_most_kmh),
        authorised_until=label.authorised_until,
        sheet_issued_on=label.safety_data_sheet_on,
        label_issued_on=label.issued_on,
        version=label.number or 1,
        measured_in=cast(Literal["g", "ml"], product.unit),
    )


def pure_active(one: dict[str, Any]) -> Active:
    """An active ingredient of ``ProductLabel.actives``. Raises ``LabelError``."""
    return Active(one["name"], Fraction(one["strength"]), cast(Basis, one["basis"]))


def pure_rate(rate: LabelRate) -> RateLine:
    """A line of rates for ``visits.dosing``. Raises ``LabelError``."""
    cover = None
    if rate.cover_amount is not None and rate.cover_per_amount is not None:
        cover = Cover(
            Fraction(rate.cover_amount),
            rate.cover_unit,
            Fraction(rate.cover_per_amount),
            rate.cover_per_unit,
        )
    return RateLine(
        per=cast(Per, rate.per),
        most=Fraction(rate.most),
        unit=rate.unit,
        per_amount=Fraction(rate.per_amount),
        per_unit=rate.per_unit,
        least=_fraction(rate.least),
        of=cast(Literal["product", "active"], rate.of),
        active=rate.active,
        cover=cover,
        methods=frozenset(rate.methods),
        places=frozenset(rate.places),
    )


def _fraction(number: Decimal | None) -> Fraction | None:
    return None if number is None else Fraction(number)


@dataclass(frozen=True, slots=True)
class RateShown:
    """A line of rates as a page shows it. ``problem`` says why it cannot be worked with."""

    position: int
    words: str
    note: str
    problem: str = ""


@dataclass(frozen=True, slots=True)
class LabelShown:
    """A version as a page shows it: facts in the order of a label, what is not on file left out."""

    facts: tuple[tuple[str, str], ...]
    days: tuple[tuple[str, date], ...]
    rates: tuple[RateShown, ...]
    cautions: tuple[str, ...]


def label_shown(
    label: ProductLabel, rates: Sequence[LabelRate], pests: Mapping[str, str]
) -> LabelShown:
    """A version in words. ``pests`` names the pests by their slugs. No query."""
    methods: Mapping[str, str] = dict(Treatment.Method.choices)
    places: Mapping[str, str] = dict(PlaceKind.choices)
    groups: Mapping[str, str] = dict(Pest.Group.choices)
    against = [*(groups.get(one, one) for one in label.pest_groups)]
    against += [pests.get(one, one) for one in label.pests]
    facts = (
        ("Active ingredients", label.actives_words),
        ("Against", ", ".join(against)),
        ("In the label's words", label.permitted_pests),
        ("Where", chosen_words(label.places, places)),
        ("In the label's words", label.permitted_places),
        ("Methods", chosen_words(label.methods, methods)),
        ("Ready to use", "Yes, never diluted" if label.ready_to_use else ""),
        ("Density", f"{label.density.normalize():f} kg/l" if label.density else ""),
        (
            "Between applications",
            "" if label.interval_days is None else _days(label.interval_days),
        ),
        ("In a year", "" if label.most_a_year is None else _times(label.most_a_year)),
        (
            "People may come back",
            _after(label.re_entry_minutes),
        ),
        ("In the label's words", label.re_entry),
        ("Wind at most", f"{label.wind_most_kmh:f} km/h" if label.wind_most_kmh else ""),
        ("Weather", "The label names temperature, humidity or rain" if label.names_weather else ""),
    )
    days = (
        ("Date of the label", label.issued_on),
        ("Safety data sheet of", label.safety_data_sheet_on),
        ("Authorised until", label.authorised_until),
    )
    return LabelShown(
        facts=tuple((name, words) for name, words in facts if words),
        days=tuple((name, day) for name, day in days if day),
        rates=tuple(_rate_shown(one, methods, places) for one in rates),
        cautions=tuple(line for line in label.cautions.splitlines() if line.strip()),
    )


def _rate_shown(
    rate: LabelRate, methods: Mapping[str, str], places: Mapping[str, str]
) -> RateShown:
    only = [chosen_words(rate.methods, methods), chosen_words(rate.places, places), rate.words]
    note = "; ".join(one for one in only if one)
    try:
        return RateShown(rate.position, rate_words(pure_rate(rate)), note)
    except DosingError as error:
        return RateShown(rate.position, str(rate), note, str(error))


def _days(days: int) -> str:
    return f"At least {days} day{'' if days == 1 else 's'}"


def _times(times: int) -> str:
    return f"At most {times} application{'' if times == 1 else 's'} in a place"


def _after(minutes: int | None) -> str:
    if minutes is None:
        return ""
    return f"After {_minutes(minutes)}" if minutes else "At once"


def _minutes(minutes: int) -> str:
    """“90 minutes”, “4 hours”, “2 days”: in the largest unit that says it exactly."""
    for size, name in ((24 * 60, "day"), (60, "hour")):
        if minutes and minutes % size == 0:
            count = minutes // size
            return f"{count} {name}{'' if count == 1 else 's'}"
    return f"{minutes} minute{'' if minutes == 1 else 's'}"


@dataclass(frozen=True, slots=True)
class DoseShown:
    """A dose in figures that can be measured, the most rounded down; ``working`` in sentences."""

    amount: str
    finished: str
    per_litre: str
    actives: tuple[tuple[str, str], ...]
    share: str
    over: bool
    under: bool
    working: tuple[str, ...]


def dose_shown(dose: Dose, used: Use | None) -> DoseShown:
    """What the label allows for a place, and what was used against it, as a page shows it."""
    actives = used.actives if used else dose.actives_most
    finished = used.finished if used else dose.finished
    return DoseShown(
        amount=shown_range(dose.product_least, dose.product_most),
        finished=shown(finished) if finished else "",
        per_litre=shown_most(dose.per_litre) if dose.per_litre else "",
        actives=tuple((name, shown(amount)) for name, amount in actives),
        share=shown_share(used.share_of_most) if used else "",
        over=bool(used and used.over),
        under=bool(used and used.under),
        working=(*dose.working, *(used.working if used else ())),
    )
