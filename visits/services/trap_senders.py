"""Who may report for electronic traps: senders of one site, each with a token shown once."""

import secrets
from dataclasses import dataclass
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Refused, WrongState
from accounts.sealing import digest
from accounts.trail import record
from sites.models import Site
from visits.models import TrapSender

MOST_SENDERS = 20
PREFIX = "trap_"
START = 10
"""How many characters of a token are kept to know it by; the other thirty and more are not."""


@dataclass(frozen=True, slots=True)
class Made:
    """A sender and its token, which is told this once and kept only as a hash."""

    sender: TrapSender
    token: str


@transaction.atomic
def add_trap_sender(site_id: UUID, *, by: User, name: str) -> Made:
    """Let something report for a site's electronic traps.

    Raises ``Refused`` for a name that the site has, for more than twenty, and at a closed site.
    """
    site = Site.objects.select_for_update().get(pk=site_id)
    if site.closed_on:
        raise WrongState("This site is closed. Open it again first.", code="site_closed")
    working = TrapSender.objects.filter(site=site, ended_at=None)
    if working.filter(name=name).exists():
        raise Refused("This site has a sender of this name.", code="name_taken")
    if working.count() >= MOST_SENDERS:
        raise Refused(f"A site has at most {MOST_SENDERS} senders. End one first.", code="too_many")
    token = _token()
    sender = TrapSender(site=site, name=name, added_by=by)
    _give(sender, token)
    sender.save()
    record(by, "trap_sender.added", sender, token=sender.token_start)
    return Made(sender, token)


@transaction.atomic
def renew_trap_token(sender_id: UUID, *, by: User) -> Made:
    """Give a sender another token; the one before stops at once, and its ids stay its own."""
    sender = _working(sender_id)
    before, token = sender.token_start, _token()
    _give(sender, token)
    sender.save(update_fields=["token_hash", "token_start", "token_made_at"])
    record(by, "trap_sender.renewed", sender, token=sender.token_start, instead_of=before)
    return Made(sender, token)


@transaction.atomic
def end_trap_sender(sender_id: UUID, *, by: User) -> None:
    """Take no more reports from a sender; what it reported stays. Ending it twice is harmless."""
    sender = TrapSender.objects.select_for_update().get(pk=sender_id)
    if sender.ended_at is None:
        sender.ended_at = timezone.now()
        sender.save(update_fields=["ended_at"])
        record(by, "trap_sender.ended", sender)


def sender_of(token: str) -> TrapSender | None:
    """Whose token this is, if it still works. One query."""
    if not token.startswith(PREFIX):
        return None
    found = TrapSender.objects.filter(token_hash=digest(token), ended_at=None)
    return found.select_related("site").first()


def _working(sender_id: UUID) -> TrapSender:
    sender = TrapSender.objects.select_for_update().get(pk=sender_id)
    if sender.ended_at is not None:
        raise WrongState("This sender was ended. Add it anew.", code="sender_ended")
    return sender


def _token() -> str:
    """256 random bits, so that a plain hash of them is as good as any."""
    return PREFIX + secrets.token_urlsafe(32)


def _give(sender: TrapSender, token: str) -> None:
    sender.token_hash, sender.token_start = digest(token), token[:START]
    sender.token_made_at = timezone.now()
