"""Port Marlow: its clients and sites, invented, and what stands in each kind of premises."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from sites.models import Monitor, Zone

_K, _Z = Monitor.Kind, Zone.Kind

# A zone: name, kind, and runs of monitors.
Layout = tuple[tuple[str, str, tuple[tuple[str, int], ...]], ...]

BAKERY: Layout = (
    ("Oven hall", _Z.PRODUCTION, ((_K.STICKY, 9), (_K.FLY_LIGHT, 1))),
    ("Flour store", _Z.DRY_STORE, ((_K.PHEROMONE, 2), (_K.SNAP_TRAP, 2), (_K.STICKY, 3))),
    ("Shop floor", _Z.SHOP_FLOOR, ((_K.STICKY, 4),)),
    ("Wash-up", _Z.WASH_UP, ((_K.STICKY, 4),)),
    ("Delivery door", _Z.DELIVERY, ((_K.SNAP_TRAP, 2), (_K.INDICATOR, 1))),
    ("Waste area", _Z.WASTE, ((_K.BAIT_STATION, 3),)),
    ("Perimeter", _Z.PERIMETER, ((_K.BAIT_STATION, 5),)),
)
HOTEL: Layout = (
    ("Kitchen", _Z.KITCHEN, ((_K.STICKY, 10), (_K.FLY_LIGHT, 2))),
    ("Wash-up", _Z.WASH_UP, ((_K.STICKY, 4),)),
    ("Dry store", _Z.DRY_STORE, ((_K.STICKY, 3), (_K.PHEROMONE, 2), (_K.SNAP_TRAP, 2))),
    ("Cellar", _Z.CELLAR, ((_K.SNAP_TRAP, 4), (_K.STICKY, 3))),
    ("Bar", _Z.BAR, ((_K.STICKY, 3), (_K.FLY_LIGHT, 1))),
    ("Dining room", _Z.DINING, ((_K.STICKY, 3),)),
    ("Waste area", _Z.WASTE, ((_K.BAIT_STATION, 4),)),
    ("Perimeter", _Z.PERIMETER, ((_K.BAIT_STATION, 6),)),
)
SCHOOL: Layout = (
    ("Kitchen", _Z.KITCHEN, ((_K.STICKY, 8), (_K.FLY_LIGHT, 1))),
    ("Flour room", _Z.DRY_STORE, ((_K.PHEROMONE, 3), (_K.STICKY, 3), (_K.SNAP_TRAP, 2))),
    ("Cold store", _Z.COLD_STORE, ((_K.STICKY, 2),)),
    ("Servery and hall", _Z.DINING, ((_K.STICKY, 4),)),
    ("Delivery door", _Z.DELIVERY, ((_K.SNAP_TRAP, 2), (_K.INDICATOR, 2))),
    ("Waste area", _Z.WASTE, ((_K.BAIT_STATION, 3),)),
    ("Perimeter", _Z.PERIMETER, ((_K.BAIT_STATION, 4),)),
)
BREWERY: Layout = (
    ("Brewhouse", _Z.PRODUCTION, ((_K.STICKY, 5), (_K.FLY_LIGHT, 2))),
    ("Grain store", _Z.DRY_STORE, ((_K.SNAP_TRAP, 4), (_K.PHEROMONE, 3))),
    ("Grain dock", _Z.DELIVERY, ((_K.BAIT_STATION, 5), (_K.SNAP_TRAP, 2))),
    ("Cellar", _Z.CELLAR, ((_K.SNAP_TRAP, 3), (_K.STICKY, 3))),
    ("Taproom bar", _Z.BAR, ((_K.STICKY, 4), (_K.FLY_LIGHT, 1))),
    ("Beer garden", _Z.OUTDOOR_DINING, ((_K.BAIT_STATION, 2),)),
    ("Perimeter", _Z.PERIMETER, ((_K.BAIT_STATION, 6),)),
)
FISH_HALL: Layout = (
    ("Market hall", _Z.SHOP_FLOOR, ((_K.FLY_LIGHT, 6), (_K.STICKY, 4))),
    ("Filleting room", _Z.PRODUCTION, ((_K.FLY_LIGHT, 3), (_K.STICKY, 4))),
    ("Ice store", _Z.COLD_STORE, ((_K.STICKY, 2),)),
    ("Quay door", _Z.DELIVERY, ((_K.SNAP_TRAP, 3), (_K.INDICATOR, 3))),
    ("Waste area", _Z.WASTE, ((_K.BAIT_STATION, 5), (_K.FLY_LIGHT, 1))),
    ("Perimeter", _Z.PERIMETER, ((_K.BAIT_STATION, 7),)),
)
CAFE: Layout = (
    ("Kitchen", _Z.KITCHEN, ((_K.STICKY, 7), (_K.FLY_LIGHT, 1))),
    ("Counter", _Z.BAR, ((_K.STICKY, 4),)),
    ("Café tables", _Z.DINING, ((_K.STICKY, 3),)),
    ("Dry store", _Z.DRY_STORE, ((_K.STICKY, 3), (_K.PHEROMONE, 2), (_K.SNAP_TRAP, 2))),
    ("Plant room", _Z.PLANT_ROOM, ((_K.SNAP_TRAP, 3), (_K.STICKY, 2))),
    ("Delivery door", _Z.DELIVERY, ((_K.SNAP_TRAP, 2), (_K.INDICATOR, 2))),
    ("Perimeter", _Z.PERIMETER, ((_K.BAIT_STATION, 5),)),
)


@dataclass(frozen=True)
class DemoClient:
    """A client and who manages its sites."""

    reference: str
    name: str
    domain: str
    manager: str
    layout: Layout
    trade: str
    hazards: str


@dataclass(frozen=True)
class DemoSite:
    """A site. ``weeks`` between rounds; ``phase`` is how many days ago the last round was due.

    ``technician`` counts the technicians from 0; ``story`` names what happens here, if anything.
    """

    reference: str
    name: str
    address: str
    client: DemoClient
    weeks: int
    phase: int
    technician: int
    story: str = ""
    has_plan: bool = False

    @property
    def position(self) -> tuple[Decimal, Decimal]:
        """On the invented town grid, which lies in open water: no real street is meant."""
        number = int(self.reference[1:])
        return (
            Decimal("49.40000") + Decimal("0.00250") * (number % 7),
            Decimal("-4.60000") + Decimal("0.00350") * (number // 7),
        )


HOTELS = DemoClient(
    "HAL",
    "Halyard House Hotels",
    "halyard-house.example",
    "Hester Lowe",
    HOTEL,
    "hotel",
    "Low beam on the cellar stairs. Lift shaft behind the linen room: do not enter.",
)
BAKERIES = DemoClient(
    "CRU",
    "Marlow Crumb Bakeries",
    "marlow-crumb.example",
    "Anselm Birch",
    BAKERY,
    "bakery",
    "Ovens stay hot for hours after baking. Flour dust: no sparks, no open flame.",
)
SCHOOLS = DemoClient(
    "LAD",
    "Bright Ladle School Meals",
    "bright-ladle.example",
    "Nkechi Hallam",
    SCHOOL,
    "school",
    "Children about from 8:30; sign in at the office and wear the badge.",
)
BREWERS = DemoClient(
    "GDB",
    "Grain Dock Brewing",
    "grain-dock.example",
    "Piers Aldous",
    BREWERY,
    "brewery",
    "Carbon dioxide in the cellar: heed the alarm. Fork-lift trucks at the dock.",
)
FISHMONGERS = DemoClient(
    "PMF",
    "Port Marlow Fish Market",
    "marlow-fish.example",
    "Morwenna Teague",
    FISH_HALL,
    "market",
    "Wet quay edge without a rail. Floors are hosed from 13:00.",
)
CAFES = DemoClient(
    "LAN",
    "Lantern Museum Cafés",
    "lantern-cafes.example",
    "Ida Fairweather",
    CAFE,
    "café",
    "Live switchgear in the plant room. Alarmed doors to the galleries.",
)
CLIENTS = (BAKERIES, BREWERS, SCHOOLS, FISHMONGERS, CAFES, HOTELS)

# Sites with a story come first, so that a small demo has them all. Where a story is told a round
# is due today (phase 0) for the first technician, or three to twelve days ago.
_TOLD = (
    (BAKERIES, "Crumb, Kiln Lane", "12 Kiln Lane", 4, 0, 0, "ovens", True),
    (BREWERS, "Grain Dock Taproom", "1 Grain Dock", 4, 0, 0, "rats", True),
    (SCHOOLS, "Ladle, Lighthouse School", "30 Lighthouse Rise", 4, 5, 1, "moths", False),
    (FISHMONGERS, "Fish Market, North Hall", "Fish Quay, north side", 4, 9, 2, "flies", False),
    (CAFES, "Lantern Café, Sea Museum", "2 Customs Square", 4, 0, 0, "locked", True),
    (HOTELS, "Halyard House, Quay Street", "88 Quay Street", 4, 0, 0, "declined", True),
    (HOTELS, "Halyard House, Signal Hill", "5 Signal Hill", 4, 12, 3, "ordered", False),
    (BAKERIES, "Crumb, Tannery Row", "7 Tannery Row", 4, 8, 1, "waiting", False),
    (SCHOOLS, "Ladle, Orchard School", "61 Orchard Way", 4, 6, 3, "overdue", False),
    (FISHMONGERS, "Fish Market, South Hall", "Fish Quay, south side", 4, 10, 2, "done", False),
)
_PLAIN: tuple[tuple[DemoClient, tuple[str, ...]], ...] = (
    (
        BAKERIES,
        (
            "Millpond Street",
            "Harbour Steps",
            "Cooper’s Corner",
            "Station Arcade",
            "Weir Street",
            "Upper Market",
            "Chapel Green",
            "Ropewalk",
            "Basin Parade",
        ),
    ),
    (
        HOTELS,
        (
            "Pilot Terrace",
            "Old Chandlery",
            "Beacon Gardens",
            "Sailmakers’ Court",
            "West Mole",
            "Tidemill",
        ),
    ),
    (
        SCHOOLS,
        (
            "Harbour Primary",
            "St Piran’s Hill School",
            "Weir School",
            "Millpond Infants",
            "Beacon Academy",
            "Dune School",
            "Riverside College",
        ),
    ),
    (BREWERS, ("Bottling Hall", "Maltings Bar", "Lock Keeper’s Tap")),
    (FISHMONGERS, ("Smokehouse",)),
    (CAFES, ("Clock Museum", "Tram Shed", "Print Gallery", "Rope Museum")),
)
_SHORT = {
    "CRU": "Crumb",
    "HAL": "Halyard House",
    "LAD": "Ladle",
    "GDB": "Grain Dock",
    "PMF": "Fish Market",
    "LAN": "Lantern Café",
}


def sites(most: int | None = None) -> list[DemoSite]:
    """The sites of the town, those with a story first; ``most`` ends the list early."""
    found = [
        DemoSite(f"S{number:03}", name, address, client, weeks, phase, technician, story, has_plan)
        for number, (client, name, address, weeks, phase, technician, story, has_plan) in enumerate(
            _TOLD, start=1
        )
    ]
    found.extend(_plain_sites(len(found) + 1))
    return found[:most]


def _plain_sites(first: int) -> Iterator[DemoSite]:
    number = first
    for client, names in _PLAIN:
        for name in names:
            weeks = 4 if number <= first + 4 else 6
            # The first one was due nine days ago; the others come due within two weeks and a bit.
            ago = 9 if number == first else weeks * 7 - number * 5 % 16
            yield DemoSite(
                reference=f"S{number:03}",
                name=f"{_SHORT[client.reference]}, {name}",
                address=f"{(number * 17) % 120 + 1} {name}",
                client=client,
                weeks=weeks,
                phase=ago % (weeks * 7),
                technician=number % 5,
            )
            number += 1
