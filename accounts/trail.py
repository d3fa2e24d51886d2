"""Writing the trail. Every service calls ``record`` once, in its own transaction."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from accounts.models import TrailEntry, TrailStream, User
from accounts.sealing import NOTHING_BEFORE, canonical, chained, plain
from accounts.trail_words import sentence_of

COMPANY_STREAM = "company"


def stream_of(target: models.Model) -> str:
    """The chain that a record belongs to: its site's, or the company's.

    A record says its site by ``trail_site_id``, else by ``site_id``.
    """
    site_id = getattr(target, "trail_site_id", None) or getattr(target, "site_id", None)
    return f"site:{site_id}" if site_id else COMPANY_STREAM


def record(
    by: User | None,
    verb: str,
    target: models.Model,
    *,
    at: datetime | None = None,
    **facts: Any,
) -> TrailEntry:
    """Add one entry. ``by`` is None for a job; ``at`` is the doer's own clock where that differs.

    Must run inside the transaction of what it tells. Raises ``KeyError`` for an undeclared verb.
    Three queries, five where a chain begins.
    """
    return record_each(by, verb, [target], at=at, **facts)[0]


def record_each(
    by: User | None,
    verb: str,
    targets: Sequence[models.Model],
    *,
    at: datetime | None = None,
    own: Sequence[Mapping[str, Any]] = (),
    **facts: Any,
) -> list[TrailEntry]:
    """Add one entry for each of many records of which the same is told, each in its own chain.

    ``own`` are facts of each record alone, in the same order. As ``record``: three queries however
    many records, five where a chain begins.
    """
    sentence_of(verb)
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("the trail is written in the transaction of what it tells")
    now = timezone.now()
    streams = _locked_streams({stream_of(target) for target in targets})
    entries = []
    for target, of_its_own in zip(targets, own or ({},) * len(targets), strict=True):
        stream = streams[stream_of(target)]
        entry = TrailEntry(
            stream=stream,
            number=stream.length + 1,
            at=at or now,
            recorded_at=now,
            actor=by,
            actor_name=by.name if by else "Kickplate",
            actor_role=by.role if by else "",
            verb=verb,
            target_type=target._meta.label_lower,
            target_id=str(target.pk),
            target_label=str(target)[:200],
            facts=plain({**facts, **of_its_own}),
            previous=stream.head,
        )
        entry.seal = chained(entry.previous, canonical(entry.sealed_facts()))
        stream.length, stream.head = entry.number, entry.seal
        entries.append(entry)
    TrailEntry.objects.bulk_create(entries)
    TrailStream.objects.bulk_update(streams.values(), ["length", "head"])
    return entries


def _locked_streams(keys: set[str]) -> dict[str, TrailStream]:
    """The chains, locked in the order of their keys, so that two writers never wait in a ring."""
    found = TrailStream.objects.select_for_update().filter(key__in=keys).order_by("key")
    streams = {stream.key: stream for stream in found}
    begun = sorted(keys - streams.keys())
    if begun:
        TrailStream.objects.bulk_create(
            [TrailStream(key=key, head=NOTHING_BEFORE) for key in begun], ignore_conflicts=True
        )
        streams = {stream.key: stream for stream in found.all()}
    return streams
