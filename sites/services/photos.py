"""Keeping photos of a site."""

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
    held = _held(site, given)
    if held:
        return held
    picture = clean_image(data)
    try:
        return _keep(site, by=by, given=given, picture=picture, taken_at=taken_at)
    except IntegrityError:
        # The same photo arrived twice at once: the other request has kept it.
        held = _held(site, given)
        if held is None:
            raise
        return held


def _held(site: Site, given: str) -> Photo | None:
    return Photo.objects.filter(site=site, given_sha256=given).first()


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
    photo.save(force_insert=True)
    record(by, "photo.added", photo, sha256=photo.sha256, given=given, taken_at=taken_at)
    return photo
