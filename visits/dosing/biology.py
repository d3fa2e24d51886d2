"""What is known of the pests that matters for the work: where they are usual, and when to return.

Pests are slugs. Where a pest is expected is a hint and excludes nothing: a find elsewhere asks for
a second look at what it is. Follow-up days come from how long eggs take to hatch and young to grow;
the label and the contract go first. Each row says what it rests on.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from visits.dosing.rules import Confirmed

Expectation = Literal["usual", "unlikely", "unusual", "unknown"]


@dataclass(frozen=True, slots=True)
class FollowUp:
    """When to look again, in days after the treatment; ``days`` are all that are wanted.

    The first look is from ``first_on_days``, the last by ``by_days``.
    """

    days: tuple[int, ...]
    reason: str
    source: str
    confirmed: Confirmed

    @property
    def first_on_days(self) -> int:
        return self.days[0]

    @property
    def by_days(self) -> int:
        return self.days[-1]


@dataclass(frozen=True, slots=True)
class Development:
    """How a pest multiplies. Days at room temperature, least and most; None: not looked up."""

    eggs_per_case: tuple[int, int] | None
    hatch_days: tuple[int, int] | None
    grown_days: tuple[int, int] | None
    source: str
    confirmed: Confirmed


_FLORIDA = "Univ. of Florida EENY-002 and IN1190; Texas A&M extension"
_SUMMARY = "Summaries of public text"

# ``grown_days`` is from the egg, but for the German cockroach from the nymph.
DEVELOPMENT: Mapping[str, Development] = {
    "german-cockroach": Development((30, 40), (20, 30), (50, 60), _FLORIDA, "text-seen"),
    "american-cockroach": Development((14, 16), (35, 49), (285, 600), _SUMMARY, "secondary"),
    "australian-cockroach": Development(
        (22, 24), (40, 40), None, "An urban entomology handbook", "secondary"
    ),
    "smokybrown-cockroach": Development((20, 24), (24, 70), None, _SUMMARY, "secondary"),
    "oriental-cockroach": Development((16, 16), (40, 80), (180, 540), "None read", "from memory"),
    "brown-banded-cockroach": Development(
        (14, 18), (37, 103), (90, 270), "None read", "from memory"
    ),
    "house-fly": Development(None, None, (7, 14), "None read", "from memory"),
    "fruit-fly": Development(None, None, (8, 12), "None read", "from memory"),
    "drain-fly": Development(None, None, (8, 28), "None read", "from memory"),
    "scuttle-fly": Development(None, None, (8, 28), "None read", "from memory"),
    "indian-meal-moth": Development(None, None, (28, 60), "None read", "from memory"),
    "flour-beetle": Development(None, None, (27, 45), "None read", "from memory"),
    "grain-weevil": Development(None, None, (28, 40), "None read", "from memory"),
}

_OURS = "Ours; no source read"

_BY_PEST: Mapping[str, FollowUp] = {
    "german-cockroach": FollowUp(
        (14, 28),
        "Egg cases that females carry are hardly reached and hatch in three to four weeks: look at "
        "14 days, and again by 28, so that the young meet a fresh treatment. Closed after two "
        "checks a month apart without a find.",
        f"Computed from eggs and hatching ({_FLORIDA}); the days are design values",
        "ours",
    ),
    "brown-banded-cockroach": FollowUp(
        (28, 56),
        "Egg cases glued into furniture hatch after five weeks and more.",
        "Ours, from the days to hatching; numbers from memory",
        "from memory",
    ),
    "bed-bug": FollowUp(
        (14, 28),
        "Eggs are hardly reached and hatch within two weeks: look twice before it is called over.",
        _OURS,
        "ours",
    ),
    "wasp": FollowUp(
        (2, 7),
        "A treated nest is quiet within days; if it is not, treat again.",
        _OURS,
        "ours",
    ),
}

_BY_GROUP: Mapping[str, FollowUp] = {
    "cockroach": FollowUp(
        (28, 56),
        "Egg cases hatch after four to ten weeks, and drains or voids send more: look again then.",
        f"From eggs and hatching ({_SUMMARY}); the days are design values",
        "secondary",
    ),
    "rodent": FollowUp(
        (3, 7, 14),
        "After baiting begins: back within days, then weekly, to renew, to look for dead rodents "
        "and to see whether they take it. Bait is reviewed by day 35.",
        "CRRU UK Code 2015 for day 35 (text-seen); the early days are from memory",
        "from memory",
    ),
    "fly": FollowUp(
        (7, 14),
        "From egg to fly takes one to two weeks: what flies then bred after the treatment.",
        "From the days from egg to adult; numbers from memory",
        "from memory",
    ),
    "stored_product": FollowUp(
        (28, 42),
        "What was inside the goods as egg or grub comes out in four to six weeks.",
        "From the days from egg to adult; numbers from memory",
        "from memory",
    ),
    "ant": FollowUp(
        (7, 21),
        "Bait takes a week or more to reach the nest: look at the trails then, and once more.",
        _OURS,
        "ours",
    ),
    "other": FollowUp(
        (14, 28),
        "Nothing in particular is known: look again in two to four weeks.",
        _OURS,
        "ours",
    ),
}


def follow_up_of(pest: str, group: str) -> FollowUp | None:
    """When to look again after treating a pest; by its group where it has no row of its own.

    None for birds, which are proofed against and not treated, and for a group we do not know.
    """
    return _BY_PEST.get(pest) or _BY_GROUP.get(group)


# --- where they are usual -------------------------------------------------------------------------

_MICE_AND_RATS = ("house-mouse", "brown-rat", "black-rat")
_DRAIN_FLIES = ("drain-fly", "scuttle-fly")
_BEETLES = ("flour-beetle", "grain-weevil")
_LARGE = ("american-cockroach", "smokybrown-cockroach", "australian-cockroach")

# By kind of zone: hint lists of the trade and of species texts together. A zone that is not in
# ``_FULL`` has no list, only what is known to be usual there, and nothing is unusual in it.
_KITCHEN = ("german-cockroach", "house-mouse", "house-fly", "fruit-fly", *_DRAIN_FLIES)
_FRONT = ("brown-banded-cockroach", "house-mouse", "garden-ant", "pharaoh-ant")

_FULL: Mapping[str, tuple[str, ...]] = {
    "kitchen": _KITCHEN,
    "wash_up": _KITCHEN,
    "bar": _KITCHEN,
    "dry_store": (
        *_MICE_AND_RATS,
        "indian-meal-moth",
        *_BEETLES,
        "german-cockroach",
    ),
    "cellar": (
        "german-cockroach",
        "oriental-cockroach",
        "american-cockroach",
        "brown-rat",
        *_DRAIN_FLIES,
    ),
    "outdoor_dining": ("house-fly", "garden-ant", "pharaoh-ant", "brown-rat", *_LARGE),
    "perimeter": (*_MICE_AND_RATS, *_LARGE, "garden-ant", "pharaoh-ant"),
    "dining": _FRONT,
    "staff": _FRONT,
}
_IN_PART: Mapping[str, tuple[str, ...]] = {
    "roof_void": (*_LARGE, *_MICE_AND_RATS),
    "waste": (*_LARGE, *_MICE_AND_RATS),
    "delivery": (*_LARGE, *_MICE_AND_RATS),
}
# Unlikely there, and not excluded: common practice, no source.
_UNLIKELY: Mapping[str, tuple[str, ...]] = {
    "outdoor_dining": ("german-cockroach",),
    "perimeter": ("german-cockroach",),
}
_KNOWN = frozenset(pest for pests in (*_FULL.values(), *_IN_PART.values()) for pest in pests)


def expected_in(zone_kind: str) -> tuple[str, ...]:
    """The pests that are usual in a kind of zone; empty where nothing is on file."""
    return (*_FULL.get(zone_kind, ()), *_IN_PART.get(zone_kind, ()))


def expectation(zone_kind: str, pest: str) -> Expectation:
    """How far a pest is to be expected in a kind of zone.

    ``unlikely`` is not excluded; ``unusual`` is on no list for that zone; ``unknown``: there is no
    list for the zone, or the pest is on none at all.
    """
    if pest in expected_in(zone_kind):
        return "usual"
    if pest in _UNLIKELY.get(zone_kind, ()):
        return "unlikely"
    if zone_kind in _FULL and pest in _KNOWN:
        return "unusual"
    return "unknown"


def is_unusual(zone_kind: str, pest: str) -> bool:
    """Whether a find there says "unusual for this zone, check the identification"."""
    return expectation(zone_kind, pest) in ("unlikely", "unusual")


# Where to look for it: common practice, no source, apart from the signs of rodents (extension
# guidance on rodent exclusion).
_LOOK_FOR_LARGE = (
    "roof voids",
    "cracks and crevices outdoors",
    "gaps in outside brickwork",
)
_LOOK_FOR_RODENTS = (
    "smear or rub marks along walls at an entry",
    "knocked-out brickwork",
    "breaks in a false ceiling",
)
_LOOK_FOR: Mapping[str, tuple[str, ...]] = {
    "german-cockroach": (
        "equipment on castors",
        "motor housings",
        "behind wall-fixed dispensers, signs and clocks",
        "behind covers not sealed at an edge",
        "gaps between shelf and support",
        "hollow shelving legs",
        "warm rooms with stacked cardboard",
        "behind gauge and switch plates",
        "freezer and ice-machine housings",
    ),
    **dict.fromkeys(_LARGE, _LOOK_FOR_LARGE),
    **dict.fromkeys(_MICE_AND_RATS, _LOOK_FOR_RODENTS),
}


def look_for(pest: str) -> tuple[str, ...]:
    """The places and signs by which a pest gives itself away; empty where nothing is on file."""
    return _LOOK_FOR.get(pest, ())
