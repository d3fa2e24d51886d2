"""Records that phones sent and that could not be applied: what waits for the office to place."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db.models import Case, Count, F, Q, QuerySet, TextField, When, Window
from django.db.models.fields.json import KT
from django.db.models.functions import Cast, Coalesce, RowNumber

from accounts.sealing import digest
from sites.models import Checkpoint, Monitor, Photo, Zone
from visits.clocks import corrected
from visits.models import ParkedOperation, ParkedPhoto, Pest, Product, Visit
from visits.protocol import CLASH, Clock, photos_named

DAYS_AROUND = timedelta(days=31)
MOST_CANDIDATES = 60


@dataclass(frozen=True, slots=True)
class Said:
    """One thing that the phone said; ``depth`` counts from 0 and says what it belongs to."""

    label: str
    value: str
    depth: int

    @property
    def is_heading(self) -> bool:
        return self.value == ""


@dataclass(frozen=True, slots=True)
class PhotoNamed:
    """A photo that a record names: parked with it, a site's already, or still on its way."""

    given: str
    parked: ParkedPhoto | None
    photo: Photo | None


def photos_of(parked: ParkedOperation, photos: QuerySet[Photo]) -> list[PhotoNamed]:
    """The photos that a record names, in its order; ``photos`` are those that its reader may see.

    Two queries, none where it names none.
    """
    named = photos_named(parked.sent.get("body") if isinstance(parked.sent, dict) else None)
    if not named:
        return []
    waiting = {
        one.given_sha256: one
        for one in ParkedPhoto.objects.filter(person=parked.person_id, given_sha256__in=named)
    }
    sites = Visit.objects.filter(pk__in=[parked.placed_on_id, parked.visit_id]).values("site")
    kept = {one.given_sha256: one for one in photos.filter(site__in=sites, given_sha256__in=named)}
    return [PhotoNamed(given, waiting.get(given), kept.get(given)) for given in named]


def listed(parked: QuerySet[ParkedOperation]) -> QuerySet[ParkedOperation]:
    """What waits longest first, then what was settled, latest first. One query.

    What is placed together stands in one line, with the first of it, and as ``together`` how many.
    """
    alone = Cast("pk", TextField())
    group = Case(
        When(
            ~Q(code=CLASH),
            settled_at=None,
            then=Coalesce(Cast("visit", TextField()), KT("sent__visit"), alone),
        ),
        default=alone,
    )
    same: list[Any] = [F("person"), group]
    return (
        parked.annotate(
            together=Window(Count("pk"), partition_by=same),
            place=Window(RowNumber(), partition_by=same, order_by=["created_at", "pk"]),
        )
        .filter(place=1)
        .select_related("person", "visit__site", "settled_by")
        .order_by(F("settled_at").desc(nulls_first=True), "created_at", "pk")
    )


def placed_together(parked: ParkedOperation) -> str:
    """A key that is the same for what waits and is placed together, as ``sent_with`` finds it."""
    named = parked.sent.get("visit") if isinstance(parked.sent, dict) else None
    visit = parked.visit_id or named
    if parked.code == CLASH or not visit:
        return str(parked.pk)
    return digest(f"{parked.person_id}\n{visit}")


def what_was_said(sent: Any, names: Mapping[str, str] | None = None) -> list[Said]:
    """The whole content, nothing left out, as lines for a person, in the phone's own order.

    ``names`` says what is behind an id, as ``names_in`` finds it; the id stands beside its name.
    """
    return list(_lines(sent, 0, names or {}))


def names_in(sent: Any) -> dict[str, str]:
    """The names of the zones, checkpoints, monitors, pests and products whose ids stand in what was
    sent. Five queries.
    """
    ids = set(_ids(sent))
    found: dict[str, str] = {}
    for zone in Zone.objects.filter(pk__in=ids):
        found[str(zone.pk)] = zone.name
    for checkpoint in Checkpoint.objects.filter(pk__in=ids).select_related("zone"):
        found[str(checkpoint.pk)] = f"{checkpoint.label}, {checkpoint.zone.name}"
    for monitor in Monitor.objects.filter(pk__in=ids).select_related("zone"):
        found[str(monitor.pk)] = f"Monitor {monitor.number}, {monitor.zone.name}"
    for pest in Pest.objects.filter(pk__in=ids):
        found[str(pest.pk)] = str(pest)
    for product in Product.objects.filter(pk__in=ids):
        found[str(product.pk)] = product.name
    return found


def _ids(value: Any) -> Iterator[UUID]:
    if isinstance(value, Mapping):
        for inner in value.values():
            yield from _ids(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _ids(inner)
    elif isinstance(value, str):
        with suppress(ValueError):
            yield UUID(value)


def _lines(value: Any, depth: int, names: Mapping[str, str]) -> Iterator[Said]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _line(str(key).replace("_", " ").capitalize(), inner, depth, names)
    elif isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            yield from _line(f"{number}.", inner, depth, names)
    else:
        yield Said("", _plain(value, names), depth)


def _line(label: str, value: Any, depth: int, names: Mapping[str, str]) -> Iterator[Said]:
    if isinstance(value, Mapping) or (
        isinstance(value, list) and any(isinstance(one, Mapping | list) for one in value)
    ):
        if value:
            yield Said(label, "", depth)
            yield from _lines(value, depth + 1, names)
        else:
            yield Said(label, "nothing", depth)
    elif isinstance(value, list):
        yield Said(label, ", ".join(_plain(one, names) for one in value) or "nothing", depth)
    else:
        yield Said(label, _plain(value, names), depth)


def _plain(value: Any, names: Mapping[str, str]) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value)
    return f"{names[text]} ({text})" if text in names else text


@dataclass(frozen=True, slots=True)
class WaitingTogether:
    """Records that wait for one visit, known here or not, and the one that leads to them all."""

    first: ParkedOperation
    count: int

    @property
    def visit(self) -> Visit | None:
        return self.first.visit


def waiting_together(
    parked: QuerySet[ParkedOperation], operations: Collection[UUID]
) -> list[WaitingTogether]:
    """By the visit that they name, those of some operations that wait. One query."""
    found: dict[str, list[ParkedOperation]] = defaultdict(list)
    waiting = parked.filter(settled_at=None, operation_id__in=operations)
    for one in waiting.select_related("visit__site").order_by("created_at", "pk"):
        named = one.sent.get("visit") if isinstance(one.sent, dict) else None
        found[str(one.visit_id or named)].append(one)
    return [WaitingTogether(rows[0], len(rows)) for rows in found.values()]


def candidates(parked: ParkedOperation, visits: QuerySet[Visit]) -> Sequence[Visit]:
    """Visits that it may belong to: the one it named, then those of the same person or site.

    Within a month of when it was made or arrived, nearest first; at most sixty. One query.
    """
    days = {parked.created_at.date()}
    clock = Clock(data=parked.sent)
    if clock.is_valid():
        told = clock.validated_data
        days.add(corrected(told["made_at"], told["clock_ahead"]).date())
    near = Q()
    for day in days:
        around = (day - DAYS_AROUND, day + DAYS_AROUND)
        near |= Q(booked_on__range=around) | Q(due_on__range=around)
    whose = Q(technician_id=parked.person_id)
    if parked.visit:
        whose |= Q(site_id=parked.visit.site_id)
    rows = (
        visits.filter((near & whose) | Q(pk=parked.visit_id))
        .select_related("site", "technician")
        .order_by("due_on", "pk")[: MOST_CANDIDATES * 2]
    )
    return sorted(
        rows,
        key=lambda visit: (
            visit.pk != parked.visit_id,
            min(abs(((visit.booked_on or visit.due_on) - day).days) for day in days),
        ),
    )[:MOST_CANDIDATES]


def sent_with(parked: ParkedOperation) -> QuerySet[ParkedOperation]:
    """What else waits that the same person recorded for the same visit, known here or not.

    Where two phones clashed each place is decided by itself, and goes along with nothing.
    """
    if parked.code == CLASH:
        return ParkedOperation.objects.none()
    others = (
        ParkedOperation.objects.filter(person_id=parked.person_id, settled_at__isnull=True)
        .exclude(pk=parked.pk)
        .exclude(code=CLASH)
    )
    if parked.visit_id:
        return others.filter(visit_id=parked.visit_id).order_by("created_at", "pk")
    named = parked.sent.get("visit") if isinstance(parked.sent, dict) else None
    if not named:
        return others.none()
    return others.filter(visit__isnull=True, sent__visit=named).order_by("created_at", "pk")
