"""Sites and what is in them, for tests."""

from datetime import date
from itertools import count
from typing import Any

from sites.models import Checkpoint, Height, Monitor, Site, Zone
from tests.builders.accounts import make_client

_numbers = count(1)


def make_site(zones: int = 0, monitors: int = 0, **fields: Any) -> Site:
    """A site with so many zones, each with one checkpoint per height and so many monitors."""
    n = next(_numbers)
    fields.setdefault("client", None)
    fields["client"] = fields["client"] or make_client()
    defaults = {"reference": f"S{n}", "name": f"Site {n}", "address": f"{n} Harbour Row"}
    site = Site.objects.create(**{**defaults, **fields})
    for order in range(zones):
        zone = make_zone(site, walk_order=order)
        for _ in range(monitors):
            make_monitor(zone)
    return site


def make_zone(site: Site, *, checkpoints: bool = True, **fields: Any) -> Zone:
    n = next(_numbers)
    zone = Zone.objects.create(
        **{"site": site, "name": f"Zone {n}", "kind": Zone.Kind.KITCHEN, **fields}
    )
    if checkpoints:
        for order, height in enumerate(Height.values):
            Checkpoint.objects.create(
                zone=zone, height=height, label=f"Place {height}", walk_order=order
            )
    return zone


def make_monitor(zone: Zone, **fields: Any) -> Monitor:
    number = Monitor.objects.filter(site=zone.site).count() + 1
    defaults = {
        "site": zone.site,
        "zone": zone,
        "number": number,
        "kind": Monitor.Kind.STICKY,
        "placed_on": date(2026, 1, 5),
    }
    return Monitor.objects.create(**{**defaults, **fields})
