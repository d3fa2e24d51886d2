"""The starting set of the method guide. The office amends its own copy; keys are never renamed.

Most of it is common practice with no published source, and each row that has one names it. Texts
meant by their short names: UF school IPM, NPIC, CDC, WAC 16-228-1380, US FDA Food Code 7-202.12 and
7-206.12, CRRU UK Code 2015, NSW Pesticides Regulation 2017 cl. 36. What could not be looked up says
"from memory". Rows stand in the order in which a technician reads them.
"""

from collections.abc import Iterable
from functools import partial

from visits.dosing.guide import GuideRow, Verdict
from visits.dosing.vocabulary import INDOOR_ZONES, OUTDOOR_ZONES

PRACTICE = "Common practice, no source"
MEMORY = "From memory, no source read"

_STORES = ("cellar", "dry_store", "plant_room")
_LIVED_IN = tuple(sorted(INDOOR_ZONES - {"roof_void"}))
_INDOORS = tuple(sorted(INDOOR_ZONES))
_OUTDOORS = tuple(sorted(OUTDOOR_ZONES))
_INSECT_PRODUCTS = ("gel", "dust", "liquid", "aerosol", "granule")
_WET = ("liquid", "aerosol")
_OPEN_FOOD = ("kitchen", "wash_up", "bar", "dining", "production", "shop_floor", "cold_store")


def _row(
    verdict: Verdict,
    key: str,
    words: str,
    *,
    formulation: str = "",
    method: str = "",
    rank: int = 0,
    source: str = PRACTICE,
    **when: Iterable[str],
) -> GuideRow:
    return GuideRow(
        key=key,
        verdict=verdict,
        words=words,
        formulation=formulation,
        method=method,
        rank=rank,
        source=source,
        **{name: frozenset(values) for name, values in when.items()},
    )


def _prefer(
    key: str,
    formulation: str,
    method: str,
    rank: int,
    words: str,
    *,
    source: str = PRACTICE,
    **when: Iterable[str],
) -> GuideRow:
    return _row(
        "prefer",
        key,
        words,
        formulation=formulation,
        method=method,
        rank=rank,
        source=source,
        **when,
    )


def _rule_out(
    key: str,
    formulations: Iterable[str],
    words: str,
    *,
    method: str = "",
    source: str = PRACTICE,
    **when: Iterable[str],
) -> list[GuideRow]:
    """One row for each formulation, since the table names one a row."""
    return [
        _row(
            "rule_out",
            f"{key}-{formulation}",
            words,
            formulation=formulation,
            method=method,
            rank=0,
            source=source,
            **when,
        )
        for formulation in formulations
    ]


_first = partial(_row, "precondition")
_mind = partial(_row, "caution")


_PREFERRED = (
    # Stores whose goods stand before the walls come first: within a rank the table's order counts.
    _prefer(
        "store-gel",
        "gel",
        "gel",
        1,
        "Gel stays where it is put: in the gaps behind gauges and shelves, with goods all round.",
        zone_kinds=_STORES,
        surroundings=("stored_goods",),
    ),
    _prefer(
        "store-dust",
        "dust",
        "dust_by_hand",
        2,
        "By hand behind wall-fixed gauges and into cracks, where it stays dry and out of the way.",
        zone_kinds=_STORES,
        surroundings=("stored_goods",),
    ),
    _prefer(
        "store-spray",
        "liquid",
        "spray",
        3,
        "Low on the concrete along the foot of the wall, once the goods are away from it.",
        zone_kinds=_STORES,
        surroundings=("stored_goods",),
    ),
    _prefer(
        "concrete-gel",
        "gel",
        "gel",
        1,
        "Warm and damp, with gaps in the walls: gel in the gaps before anything is sprayed.",
        zone_kinds=("cellar", "plant_room"),
        surfaces=("open_surface", "floor_edge"),
    ),
    _prefer(
        "concrete-dust",
        "dust",
        "dust_by_hand",
        2,
        "By hand behind wall-fixed gauges and into cracks, not on the open floor.",
        zone_kinds=("cellar", "plant_room"),
        surfaces=("open_surface", "floor_edge"),
    ),
    _prefer(
        "concrete-spray",
        "liquid",
        "spray",
        3,
        "Low on bare concrete, where neither food nor hands come.",
        zone_kinds=("cellar", "plant_room"),
        surfaces=("open_surface", "floor_edge"),
    ),
    _prefer(
        "shelf-gap-gel",
        "gel",
        "gel",
        1,
        "Gel reaches into the gap between shelf and support and stays off what stands on it.",
        zone_kinds=_LIVED_IN,
        surfaces=("shelf_gap",),
    ),
    _prefer(
        "shelf-gap-dust",
        "dust",
        "dust_by_hand",
        2,
        "Where a dry gap is too narrow for gel: a puff of dust that stays inside it.",
        zone_kinds=_LIVED_IN,
        surfaces=("shelf_gap",),
    ),
    _prefer(
        "crack-dust",
        "dust",
        "dust_by_hand",
        1,
        "Dust goes to the back of a crack and behind a plate, stays dry and lasts; the hand duster "
        "keeps it there.",
        zone_kinds=_INDOORS,
        surfaces=("crack", "behind_plate"),
    ),
    _prefer(
        "crack-gel",
        "gel",
        "gel",
        20,
        "Gel in the crack where dust would not stay dry; fresh gel where the old was eaten.",
        zone_kinds=_INDOORS,
        surfaces=("crack",),
        pest_groups=("cockroach", "ant"),
    ),
    _prefer(
        "crack-aerosol-indoors",
        "aerosol",
        "crack_and_crevice",
        21,
        "A crack that neither dust nor gel reaches: through the thin tube, a second at a time.",
        zone_kinds=_LIVED_IN,
        surfaces=("crack",),
        pest_groups=("cockroach", "ant", "stored_product"),
        but_not=("diners",),
    ),
    _prefer(
        "roof-void-dust",
        "dust",
        "dust_high_volume",
        1,
        "Only blown dust reaches all of a roof void, and it goes on working up there.",
        zone_kinds=("roof_void",),
    ),
    _prefer(
        "void-dust",
        "dust",
        "dust_by_hand",
        2,
        "Into a wall or ceiling void through one small hole, which is closed afterwards.",
        zone_kinds=_LIVED_IN,
        surfaces=("void",),
    ),
    _prefer(
        "equipment-gel",
        "gel",
        "gel",
        1,
        "Gel at hinges, castors and seams of the housing, close to where they sit.",
        zone_kinds=_LIVED_IN,
        surfaces=("equipment",),
    ),
    _prefer(
        "floor-edge-gel",
        "gel",
        "gel",
        5,
        "Gel in the joint of floor and wall, in the corners that are not washed every day.",
        zone_kinds=_LIVED_IN,
        surfaces=("floor_edge",),
        pest_groups=("cockroach", "ant"),
    ),
    _prefer(
        "floor-edge-spray",
        "liquid",
        "edge_spray",
        10,
        "A band along the foot of the wall, for what walks in the open and takes no bait.",
        zone_kinds=_LIVED_IN,
        surfaces=("floor_edge",),
    ),
    _prefer(
        "threshold-spray",
        "liquid",
        "edge_spray",
        1,
        "Where they walk in: a band over and beside the threshold, with a long residual.",
        surfaces=("threshold",),
    ),
    _prefer(
        "drain-gel",
        "gel",
        "gel",
        5,
        "Gel under the rim of the grating, above the water.",
        surfaces=("drain",),
        pest_groups=("cockroach",),
    ),
    _prefer(
        "drain-foam",
        "other",
        "spot",
        5,
        "A foam that its label names for drains, after the film has been scrubbed away.",
        surfaces=("drain",),
        pest_groups=("fly",),
        source=MEMORY,
    ),
    _prefer(
        "outdoor-crack-aerosol",
        "aerosol",
        "crack_and_crevice",
        1,
        "Put into the crack through the tube, hardly any of it falls where people sit.",
        zone_kinds=("outdoor_dining",),
        surfaces=("crack",),
    ),
    _prefer(
        "outdoor-crack-spray",
        "liquid",
        "spray",
        2,
        "Where the crack is too long for an aerosol: coarse drops, low pressure, no wind.",
        zone_kinds=("outdoor_dining",),
        surfaces=("crack",),
    ),
    _prefer(
        "perimeter-edge-spray",
        "liquid",
        "edge_spray",
        1,
        "A band round the building, knocking down what arrives and lasting for weeks: door "
        "thresholds, roller doors where goods come in, outside lights that draw insects, cracks "
        "and crevices within reach.",
        zone_kinds=("perimeter",),
    ),
    _prefer(
        "outside-edge-spray",
        "liquid",
        "edge_spray",
        2,
        "A band at the foot of the wall and round what lets them in, with a long residual.",
        zone_kinds=("delivery", "waste", "outdoor_dining"),
        surfaces=("outside_wall", "floor_edge", "lights"),
    ),
    _prefer(
        "outdoors-edge-spray",
        "liquid",
        "edge_spray",
        9,
        "A band at the foot of the wall and round what lets them in, with a long residual.",
        surfaces=("outside_wall", "floor_edge", "lights"),
        surroundings=("outdoors",),
    ),
    _prefer(
        "outside-lights-spray",
        "liquid",
        "spot",
        8,
        "The wall round an outside light, on which they settle; not the fitting.",
        zone_kinds=_OUTDOORS,
        surfaces=("lights",),
    ),
    _prefer(
        "outside-crack-aerosol",
        "aerosol",
        "crack_and_crevice",
        6,
        "Into cracks and crevices in the brickwork within reach.",
        zone_kinds=("perimeter", "delivery", "waste"),
        surfaces=("crack",),
    ),
    _prefer(
        "outside-void-dust",
        "dust",
        "dust_by_hand",
        6,
        "Into a dry void of the outside wall, closed afterwards.",
        zone_kinds=_OUTDOORS,
        surfaces=("void",),
    ),
    _prefer(
        "open-spot",
        "liquid",
        "spot",
        15,
        "A spot only, where they were seen to rest, never the whole surface.",
        zone_kinds=("staff", "toilets", "plant_room", "other", "waste", "delivery"),
        surfaces=("open_surface",),
    ),
    _prefer(
        "ant-gel",
        "gel",
        "gel",
        3,
        "Bait that they carry home reaches the nest; a spray only reaches those outside it.",
        pest_groups=("ant",),
        but_not=("outdoors",),
        zone_kinds=_LIVED_IN,
    ),
    _prefer(
        "ant-granule",
        "granule",
        "spot",
        7,
        "Granular bait at the nest and along the trail, where rain and children do not get to it.",
        pest_groups=("ant",),
        zone_kinds=_OUTDOORS,
    ),
    _prefer(
        "stored-product-crack",
        "liquid",
        "crack_and_crevice",
        4,
        "Into joints of shelving and floor after the infested goods are gone and it is cleaned.",
        zone_kinds=("dry_store", "production", "shop_floor", "kitchen", "cellar"),
        surfaces=("crack", "shelf_gap", "floor_edge"),
        pest_groups=("stored_product",),
    ),
    _prefer(
        "fly-resting-spot",
        "liquid",
        "spot",
        6,
        "Where flies rest: the walls and lids round the bins, once the waste is gone.",
        zone_kinds=("waste", "delivery"),
        pest_groups=("fly",),
    ),
    _prefer(
        "fly-space",
        "aerosol",
        "space",
        30,
        "Clears what flies now and does nothing about where they come from.",
        zone_kinds=("waste", "delivery", "plant_room", "other"),
        pest_groups=("fly",),
        but_not=("diners",),
    ),
    _prefer(
        "bed-bug-crack",
        "liquid",
        "crack_and_crevice",
        3,
        "Into seams and joints of the bed, the skirting and the furniture within two metres.",
        zone_kinds=("staff", "other"),
        pests=("bed-bug",),
        source=MEMORY,
    ),
    _prefer(
        "bed-bug-dust",
        "dust",
        "dust_by_hand",
        4,
        "Behind skirting and plates, where nobody lies on it.",
        zone_kinds=("staff", "other"),
        pests=("bed-bug",),
        source=MEMORY,
    ),
    _prefer(
        "wasp-dust",
        "dust",
        "dust_by_hand",
        1,
        "Into the entrance of the nest at dusk, when they are in it.",
        pests=("wasp",),
        source=MEMORY,
    ),
    _prefer(
        "rodent-block-outdoors",
        "bait_block",
        "bait_station",
        1,
        "A block on its rod stands rain and cannot be carried off; in a locked station.",
        pest_groups=("rodent",),
        zone_kinds=_OUTDOORS,
    ),
    _prefer(
        "rodent-block-indoors",
        "bait_block",
        "bait_station",
        2,
        "In a locked station along the wall they run by, for as long as they take it and no "
        "longer.",
        pest_groups=("rodent",),
        zone_kinds=_INDOORS,
    ),
    _prefer(
        "rodent-paste",
        "bait_paste",
        "bait_station",
        3,
        "Paste where other food competes and a block is left alone; in a locked station.",
        pest_groups=("rodent",),
        zone_kinds=_INDOORS,
    ),
)

_RULED_OUT = (
    *_rule_out(
        "electrics",
        _WET,
        "No spray on or near live electrical equipment: shock, short circuit, fire.",
        surroundings=("electrics",),
        source="UF school IPM (short circuits)",
    ),
    *_rule_out(
        "plate",
        _WET,
        "Behind a plate there may be a power point: nothing wet goes there.",
        zone_kinds=sorted(set(_INDOORS) - set(_STORES)),
        surfaces=("behind_plate",),
    ),
    *_rule_out(
        "equipment",
        ("dust",),
        "Fans and doors of equipment throw dust out again, over food and hands.",
        surfaces=("equipment",),
        zone_kinds=_LIVED_IN,
        source="NPIC (find ducts, turn air off)",
    ),
    *_rule_out(
        "equipment",
        _WET,
        "Motors and housings hold live parts: nothing is sprayed into them.",
        surfaces=("equipment",),
        zone_kinds=_LIVED_IN,
        source="UF school IPM (short circuits)",
    ),
    *_rule_out(
        "open-surface",
        ("dust",),
        "Dust belongs in voids and cracks; on an open surface it is carried about.",
        surfaces=("open_surface",),
        zone_kinds=sorted(set(_INDOORS) - set(_STORES) - {"roof_void"}),
        source="Extension bulletins on dusts",
    ),
    *_rule_out(
        "blown-in-rooms",
        ("dust",),
        "Blown dust fills the room: in closed voids only.",
        method="dust_high_volume",
        surfaces=(
            "open_surface",
            "crack",
            "behind_plate",
            "shelf_gap",
            "equipment",
            "floor_edge",
            "threshold",
            "drain",
        ),
        zone_kinds=_LIVED_IN,
        source="Extension bulletins on dusts",
    ),
    *(
        row
        for way, method in (("spray", "spray"), ("edge", "edge_spray"), ("spot", "spot"))
        for row in _rule_out(
            f"food-contact-{way}",
            ("liquid",),
            "Not where food touches the surface, unless the label says so.",
            method=method,
            surroundings=("food_contact",),
            zone_kinds=_LIVED_IN,
            source="US FDA Food Code 7-202.12",
        )
    ),
    *_rule_out(
        "food-contact-space",
        ("aerosol",),
        "What hangs in the air settles on everything that food touches.",
        method="space",
        surroundings=("food_contact",),
        source="US FDA Food Code 7-202.12",
    ),
    *_rule_out(
        "food-contact-open",
        ("dust", "aerosol"),
        "A surface that food touches is cleaned, not treated.",
        surroundings=("food_contact",),
        surfaces=("open_surface",),
        source="US FDA Food Code 7-202.12",
    ),
    *_rule_out(
        "open-surface-gel",
        ("gel",),
        "On an open surface gel is wiped away, or touched: it belongs in gaps.",
        surfaces=("open_surface",),
        zone_kinds=sorted(set(_INDOORS) - set(_STORES)),
    ),
    *_rule_out(
        "drain",
        ("liquid", "dust", "granule"),
        "Nothing is washed down a drain unless its label names drains.",
        surfaces=("drain",),
    ),
    *_rule_out(
        "drain-blown",
        ("aerosol",),
        "A spray kills what flies and leaves what breeds in the film.",
        surfaces=("drain",),
        source=MEMORY,
    ),
    *_rule_out(
        "outdoors-dust",
        ("dust",),
        "In the open, wind and rain carry dust away, and onto people.",
        zone_kinds=_OUTDOORS,
        surfaces=(
            "open_surface",
            "floor_edge",
            "threshold",
            "outside_wall",
            "lights",
        ),
    ),
    *_rule_out(
        "outdoors-gel",
        ("gel",),
        "In sun and rain gel dries or washes off before it is eaten.",
        zone_kinds=("perimeter", "outdoor_dining", "waste"),
    ),
    *_rule_out(
        "station",
        _INSECT_PRODUCTS,
        "A locked station holds bait for rodents and nothing else.",
        surfaces=("station",),
    ),
    *_rule_out(
        "sprayed-void",
        ("liquid",),
        "In a void a spray runs, drips through the ceiling and does not reach the corners.",
        surfaces=("void",),
    ),
    *_rule_out(
        "roof-void-wet",
        _WET,
        "Over people's heads a spray drips through, and the air up there holds what is sprayed.",
        zone_kinds=("roof_void",),
    ),
    *_rule_out(
        "children",
        ("granule",),
        "Loose granules are picked up by children and animals.",
        surroundings=("children",),
        source="US FDA Food Code 7-206.12; WAC 16-228-1380 (bait under cover)",
    ),
    *_rule_out(
        "pharaoh-ant",
        ("liquid", "aerosol", "dust"),
        "Sprayed, a colony splits and spreads: bait only.",
        pests=("pharaoh-ant",),
        source=MEMORY,
    ),
    *_rule_out(
        "no-gel-eaters",
        ("gel",),
        "They do not eat gel made for cockroaches and ants.",
        pest_groups=("fly", "stored_product"),
    ),
    *_rule_out(
        "no-gel-eaters-other",
        ("gel",),
        "They do not eat gel made for cockroaches and ants.",
        pests=("wasp", "bed-bug", "spider", "woodlouse"),
    ),
    *_rule_out(
        "fly",
        ("dust",),
        "Dust in cracks does not meet what flies: find and remove what they breed in.",
        pest_groups=("fly",),
    ),
    *_rule_out(
        "fly-cracks",
        _WET,
        "Flies do not sit in cracks: find and remove what they breed in.",
        method="crack_and_crevice",
        pest_groups=("fly",),
    ),
    *_rule_out(
        "fly-edges",
        ("liquid",),
        "Flies indoors do not cross a band at the foot of the wall.",
        method="edge_spray",
        pest_groups=("fly",),
        zone_kinds=_INDOORS,
    ),
    *_rule_out(
        "rodent",
        _INSECT_PRODUCTS,
        "Made for insects: it does nothing to rodents.",
        pest_groups=("rodent",),
    ),
    *_rule_out(
        "bird",
        (*_INSECT_PRODUCTS, "bait_block", "bait_paste", "other"),
        "Birds are kept out by netting and proofing, and the law protects most of them.",
        pest_groups=("bird",),
    ),
    *_rule_out(
        "not-rodents",
        ("bait_block",),
        "Bait for rodents: it does nothing to insects.",
        pest_groups=("cockroach", "fly", "stored_product", "ant", "other"),
    ),
)

# The same words as the caution that must be confirmed, so that one box is ticked for both.
_FOOD_AWAY = (
    "Food, utensils and linen are removed or covered and cupboards closed. Surfaces that food "
    "touches are cleaned before they are used again, and never treated unless the label says so."
)

_PRECONDITIONS = (
    _first(
        "outside-remit",
        "This place is outside our remit: treat nothing here without its owner's word. Record what "
        "you saw.",
        surroundings=("boundary_outside",),
    ),
    _first(
        "shared-place",
        "The place is shared: whoever else uses it knows of the treatment beforehand.",
        surroundings=("boundary_shared",),
    ),
    _first(
        "openings-closed",
        "Every opening of the void (light fittings, vents, gaps) found, and closed or covered.",
        formulation="dust",
        method="dust_high_volume",
    ),
    _first(
        "openings-closed-by-hand",
        "Every opening of the void (light fittings, vents, gaps) found, and closed or covered.",
        surroundings=("openings",),
    ),
    _first(
        "goods-moved",
        "Goods moved so that the places can be reached. If that is more than a little work, agree "
        "it with the premises' manager first.",
        surroundings=("stored_goods",),
    ),
    _first(
        "nothing-against-the-wall",
        "Nothing stored against the wall.",
        formulation="liquid",
        method="edge_spray",
    ),
    _first(
        "nobody-served",
        "Nobody is being served here while it is done.",
        surroundings=("diners",),
        source="NSW Pesticides Regulation 2017 cl. 36; label texts for serving areas",
    ),
    _first(
        "nobody-served-dining",
        "Nobody is being served here while it is done.",
        zone_kinds=("dining", "outdoor_dining"),
        source="NSW Pesticides Regulation 2017 cl. 36; label texts for serving areas",
    ),
    _first(
        "food-away",
        _FOOD_AWAY,
        surroundings=("food_contact",),
        source="US FDA Food Code 7-202.12",
    ),
    _first(
        "food-away-open",
        _FOOD_AWAY,
        zone_kinds=_OPEN_FOOD,
        source="US FDA Food Code 7-202.12",
    ),
    _first(
        "sensitive-plan",
        "A written risk plan, notice given and access agreed; some places ask for days of notice.",
        surroundings=("sensitive",),
        source="Queensland SL 2021 No. 142 s 18-19; NSW notice near sensitive places; "
        "WAC 170-296A-3950",
    ),
    _first(
        "air-handling-off",
        "The building's staff have turned air handling off, and turn it on again afterwards.",
        surroundings=("sealed_ventilation",),
        source="Structural applicator guidance (secondary)",
    ),
    _first(
        "flames-out",
        "Pilot lights, burners and heaters off; the room is aired before they are lit again.",
        surroundings=("flames",),
        source="Structural applicator guidance (secondary)",
    ),
    _first(
        "drain-film",
        "The film in the drain scrubbed away and the leak or break found: that is where they "
        "breed.",
        surfaces=("drain",),
        pest_groups=("fly",),
        source=MEMORY,
    ),
    _first(
        "fly-source",
        "What they breed in found and taken away.",
        pest_groups=("fly",),
        source=MEMORY,
    ),
    _first(
        "infested-goods",
        "Infested goods found, bagged and taken away; shelves and joints vacuumed.",
        pest_groups=("stored_product",),
        source=MEMORY,
    ),
    _first(
        "identify-ants",
        "The ant identified: sprays make some species spread.",
        pest_groups=("ant",),
        source=MEMORY,
    ),
    _first(
        "rodent-survey",
        "Looked for entry points, food and droppings first; proofing and traps come before bait.",
        pest_groups=("rodent",),
        source="CRRU UK Code 2015 (survey before baiting)",
    ),
    _first(
        "rodent-open-food",
        "No bait where food lies open: traps in covers there.",
        pest_groups=("rodent",),
        zone_kinds=_OPEN_FOOD,
    ),
)

_CAUTIONS = (
    _mind(
        "void_openings",
        "Dust leaves a void through light fittings and vents and falls on tables: find and close "
        "or cover every opening first. Mind the ladder and the hatch.",
        formulation="dust",
        zone_kinds=("roof_void",),
    ),
    _mind(
        "void_openings_below",
        "Dust leaves a void through light fittings and vents and falls on tables: find and close "
        "or cover every opening first.",
        formulation="dust",
        surfaces=("void",),
        zone_kinds=_LIVED_IN,
    ),
    _mind(
        "plate_electrics",
        "Power points and switch plates: isolated or kept clear, dry product only, no metal tip.",
        formulation="dust",
        surfaces=("behind_plate", "crack"),
        zone_kinds=_INDOORS,
    ),
    _mind(
        "near_electrics",
        "Live parts are near: isolate or keep clear, no metal tip, nothing wet.",
        surroundings=("electrics",),
        source="UF school IPM; isolation from memory",
    ),
    _mind(
        "gel_electrics",
        "No gel on or inside electrical equipment: in the gaps beside it.",
        formulation="gel",
        surfaces=("equipment", "behind_plate"),
        source="UF school IPM",
    ),
    _mind(
        "liquid_near_tables",
        "A liquid can fall or drift where people sit, or onto property outside our remit: the "
        "aerosol, with its small fallout, comes first.",
        formulation="liquid",
        zone_kinds=("outdoor_dining",),
    ),
    _mind(
        "liquid_at_boundary",
        "Nothing may fall or drift onto what is outside our remit.",
        formulation="liquid",
        zone_kinds=("perimeter", "waste", "delivery"),
        source="NSW Pesticides Regulation 2017 cl. 36 (drift)",
    ),
    _mind(
        "bait_and_spray",
        "Keep gel and bait off surfaces that were sprayed, and never spray over them: it stops "
        "the feeding.",
        formulation="gel",
        source="Extension guidance on baits (secondary)",
    ),
    _mind(
        "height",
        "At height: the right ladder, three points of contact, short jobs only, never on a fragile "
        "roof.",
        surroundings=("height",),
        source=MEMORY,
    ),
    _mind(
        "void",
        "In a void or a pit: air, heat and a way out first, and somebody who knows you are in "
        "there.",
        surfaces=("void",),
        source=MEMORY,
    ),
    _mind(
        "asbestos",
        "Ask for the asbestos register before you disturb lagging, boards or ceilings. Stop at "
        "damaged material.",
        surroundings=("old_building",),
        source="HSE L143",
    ),
    _mind(
        "out_of_reach",
        "Children or animals get there: nothing is left within their reach, and no bait outside a "
        "locked station.",
        surroundings=("children",),
        source="WAC 16-228-1380; US FDA Food Code 7-206.12",
    ),
    _mind(
        "sensitive",
        "People here are at special risk: a written plan, notice and agreed access come first, and "
        "people are kept away until it is dry and for the time on the label.",
        surroundings=("sensitive",),
        source="Queensland SL 2021 No. 142 s 18-19",
    ),
    _mind(
        "droppings",
        "Droppings and nests are never swept or vacuumed dry. Air the room, wear gloves, soak them "
        "with disinfectant, wipe up, bag twice, wash hands. Much of it needs trained people.",
        surroundings=("droppings",),
        source="US CDC, cleaning up after rodents (archived 2008)",
    ),
    _mind(
        "wet_rodents",
        "Where rats and water meet: cuts covered, gloves and eye cover, hands washed. Tell a "
        "doctor that you work with rats if you fall ill.",
        surroundings=("wet",),
        source=MEMORY,
    ),
    _mind(
        "bait_stations",
        "Bait only in locked, fixed and labelled stations, out of reach of children and animals. "
        "Spilled bait is cleaned up at once; no loose bait above floor level.",
        method="bait_station",
        source="WAC 16-228-1380; US FDA Food Code 7-206.12",
    ),
)

STARTING_SET: tuple[GuideRow, ...] = (*_PREFERRED, *_RULED_OUT, *_PRECONDITIONS, *_CAUTIONS)
