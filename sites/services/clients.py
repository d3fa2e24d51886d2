"""Putting clients on file and keeping them current."""

from datetime import date
from typing import TypedDict, Unpack
from uuid import UUID

from django.db import transaction

from accounts.models import Client, User
from accounts.trail import record
from sites import access
from sites.keeping import keep_changes, keep_new


class ClientFacts(TypedDict, total=False):
    """What may be said of a client."""

    reference: str
    name: str
    address: str
    billing_email: str
    internal_note: str
    closed_on: date | None


@transaction.atomic
def add_client(*, by: User, **facts: Unpack[ClientFacts]) -> Client:
    """Put a client on file; ``reference`` and ``name`` are needed.

    Raises ``Taken`` for a reference that another client has.
    """
    access.require_may_keep_sites(by)
    client = Client(**facts)
    keep_new(client)
    record(by, "client.added", client, reference=client.reference)
    return client


@transaction.atomic
def change_client(
    client_id: UUID, *, by: User, seen: str = "", **facts: Unpack[ClientFacts]
) -> Client:
    """Change what is on file for a client; changing nothing leaves no entry on the trail."""
    access.require_may_keep_sites(by)
    client = Client.objects.select_for_update().get(pk=client_id)
    changed = keep_changes(client, facts, seen=seen)
    if changed:
        record(by, "client.changed", client, changed=changed)
    return client
