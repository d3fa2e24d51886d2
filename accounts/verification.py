"""Recomputing the trail from its own words, to see whether anything was changed or left out."""

from collections.abc import Iterator
from dataclasses import dataclass

from accounts.models import TrailEntry, TrailStream
from accounts.sealing import NOTHING_BEFORE, canonical, chained


@dataclass(frozen=True, slots=True)
class Break:
    """Where a chain does not hold, and how."""

    stream: str
    number: int
    what: str


def breaks_of(stream: TrailStream) -> Iterator[Break]:
    """Every place where one chain does not hold, in order. One query, read in batches."""
    expected, number = NOTHING_BEFORE, 0
    entries = TrailEntry.objects.filter(stream=stream).order_by("number")
    for entry in entries.iterator(chunk_size=2000):
        number += 1
        if entry.number != number:
            yield Break(stream.key, number, f"entry {number} is missing")
            number = entry.number
        if entry.previous != expected:
            yield Break(stream.key, entry.number, "does not follow the entry before it")
        if entry.seal != chained(entry.previous, canonical(entry.sealed_facts())):
            yield Break(stream.key, entry.number, "its words were changed after it was sealed")
        expected = entry.seal
    if (stream.length, stream.head) != (number, expected):
        yield Break(stream.key, number, "entries at the end are missing or were added by hand")


def all_breaks() -> Iterator[Break]:
    """Every break of every chain. One query, and one for each chain."""
    for stream in TrailStream.objects.order_by("key"):
        yield from breaks_of(stream)
    orphans = TrailEntry.objects.exclude(stream__in=TrailStream.objects.all())
    for entry in orphans.order_by("pk").iterator():
        yield Break(entry.stream_id, entry.number, "belongs to a chain that has no head")
