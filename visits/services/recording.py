"""Verbs of the technician on a visit of their own that is not closed.

Saying something of the same place, monitor, finding or treatment again changes what was said;
each has a verb that takes it back. ``at`` is the instant by the technician's own clock (aware).
All raise ``NotAllowed`` for anybody but the visit's technician, ``WrongState`` once it is closed,
called off or missed, and ``Unknown`` or ``Unusable`` for what cannot be true. The rules themselves
are in ``writing``.
"""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from accounts.models import User
from accounts.sealing import digest
from sites.media import CleanImage, clean_image
from sites.models import Photo
from sites.services.photos import add_clean_photo, held_photo
from visits.access import require_may_write
from visits.models import Finding, FindingPhoto, Look, NotReached, Reading, Treatment, Visit
from visits.services import writing
from visits.services.writing import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    TreatmentGiven,
)

__all__ = [
    "ContactGiven",
    "FindingGiven",
    "NotReachedGiven",
    "ReadingGiven",
    "TreatmentGiven",
    "add_visit_photo",
    "apply_treatment",
    "record_finding",
    "record_looks",
    "record_not_reached",
    "record_readings",
    "remove_finding",
    "remove_look",
    "remove_not_reached",
    "remove_reading",
    "remove_treatment",
    "set_contact",
    "start_visit",
]


def _own(visit_id: UUID, by: User) -> Visit:
    """The visit, locked, if this person may write on it."""
    visit = writing.locked(visit_id)
    require_may_write(by, visit)
    return visit


@transaction.atomic
def start_visit(visit_id: UUID, *, by: User, at: datetime) -> Visit:
    """Put a booked visit under way. Starting it again changes nothing."""
    visit = _own(visit_id, by)
    writing.begin(visit, by=by, at=at)
    return visit


@transaction.atomic
def record_looks(
    visit_id: UUID, *, by: User, at: datetime, checkpoint_ids: Sequence[UUID]
) -> list[Look]:
    """Looked at these checkpoints and found nothing."""
    return writing.write_looks(_own(visit_id, by), by=by, at=at, checkpoint_ids=checkpoint_ids)


@transaction.atomic
def remove_look(visit_id: UUID, *, by: User, at: datetime, checkpoint_id: UUID) -> bool:
    """Take a look back; says whether there was one."""
    return writing.unwrite_look(_own(visit_id, by), by=by, at=at, checkpoint_id=checkpoint_id)


@transaction.atomic
def record_readings(
    visit_id: UUID, *, by: User, at: datetime, readings: Sequence[ReadingGiven]
) -> list[Reading]:
    """What monitors showed; the days each stood are counted from its reading before."""
    return writing.write_readings(_own(visit_id, by), by=by, at=at, readings=readings)


@transaction.atomic
def remove_reading(visit_id: UUID, *, by: User, at: datetime, monitor_id: UUID) -> bool:
    """Take a reading back; says whether there was one."""
    return writing.unwrite_reading(_own(visit_id, by), by=by, at=at, monitor_id=monitor_id)


@transaction.atomic
def record_finding(
    visit_id: UUID,
    *,
    by: User,
    at: datetime,
    finding: FindingGiven,
    finding_id: UUID | None = None,
) -> Finding:
    """Something seen; with the id of an earlier finding of this visit, what it says from now on."""
    return writing.write_finding(
        _own(visit_id, by), by=by, at=at, finding=finding, finding_id=finding_id
    )


@transaction.atomic
def remove_finding(visit_id: UUID, *, by: User, at: datetime, finding_id: UUID) -> bool:
    """Take a finding back; says whether there was one."""
    return writing.unwrite_finding(_own(visit_id, by), by=by, at=at, finding_id=finding_id)


@transaction.atomic
def record_not_reached(
    visit_id: UUID, *, by: User, at: datetime, not_reached: NotReachedGiven
) -> NotReached:
    """What could not be looked at, why, and whose move it is."""
    return writing.write_not_reached(_own(visit_id, by), by=by, at=at, not_reached=not_reached)


@transaction.atomic
def remove_not_reached(
    visit_id: UUID,
    *,
    by: User,
    at: datetime,
    zone_id: UUID | None = None,
    checkpoint_id: UUID | None = None,
    monitor_id: UUID | None = None,
) -> bool:
    """Take "not reached" back; says whether it was there."""
    return writing.unwrite_not_reached(
        _own(visit_id, by),
        by=by,
        at=at,
        zone_id=zone_id,
        checkpoint_id=checkpoint_id,
        monitor_id=monitor_id,
    )


@transaction.atomic
def apply_treatment(
    visit_id: UUID,
    *,
    by: User,
    at: datetime,
    treatment: TreatmentGiven,
    treatment_id: UUID | None = None,
) -> Treatment:
    """One application; with the id of an earlier one of this visit, what it says from now on."""
    return writing.write_treatment(
        _own(visit_id, by), by=by, at=at, treatment=treatment, treatment_id=treatment_id
    )


@transaction.atomic
def remove_treatment(visit_id: UUID, *, by: User, at: datetime, treatment_id: UUID) -> bool:
    """Take a treatment back; says whether there was one."""
    return writing.unwrite_treatment(_own(visit_id, by), by=by, at=at, treatment_id=treatment_id)


@transaction.atomic
def set_contact(visit_id: UUID, *, by: User, at: datetime, contact: ContactGiven) -> Visit:
    """Who was met, the summary of the visit, and what was signed."""
    return writing.write_contact(_own(visit_id, by), by=by, at=at, contact=contact)


def add_visit_photo(
    visit: Visit, *, by: User, data: bytes, taken_at: datetime | None = None
) -> Photo:
    """Keep a photo taken on a visit, and hang it where a finding already waits for it.

    It may come before its finding, after it, twice, or once the visit is closed or called off:
    findings name photos by the hash of the file as it was sent. Not one transaction around all,
    since decoding takes up to a second and must hold no lock. Raises ``NotAllowed`` for anybody but
    the visit's technician, ``Unusable`` for what is no picture, ``NoRoom``.
    """
    require_may_write(by, visit)
    given = digest(data)
    held = held_photo(visit.site, given)
    if held:
        hang_photo(visit.pk, held)
        return held
    picture = clean_image(data)
    return _keep_and_hang(visit, by=by, given=given, picture=picture, taken_at=taken_at)


@transaction.atomic
def _keep_and_hang(
    visit: Visit, *, by: User, given: str, picture: CleanImage, taken_at: datetime | None
) -> Photo:
    """Both or neither: a phone that is told of a photo does not send it again to have it hung."""
    visit = writing.locked(visit.pk)
    photo = add_clean_photo(visit.site, by=by, given=given, picture=picture, taken_at=taken_at)
    hang_photo(visit.pk, photo)
    return photo


@transaction.atomic
def hang_photo(visit_id: UUID, photo: Photo) -> int:
    """Show a photo with the findings of a visit that wait for it; says with how many."""
    visit = writing.locked(visit_id)
    waiting = [
        one
        for one in Finding.objects.filter(visit=visit).exclude(awaits=[]).order_by("at", "pk")
        if photo.given_sha256 in one.awaits
    ]
    for finding in waiting:
        FindingPhoto.objects.get_or_create(
            finding=finding, photo=photo, defaults={"position": finding.shown_by.count()}
        )
        finding.awaits = [one for one in finding.awaits if one != photo.given_sha256]
        finding.save(update_fields=["awaits"])
    return len(waiting)
