"""The places to look at that a new zone starts with, by the kind of zone.

A starting set, not a standard: the office adds, renames and retires places until the list fits the
room. The places are common practice with no published source; what the monitoring and proofing
rules of public guidance ask to look at (door gaps, drains, service holes, lights that draw insects,
screens, bins and vegetation outside) is among them.
"""

from sites.models import Height, Zone

Places = tuple[tuple[str, tuple[str, ...]], ...]

_COOKING: Places = (
    (
        Height.LOW,
        (
            "Under and behind equipment on castors",
            "Kickplates and the void behind them",
            "Floor drains and gratings",
            "Wall and floor junctions behind equipment",
            "Door thresholds and door edges",
        ),
    ),
    (
        Height.REACH,
        (
            "Motor housings and compressor panels",
            "Shelf supports and gaps between shelf and wall",
            "Hollow legs of tables and shelving",
            "Switch plates, sockets and gauge plates",
            "Wall-fixed dispensers, signs and clocks",
            "Pipe and cable entries",
            "Door seals and hinges of refrigerators and ovens",
        ),
    ),
    (
        Height.OVERHEAD,
        (
            "Extraction canopy and filter frames",
            "Cable trays and pipe runs",
            "Ceiling tiles and hatches",
            "Light fittings",
        ),
    ),
)

_WET: Places = (
    (
        Height.LOW,
        (
            "Floor drains and gratings",
            "Under and behind the dishwasher",
            "Kickplates and the void behind them",
            "Waste pipes and traps under the sinks",
        ),
    ),
    (
        Height.REACH,
        (
            "Motor and pump housings",
            "Splashback edges and sealant joints",
            "Wall-fixed dispensers and racks",
            "Switch plates and sockets",
            "Pipe entries behind the sinks",
        ),
    ),
    (
        Height.OVERHEAD,
        (
            "Extraction grilles",
            "Ceiling tiles and hatches",
            "Pipe runs and cable trays",
        ),
    ),
)

_STORE: Places = (
    (
        Height.LOW,
        (
            "Wall and floor junctions",
            "Under the lowest shelves and pallets",
            "Door thresholds and door edges",
            "Spilt food in corners",
        ),
    ),
    (
        Height.REACH,
        (
            "Shelf supports and hollow shelving legs",
            "Cardboard and opened packs",
            "Stock at the back of the shelves",
            "Pipe and cable entries",
            "Switch plates and sockets",
        ),
    ),
    (
        Height.OVERHEAD,
        (
            "Top of shelving and racking",
            "Cable trays and pipe runs",
            "Ceiling tiles and hatches",
        ),
    ),
)

_GUESTS: Places = (
    (
        Height.LOW,
        (
            "Skirting and floor edges",
            "Under fixed seating",
            "Waiting stations and their kickplates",
            "Door thresholds and door edges",
        ),
    ),
    (
        Height.REACH,
        (
            "Waiting station drawers and supports",
            "Upholstery seams and table undersides",
            "Radiator covers and wall panels",
            "Window frames and sills",
            "Switch plates and sockets",
        ),
    ),
    (
        Height.OVERHEAD,
        (
            "Curtain headings and pelmets",
            "Light fittings",
            "Ceiling tiles and grilles",
        ),
    ),
)

_OUTSIDE: Places = (
    (
        Height.LOW,
        (
            "Foot of the walls and burrows",
            "Drain covers and gullies",
            "Goods or plants standing against the wall",
            "Door thresholds and roller doors",
            "Air bricks and gaps in the brickwork",
        ),
    ),
    (
        Height.REACH,
        (
            "Pipe and cable entries",
            "Window screens and frames",
            "Creepers and branches touching the wall",
            "Cracks and crevices within reach",
        ),
    ),
    (
        Height.OVERHEAD,
        (
            "Outside lights that draw insects",
            "Eaves, gutters and soffits",
            "Ledges and signs",
        ),
    ),
)

STARTING_CHECKPOINTS: dict[str, Places] = {
    Zone.Kind.KITCHEN: _COOKING,
    Zone.Kind.PRODUCTION: (
        (
            Height.LOW,
            (
                "Under and behind equipment on castors",
                "Machine bases and product debris",
                "Floor drains and gratings",
                "Wall and floor junctions",
                "Door thresholds and roller doors",
            ),
        ),
        (
            Height.REACH,
            (
                "Motor housings and control cabinets",
                "Conveyor frames and hollow legs",
                "Switch plates, sockets and gauge plates",
                "Pipe and cable entries",
                "Wall-fixed dispensers, signs and clocks",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Cable trays and pipe runs",
                "Beams and ledges with dust",
                "Extraction ducts and grilles",
                "Light fittings",
            ),
        ),
    ),
    Zone.Kind.WASH_UP: _WET,
    Zone.Kind.BAR: (
        (
            Height.LOW,
            (
                "Under and behind bottle coolers and the ice machine",
                "Kickplates and the void behind them",
                "Drip trays, gullies and drains",
                "Empty bottles and crates",
            ),
        ),
        (
            Height.REACH,
            (
                "Motor housings of coolers and the glass washer",
                "Beer line and pipe entries",
                "Shelf supports and the back of the counter",
                "Till, switch plates and sockets",
                "Coffee machine and grinder",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Back bar shelves and panels",
                "Glass racks",
                "Light fittings and ceiling tiles",
            ),
        ),
    ),
    Zone.Kind.DINING: _GUESTS,
    Zone.Kind.OUTDOOR_DINING: (
        (
            Height.LOW,
            (
                "Under decking and fixed seating",
                "Planters and their drip trays",
                "Drains and gullies",
                "Foot of the walls and burrows",
            ),
        ),
        (
            Height.REACH,
            (
                "Waiting stations and bins",
                "Cracks in walls and posts",
                "Table undersides and parasol bases",
                "Creepers and branches touching the wall",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Outside lights that draw insects",
                "Awnings and their housings",
                "Eaves and ledges",
            ),
        ),
    ),
    Zone.Kind.DRY_STORE: _STORE,
    Zone.Kind.COLD_STORE: (
        (
            Height.LOW,
            (
                "Door threshold and heater strip",
                "Floor edges and drain",
                "Under the lowest shelves",
            ),
        ),
        (
            Height.REACH,
            (
                "Door seals and hinges",
                "Shelf supports and hollow legs",
                "Control and gauge plates",
                "Pipe entries",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Evaporator housing and drip tray",
                "Top of the store and the void above it",
            ),
        ),
    ),
    Zone.Kind.CELLAR: (
        (
            Height.LOW,
            (
                "Sump, drains and gullies",
                "Wall and floor junctions",
                "Under pallets, kegs and stored goods",
                "Delivery hatch and door thresholds",
            ),
        ),
        (
            Height.REACH,
            (
                "Gauge plates and switch plates",
                "Cooler motor housings",
                "Pipe and cable entries",
                "Stacked cardboard",
                "Shelf supports",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Pipe runs and cable trays",
                "Gaps between ceiling and wall",
                "Beams and joists",
            ),
        ),
    ),
    Zone.Kind.SHOP_FLOOR: (
        (
            Height.LOW,
            (
                "Under counters and display cases",
                "Kickplates and shelving bases",
                "Entrance thresholds and door edges",
                "Wall and floor junctions",
            ),
        ),
        (
            Height.REACH,
            (
                "Motor housings of chilled cabinets",
                "Shelf supports and the back of shelves",
                "Loose and opened goods",
                "Till points, switch plates and sockets",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Light fittings and signs",
                "Ceiling tiles and grilles",
                "Top of shelving",
            ),
        ),
    ),
    Zone.Kind.DELIVERY: (
        (
            Height.LOW,
            (
                "Door thresholds and roller doors",
                "Dock leveller pit",
                "Goods standing on the floor",
                "Wall and floor junctions",
            ),
        ),
        (
            Height.REACH,
            (
                "Door edges, bristle strips and strip curtains",
                "Pipe and cable entries",
                "Switch plates and door controls",
                "Cages and returned packaging",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Roller door housing",
                "Lights that draw insects",
                "Air curtain",
            ),
        ),
    ),
    Zone.Kind.WASTE: (
        (
            Height.LOW,
            (
                "Floor of the bin store and drains",
                "Under and behind bins and the compactor",
                "Foot of the walls and burrows",
                "Bin store door threshold",
            ),
        ),
        (
            Height.REACH,
            (
                "Bin lids and seals",
                "Compactor housing and controls",
                "Used oil containers",
                "Gaps in walls and fencing",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Lights that draw insects",
                "Roof edges and ledges",
            ),
        ),
    ),
    Zone.Kind.PLANT_ROOM: (
        (
            Height.LOW,
            (
                "Wall and floor junctions",
                "Drains, sumps and condensate trays",
                "Door threshold and door edges",
            ),
        ),
        (
            Height.REACH,
            (
                "Motor housings and lagging",
                "Pipe and cable entries",
                "Gauge plates and control cabinets",
                "Riser openings",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Cable trays and pipe runs",
                "Ducts and their openings",
                "Gaps between ceiling and wall",
            ),
        ),
    ),
    Zone.Kind.ROOF_VOID: (
        (
            Height.LOW,
            (
                "Hatch and its surround",
                "Insulation and runs across it",
            ),
        ),
        (
            Height.REACH,
            (
                "Party walls and knocked-out brickwork",
                "Pipe and cable penetrations",
                "Water tank and its cover",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Eaves and gaps to daylight",
                "Rafters and beams with rub marks",
                "Vents and light fittings below",
            ),
        ),
    ),
    Zone.Kind.PERIMETER: _OUTSIDE,
    Zone.Kind.STAFF: (
        (
            Height.LOW,
            (
                "Under and behind lockers",
                "Wall and floor junctions",
                "Door thresholds and door edges",
            ),
        ),
        (
            Height.REACH,
            (
                "Lockers and food kept in them",
                "Refrigerator, microwave and vending machines",
                "Switch plates and sockets",
                "Window frames and sills",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Top of lockers",
                "Ceiling tiles and grilles",
            ),
        ),
    ),
    Zone.Kind.TOILETS: (
        (
            Height.LOW,
            (
                "Floor drains",
                "Pipe boxing and wall junctions",
                "Waste pipes and traps",
            ),
        ),
        (
            Height.REACH,
            (
                "Dispensers and hand dryers",
                "Pipe entries",
                "Cistern panels and hatches",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Extraction grilles",
                "Ceiling tiles and hatches",
            ),
        ),
    ),
    Zone.Kind.OTHER: (
        (
            Height.LOW,
            (
                "Wall and floor junctions",
                "Door thresholds and door edges",
            ),
        ),
        (
            Height.REACH,
            (
                "Pipe and cable entries",
                "Switch plates and sockets",
            ),
        ),
        (
            Height.OVERHEAD,
            (
                "Ceiling tiles and hatches",
                "Cable trays and pipe runs",
            ),
        ),
    ),
}


def starting_places(kind: str) -> list[tuple[str, str]]:
    """Height and words of each place for a kind of zone, in walking order: low first."""
    return [
        (str(height), label) for height, labels in STARTING_CHECKPOINTS[kind] for label in labels
    ]
