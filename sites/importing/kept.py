"""The sheets of this app: clients, sites, zones and monitors."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import Model, QuerySet
from django.utils import timezone

from accounts.models import Branch, Client
from sites.importing.cells import (
    CellProblem,
    choice,
    day,
    decimal,
    plain_text,
    text,
    time_zone,
    whole,
)
from sites.importing.sheets import (
    Column,
    Draft,
    Parsed,
    Planned,
    Problem,
    Verdict,
    differences,
    in_words,
)
from sites.models import Boundary, Checkpoint, Monitor, Site, Zone
from sites.starting_checkpoints import starting_places

BATCH = 500


def email(value: Any) -> str:
    """An e-mail address."""
    words = plain_text(value)
    try:
        validate_email(words)
    except ValidationError:
        raise CellProblem(f"“{words[:40]}” is not an e-mail address.") from None
    return words


def folded(value: str) -> str:
    """The form in which references and names are compared."""
    return value.strip().casefold()


def found_by(records: QuerySet[Any], field: str, keys: Collection[str]) -> Iterator[Any]:
    """Records whose text field equals one of the keys whatever the capitals.

    Compared here, since SQLite's own lower case knows only English letters. One query for all the
    texts, then one for each batch of records.
    """
    texts = records.order_by().values_list("pk", field) if keys else ()
    wanted = [pk for pk, words in texts if folded(words) in keys]
    for batch in batches(wanted):
        yield from records.filter(pk__in=batch)


class KeptSheet:
    """What the sheets of this app share: a row is new, changes a record, or finds it the same."""

    key = ""
    title = ""
    columns: tuple[Column, ...] = ()
    model: type[Model]

    def key_of(self, values: Mapping[str, Any]) -> Any:
        raise NotImplementedError

    def said(self, values: Mapping[str, Any]) -> str:
        """How the row's record is called in words."""
        raise NotImplementedError

    def fields(self, row: Parsed, draft: Draft) -> dict[str, Any] | Problem:
        """The row's values by model field, or what is wrong with them together."""
        raise NotImplementedError

    def plan(self, row: Parsed, draft: Draft) -> Planned:
        number, key = row.row.number, self.key_of(row.values)
        seen = draft.of(f"{self.key} in file")
        if key in seen:
            sentence = f"{self.said(row.values)} stands in row {seen[key]} already."
            return Planned(number, Verdict.ERROR, "", [row.problem(self.columns[0].name, sentence)])
        seen[key] = number
        fields = self.fields(row, draft)
        if isinstance(fields, Problem):
            return Planned(number, Verdict.ERROR, "", [fields])
        on_file = draft.of(self.key).get(key)
        if on_file is None:
            record = self.model(**fields)
            draft.of(self.key)[key] = record
            return Planned(number, Verdict.NEW, f"Adds {self.said(row.values)}", record=record)
        changes = differences(on_file, fields)
        if not changes:
            return Planned(number, Verdict.SAME, f"{self.said(row.values)} is as on file")
        for name, (_, new) in changes.items():
            setattr(on_file, name, new)
        words = f"Changes {self.said(row.values)}: {in_words(changes)}"
        return Planned(number, Verdict.CHANGED, words, record=on_file, fields=tuple(changes))

    def write(self, rows: Sequence[Planned], draft: Draft) -> dict[Any, int]:
        new = [row.record for row in rows if row.record and row.verdict is Verdict.NEW]
        self.model._default_manager.bulk_create(new, batch_size=BATCH)
        changed = [row for row in rows if row.record and row.verdict is Verdict.CHANGED]
        fields = sorted({name for row in changed for name in row.fields})
        if changed:
            records = [row.record for row in changed if row.record]
            self.model._default_manager.bulk_update(records, fields, batch_size=BATCH)
        self.written(new)
        touched: dict[Any, int] = {}
        for row in rows:
            site_id = self.site_id_of(row.record)
            if site_id:
                touched[site_id] = touched.get(site_id, 0) + 1
        return touched

    def written(self, new: Sequence[Any]) -> None:
        """What follows from new records."""

    def site_id_of(self, record: Any) -> Any:
        return record.site_id


class Clients(KeptSheet):
    """One row a client, known by its reference."""

    key = "clients"
    title = "Clients"
    model = Client
    columns = (
        Column("client_reference", text(40), "Your own short reference; rows match by it.", True),
        Column("client_name", text(120), "The client's name.", True),
        Column("client_address", text(2000), "The address for letters."),
        Column("billing_email", email, "Where invoices go."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        load_clients({folded(row.values["client_reference"]) for row in rows}, draft)

    def key_of(self, values: Mapping[str, Any]) -> str:
        return folded(values["client_reference"])

    def said(self, values: Mapping[str, Any]) -> str:
        return f"client {values['client_reference']}"

    def fields(self, row: Parsed, draft: Draft) -> dict[str, Any]:
        names = {
            "client_name": "name",
            "client_address": "address",
            "billing_email": "billing_email",
        }
        given = {field: row.values[name] for name, field in names.items() if name in row.values}
        if self.key_of(row.values) not in draft.of(self.key):
            given["reference"] = row.values["client_reference"]
        return given

    def site_id_of(self, record: Any) -> None:
        return None

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        clients = Client.objects.filter(pk__in=sites.values("client_id")).order_by("reference")
        for client in clients.iterator():
            yield {
                "client_reference": client.reference,
                "client_name": client.name,
                "client_address": client.address,
                "billing_email": client.billing_email,
            }


class Sites(KeptSheet):
    """One row a site, known by its reference."""

    key = "sites"
    title = "Sites"
    model = Site
    columns = (
        Column("site_reference", text(40), "Your own short reference; rows match by it.", True),
        Column("client_reference", text(40), "The client that the site belongs to.", True),
        Column("site_name", text(120), "The site's name.", True),
        Column("address", text(2000), "Street and town.", True),
        Column("postcode", text(16), "Postcode."),
        Column("time_zone", time_zone, "As Europe/London. New sites without one get that."),
        Column("latitude", decimal(-90, 90, 5), "Degrees north; give both or neither."),
        Column("longitude", decimal(-180, 180, 5), "Degrees east; give both or neither."),
        Column("branch", text(80), "The branch's name, which must exist."),
        Column("holiday_region", text(12), "Whose public holidays count, as GB-ENG."),
        Column(
            "holiday_rule",
            choice(dict(Site.HolidayRule.choices)),
            "What a visit does that would fall on a public holiday: keep, next or previous.",
        ),
        Column("access_note", text(4000), "Keys, alarms, where to sign in."),
        Column("hazards", text(4000), "What may hurt the person who comes."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        load_clients({folded(row.values["client_reference"]) for row in rows}, draft)
        load_sites({folded(row.values["site_reference"]) for row in rows}, draft)
        draft.of("branches").update(
            {folded(branch.name): branch for branch in Branch.objects.order_by("pk")}
        )

    def key_of(self, values: Mapping[str, Any]) -> str:
        return folded(values["site_reference"])

    def said(self, values: Mapping[str, Any]) -> str:
        return f"site {values['site_reference']}"

    def fields(self, row: Parsed, draft: Draft) -> dict[str, Any] | Problem:
        values = dict(row.values)
        client = draft.of("clients").get(folded(values.pop("client_reference")))
        if client is None:
            return row.problem("client_reference", "There is no client with this reference.")
        on_file = draft.of(self.key).get(self.key_of(values))
        reference = values.pop("site_reference")
        given = {"client_id": client.pk, "name": values.pop("site_name")}
        if "branch" in values:
            branch = draft.of("branches").get(folded(values.pop("branch")))
            if branch is None:
                return row.problem("branch", "There is no branch with this name.")
            given["branch_id"] = branch.pk
        if ("latitude" in values) != ("longitude" in values):
            missing = "longitude" if "latitude" in values else "latitude"
            return row.problem(missing, "Give latitude and longitude together.")
        if on_file is None:
            given["reference"] = reference
        elif on_file.client_id != client.pk:
            return row.problem(
                "client_reference", f"This site belongs to {on_file.client}; it is not moved here."
            )
        return {**given, **values}

    def site_id_of(self, record: Any) -> Any:
        return record.pk

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        for site in sites.select_related("client", "branch").order_by("reference").iterator():
            yield {
                "site_reference": site.reference,
                "client_reference": site.client.reference,
                "site_name": site.name,
                "address": site.address,
                "postcode": site.postcode,
                "time_zone": site.time_zone,
                "latitude": site.latitude,
                "longitude": site.longitude,
                "branch": site.branch.name if site.branch else "",
                "holiday_region": site.holiday_region,
                "holiday_rule": site.holiday_rule,
                "access_note": site.access_note,
                "hazards": site.hazards,
            }


class Zones(KeptSheet):
    """One row a zone, known by its site and name. New zones get their kind's checkpoints."""

    key = "zones"
    title = "Zones"
    model = Zone
    columns = (
        Column("site_reference", text(40), "The site.", True),
        Column("zone_name", text(80), "The zone's name, once per site.", True),
        Column("zone_kind", choice(dict(Zone.Kind.choices)), "What kind of place it is.", True),
        Column("walk_order", whole(0, 9999), "Its place in the walk; rows in order without it."),
        Column("boundary", choice(dict(Boundary.choices)), "within, shared or outside our remit."),
        Column("boundary_note", text(300), "What part is shared or outside, and whose it is."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        load_zones({folded(row.values["site_reference"]) for row in rows}, draft)

    def key_of(self, values: Mapping[str, Any]) -> tuple[str, str]:
        return folded(values["site_reference"]), folded(values["zone_name"])

    def said(self, values: Mapping[str, Any]) -> str:
        return f"zone {values['zone_name']} of {values['site_reference']}"

    def fields(self, row: Parsed, draft: Draft) -> dict[str, Any] | Problem:
        values = dict(row.values)
        site = draft.of("sites").get(folded(values.pop("site_reference")))
        if site is None:
            return row.problem("site_reference", "There is no site with this reference.")
        name = values.pop("zone_name")
        values["kind"] = values.pop("zone_kind")
        if self.key_of(row.values) in draft.of(self.key):
            return values
        orders = draft.of("last walk order")
        values.setdefault("walk_order", orders.get(site.pk, -1) + 1)
        orders[site.pk] = max(orders.get(site.pk, -1), values["walk_order"])
        return {**values, "site_id": site.pk, "name": name}

    def written(self, new: Sequence[Any]) -> None:
        Checkpoint.objects.bulk_create(
            (
                Checkpoint(zone=zone, height=height, label=label, walk_order=order)
                for zone in new
                for order, (height, label) in enumerate(starting_places(zone.kind))
            ),
            batch_size=BATCH,
        )

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        zones = Zone.objects.filter(site__in=sites, retired_on=None).select_related("site")
        for zone in zones.order_by("site__reference", "walk_order", "pk").iterator():
            yield {
                "site_reference": zone.site.reference,
                "zone_name": zone.name,
                "zone_kind": zone.kind,
                "walk_order": zone.walk_order,
                "boundary": zone.boundary,
                "boundary_note": zone.boundary_note,
            }


class Monitors(KeptSheet):
    """One row a monitor, known by its site and number."""

    key = "monitors"
    title = "Monitors"
    model = Monitor
    columns = (
        Column("site_reference", text(40), "The site.", True),
        Column("monitor_number", whole(1, 2_000_000_000), "Its number, once per site.", True),
        Column("monitor_kind", choice(dict(Monitor.Kind.choices)), "What it is.", True),
        Column("zone_name", text(80), "The zone in which it stands.", True),
        Column("place", text(160), "Where exactly it stands."),
        Column("placed_on", day, "Since when it stands there. New ones without: today."),
        Column("removed_on", day, "When it was taken away."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        sites = {folded(row.values["site_reference"]) for row in rows}
        load_zones(sites, draft)
        load_monitors(sites, draft)

    def key_of(self, values: Mapping[str, Any]) -> tuple[str, int]:
        return folded(values["site_reference"]), values["monitor_number"]

    def said(self, values: Mapping[str, Any]) -> str:
        return f"monitor {values['monitor_number']} of {values['site_reference']}"

    def fields(self, row: Parsed, draft: Draft) -> dict[str, Any] | Problem:
        values = dict(row.values)
        site_key = folded(values.pop("site_reference"))
        site = draft.of("sites").get(site_key)
        if site is None:
            return row.problem("site_reference", "There is no site with this reference.")
        zone = draft.of("zones").get((site_key, folded(values.pop("zone_name"))))
        if zone is None:
            return row.problem("zone_name", "This site has no zone of this name.")
        number = values.pop("monitor_number")
        given = {"kind": values.pop("monitor_kind"), "zone_id": zone.pk, **values}
        on_file = draft.of(self.key).get(self.key_of(row.values))
        if on_file is None:
            given |= {"site_id": site.pk, "number": number}
            given.setdefault("placed_on", timezone.localdate(timezone=site.zone_info))
        placed = given.get("placed_on") or (on_file and on_file.placed_on)
        removed = given.get("removed_on") or (on_file and on_file.removed_on)
        if removed and placed and removed < placed:
            return row.problem("removed_on", "The monitor is removed before it is placed.")
        return given

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        monitors = Monitor.objects.filter(site__in=sites).select_related("site", "zone")
        for monitor in monitors.order_by("site__reference", "number").iterator():
            yield {
                "site_reference": monitor.site.reference,
                "monitor_number": monitor.number,
                "monitor_kind": monitor.kind,
                "zone_name": monitor.zone.name,
                "place": monitor.place,
                "placed_on": monitor.placed_on,
                "removed_on": monitor.removed_on,
            }


def load_clients(references: Collection[str], draft: Draft) -> None:
    """Clients by reference into the draft, unless they are there."""
    known = draft.of("clients")
    for client in found_by(Client.objects.all(), "reference", set(references) - set(known)):
        known.setdefault(folded(client.reference), client)


def load_sites(references: Collection[str], draft: Draft) -> None:
    """Sites by reference into the draft, unless they are there."""
    known = draft.of("sites")
    on_file = Site.objects.select_related("client")
    for site in found_by(on_file, "reference", set(references) - set(known)):
        known.setdefault(folded(site.reference), site)


def load_zones(references: Collection[str], draft: Draft) -> None:
    """The sites of these references and all their zones into the draft."""
    load_sites(references, draft)
    sites = draft.of("sites")
    by_id = {sites[key].pk: key for key in references if key in sites}
    zones, orders = draft.of("zones"), draft.of("last walk order")
    for batch in batches(list(by_id)):
        for zone in Zone.objects.filter(site_id__in=batch).order_by("pk"):
            zones.setdefault((by_id[zone.site_id], folded(zone.name)), zone)
            orders[zone.site_id] = max(orders.get(zone.site_id, -1), zone.walk_order)


def load_monitors(references: Collection[str], draft: Draft) -> None:
    """The monitors of these sites, which must be in the draft, into the draft."""
    sites = draft.of("sites")
    by_id = {sites[key].pk: key for key in references if key in sites}
    monitors = draft.of("monitors")
    for batch in batches(list(by_id)):
        for monitor in Monitor.objects.filter(site_id__in=batch).order_by("pk"):
            monitors.setdefault((by_id[monitor.site_id], monitor.number), monitor)


def batches(items: list[Any]) -> Iterator[list[Any]]:
    """A list in pieces that a query can name."""
    for start in range(0, len(items), BATCH):
        yield items[start : start + BATCH]
