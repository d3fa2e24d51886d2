"""Licences and certificates of technicians, and of the office where it signs reviews."""

from datetime import date
from uuid import UUID

from django.db import transaction

from accounts import access
from accounts.models import Competence, CompetenceKind, Role, User
from accounts.refusals import Unusable, WrongState
from accounts.trail import record

HOLDERS = frozenset({Role.TECHNICIAN, Role.OFFICE})


@transaction.atomic
def add_competence(
    person_id: UUID,
    *,
    by: User,
    kind: CompetenceKind,
    number: str = "",
    valid_from: date,
    valid_until: date | None = None,
) -> Competence:
    """Put a licence or certificate on the file of a technician or of somebody of the office.

    Days are inclusive.
    """
    access.require_office(by)
    person = User.objects.select_for_update().get(pk=person_id)
    if person.role not in HOLDERS:
        raise Unusable("Only technicians and the office hold competences here.")
    competence = Competence.objects.create(
        person=person, kind=kind, number=number, valid_from=valid_from, valid_until=valid_until
    )
    record(
        by,
        "competence.added",
        competence,
        person=person.name,
        valid_from=valid_from,
        valid_until=valid_until,
    )
    return competence


@transaction.atomic
def change_competence(
    competence_id: UUID,
    *,
    by: User,
    number: str,
    valid_from: date,
    valid_until: date | None,
) -> Competence:
    """Correct a licence's number or days, for example when it was renewed."""
    access.require_office(by)
    competence = Competence.objects.select_for_update().get(pk=competence_id)
    if competence.withdrawn_on:
        raise WrongState("This competence is withdrawn; add a new one.")
    old = [competence.number, competence.valid_from, competence.valid_until]
    competence.number = number
    competence.valid_from = valid_from
    competence.valid_until = valid_until
    competence.save(update_fields=["number", "valid_from", "valid_until"])
    record(
        by,
        "competence.changed",
        competence,
        person=competence.person.name,
        changed=[old, [number, valid_from, valid_until]],
    )
    return competence


@transaction.atomic
def withdraw_competence(competence_id: UUID, *, by: User, on: date, reason: str) -> Competence:
    """End a licence before its time: from ``on`` it no longer counts."""
    access.require_office(by)
    competence = Competence.objects.select_for_update().get(pk=competence_id)
    if competence.withdrawn_on:
        raise WrongState("This competence is already withdrawn.")
    competence.withdrawn_on = on
    competence.save(update_fields=["withdrawn_on"])
    record(
        by,
        "competence.withdrawn",
        competence,
        person=competence.person.name,
        on=on,
        reason=reason,
    )
    return competence


@transaction.atomic
def add_competence_kind(name: str, *, by: User, issuer: str = "") -> CompetenceKind:
    """Name a kind of licence that service lines may require; ``Unusable`` for a known name."""
    access.require_office(by)
    if CompetenceKind.objects.filter(name__iexact=name).exists():
        raise Unusable(f"{name} is already on the list.", field="name")
    kind = CompetenceKind.objects.create(name=name, issuer=issuer)
    record(by, "competence_kind.added", kind)
    return kind
