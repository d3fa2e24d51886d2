"""Sites and what is in them, for tests, reached through the services that lead there.

Fields that no service sets (a walking order, a label's code, a day in the past on which something
ended) are written afterwards, so that a test can stand where the program needs months to come.
"""

from datetime import date
from itertools import count
from typing import Any

from accounts.models import Role, User
from sites.models import Height, Monitor, Site, Zone
from sites.services.monitors import place_monitor, place_monitors
from sites.services.sites import SiteFacts, add_site
from sites.services.zones import ZoneFacts, add_zone
from tests.builders.accounts import make_client

PLACED_ON = date(2026, 1, 5)
PLACES = [(height, f"Place {height}") for height in Height.values]

_numbers = count(1)


def keeper() -> User:
    """The one person of the office who puts on file whatever tests need."""
    person = User.objects.filter(email="keeper@example.org").first()
    return person or User.objects.create_user("keeper@example.org", name="Keeper", role=Role.OFFICE)


def make_site(zones: int = 0, monitors: int = 0, **fields: Any) -> Site:
    """A site with so many zones, each with one checkpoint per height and so many monitors."""
    n = next(_numbers)
    client = fields.pop("client", None) or make_client()
    defaults = {"reference": f"S{n}", "name": f"Site {n}", "address": f"{n} Harbour Row"}
    facts, rest = _split({**defaults, **fields}, SiteFacts)
    site = add_site(client.pk, by=keeper(), **facts)
    for _ in range(zones):
        zone = make_zone(site)
        if monitors:
            place_monitors(
                zone.pk,
                by=keeper(),
                kind=Monitor.Kind.STICKY,
                placed_on=PLACED_ON,
                how_many=monitors,
            )
    return _with(site, rest)


def make_zone(site: Site, *, checkpoints: bool = True, **fields: Any) -> Zone:
    n = next(_numbers)
    facts, rest = _split({"name": f"Zone {n}", "kind": Zone.Kind.KITCHEN, **fields}, ZoneFacts)
    zone = add_zone(site.pk, by=keeper(), places=PLACES if checkpoints else [], **facts)
    zone.site = site
    return _with(zone, rest)


def make_monitor(zone: Zone, **fields: Any) -> Monitor:
    told = {"kind": Monitor.Kind.STICKY, "placed_on": PLACED_ON, **fields}
    named = ("kind", "placed_on", "number", "place")
    facts = {name: told.pop(name) for name in named if name in told}
    monitor = place_monitor(zone.pk, by=keeper(), **facts)
    monitor.site, monitor.zone = zone.site, zone
    return _with(monitor, told)


def _split(fields: dict[str, Any], known: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """What a service takes, and the rest."""
    names = known.__annotations__
    facts = {name: value for name, value in fields.items() if name in names}
    return facts, {name: value for name, value in fields.items() if name not in names}


def _with(record: Any, fields: dict[str, Any]) -> Any:
    if fields:
        for name, value in fields.items():
            setattr(record, name, value)
        record.save(update_fields=list(fields))
    return record
