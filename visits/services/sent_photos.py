"""Photos as phones send them: for a visit of the sender's own, and for one that is not.

What was photographed is a fact, whatever became of the visit meanwhile, so no phone ever has to
drop a photo, and its answer does not tell whether there is such a visit:

- on a visit of their own, whatever its state, it becomes a photo of the site;
- where a finding of theirs that names it stands on another visit, it becomes one of that site;
- else it is parked, until such a finding stands. Findings take what is parked for them along.

A picture has one home. What was parked becomes the site's photo with the same file, and its own
row goes: kept as well, it would be counted twice, and shown as waiting though it waits for nobody.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import partial
from uuid import UUID

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.db.models import QuerySet, Sum
from django.utils import timezone

from accounts.models import User
from accounts.sealing import digest
from accounts.trail import record
from sites.media import CleanImage, clean_image
from sites.models import Photo
from sites.services.photos import StoredPicture, add_stored_photo, held_photo
from sites.services.storage import MEGABYTE, NoRoom, require_room_today
from visits.access import require_may_record
from visits.models import Finding, Operation, ParkedOperation, ParkedPhoto, Visit
from visits.protocol import photos_named
from visits.services import writing
from visits.services.recording import add_visit_photo, hang_photo

Kept = Photo | ParkedPhoto
FINDING = "finding.set"


def keep_photo(visit_id: UUID, *, by: User, data: bytes, taken_at: datetime | None = None) -> Kept:
    """Keep a photo that was sent for a visit, whosever that is; the same again is kept already.

    ``taken_at`` is the instant by the phone's clock (aware). Raises ``NotAllowed`` for anybody but
    technicians, ``Unusable`` for what is no picture, ``NoRoom`` where too much is stored. Not one
    transaction around all: decoding takes up to a second and must hold no lock.
    """
    require_may_record(by)
    given = digest(data)
    held = settle_photo(visit_id, by=by, given=given)
    if held:
        return held
    own = _own(visit_id, by)
    if own:
        return add_visit_photo(own, by=by, data=data, taken_at=taken_at)
    picture = clean_image(data)
    try:
        parked = park_photo(visit_id, by=by, given=given, picture=picture, taken_at=taken_at)
    except IntegrityError:
        # The same photo arrived twice at once: the other request has kept it.
        held = settle_photo(visit_id, by=by, given=given)
        if held is None:
            raise
        return held
    # Its finding may have been placed while this was written: both sides look once more when all
    # is written, so that one of them sees the other.
    return settle_photo(visit_id, by=by, given=given) or parked


def is_settled(visit_id: UUID, *, by: User, given: str) -> bool:
    """Whether a photo needs sending no more: it is kept, and nothing waits for it. Six queries.

    ``given`` is the hash of the file as it was sent.
    """
    visit = _home(visit_id, by, given)
    if visit is None:
        return _kept_without_home(visit_id, by, given) is not None
    return held_photo(visit.site, given) is not None and not any(
        given in awaits
        for awaits in Finding.objects.filter(visit=visit)
        .exclude(awaits=[])
        .values_list("awaits", flat=True)
    )


def settle_photo(visit_id: UUID, *, by: User, given: str) -> Kept | None:
    """What is kept of a photo, hung where a finding waits for it; None where nothing is."""
    visit = _home(visit_id, by, given)
    if visit is None:
        return _kept_without_home(visit_id, by, given)
    return _settle_at(visit.pk, by, given)


@transaction.atomic
def _settle_at(visit_id: UUID, by: User, given: str) -> Photo | None:
    visit = writing.locked(visit_id)
    _take_along(visit, [given], by)
    photo = held_photo(visit.site, given)
    if photo:
        hang_photo(visit.pk, photo)
    return photo


def take_along(visit: Visit, named: Sequence[str], *, by: User) -> None:
    """Make what is parked of the photos that ``by`` names photos of a visit's site.

    Belongs into a transaction that holds the visit's row, before the words that name them. One
    query where nothing is parked.
    """
    if not named:
        return
    _take_along(visit, named, by)
    # One that is being parked at this moment is not seen yet: look once more when all is written.
    transaction.on_commit(partial(_look_again, visit.pk, list(named), by), robust=True)


def bytes_parked(person: User, since: datetime) -> int:
    """What a person has sent since an instant and what is parked, for their day. One query."""
    return _bytes(ParkedPhoto.objects.filter(person=person, created_at__gte=since))


def _own(visit_id: UUID, by: User) -> Visit | None:
    return Visit.objects.select_related("site").filter(pk=visit_id, technician=by).first()


def _home(visit_id: UUID, by: User, given: str) -> Visit | None:
    """The visit where a photo belongs: the person's own, or where their word of it stands.

    Three queries at most.
    """
    own = _own(visit_id, by)
    if own:
        return own
    return next(_standing(visit_id, by, given), None)


def _standing(visit_id: UUID, by: User, given: str) -> Iterator[Visit]:
    """Visits on which a finding of this person stands that names the photo."""
    applied = Operation.objects.filter(
        person=by, visit_id=visit_id, kind=FINDING, verdict=Operation.Verdict.APPLIED
    ).order_by("received_at", "pk")
    for one in applied.select_related("visit__site"):
        if one.visit and given in photos_named(one.body):
            yield one.visit
    placed = ParkedOperation.objects.filter(
        person=by, sent__visit=str(visit_id), placed_on__isnull=False
    ).order_by("settled_at", "pk")
    for parked in placed.select_related("placed_on__site"):
        if parked.placed_on and given in photos_named(parked.sent.get("body")):
            yield parked.placed_on


def _kept_without_home(visit_id: UUID, by: User, given: str) -> Kept | None:
    """A photo that is parked, or that came while the visit was still the person's."""
    return (
        ParkedPhoto.objects.filter(person=by, given_sha256=given).first()
        or Photo.objects.filter(uploaded_by=by, given_sha256=given, site__visits=visit_id).first()
    )


@transaction.atomic
def park_photo(
    visit_id: UUID,
    *,
    by: User,
    given: str,
    picture: CleanImage,
    taken_at: datetime | None,
    brought_by: User | None = None,
) -> ParkedPhoto:
    """Keep a picture of somebody's until a finding of theirs that names it stands.

    ``brought_by`` is who brought it here in their stead. Raises ``NoRoom``, and ``IntegrityError``
    where it is kept already.
    """
    _require_room(len(picture.data), by)
    parked = ParkedPhoto(
        person=by,
        visit_named=str(visit_id),
        given_sha256=given,
        mime=picture.mime,
        sha256=picture.sha256,
        width=picture.width,
        height=picture.height,
        size=len(picture.data),
        taken_at=taken_at,
    )
    parked.image.save(f"{parked.pk}{picture.ending}", ContentFile(picture.data), save=False)
    try:
        parked.save(force_insert=True)
    except IntegrityError:
        parked.image.delete(save=False)
        raise
    record(
        brought_by or by, "photo.parked", parked, sha256=parked.sha256, given=given, visit=visit_id
    )
    return parked


def _require_room(size: int, by: User) -> None:
    """One person's parked photos may take as much as one site, and come within the day's limit."""
    require_room_today(size, by=by, now=timezone.now())
    held = _bytes(ParkedPhoto.objects.filter(person=by))
    most = settings.SITE_STORAGE_MEGABYTES * MEGABYTE
    if held + size > most:
        raise NoRoom(
            f"{held // MEGABYTE} MB of your photos wait for the office to place their records; "
            f"{settings.SITE_STORAGE_MEGABYTES} MB is the most.",
            held=held,
            most=most,
        )


def _bytes(photos: QuerySet[ParkedPhoto]) -> int:
    return photos.aggregate(total=Sum("size"))["total"] or 0


def _take_along(visit: Visit, named: Sequence[str], by: User) -> None:
    waiting = ParkedPhoto.objects.select_for_update().filter(person=by, given_sha256__in=named)
    for parked in waiting.order_by("pk"):
        if held_photo(visit.site, parked.given_sha256):
            # It came to the site as well: that one stays, and this file belongs to nothing.
            transaction.on_commit(
                partial(parked.image.storage.delete, str(parked.image)), robust=True
            )
        else:
            add_stored_photo(
                visit.site,
                by=by,
                given=parked.given_sha256,
                stored=StoredPicture(
                    name=str(parked.image),
                    mime=parked.mime,
                    sha256=parked.sha256,
                    width=parked.width,
                    height=parked.height,
                    size=parked.size,
                ),
                taken_at=parked.taken_at,
            )
        parked.delete()


def _look_again(visit_id: UUID, named: Sequence[str], by: User) -> None:
    if ParkedPhoto.objects.filter(person=by, given_sha256__in=named).exists():
        for given in named:
            _settle_at(visit_id, by, given)
