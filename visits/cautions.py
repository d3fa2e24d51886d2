"""What must be said before a product is used: the cautions of a method, a formulation and a place.

Pure data and one rule, so that the phone can judge by the same table without a signal. Own words.
Sources: Univ. of Florida EDIS IN1074 (label, electrical points); NPIC and extension bulletins on
dusts, sprays and re-entry; US FDA Food Code 7-202.12 and 7-206.12; WAC 16-228-1380 (bait stations);
CRRU UK Code 2015 (bait outdoors, 35 days); NSW Pesticides Regulation 2017 cl. 36 (wind, drift);
US CDC, cleaning up after rodents (2008); HSE L143 (asbestos); Queensland SL 2021 No. 142 s 18-19
and WAC 170-296A-3950 (sensitive places); structural applicator guidance, secondary (flames, air
handling). Safety data sheets at work (29 CFR 1910.1200(g)(8); REACH Art. 31 and 35), leptospirosis
and spills: from memory. Work at height and voids: common practice, no source.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sites.models import Zone
from visits.models import Pest, Product, Treatment

_Method = Treatment.Method
_Form = Product.Formulation
_Kind = Zone.Kind

_DUSTING = (_Method.DUST_BY_HAND, _Method.DUST_HIGH_VOLUME)
_BAITING = (_Method.BAIT_STATION,)
_RODENTS = (Pest.Group.RODENT,)
_RODENT_BAITS = (_Form.BAIT_BLOCK, _Form.BAIT_PASTE)
_WET = (_Form.LIQUID, _Form.AEROSOL)
_SPRAYING = (_Method.SPRAY, _Method.EDGE_SPRAY, _Method.SPACE)
_WITH_FOOD = (
    _Kind.KITCHEN,
    _Kind.WASH_UP,
    _Kind.BAR,
    _Kind.DINING,
    _Kind.DRY_STORE,
    _Kind.COLD_STORE,
    _Kind.CELLAR,
    _Kind.PRODUCTION,
    _Kind.SHOP_FLOOR,
)


# Shown with signs of rodents, whoever may have to clean them up.
DROPPINGS = (
    "Droppings and nests are never swept or vacuumed dry. Air the room, wear gloves, soak them "
    "with disinfectant, wipe up, bag twice, wash hands. Much of it needs trained people."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One sentence and when it is shown.

    It is shown when the method or the formulation is named, or when neither is; and where kinds of
    zone or surroundings are named, only where one of them is there. ``surroundings`` are words of
    the method guide, surfaces among them. ``unless`` names methods that need no such warning, and
    where ``pest_groups`` are named it is left out against any other pest. One that must be
    confirmed is ticked by the technician, and the record says so.
    """

    key: str
    text: str
    methods: tuple[str, ...] = ()
    formulations: tuple[str, ...] = ()
    zone_kinds: tuple[str, ...] = ()
    surroundings: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    pest_groups: tuple[str, ...] = ()
    confirm: bool = False


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "label",
        "The label is the law: the place, the pest, the rate and the interval must be on it. The "
        "safety data sheet is at hand, also without a signal.",
    ),
    Caution(
        "equipment",
        "Wear what the label and the safety data sheet name: gloves at least, eye cover when "
        "mixing.",
    ),
    Caution(
        "food",
        "Food, utensils and linen are removed or covered and cupboards closed. Surfaces that food "
        "touches are cleaned before they are used again, and never treated unless the label says "
        "so.",
        zone_kinds=_WITH_FOOD,
        unless=(_Method.GEL, _Method.BAIT_STATION),
        confirm=True,
    ),
    Caution(
        "diners",
        "Nobody is being served here while it is done.",
        zone_kinds=(_Kind.DINING, _Kind.OUTDOOR_DINING),
        surroundings=("diners",),
        confirm=True,
    ),
    Caution(
        "drift",
        "Outdoors: low pressure, coarse drops. Stop when drift can reach tables, water, play areas "
        "or open doors. Write down the wind.",
        methods=_SPRAYING,
        formulations=_WET,
        zone_kinds=(_Kind.OUTDOOR_DINING, _Kind.PERIMETER, _Kind.WASTE, _Kind.DELIVERY),
        surroundings=("outdoors",),
    ),
    Caution(
        "re_entry",
        "People stay out until it is dry and for the time on the label; then the place is aired. "
        "The client is told the time.",
        methods=(*_SPRAYING, _Method.DUST_HIGH_VOLUME),
        formulations=_WET,
        confirm=True,
    ),
    Caution(
        "dust_film",
        "A thin, barely visible film inside voids and cracks only. Close or cover light fittings, "
        "vents and ceiling gaps first: dust leaves a void through them and falls on food and "
        "tables. Fans and air handling off.",
        methods=_DUSTING,
        formulations=(_Form.DUST,),
    ),
    Caution(
        "dust_electrics",
        "At sockets, switch plates and panels: isolated or kept clear, dry product only, no metal "
        "tip.",
        methods=_DUSTING,
        formulations=(_Form.DUST,),
    ),
    Caution(
        "spray_electrics",
        "No spray on or near live electrical equipment: shock, short circuit, fire.",
        methods=_SPRAYING,
        formulations=_WET,
    ),
    Caution(
        "flames",
        "Pilot lights, burners and heaters off first; air the room before they are lit again.",
        methods=(_Method.SPACE, _Method.DUST_HIGH_VOLUME),
        formulations=(_Form.AEROSOL,),
    ),
    Caution(
        "flames_near",
        "A flame burns here: pilot lights, burners and heaters off before you spray or dust; air "
        "the room before they are lit again.",
        methods=(*_SPRAYING, *_DUSTING),
        formulations=(*_WET, _Form.DUST),
        surroundings=("flames",),
    ),
    Caution(
        "air_handling",
        "Air handling off while you work, and on again after: what hangs in the air travels to "
        "other rooms.",
        methods=(_Method.SPACE, _Method.DUST_HIGH_VOLUME),
    ),
    Caution(
        "sealed_ventilation",
        "Ask the building's staff to stop air handling before you begin and to start it again "
        "after: what is in the air travels to other rooms.",
        surroundings=("sealed_ventilation",),
    ),
    Caution(
        "bait_stations",
        "Bait only in locked, fixed and labelled stations, out of reach of children and animals. "
        "Spilled bait is cleaned up at once; no loose bait above floor level.",
        methods=_BAITING,
        formulations=_RODENT_BAITS,
        pest_groups=_RODENTS,
        confirm=True,
    ),
    Caution(
        "carcass_search",
        "Dead rodents were searched for, picked up with gloves and taken away.",
        methods=_BAITING,
        formulations=_RODENT_BAITS,
        pest_groups=_RODENTS,
        confirm=True,
    ),
    Caution(
        "bait_outdoors",
        "Look for wildlife before you bait outdoors. Review within 35 days; lift all bait at the "
        "end.",
        methods=_BAITING,
        formulations=_RODENT_BAITS,
        zone_kinds=(_Kind.PERIMETER, _Kind.WASTE, _Kind.OUTDOOR_DINING, _Kind.DELIVERY),
        surroundings=("outdoors",),
        pest_groups=_RODENTS,
    ),
    Caution(
        "bait_and_spray",
        "Keep gel and bait off surfaces that were sprayed, and never spray over them: it stops "
        "the feeding.",
        methods=(_Method.GEL,),
        formulations=(_Form.GEL,),
    ),
    Caution(
        "height",
        "At height: the right ladder, three points of contact, short jobs only, never on a fragile "
        "roof.",
        zone_kinds=(_Kind.ROOF_VOID, _Kind.PERIMETER),
        surroundings=("height",),
    ),
    Caution(
        "void",
        "In a void or a pit: air, heat and a way out first, and somebody who knows you are in "
        "there.",
        zone_kinds=(_Kind.ROOF_VOID, _Kind.CELLAR, _Kind.PLANT_ROOM),
        surroundings=("void",),
    ),
    Caution(
        "asbestos",
        "Ask for the asbestos register before you disturb lagging, boards or ceilings. Stop at "
        "damaged material.",
        zone_kinds=(_Kind.ROOF_VOID, _Kind.PLANT_ROOM),
        surroundings=("old_building",),
    ),
    Caution(
        "sensitive",
        "People here are at special risk: a written plan, notice and agreed access come first, and "
        "people are kept away until it is dry and for the time on the label.",
        surroundings=("sensitive",),
    ),
    Caution(
        "droppings",
        DROPPINGS,
        surroundings=("droppings",),
        confirm=True,
    ),
    Caution(
        "wet_rodents",
        "Where rats and water meet: cuts covered, gloves and eye cover, hands washed. Tell a "
        "doctor that you work with rats if you fall ill.",
        surroundings=("wet", "drain"),
    ),
    Caution(
        "spill",
        "A spill is contained and cleaned up and the client told; nothing is washed to a drain.",
    ),
)

KEYS = frozenset(one.key for one in CAUTIONS)


def cautions_for(
    *,
    method: str,
    formulation: str,
    zone_kind: str,
    pest_group: str = "",
    surroundings: Iterable[str] = (),
    confirmed: Iterable[str] = (),
) -> list[Caution]:
    """The cautions of one application, in the order of the table; no ``pest_group``: not known.

    Those that were ``confirmed`` are among them whatever else is known: the record of what a
    technician ticked says what it was, even where it does not say why it was shown.
    """
    around, ticked = {zone_kind, *surroundings}, set(confirmed)
    return [
        one
        for one in CAUTIONS
        if one.key in ticked or _is_shown(one, method, formulation, pest_group, around)
    ]


def _is_shown(
    one: Caution, method: str, formulation: str, pest_group: str, around: set[str]
) -> bool:
    places = {*one.zone_kinds, *one.surroundings}
    if pest_group and one.pest_groups and pest_group not in one.pest_groups:
        return False
    if method in one.unless or (places and not places & around):
        return False
    if not one.methods and not one.formulations:
        return True
    return method in one.methods or formulation in one.formulations


def caution_table() -> Sequence[dict[str, Any]]:
    """The table as the phone gets it."""
    return [asdict(one) for one in CAUTIONS]
