"""How much of what was due to be looked at on a visit was looked at. Pure counting, no database.

Due are the checkpoints and monitors that stood, within our remit or shared, on the day of the
visit. A monitor that could be found but not read (blocked) counts as not reached. Nothing is
rounded up: a hundred per cent means every single place.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Tally:
    """Places of one sort: how many were due, looked at, and not reached for a reason given."""

    due: int = 0
    looked: int = 0
    not_reached: int = 0

    @property
    def open(self) -> int:
        """Places that nobody has said a word about."""
        return self.due - self.looked - self.not_reached

    @property
    def percent(self) -> int | None:
        """The share that was looked at, rounded down; None where nothing was due."""
        return self.looked * 100 // self.due if self.due else None

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(
            self.due + other.due,
            self.looked + other.looked,
            self.not_reached + other.not_reached,
        )


@dataclass(frozen=True, slots=True)
class DueZone:
    """A zone in walking order, with the ids of what is due in it; nothing outside our remit."""

    id: UUID
    name: str
    kind: str
    boundary: str
    boundary_note: str = ""
    checkpoints: Sequence[UUID] = ()
    monitors: Sequence[UUID] = ()


@dataclass(frozen=True, slots=True)
class Said:
    """What a visit says: ids of places by what was said of each."""

    looked: frozenset[UUID] = frozenset()
    read: frozenset[UUID] = frozenset()
    not_reached: frozenset[UUID] = frozenset()


@dataclass(frozen=True, slots=True)
class ZoneCoverage:
    """What was due and looked at in one zone."""

    id: UUID
    name: str
    kind: str
    boundary: str
    boundary_note: str
    checkpoints: Tally
    monitors: Tally

    @property
    def all(self) -> Tally:
        return self.checkpoints + self.monitors


@dataclass(frozen=True, slots=True)
class Coverage:
    """The whole visit, zone by zone in walking order."""

    zones: Sequence[ZoneCoverage] = field(default_factory=tuple)
    checkpoints: Tally = Tally()
    monitors: Tally = Tally()

    @property
    def all(self) -> Tally:
        return self.checkpoints + self.monitors


def coverage(zones: Iterable[DueZone], said: Said) -> Coverage:
    """What was due against what was said of it, in the order of the zones."""
    counted = [
        ZoneCoverage(
            id=zone.id,
            name=zone.name,
            kind=zone.kind,
            boundary=zone.boundary,
            boundary_note=zone.boundary_note,
            checkpoints=_tally(zone.checkpoints, said.looked, said.not_reached, zone.id),
            monitors=_tally(zone.monitors, said.read, said.not_reached, zone.id),
        )
        for zone in zones
    ]
    return Coverage(
        zones=counted,
        checkpoints=sum((zone.checkpoints for zone in counted), Tally()),
        monitors=sum((zone.monitors for zone in counted), Tally()),
    )


def _tally(
    places: Sequence[UUID], seen: frozenset[UUID], not_reached: frozenset[UUID], zone: UUID
) -> Tally:
    unseen = [place for place in places if place not in seen]
    whole_zone = zone in not_reached
    missed = sum(1 for place in unseen if whole_zone or place in not_reached)
    return Tally(len(places), len(places) - len(unseen), missed)


def as_counts(found: Coverage) -> dict[str, int]:
    """The totals as a visit keeps them."""
    return {
        f"{sort}_{name}": getattr(tally, name)
        for sort, tally in (("checkpoints", found.checkpoints), ("monitors", found.monitors))
        for name in ("due", "looked", "not_reached")
    }


def from_counts(counts: Mapping[str, int]) -> Coverage:
    """The totals that a closed visit kept, without its zones; zeros where it kept none."""
    checkpoints, monitors = (
        Tally(*(counts.get(f"{sort}_{name}", 0) for name in ("due", "looked", "not_reached")))
        for sort in ("checkpoints", "monitors")
    )
    return Coverage(checkpoints=checkpoints, monitors=monitors)


def as_record(found: Coverage) -> dict[str, Any]:
    """The coverage as it is sealed: the totals, and every zone in walking order."""
    return {
        "totals": as_counts(found),
        "zones": [
            {
                "zone": zone.id,
                **{
                    f"{sort}_{name}": getattr(tally, name)
                    for sort, tally in (
                        ("checkpoints", zone.checkpoints),
                        ("monitors", zone.monitors),
                    )
                    for name in ("due", "looked", "not_reached")
                },
                "words": {
                    "name": zone.name,
                    "kind": zone.kind,
                    "boundary": zone.boundary,
                    "boundary_note": zone.boundary_note,
                },
            }
            for zone in found.zones
        ],
    }
