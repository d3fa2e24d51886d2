"""Records that phones sent and that could not be applied: what waits for the office to place."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db.models import F, Q, QuerySet

from visits.models import ParkedOperation, Visit

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


def listed(parked: QuerySet[ParkedOperation]) -> QuerySet[ParkedOperation]:
    """What waits longest first, then what was settled, latest first. One query."""
    return parked.select_related("person", "visit__site", "settled_by").order_by(
        F("settled_at").desc(nulls_first=True), "created_at", "pk"
    )


def what_was_said(sent: Any) -> list[Said]:
    """The whole content, nothing left out, as lines for a person, in the phone's own order."""
    return list(_lines(sent, 0))


def _lines(value: Any, depth: int) -> Iterator[Said]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _line(str(key).replace("_", " ").capitalize(), inner, depth)
    elif isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            yield from _line(f"{number}.", inner, depth)
    else:
        yield Said("", _plain(value), depth)


def _line(label: str, value: Any, depth: int) -> Iterator[Said]:
    if isinstance(value, Mapping) or (
        isinstance(value, list) and any(isinstance(one, Mapping | list) for one in value)
    ):
        if value:
            yield Said(label, "", depth)
            yield from _lines(value, depth + 1)
        else:
            yield Said(label, "nothing", depth)
    elif isinstance(value, list):
        yield Said(label, ", ".join(_plain(one) for one in value) or "nothing", depth)
    else:
        yield Said(label, _plain(value), depth)


def _plain(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def candidates(parked: ParkedOperation, visits: QuerySet[Visit]) -> Sequence[Visit]:
    """Visits that it may belong to: the one it named, then those of the same person or site.

    Within a month of when it arrived, nearest first; at most sixty. One query.
    """
    arrived = parked.created_at.date()
    around = (arrived - DAYS_AROUND, arrived + DAYS_AROUND)
    near = Q(booked_on__range=around) | Q(due_on__range=around)
    whose = Q(technician_id=parked.person_id)
    if parked.visit:
        whose |= Q(site_id=parked.visit.site_id)
    rows = (
        visits.filter(near & whose | Q(pk=parked.visit_id))
        .select_related("site", "technician")
        .order_by("due_on", "pk")[: MOST_CANDIDATES * 2]
    )
    return sorted(
        rows,
        key=lambda visit: (
            visit.pk != parked.visit_id,
            abs(((visit.booked_on or visit.due_on) - arrived).days),
        ),
    )[:MOST_CANDIDATES]
