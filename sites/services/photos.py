"""Keeping photos of a site."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone

from accounts.models import User
from accounts.sealing import digest
from accounts.trail import record
from sites import access
from sites.media import CleanImage, clean_image
from sites.models import Photo, Site
from sites.services.storage import require_room


@dataclass(frozen=True, slots=True)
class StoredPicture:
    """A clean picture that lies in the storage already, under ``name``."""

    name: str
    mime: str
    sha256: str
    width: int
    height: int
    size: int


def add_photo(site_id: UUID, *, by: User, data: bytes, taken_at: datetime | None = None) -> Photo:
    """Keep a photo of a site; the same photo sent again is the one that is kept already.

    ``taken_at`` is the instant by the sender's clock (aware): what a camera hides in its files is
    dropped. Raises ``NotAllowed`` for who may not add photos, ``Unusable`` for what is no picture,
    ``NoRoom`` where too much is stored. Not one transaction around all: decoding takes up to a
    second and must hold no lock.
    """
    site = access.sites_visible_to(by).get(pk=site_id)
    access.require_may_add_photos(by)
    given = digest(data)
    held = held_photo(site, given)
    if held:
        return held
    return add_clean_photo(site, by=by, given=given, picture=clean_image(data), taken_at=taken_at)


def held_photo(site: Site, given: str) -> Photo | None:
    """The photo of a site that was sent as the file with this hash. One query."""
    return Photo.objects.filter(site=site, given_sha256=given).first()


def add_clean_photo(
    site: Site, *, by: User, given: str, picture: CleanImage, taken_at: datetime | None
) -> Photo:
    """The same for a picture that is decoded already, where the caller has settled who may.

    ``given`` is the hash of the file as it was sent. May stand within a transaction. Raises
    ``NoRoom``.
    """
    try:
        return _keep(site, by=by, given=given, picture=picture, taken_at=taken_at)
    except IntegrityError:
        # The same photo arrived twice at once: the other request has kept it.
        held = held_photo(site, given)
        if held is None:
            raise
        return held


@transaction.atomic
def add_stored_photo(
    site: Site, *, by: User, given: str, stored: StoredPicture, taken_at: datetime | None
) -> Photo:
    """Make a picture that lies in the storage already a photo of a site; its file is not moved.

    For who has locked what it belonged to, and has settled who may. Asks for no room: the picture
    was counted when it came, and what was recorded with it must not wait for room.
    """
    photo = Photo(
        site=site,
        image=stored.name,
        mime=stored.mime,
        sha256=stored.sha256,
        given_sha256=given,
        width=stored.width,
        height=stored.height,
        size=stored.size,
        taken_at=taken_at,
        uploaded_by=by,
    )
    photo.save(force_insert=True)
    _told(photo)
    return photo


@transaction.atomic
def _keep(
    site: Site, *, by: User, given: str, picture: CleanImage, taken_at: datetime | None
) -> Photo:
    require_room(len(picture.data), site=site, by=by, now=timezone.now())
    photo = Photo(
        site=site,
        mime=picture.mime,
        sha256=picture.sha256,
        given_sha256=given,
        width=picture.width,
        height=picture.height,
        size=len(picture.data),
        taken_at=taken_at,
        uploaded_by=by,
    )
    photo.image.save(f"{photo.pk}{picture.ending}", ContentFile(picture.data), save=False)
    try:
        photo.save(force_insert=True)
    except IntegrityError:
        photo.image.delete(save=False)
        raise
    _told(photo)
    return photo


def _told(photo: Photo) -> None:
    record(
        photo.uploaded_by,
        "photo.added",
        photo,
        sha256=photo.sha256,
        given=photo.given_sha256,
        taken_at=photo.taken_at,
    )
