"""Writing the trail. Every service calls ``record`` once, in its own transaction."""

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
    Three queries.
    """
    sentence_of(verb)
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("the trail is written in the transaction of what it tells")
    key = stream_of(target)
    now = timezone.now()
    TrailStream.objects.get_or_create(key=key, defaults={"head": NOTHING_BEFORE})
    stream = TrailStream.objects.select_for_update().get(key=key)
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
        facts=plain(facts),
        previous=stream.head,
    )
    entry.seal = chained(entry.previous, canonical(entry.sealed_facts()))
    entry.save()
    TrailStream.objects.filter(key=key).update(length=entry.number, head=entry.seal)
    return entry
