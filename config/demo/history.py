"""What monitors show where nothing special happens, and what is said of an ordinary round. Pure of
the database; the same ``rng`` gives the same words.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from random import Random

from sites.models import Monitor, Zone
from visits.models import Finding, NotReached, Reading, RemedyKind, WhoseMove

_K, _Z = Monitor.Kind, Zone.Kind
MOTH_TRAPS = "indian-meal-moth"


@dataclass(frozen=True, slots=True)
class Showing:
    """What one monitor shows on one day; bait taken and lifted in g, as text, where weighed."""

    counts: Mapping[str, int] = field(default_factory=dict)
    bait: str = ""
    condition: str = Reading.Condition.SOUND
    renewed: bool = False
    taken_g: str = ""
    lifted_g: str = ""


def warmth(day: date) -> float:
    """From 0 in the dead of winter to 1 at the height of summer, on a northern calendar."""
    return (1 - math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365)) / 2


def about(mean: float, rng: Random) -> int:
    """A count round a mean, as counts scatter (Poisson, by Knuth's multiplication)."""
    limit, drawn, count = math.exp(-min(mean, 60)), rng.random(), 0
    while drawn > limit:
        drawn *= rng.random()
        count += 1
    return count


def ordinary(kind: str, zone_kind: str, day: date, rng: Random) -> Showing:
    """What a monitor shows at a place where nothing goes wrong."""
    condition = rng.choices(
        [
            Reading.Condition.SOUND,
            Reading.Condition.DAMAGED,
            Reading.Condition.MISSING,
            Reading.Condition.BLOCKED,
        ],
        [970, 14, 8, 8],
    )[0]
    renewed = condition != Reading.Condition.SOUND or rng.random() < 0.25
    if condition in {Reading.Condition.MISSING, Reading.Condition.BLOCKED}:
        return Showing(condition=condition, renewed=condition == Reading.Condition.MISSING)
    if kind == _K.BAIT_STATION:
        eaten = 0.04 + 0.06 * (day.month in {9, 10, 11})
        bait = Reading.Bait.PART if rng.random() < eaten else Reading.Bait.NONE
        return Showing({}, bait, condition, renewed or bait != Reading.Bait.NONE)
    return Showing(_caught(kind, zone_kind, day, rng), "", condition, renewed)


def _caught(kind: str, zone_kind: str, day: date, rng: Random) -> dict[str, int]:
    if kind == _K.FLY_LIGHT:
        small = "fruit-fly" if zone_kind in {_Z.BAR, _Z.WASTE} else "scuttle-fly"
        found = {
            "house-fly": about(1 + 9 * warmth(day), rng),
            small: about(0.5 + 4 * warmth(day), rng),
        }
    elif kind == _K.PHEROMONE:
        found = {MOTH_TRAPS: about(0.2 + 0.5 * warmth(day), rng)}
    elif kind in {_K.SNAP_TRAP, _K.LIVE_TRAP}:
        found = {"house-mouse": int(rng.random() < 0.012)}
    elif kind == _K.INDICATOR:
        found = {}
    else:
        found = {
            "spider": about(0.12, rng),
            "woodlouse": about(0.08, rng),
            "silverfish": about(0.05, rng),
            "german-cockroach": int(zone_kind in {_Z.KITCHEN, _Z.WASH_UP} and rng.random() < 0.008),
        }
    return {slug: count for slug, count in found.items() if count}


@dataclass(frozen=True, slots=True)
class Remark:
    """Something ordinary that a technician finds, and what is recommended."""

    zone_kinds: tuple[str, ...]
    kind: str
    note: str
    remedy_kind: str
    remedy: str
    whose_move: str
    urgency: str = Finding.Urgency.SOON
    done: str = ""


REMARKS = (
    Remark(
        (_Z.KITCHEN, _Z.PRODUCTION),
        Finding.Kind.CONDUCIVE,
        "Grease and crumbs under the equipment along the wall.",
        RemedyKind.HOUSEKEEPING,
        "Deep clean under and behind the line",
        WhoseMove.CLIENT,
        done="Pulled out and cleaned, put on the weekly list.",
    ),
    Remark(
        (_Z.DRY_STORE, _Z.COLD_STORE),
        Finding.Kind.CONDUCIVE,
        "Stock stands against the wall; nobody can look behind it.",
        RemedyKind.HOUSEKEEPING,
        "Keep stock a hand’s breadth off wall and floor",
        WhoseMove.CLIENT,
        Finding.Urgency.LOW,
        done="Shelving moved and the line marked on the floor.",
    ),
    Remark(
        (_Z.WASH_UP,),
        Finding.Kind.CONDUCIVE,
        "Standing water under the dishwasher, waste pipe drips.",
        RemedyKind.REPAIR,
        "Mend the dripping waste pipe",
        WhoseMove.CLIENT,
        done="Plumber fitted a new trap.",
    ),
    Remark(
        (_Z.WASTE,),
        Finding.Kind.CONDUCIVE,
        "Lids left open, bags beside the bins.",
        RemedyKind.HOUSEKEEPING,
        "Keep bin lids closed and the ground clear",
        WhoseMove.CLIENT,
        done="Bins collected twice a week now; staff briefed.",
    ),
    Remark(
        (_Z.PERIMETER,),
        Finding.Kind.HARBOURAGE,
        "Ivy has grown over the station line along the wall.",
        RemedyKind.ADVICE,
        "Cut growth back half a metre from the wall",
        WhoseMove.CLIENT,
        Finding.Urgency.LOW,
        done="Gardener cut it back.",
    ),
    Remark(
        (_Z.CELLAR, _Z.DELIVERY),
        Finding.Kind.SIGNS,
        "A few old droppings along the wall, none fresh.",
        RemedyKind.TREATMENT_FOLLOW_UP,
        "Look again at the next round",
        WhoseMove.US,
        Finding.Urgency.LOW,
        done="Looked again: nothing fresh, traps empty.",
    ),
    Remark(
        (_Z.BAR, _Z.DINING, _Z.SHOP_FLOOR),
        Finding.Kind.CONDUCIVE,
        "Syrup under the drip trays draws small flies.",
        RemedyKind.ADVICE,
        "Rinse drip trays and drains at close",
        WhoseMove.CLIENT,
        Finding.Urgency.LOW,
        done="On the closing list.",
    ),
)

BLOCKED = (
    (NotReached.Reason.BLOCKED, "A delivery stood in front of it.", WhoseMove.CLIENT),
    (NotReached.Reason.IN_USE, "Service was running.", WhoseMove.CLIENT),
    (NotReached.Reason.HEIGHT, "Too high without a tower; none on site.", WhoseMove.US),
)
CALLED_OFF = (
    "Premises closed for a private event; the client asked for the next round.",
    "Kitchen closed for refitting that week.",
)
MISSED = (
    "Technician ill and no cover that day.",
    "Nobody opened; the key holder had left.",
)
SUMMARIES = (
    "All zones walked, monitors read. Nothing of note.",
    "Round made. Traps renewed where needed; no activity.",
    "Round made with the contact. Housekeeping good.",
    "All places on the walk looked at. Low activity only, as usual for the season.",
)
UNSIGNED = "Nobody of the premises was free to sign."
