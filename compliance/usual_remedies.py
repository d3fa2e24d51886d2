"""The remedies that a price list usually has: words, units, labour and lives, and no prices.

A starting set, not a standard. Each says where it is from. Lives and minutes are common practice
with no published source throughout: the office puts its own in their place. Prices are the
company's, and what has none cannot be used.

The sources: extension guidance on rodent exclusion (ICWDM, Rodent Exclusion Methods) for gaps,
wool and mesh; food code section 6-202.15, as states have adopted it, for screens and doors; a
published restaurant construction manual (read at second hand) for door gaps and service holes.
"""

from dataclasses import dataclass

from compliance.models import Remedy
from visits.models import Finding, RemedyKind

_Unit, _Holds, _Kind = Remedy.Unit, Remedy.Holds, Finding.Kind

COMMON_PRACTICE = "Common practice, no source."
_LIFE = "Life and labour: common practice, no source."
_EXCLUSION = "Rodent Exclusion Methods (ICWDM)"
_PROOFING = (RemedyKind.PROOFING.value,)
_REPAIR = (RemedyKind.REPAIR.value,)

_SEALANT = (
    "The sealant's label and safety data sheet come first: air the room, and keep food, dishes and "
    "diners away until it has cured."
)
_MORTAR = (
    "Gloves and eye protection: wet cement burns and cut mesh is sharp. Look for cables and pipes "
    "before anything is drilled or cut."
)
_DROPPINGS = "Droppings are wetted and wiped up, never swept dry."
_LADDER = "Ladders and voids: only by somebody trained for them, and never alone."
_ELECTRICS = "No metal wool near anything electrical."
_STATION = (
    "Bait is laid by its label and by a licensed technician only; stations are locked, fixed, and "
    "out of reach of children and animals."
)
_FIRE = "A door on an escape route must still open freely; fire doors only by who may work on them."


@dataclass(frozen=True, slots=True)
class UsualRemedy:
    """One remedy as a price list starts with it. ``life`` in years: shortest, likely, longest."""

    slug: str
    name: str
    unit: str
    holds: str
    minutes: int
    life: tuple[int, int, int] | None
    basis: str
    finding_kinds: tuple[str, ...] = ()
    remedy_kinds: tuple[str, ...] = ()
    cautions: str = ""


USUAL_REMEDIES: tuple[UsualRemedy, ...] = (
    UsualRemedy("labour-hour", "Labour", _Unit.HOUR, _Holds.LABOUR, 0, None, COMMON_PRACTICE),
    UsualRemedy(
        "sealant-bead",
        "Sealant bead along an open edge",
        _Unit.METRE,
        _Holds.LASTING,
        6,
        (3, 5, 10),
        COMMON_PRACTICE,
        (_Kind.HARBOURAGE, _Kind.ENTRY_POINT, _Kind.LIVE_PESTS),
        _PROOFING,
        _SEALANT,
    ),
    UsualRemedy(
        "mesh-and-cement",
        "Steel mesh and cement in a hole, nothing over 6 mm left open",
        _Unit.HOLE,
        _Holds.LASTING,
        40,
        (10, 15, 25),
        f"{_EXCLUSION}: mesh of 6 mm behind the filler; wool alone is for the time being. {_LIFE}",
        (_Kind.ENTRY_POINT, _Kind.LIVE_PESTS, _Kind.SIGNS),
        _PROOFING,
        f"{_MORTAR}\n{_DROPPINGS}",
    ),
    UsualRemedy(
        "pipe-collar",
        "Service hole closed round its pipe, first to within 5 mm, then sealed",
        _Unit.HOLE,
        _Holds.LASTING,
        30,
        (8, 12, 20),
        f"A restaurant construction manual, read at second hand. {_LIFE}",
        (_Kind.ENTRY_POINT, _Kind.LIVE_PESTS, _Kind.HARBOURAGE),
        _PROOFING,
        f"{_SEALANT}\n{_MORTAR}",
    ),
    UsualRemedy(
        "bristle-strip",
        "Bristle strip on a door, gap at most 5 mm",
        _Unit.DOOR,
        _Holds.LASTING,
        45,
        (2, 3, 5),
        "A restaurant construction manual, read at second hand: metal base plates outlast it, and "
        f"its wear is looked at on every visit. {_LIFE}",
        (_Kind.ENTRY_POINT,),
        _PROOFING,
        _FIRE,
    ),
    UsualRemedy(
        "base-plate",
        "Metal base plate on a door, gap at most 5 mm",
        _Unit.DOOR,
        _Holds.LASTING,
        75,
        (8, 12, 20),
        "A restaurant construction manual, read at second hand: it outlasts bristle and rubber "
        f"strips. {_LIFE}",
        (_Kind.ENTRY_POINT,),
        _PROOFING,
        _FIRE,
    ),
    UsualRemedy(
        "door-closer",
        "Door closer, so that the door shuts by itself",
        _Unit.DOOR,
        _Holds.LASTING,
        60,
        (5, 8, 12),
        "Food code 6-202.15: outer doors close by themselves and fit tightly; doors for "
        f"emergencies alone need none. {_LIFE}",
        (_Kind.ENTRY_POINT,),
        _REPAIR,
        _FIRE,
    ),
    UsualRemedy(
        "insect-screen",
        "Insect screen in a window, 16 meshes an inch or finer",
        _Unit.SQUARE_METRE,
        _Holds.LASTING,
        50,
        (4, 7, 10),
        f"Food code 6-202.15: 16 meshes to 25.4 mm. {_LIFE}",
        (_Kind.ENTRY_POINT,),
        (RemedyKind.PROOFING.value, RemedyKind.REPAIR.value),
        _LADDER,
    ),
    UsualRemedy(
        "ceiling-tile",
        "Ceiling tile replaced",
        _Unit.TILE,
        _Holds.LASTING,
        15,
        (8, 15, 25),
        COMMON_PRACTICE,
        (_Kind.ENTRY_POINT, _Kind.HARBOURAGE),
        (RemedyKind.PROOFING.value, RemedyKind.REPAIR.value),
        f"{_LADDER}\n{_DROPPINGS}",
    ),
    UsualRemedy(
        "ceiling-reinstated",
        "Ceiling reinstated",
        _Unit.SQUARE_METRE,
        _Holds.LASTING,
        90,
        (15, 20, 30),
        COMMON_PRACTICE,
        (_Kind.ENTRY_POINT, _Kind.SIGNS),
        (RemedyKind.PROOFING.value, RemedyKind.REPAIR.value),
        f"{_LADDER}\n{_DROPPINGS}",
    ),
    UsualRemedy(
        "brickwork",
        "Brickwork closed",
        _Unit.SQUARE_METRE,
        _Holds.LASTING,
        180,
        (20, 30, 50),
        COMMON_PRACTICE,
        (_Kind.ENTRY_POINT, _Kind.SIGNS),
        (RemedyKind.PROOFING.value, RemedyKind.REPAIR.value),
        f"{_MORTAR}\n{_DROPPINGS}",
    ),
    UsualRemedy(
        "drain-grating",
        "Drain grating fixed, openings of 6 mm at most",
        _Unit.PIECE,
        _Holds.LASTING,
        30,
        (8, 12, 20),
        COMMON_PRACTICE,
        (_Kind.ENTRY_POINT, _Kind.CONDUCIVE),
        _PROOFING,
        "Drains: gloves, no open wounds, and hands washed before anything else is touched.",
    ),
    UsualRemedy(
        "wool-plug",
        "Plug of steel or copper wool, looked at again within 30 days",
        _Unit.HOLE,
        _Holds.INTERIM,
        10,
        (1, 1, 2),
        f"{_EXCLUSION}: a plug for the time being; the 30 days are ours. {_LIFE}",
        (_Kind.ENTRY_POINT, _Kind.LIVE_PESTS, _Kind.SIGNS),
        _PROOFING,
        _ELECTRICS,
    ),
    UsualRemedy(
        "rodent-station",
        "Rodent station beside the opening",
        _Unit.PIECE,
        _Holds.INTERIM,
        20,
        (2, 4, 6),
        COMMON_PRACTICE,
        (_Kind.ENTRY_POINT, _Kind.SIGNS),
        _PROOFING,
        _STATION,
    ),
    UsualRemedy(
        "sticky-traps",
        "Sticky traps to follow the population over time",
        _Unit.PIECE,
        _Holds.INTERIM,
        5,
        (1, 1, 1),
        COMMON_PRACTICE,
        (_Kind.ENTRY_POINT, _Kind.SIGNS, _Kind.LIVE_PESTS),
        (),
        "Out of reach of children and animals, and not where food is handled.",
    ),
)
