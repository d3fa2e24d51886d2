"""The report of a visit: drawn from the sealed text once it is closed, from the rows until then."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_date, parse_datetime

from accounts.models import Role, User
from accounts.sealing import plain
from sites.models import Photo, SitePlan, Zone
from sites.queries import PLAN_WIDTH, outline_points
from visits.access import may_amend
from visits.cautions import DROPPINGS
from visits.coverage import Tally
from visits.models import Amendment, Visit
from visits.queries.phone_clock import phone_clock_of
from visits.queries.places import coverage_now
from visits.verification import Break, breaks_of_visit
from visits.visit_record import record_of, rows_of

# A walk of the whole site is promised for these; the others look where they were asked to look.
WHOLE_WALKS = (Visit.Kind.ROUTINE, Visit.Kind.SURVEY)


@dataclass(frozen=True, slots=True)
class ZoneReport:
    """One zone of the walk, and everything that was said of it."""

    name: str
    kind: str
    boundary: str
    boundary_note: str
    checkpoints: Tally
    monitors: Tally
    looks: Sequence[Mapping[str, Any]]
    readings: Sequence[Mapping[str, Any]]
    findings: Sequence[Mapping[str, Any]]
    not_reached: Sequence[Mapping[str, Any]]

    @property
    def all(self) -> Tally:
        return self.checkpoints + self.monitors

    @property
    def is_silent(self) -> bool:
        return not (self.looks or self.readings or self.findings or self.not_reached)


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a finding is on a plan, in the drawing's own units, with its number in the report."""

    number: int
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class FoundOn:
    """A plan with the outlines of zones and the places of what was found there."""

    plan: SitePlan
    width: int
    height: int
    outlines: Sequence[str]
    spots: Sequence[Spot]


@dataclass(frozen=True, slots=True)
class Report:
    """Everything the page shows. Instants are aware, names are those of the day."""

    visit: Visit
    record: Mapping[str, Any]
    zones: Sequence[ZoneReport]
    treatments: Sequence[Mapping[str, Any]]
    covered: Tally
    whole_walk: bool
    cautions: Sequence[str]
    droppings: str
    photos: Mapping[str, Photo]
    plans: Sequence[FoundOn]
    awaited: int
    amendments: Sequence[Amendment]
    breaks: Sequence[Break]
    office_note: str
    clock_note: str
    may_amend: bool

    @property
    def is_closed(self) -> bool:
        return self.visit.state == Visit.State.CLOSED

    @property
    def minutes_on_site(self) -> int | None:
        """None until it is closed, and for what was sealed before visits said it."""
        minutes: int | None = self.record["visit"].get("minutes_on_site")
        return minutes

    @property
    def minutes_reason(self) -> str:
        return str(self.record["visit"].get("minutes_reason", ""))

    @property
    def signature_path(self) -> str:
        return str(self.record["contact"]["signature"])


def report_of(visit: Visit, *, for_whom: User) -> Report:
    """The report of one visit as this person may read it. Eighteen queries at most, any size.

    The visit must have its site, client, line and technician at hand. What is written for the
    technician alone (the office's note), and that a phone's clock was wrong, is left out for
    everybody but the office.
    """
    rows = rows_of([visit])[visit.pk]
    closed = visit.state == Visit.State.CLOSED
    record = _sealed(visit) if closed else {}
    if not record:
        record = plain(record_of(visit, rows, coverage=coverage_now(visit)))
    photos = _photos(visit, record)
    awaited = {
        photo["given"] for finding in record["findings"] for photo in finding["photos"]
    } - photos.keys()
    for part in ("looks", "readings", "findings", "not_reached", "treatments"):
        for one in record[part]:
            _with_instants(one)
    plans = _plans(visit, record)
    for finding in record["findings"]:
        finding["shown"] = [
            photos[photo["given"]] for photo in finding["photos"] if photo["given"] in photos
        ]
    totals = record["coverage"]["totals"]
    for_office = for_whom.role == Role.OFFICE
    clock = phone_clock_of(visit) if for_office else None
    return Report(
        visit=visit,
        record=record,
        zones=_zones(record),
        treatments=record["treatments"],
        covered=_tally(totals, "checkpoints") + _tally(totals, "monitors"),
        whole_walk=visit.kind in WHOLE_WALKS,
        cautions=_cautions(record),
        droppings=DROPPINGS if _has_rodents(rows) else "",
        photos=photos,
        plans=plans,
        awaited=len(awaited),
        amendments=list(
            visit.amendments.select_related("author").order_by("number", "pk") if closed else ()
        ),
        breaks=breaks_of_visit(visit, rows) if closed else (),
        office_note=visit.office_note if for_office else "",
        clock_note=clock.sentence if clock else "",
        may_amend=closed and may_amend(for_whom, visit),
    )


@dataclass(frozen=True, slots=True)
class ClientCopy:
    """What was applied on one visit, for whoever works there. Names are those of the day."""

    visit: Visit
    site: Mapping[str, Any]
    technician: str
    treatments: Sequence[Mapping[str, Any]]
    cautions: Sequence[str]
    is_stored_as_sealed: bool


def client_copy_of(visit: Visit) -> ClientCopy:
    """The applications of a closed visit from its sealed words. Ten queries at most.

    The visit must have its site, client, line and technician at hand.
    """
    rows = rows_of([visit])[visit.pk]
    record = _sealed(visit) or plain(record_of(visit, rows, coverage=coverage_now(visit)))
    for one in record["treatments"]:
        _with_instants(one)
    return ClientCopy(
        visit=visit,
        site=record["site"]["words"],
        technician=record["technician"]["words"]["name"],
        treatments=record["treatments"],
        cautions=_cautions(record),
        is_stored_as_sealed=not breaks_of_visit(visit, rows),
    )


def _sealed(visit: Visit) -> dict[str, Any]:
    """The sealed record; empty where its text cannot be read, which the breaks then say."""
    try:
        record = json.loads(visit.sealed_record)
    except ValueError:
        return {}
    return record if isinstance(record, dict) else {}


def _photos(visit: Visit, record: Mapping[str, Any]) -> dict[str, Photo]:
    """By the hash of the file as it was sent, the photos that have arrived. One query at most."""
    named = {photo["given"] for finding in record["findings"] for photo in finding["photos"]}
    if not named:
        return {}
    found = Photo.objects.filter(site=visit.site_id, given_sha256__in=named)
    return {photo.given_sha256: photo for photo in found}


def _plans(visit: Visit, record: Mapping[str, Any]) -> list[FoundOn]:
    """The plans, oldest first, on which findings have a place; numbers them. One query at most.

    A record names the zone and not its plan: it is the plan that the zone has now, unless that was
    put on file after the finding.
    """
    placed = [one for one in record["findings"] if one.get("x") is not None]
    if not placed:
        return []
    zones = Zone.objects.filter(site=visit.site_id, pk__in={one["zone"] for one in placed})
    by_id = {str(zone.pk): zone for zone in zones.exclude(plan=None).select_related("plan")}
    found: dict[SitePlan, list[dict[str, Any]]] = {}
    for number, one in enumerate(record["findings"], start=1):
        zone = by_id.get(one["zone"])
        if one in placed and zone and zone.plan and zone.plan.created_at <= one["at"]:
            one["spot"] = number
            found.setdefault(zone.plan, []).append(one)
    return [
        _found_on(plan, [by_id[one["zone"]] for one in found[plan]], found[plan])
        for plan in sorted(found, key=lambda plan: (plan.created_at, plan.pk))
    ]


def _found_on(
    plan: SitePlan, zones: Sequence[Zone], findings: Sequence[Mapping[str, Any]]
) -> FoundOn:
    height = round(PLAN_WIDTH * plan.height / plan.width)
    outlined = {zone.pk: zone for zone in zones if zone.outline}
    return FoundOn(
        plan=plan,
        width=PLAN_WIDTH,
        height=height,
        outlines=[outline_points(zone.outline, height) for zone in outlined.values()],
        spots=[
            Spot(one["spot"], round(one["x"] * PLAN_WIDTH, 1), round(one["y"] * height, 1))
            for one in findings
        ],
    )


def _with_instants(one: dict[str, Any]) -> None:
    """Turn the texts of instants and days back into those, for pages to show."""
    for name in ("at", "started_at", "finished_at"):
        if one.get(name):
            one[name] = parse_datetime(one[name])
    words = one["words"]
    for name in ("re_entry_at", "made_at", "made_by"):
        if words.get(name):
            words[name] = parse_datetime(words[name])
    for said, name in ((words, "keep_until"), (words.get("label", {}), "issued_on")):
        if said.get(name):
            said[name] = parse_date(said[name])


def instant(record: Mapping[str, Any], name: str) -> datetime | None:
    """An instant of the visit itself."""
    text = record["visit"].get(name)
    return parse_datetime(text) if text else None


def _zones(record: Mapping[str, Any]) -> list[ZoneReport]:
    """The zones in the order of the walk, then those that are only named by what was said there."""
    listed = {zone["words"]["name"]: zone for zone in record["coverage"]["zones"]}
    for part in ("looks", "readings", "findings", "not_reached"):
        for one in record[part]:
            listed.setdefault(one["words"]["zone"], {})
    return [_zone(name, zone, record) for name, zone in listed.items()]


def _zone(name: str, zone: Mapping[str, Any], record: Mapping[str, Any]) -> ZoneReport:
    def said(part: str) -> list[Mapping[str, Any]]:
        return [one for one in record[part] if one["words"]["zone"] == name]

    words = zone.get("words", {})
    return ZoneReport(
        name=name,
        kind=words.get("kind", ""),
        boundary=words.get("boundary", ""),
        boundary_note=words.get("boundary_note", ""),
        checkpoints=_tally(zone, "checkpoints"),
        monitors=_tally(zone, "monitors"),
        looks=said("looks"),
        readings=sorted(said("readings"), key=lambda one: one["words"]["monitor"]),
        findings=said("findings"),
        not_reached=said("not_reached"),
    )


def _tally(counts: Mapping[str, Any], sort: str) -> Tally:
    return Tally(*(counts.get(f"{sort}_{name}", 0) for name in ("due", "looked", "not_reached")))


def _cautions(record: Mapping[str, Any]) -> list[str]:
    """The cautions of all treatments, each once, in the order in which they came up."""
    every = (text for one in record["treatments"] for _, text, _ in one["words"]["cautions"])
    return list(dict.fromkeys(every))


def _has_rodents(rows: Any) -> bool:
    return any(one.pest and one.pest.group == "rodent" for one in rows.findings)
