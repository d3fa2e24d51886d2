"""The words in which the pure sums and rules speak of places, products and methods.

They are the slugs of the record (choices in the database, in seals and in exports), repeated here
because the pure package does not know the models; a test holds the two together. ``SURROUNDINGS``
belongs to the method guide alone.
"""

ZONE_KINDS = (
    "kitchen",
    "wash_up",
    "bar",
    "dining",
    "outdoor_dining",
    "dry_store",
    "cold_store",
    "cellar",
    "production",
    "shop_floor",
    "delivery",
    "waste",
    "plant_room",
    "roof_void",
    "perimeter",
    "staff",
    "toilets",
    "other",
)
FORMULATIONS = (
    "gel",
    "dust",
    "liquid",
    "aerosol",
    "bait_block",
    "bait_paste",
    "granule",
    "other",
)
METHODS = (
    "gel",
    "crack_and_crevice",
    "spot",
    "dust_by_hand",
    "dust_high_volume",
    "spray",
    "edge_spray",
    "space",
    "bait_station",
)
SURFACES = (
    "open_surface",
    "crack",
    "behind_plate",
    "shelf_gap",
    "equipment",
    "void",
    "floor_edge",
    "threshold",
    "drain",
    "outside_wall",
    "lights",
    "station",
)
PEST_GROUPS = ("cockroach", "rodent", "fly", "stored_product", "ant", "bird", "other")
BOUNDARIES = ("within", "shared", "outside")

# What surrounds the place, as the technician taps it. The last two follow from the zone's boundary.
SURROUNDINGS = {
    "openings": "Light fittings, vents or gaps open from it into a room",
    "diners": "People eat in it, below it or beside it",
    "electrics": "Electrical points or equipment",
    "food_contact": "Surfaces that food touches",
    "height": "Work above two metres, a ladder or a roof",
    "children": "Children or animals can get there",
    "outdoors": "Outdoors",
    "stored_goods": "Goods stand in front of it",
    "flames": "Pilot lights, burners or heaters",
    "droppings": "Droppings, nests or dead rodents",
    "wet": "Flood water, drains or wet places where rats run",
    "sealed_ventilation": "The building breathes by its air handling alone",
    "old_building": "An older building, or boards and lagging to be disturbed",
    "sensitive": "A school, childcare, hospital or aged care",
    "boundary_shared": "The place is shared",
    "boundary_outside": "The place is outside our remit",
}

# Zones in which food lies, is made or is eaten, and zones under the open sky. What stands at a
# delivery door stands at its outer side.
FOOD_ZONES = frozenset(
    {
        "kitchen",
        "wash_up",
        "bar",
        "dining",
        "outdoor_dining",
        "dry_store",
        "cold_store",
        "cellar",
        "production",
        "shop_floor",
    }
)
OUTDOOR_ZONES = frozenset({"outdoor_dining", "perimeter", "waste", "delivery"})
INDOOR_ZONES = frozenset(ZONE_KINDS) - OUTDOOR_ZONES

RODENTICIDES = frozenset({"bait_block", "bait_paste"})
SPRAYED = frozenset({"liquid", "aerosol"})
