"""Inviting people, and keeping what is known of them."""

import hashlib
import secrets
from collections.abc import Collection
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from knox.models import AuthToken

from accounts import access
from accounts.models import Branch, Client, Invitation, Role, User
from accounts.refusals import NotAllowed, Refused, Unusable, WrongState
from accounts.services.letters import write_letter
from accounts.trail import record


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _issue(person: User, *, by: User, now: datetime) -> Invitation:
    """A fresh invitation with its letter; any earlier open one stops working."""
    Invitation.objects.filter(
        person=person, accepted_at__isnull=True, withdrawn_at__isnull=True
    ).update(withdrawn_at=now)
    secret = secrets.token_urlsafe(32)
    invitation = Invitation.objects.create(
        person=person,
        invited_by=by,
        secret_hash=_hash(secret),
        expires_at=now + timedelta(days=settings.INVITATION_DAYS),
    )
    link = settings.BASE_URL + reverse("accounts:join", args=[secret])
    context = {"invitation": invitation, "link": link}
    write_letter(
        f"invitation:{invitation.pk}",
        to=person.email,
        subject="Your invitation to Kickplate",
        text=render_to_string("accounts/mail/invitation.txt", context),
        secret=True,
    )
    return invitation


@transaction.atomic
def invite_person(
    email: str,
    *,
    by: User,
    name: str,
    role: str,
    client: Client | None = None,
    branches: Collection[Branch] = (),
    is_administrator: bool = False,
    job_title: str = "",
    phone: str = "",
) -> User:
    """Make an account that cannot sign in yet and send its owner a link to set a password.

    Raises ``Unusable`` when the e-mail address already belongs to somebody, and ``NotAllowed``
    where an office user who is no administrator asks for anything but a client's manager.
    """
    access.require_may_invite(by, role)
    if User.objects.filter(email__iexact=email).exists():
        raise Unusable("Somebody with this e-mail address is already here.", field="email")
    if role == Role.CLIENT_MANAGER and client is None:
        raise Unusable("Say which client this person manages.", field="client")
    person = User.objects.create_user(
        email,
        name=name,
        role=role,
        client=client if role == Role.CLIENT_MANAGER else None,
        is_administrator=is_administrator and role == Role.OFFICE,
        job_title=job_title,
        phone=phone,
    )
    person.branches.set(branches)
    _issue(person, by=by, now=timezone.now())
    record(by, "person.invited", person, role=role, client=client and client.name)
    return person


@transaction.atomic
def invite_again(person_id: UUID, *, by: User) -> Invitation:
    """Send a new link to somebody who has not joined; the old link stops working."""
    person = User.objects.select_for_update().get(pk=person_id)
    access.require_may_invite(by, person.role)
    if not person.is_active:
        raise WrongState(f"{person} is stopped from signing in; restore them first.")
    if person.has_usable_password():
        raise WrongState(f"{person} has already joined.")
    invitation = _issue(person, by=by, now=timezone.now())
    record(by, "person.invited", person, role=person.role, again=True)
    return invitation


def open_invitation(secret: str) -> Invitation | None:
    """The invitation that a secret opens now, or None. One query."""
    return (
        Invitation.objects.select_related("person", "invited_by")
        .filter(
            secret_hash=_hash(secret),
            accepted_at__isnull=True,
            withdrawn_at__isnull=True,
            expires_at__gt=timezone.now(),
            person__is_active=True,
        )
        .first()
    )


@transaction.atomic
def join(secret: str, *, password: str) -> User:
    """Take up an invitation. Raises ``Refused`` when it is used, withdrawn or out of date."""
    invitation = open_invitation(secret)
    # A conditional update, not a lock, decides between two clicks: only one of them changes a row.
    taken = invitation and Invitation.objects.filter(
        pk=invitation.pk, accepted_at__isnull=True, withdrawn_at__isnull=True
    ).update(accepted_at=timezone.now())
    if not invitation or not taken:
        raise Refused(
            "This invitation has been used or has run out. Ask for a new one.",
            code="invitation_over",
        )
    person = invitation.person
    person.set_password(password)
    person.save(update_fields=["password"])
    record(person, "person.joined", person)
    return person


@transaction.atomic
def change_person(
    person_id: UUID,
    *,
    by: User,
    name: str,
    phone: str = "",
    job_title: str = "",
    branches: Collection[Branch] = (),
    is_administrator: bool = False,
    wants_digest: bool = True,
    time_zone: str = "Europe/London",
) -> User:
    """Change what is known of a person. The role never changes: what was done stays theirs."""
    person = User.objects.select_for_update().get(pk=person_id)
    access.require_may_manage(by, person)
    new = {
        "name": name,
        "phone": phone,
        "job_title": job_title,
        "wants_digest": wants_digest,
        "time_zone": time_zone,
        "is_administrator": is_administrator and person.role == Role.OFFICE,
    }
    if person.is_administrator and not new["is_administrator"]:
        _require_other_administrator(person)
    changed = {key: [getattr(person, key), value] for key, value in new.items()}
    changed = {key: pair for key, pair in changed.items() if pair[0] != pair[1]}
    for key, value in new.items():
        setattr(person, key, value)
    person.save(update_fields=list(new))
    person.branches.set(branches)
    record(by, "person.changed", person, changed=changed)
    return person


@transaction.atomic
def choose_digest(*, by: User, wants: bool) -> User:
    """Say for oneself whether the daily summary comes by e-mail."""
    person = User.objects.select_for_update().get(pk=by.pk)
    if person.wants_digest != wants:
        person.wants_digest = wants
        person.save(update_fields=["wants_digest"])
        record(by, "person.changed", person, changed={"wants_digest": [not wants, wants]})
    return person


@transaction.atomic
def stop_person(person_id: UUID, *, by: User, reason: str) -> User:
    """Stop somebody from signing in, at once and on every device."""
    person = User.objects.select_for_update().get(pk=person_id)
    access.require_may_manage(by, person)
    if person.pk == by.pk:
        raise NotAllowed("You cannot stop yourself; ask another administrator.")
    if not person.is_active:
        raise WrongState(f"{person} is already stopped.")
    if person.is_administrator:
        _require_other_administrator(person)
    person.is_active = False
    person.save(update_fields=["is_active"])
    AuthToken.objects.filter(user=person).delete()
    record(by, "person.stopped", person, reason=reason)
    return person


@transaction.atomic
def restore_person(person_id: UUID, *, by: User) -> User:
    """Let somebody sign in again."""
    person = User.objects.select_for_update().get(pk=person_id)
    access.require_may_manage(by, person)
    if person.is_active:
        raise WrongState(f"{person} is not stopped.")
    person.is_active = True
    person.save(update_fields=["is_active"])
    record(by, "person.restored", person)
    return person


def _require_other_administrator(person: User) -> None:
    others = User.objects.filter(is_administrator=True, is_active=True).exclude(pk=person.pk)
    if not others.exists():
        raise NotAllowed("This is the last administrator; make another one first.")
