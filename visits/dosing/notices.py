"""What stands against an application: before it is made a warning or a stop, afterwards the truth.

``forbidden`` is kept for what the label or the law forbids; a technician is stopped by it while
planning. What was done all the same is recorded as it was, with these notices beside it. Nothing
here is lawful advice: local law and the licensed technician decide. Codes go into seals and are
never renamed; docs/algorithms/treatment-checks.md has one row for each.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from visits.dosing.allowance import Applied, allowance
from visits.dosing.baiting import BaitingState
from visits.dosing.biology import is_unusual
from visits.dosing.days import day_words, years_later
from visits.dosing.doses import DoseError, dose, use
from visits.dosing.label import Label, RateLine
from visits.dosing.rotation import WINDOW_DAYS, Used
from visits.dosing.rotation import rotation as rotation_of
from visits.dosing.showing import figure, shown_least, shown_most, shown_share
from visits.dosing.units import Quantity
from visits.dosing.vocabulary import FOOD_ZONES, RODENTICIDES, SPRAYED

SHEET_YEARS = 5
"""How old a safety data sheet may be before it is asked for anew: ours, no source read."""

WIND_KMH = Fraction(15)
"""Wind, in km/h, above which a spray outdoors is warned of where the label names none: ours."""

PLACE_WORDS: Mapping[str, str] = {
    "indoors": "indoors",
    "food_premises": "food premises",
    "voids": "voids and cracks",
    "outdoors": "outdoors",
    "drains": "drains",
    "stations": "locked stations",
}

# Always in the open. A waste area or a delivery door is where the technician says it is.
_OPEN_AIR = frozenset({"perimeter", "outdoor_dining"})
_EITHER = frozenset({"waste", "delivery"})
_WITHIN = {
    "crack": "crack",
    "behind_plate": "crack",
    "shelf_gap": "crack",
    "void": "void",
    "drain": "drain",
}


@dataclass(frozen=True, slots=True)
class Planned:
    """One application, planned or done. ``on`` is a day in the site's own zone.

    ``within`` is "void", "crack" or "drain", or empty. ``amount`` is of the product. ``line`` is
    the line of rates that the amount goes by. ``wind_kmh`` is in km/h. ``licensed`` says whether
    the technician's licence covered this day; None: it is not known, and nothing is said.
    """

    on: date
    zone_kind: str
    within: str = ""
    pest: str = ""
    pest_group: str = ""
    method: str = ""
    outdoors: bool = False
    measure: Quantity | None = None
    amount: Quantity | None = None
    line: RateLine | None = None
    wind_kmh: Fraction | None = None
    licensed: bool | None = None
    supervised: bool = False
    boundary: str = "within"

    @property
    def is_outdoors(self) -> bool:
        return self.outdoors or self.zone_kind in _OPEN_AIR


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing against an application: what stands in the way, and who can move it."""

    code: str
    forbidden: bool
    words: str


def within_of(surface: str, zone_kind: str) -> str:
    """What a surface of the method guide is within, as labels tell places apart."""
    found = _WITHIN.get(surface, "")
    return "void" if not found and zone_kind == "roof_void" else found


def places_allow(places: frozenset[str], planned: Planned) -> bool:
    """Whether permitted places have the place of an application among them; none named: they do.

    Food zones indoors need "food_premises"; other rooms of a food business "indoors" or that.
    "voids" covers voids and cracks wherever the other places do not narrow it to another side of
    the wall; "stations" covers bait in stations in the same way, and food zones count as indoors
    there, since a locked station touches no food. A drain needs "drains".
    """
    if not places:
        return True
    if planned.within == "drain":
        return "drains" in places
    sides = _sides(planned)
    inside = planned.within or planned.zone_kind == "roof_void"
    in_station = planned.method == "bait_station"
    if (in_station and "stations" in places) or (inside and "voids" in places):
        elsewhere = places - {"stations", "voids", "drains"}
        return not elsewhere or bool(elsewhere & (sides | _indoors_too(sides)))
    return bool(places & sides)


def notices(
    planned: Planned,
    label: Label,
    *,
    applied: Sequence[Applied] = (),
    rotation: Sequence[Used] = (),
    bait_review: BaitingState | None = None,
    in_force: bool = True,
    sheet_years: int = SHEET_YEARS,
    window_days: int = WINDOW_DAYS,
) -> tuple[Notice, ...]:
    """Everything that stands against an application, what is forbidden first.

    ``applied`` is what was applied of the product in the same place, ``rotation`` what was applied
    against the same pest at the site, ``bait_review`` the state of the site's bait points; all
    three without this application. ``in_force`` is false where a newer label is on file.
    """
    found = [
        *_label_itself(planned, label, in_force, sheet_years),
        *_person(planned),
        *_place_pest_method(planned, label),
        *_rate(planned, label),
        *_again(planned, label, applied),
        *_wind(planned, label),
        *_bait(label, bait_review),
        *_rotation(planned, label, rotation, window_days),
        *_surroundings(planned),
    ]
    return tuple(sorted(found, key=lambda one: not one.forbidden))


def _forbidden(code: str, words: str) -> Notice:
    return Notice(code, True, words)


def _warning(code: str, words: str) -> Notice:
    return Notice(code, False, words)


def _label_itself(
    planned: Planned, label: Label, in_force: bool, sheet_years: int
) -> Iterator[Notice]:
    if label.authorised_until is not None and label.authorised_until < planned.on:
        yield _forbidden(
            "authorisation_expired",
            f"The authorisation of {label.name} ended on {day_words(label.authorised_until)}. Only "
            "the authority can renew it: take another product.",
        )
    if not in_force:
        yield _warning(
            "label_replaced",
            f"A newer label of {label.name} is on file. The one on the pack holds for that pack: "
            "read it, and ask the office which it is.",
        )
    if label.sheet_issued_on is None:
        yield _warning(
            "sheet_missing",
            f"No safety data sheet of {label.name} is on file. The office gets it from the maker.",
        )
    elif years_later(label.sheet_issued_on, sheet_years) < planned.on:
        yield _warning(
            "sheet_old",
            f"The safety data sheet of {label.name} is of {day_words(label.sheet_issued_on)}, more "
            f"than {sheet_years} years old (our own limit). The office asks the maker for the "
            "latest.",
        )
    silent = [
        words
        for words, is_silent in (
            ("pests", not label.pests and not label.pest_groups),
            ("places", not label.places),
            ("methods", not label.methods),
            ("rates", not label.rates),
        )
        if is_silent
    ]
    if silent:
        yield _warning(
            "register_silent",
            f"The register does not say which {_listed(silent)} the label of {label.name} names. "
            "Read the label itself; the office can enter it.",
        )


def _person(planned: Planned) -> Iterator[Notice]:
    if planned.licensed is not False:
        return
    if planned.supervised:
        yield _warning(
            "supervised",
            "The technician holds no licence valid that day and works under supervision. The "
            "supervisor answers for it.",
        )
    else:
        yield _forbidden(
            "not_licensed",
            "The technician holds no licence valid that day. Somebody who does has to do it or "
            "supervise it; the office keeps the licences.",
        )


def _place_pest_method(planned: Planned, label: Label) -> Iterator[Notice]:
    if not places_allow(label.places, planned):
        yield _forbidden(
            "place_not_on_label",
            f"The label does not allow this place. It names {_places(label.places)}. Choose "
            "another product.",
        )
    pests_named = label.pests or label.pest_groups
    if (
        planned.pest
        and pests_named
        and planned.pest not in label.pests
        and planned.pest_group not in label.pest_groups
    ):
        yield _forbidden(
            "pest_not_on_label",
            "The label does not name this pest. Choose another product.",
        )
    if planned.method and label.methods and planned.method not in label.methods:
        yield _forbidden(
            "method_not_on_label",
            "The label does not name this method. Choose another method or product.",
        )


def _rate(planned: Planned, label: Label) -> Iterator[Notice]:
    line = planned.line
    method_allowed = not label.methods or planned.method in label.methods
    candidates = label.rates if line is None else (line,)
    if candidates and method_allowed and not any(_fits(one, planned) for one in candidates):
        yield _forbidden(
            "no_rate",
            "The label gives no rate for this method in this place. Choose another method or "
            "product.",
        )
    if line is None or planned.measure is None or planned.amount is None:
        return
    try:
        allowed = dose(line, label, planned.measure)
        judged = use(line, label, planned.measure, planned.amount)
    except DoseError as error:
        yield _warning("amount_unclear", f"The amount cannot be held against the label. {error}")
        return
    share = shown_share(judged.share_of_most)
    if judged.over:
        yield _forbidden(
            "over_most",
            f"That is {share} of what the label allows at most here, "
            f"{shown_most(allowed.product_most)}. Nobody may go over it: use less, or measure the "
            "place again.",
        )
    if judged.under and allowed.product_least is not None:
        yield _warning(
            "under_least",
            f"That is less than the label's least here, {shown_least(allowed.product_least)}: it "
            "may not work and can breed resistance. The technician decides.",
        )


def _again(planned: Planned, label: Label, applied: Sequence[Applied]) -> Iterator[Notice]:
    """What was applied in a place on one day is one application, in however many spots."""
    days = sorted({one.on for one in applied if one.on < planned.on})
    if label.interval_days and days and (planned.on - days[-1]).days < label.interval_days:
        yield _forbidden(
            "too_soon",
            f"{label.name} was applied here on {day_words(days[-1])}; the label asks for "
            f"{label.interval_days} days between two applications. Wait, or choose another "
            "product.",
        )
    year = allowance(label, [Applied(day) for day in days], on=planned.on)
    if year.left == 0:
        times = "once" if label.most_a_year == 1 else f"{label.most_a_year} times"
        yield _forbidden(
            "count_used_up",
            f"The label allows {label.name} {times} a year in one place, and that is used up. "
            "Choose another product.",
        )


def _wind(planned: Planned, label: Label) -> Iterator[Notice]:
    if not planned.is_outdoors or label.formulation not in SPRAYED:
        return
    wind, most = planned.wind_kmh, label.wind_most_kmh
    if wind is None:
        yield _warning(
            "wind_unknown",
            "Sprayed outdoors, and the wind is not written down. Measure it and write it down.",
        )
    elif most is not None and wind > most:
        yield _forbidden(
            "wind_over_label",
            f"The wind is {figure(wind)} km/h; the label allows {figure(most)} km/h. Wait for less "
            "wind.",
        )
    elif most is None and wind > WIND_KMH:
        yield _warning(
            "wind_high",
            f"The wind is {figure(wind)} km/h, and the register has no limit from the label. Above "
            f"{figure(WIND_KMH)} km/h (our own limit) spray drifts: read the label, or wait.",
        )


def _bait(label: Label, baiting: BaitingState | None) -> Iterator[Notice]:
    if label.formulation not in RODENTICIDES or baiting is None or not baiting.is_overdue:
        return
    yield _warning(
        "bait_past_review",
        f"{baiting.words} The office writes the review.",
    )


def _rotation(
    planned: Planned, label: Label, used: Sequence[Used], window_days: int
) -> Iterator[Notice]:
    names = [one.name for one in label.actives]
    found = rotation_of(names, used, on=planned.on, window_days=window_days)
    if found.level != "clear":
        yield _warning(f"rotation_{found.level}", found.words)


def _surroundings(planned: Planned) -> Iterator[Notice]:
    if is_unusual(planned.zone_kind, planned.pest):
        yield _warning(
            "unusual_find",
            "This pest is unusual for this zone: check the identification before you treat.",
        )
    if planned.boundary == "outside":
        yield _warning(
            "outside_remit",
            "The zone is outside our remit. Whoever owns it has to agree; the office keeps the "
            "word.",
        )


def _fits(line: RateLine, planned: Planned) -> bool:
    return (
        not planned.method or not line.methods or planned.method in line.methods
    ) and places_allow(line.places, planned)


def _sides(planned: Planned) -> frozenset[str]:
    """The words for the side of the wall on which a place lies."""
    if planned.is_outdoors:
        return frozenset({"outdoors"})
    if planned.zone_kind in _EITHER:
        return frozenset({"outdoors", "indoors", "food_premises"})
    if planned.zone_kind in FOOD_ZONES:
        return frozenset({"food_premises"})
    return frozenset({"indoors", "food_premises"})


def _indoors_too(sides: frozenset[str]) -> frozenset[str]:
    return frozenset({"indoors"}) if "food_premises" in sides else frozenset()


def _places(places: frozenset[str]) -> str:
    return _listed([PLACE_WORDS.get(place, place) for place in sorted(places)])


def _listed(words: Sequence[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
