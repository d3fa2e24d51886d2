"""Keeping the people at the premises."""

from typing import TypedDict, Unpack
from uuid import UUID

from django.db import transaction

from accounts.models import User
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from sites.models import Contact
from sites.services.sites import site_to_keep


class ContactFacts(TypedDict, total=False):
    """What may be said of a contact."""

    name: str
    job_title: str
    email: str
    phone: str
    is_premises_manager: bool


@transaction.atomic
def add_contact(site_id: UUID, *, by: User, **facts: Unpack[ContactFacts]) -> Contact:
    """Put a person at the premises on file; ``name`` is needed."""
    contact = Contact(site=site_to_keep(site_id, by=by), **facts)
    keep_new(contact)
    record(by, "contact.added", contact)
    return contact


@transaction.atomic
def change_contact(
    contact_id: UUID, *, by: User, seen: str = "", **facts: Unpack[ContactFacts]
) -> Contact:
    """Change what is on file for a contact.

    The trail says which details changed and not what they were: it never forgets, and a person's
    telephone number must be forgettable.
    """
    contact = _contact_to_keep(contact_id, by=by)
    changed = keep_changes(contact, facts, seen=seen)
    if changed:
        record(by, "contact.changed", contact, changed=sorted(changed))
    return contact


@transaction.atomic
def remove_contact(contact_id: UUID, *, by: User) -> None:
    """Take a contact off file; closed visits keep the name of whom they met."""
    contact = _contact_to_keep(contact_id, by=by)
    record(by, "contact.removed", contact)
    contact.delete()


def _contact_to_keep(contact_id: UUID, *, by: User) -> Contact:
    contact = Contact.objects.get(pk=contact_id)
    site_to_keep(contact.site_id, by=by)
    return Contact.objects.select_for_update().get(pk=contact_id)
