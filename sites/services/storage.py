"""How much may be stored, so that one site or one person cannot fill the disk for all."""

from collections.abc import Callable
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import QuerySet, Sum

from accounts.models import User
from accounts.refusals import Refused
from sites.models import Document, Photo, Site

MEGABYTE = 1_000_000

# Bytes that a person has sent since an instant, and that a later room keeps.
SentSince = Callable[[User, datetime], int]
_kept_elsewhere: list[SentSince] = []


def count_also(sent_since: SentSince) -> None:
    """Let what a later room keeps count towards a person's day."""
    if sent_since not in _kept_elsewhere:
        _kept_elsewhere.append(sent_since)


class NoRoom(Refused):
    """The site or the person has stored as much as may be stored."""

    code = "no_room"
    status = 413


def require_room(size: int, *, site: Site | None, by: User, now: datetime) -> None:
    """Raise ``NoRoom`` if ``size`` more bytes are too many for the site or for this person's day.

    Without a site the papers of the company and of clients count together. Up to five queries.
    """
    papers = Document.objects.filter(site=site)
    held = _bytes(papers) + (_bytes(Photo.objects.filter(site=site)) if site else 0)
    most = settings.SITE_STORAGE_MEGABYTES * MEGABYTE
    if held + size > most:
        raise NoRoom(
            f"{site or 'The company'} has {held // MEGABYTE} of {settings.SITE_STORAGE_MEGABYTES} "
            "MB of files. The person who runs this installation can allow more.",
            held=held,
            most=most,
        )
    require_room_today(size, by=by, now=now)


def require_room_today(size: int, *, by: User, now: datetime) -> None:
    """Raise ``NoRoom`` if ``size`` more bytes are too many for this person's day.

    Two queries, and what the rooms ask that count as well.
    """
    since = now - timedelta(days=1)
    sent = sum(
        _bytes(kind.objects.filter(uploaded_by=by, created_at__gte=since))
        for kind in (Document, Photo)
    )
    sent += sum(sent_since(by, since) for sent_since in _kept_elsewhere)
    if sent + size > settings.PERSON_DAY_MEGABYTES * MEGABYTE:
        raise NoRoom(
            f"You have sent {sent // MEGABYTE} MB of files within a day; "
            f"{settings.PERSON_DAY_MEGABYTES} MB is the most. Try again tomorrow.",
            sent=sent,
            most=settings.PERSON_DAY_MEGABYTES * MEGABYTE,
        )


def _bytes(files: QuerySet[Document] | QuerySet[Photo]) -> int:
    return files.aggregate(total=Sum("size"))["total"] or 0
