"""Photos that arrive in pieces, so that a line that breaks off costs one piece and not the photo.

A photo is known by the hash of the whole file. Pieces are taken in their order, each in one
transaction under a lock of its sender; once all are there, hash and picture are checked and it goes
the way of every photo. docs/sync.md tells how a phone goes on after a break.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Max, QuerySet, Sum
from django.db.models.functions import Length
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Refused, Unusable
from accounts.sealing import digest
from sites.media import MOST_PHOTO_BYTES
from visits.access import require_may_record
from visits.models import PhotoPart
from visits.services.sent_photos import is_settled, keep_photo, settle_photo

MOST_PIECE_BYTES = 2**20
# A hundred bytes at a time would make a row of each.
MOST_PIECES = 2_000
# What one person's unfinished photos may take; beyond it those that have waited longest go.
MOST_UNFINISHED_BYTES = 4 * MOST_PHOTO_BYTES
KEPT_FOR = timedelta(days=30)


class NotTheNext(Refused):
    """The piece leaves a gap or overlaps; the sender goes on from ``held``."""

    code = "not_the_next"


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes of a photo from ``start`` on; ``total`` is the length of the whole, in bytes."""

    start: int
    total: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Progress:
    """``held``: how many bytes from the first on are here. Says nothing once the photo is whole."""

    held: int
    whole: bool = False


WHOLE = Progress(0, whole=True)


def progress_of(visit_id: UUID, sha256: str, *, by: User) -> Progress:
    """How far a photo has come. Seven queries at most."""
    require_may_record(by)
    if is_settled(visit_id, by=by, given=sha256):
        return WHOLE
    return Progress(_asked_from(_parts(by, sha256)))


def take_part(
    visit_id: UUID, sha256: str, *, by: User, piece: Piece, taken_at: datetime | None = None
) -> Progress:
    """Keep one piece; with the last one, keep the photo as ``keep_photo`` does.

    The same piece again changes nothing, and another ``total`` starts anew. ``taken_at`` counts
    with the last piece. Raises ``NotTheNext``; ``Unusable`` for a piece or photo that is too large;
    ``Unusable`` for a whole that has another hash (``damaged``) or is no picture, of which nothing
    is kept; and ``NoRoom``, after which the pieces stay and the last one may be sent again.
    """
    require_may_record(by)
    _require_usable(piece)
    if settle_photo(visit_id, by=by, given=sha256):
        _drop(by, sha256)
        return WHOLE
    try:
        held, data = _taken(sha256, by, piece)
        if data is None:
            return Progress(held)
        if digest(data) != sha256:
            raise Unusable("This photo was damaged on its way; send it again.", code="damaged")
        keep_photo(visit_id, by=by, data=data, taken_at=taken_at)
    except Unusable:
        _drop(by, sha256)
        raise
    _drop(by, sha256)
    return WHOLE


def sweep_photo_parts(now: datetime | None = None) -> int:
    """Let the pieces go of photos of which nothing has come for thirty days; says of how many.

    Safe twice, late, or never.
    """
    before = (now or timezone.now()) - KEPT_FOR
    photos = (
        PhotoPart.objects.values("person", "sha256")
        .annotate(last=Max("created_at"))
        .filter(last__lt=before)
        .order_by("person", "sha256")
    )
    return sum(_forget(one["person"], one["sha256"], before) for one in photos)


def _require_usable(piece: Piece) -> None:
    if piece.total > MOST_PHOTO_BYTES:
        raise Unusable("This photo is too large.", code="too_large", most=MOST_PHOTO_BYTES)
    if len(piece.data) > MOST_PIECE_BYTES:
        raise Unusable("This piece is too large.", code="too_large", most=MOST_PIECE_BYTES)
    if not piece.data or piece.start + len(piece.data) > piece.total:
        raise Unusable("This is no piece of the photo that it names.", code="malformed")


@transaction.atomic
def _taken(sha256: str, by: User, piece: Piece) -> tuple[int, bytes | None]:
    """How much is held with this piece, and all of it if it was the last one."""
    _lock(by.pk)
    all_parts = _parts(by, sha256)
    if piece.start == 0:
        all_parts.exclude(total=piece.total).delete()
    parts = all_parts.filter(total=piece.total)
    held = _extent(parts)[1]
    if piece.start == held:
        _make_room(parts, by, sha256, len(piece.data))
        parts.create(
            person=by, sha256=sha256, start=piece.start, total=piece.total, data=piece.data
        )
        held += len(piece.data)
    elif not _is_there(parts, piece):
        raise NotTheNext("This is not the piece that comes next.", held=_asked_from(parts))
    if held < piece.total:
        return held, None
    return held, b"".join(parts.order_by("start").values_list("data", flat=True))


def _lock(person_id: UUID) -> None:
    """One piece of a person's at a time: two tabs, or one piece twice, wait for each other here."""
    User.objects.select_for_update(no_key=True).get(pk=person_id)


def _parts(by: User, sha256: str) -> QuerySet[PhotoPart]:
    return PhotoPart.objects.filter(person=by, sha256=sha256)


def _extent(parts: QuerySet[PhotoPart]) -> tuple[int, int]:
    """Where the last piece begins and ends, as far as they follow each other. One query."""
    start = end = 0
    for begins, length in parts.order_by("start").values_list("start", Length("data")):
        if begins != end:
            break
        start, end = begins, begins + length
    return start, end


def _asked_from(parts: QuerySet[PhotoPart]) -> int:
    """From where the sender goes on. Two queries.

    If all is here and the photo could not be kept yet, its last piece is asked for once more: the
    sender has nothing else to send, and that piece is what makes it whole.
    """
    start, end = _extent(parts)
    return start if parts.filter(total=end).exists() else end


def _is_there(parts: QuerySet[PhotoPart], piece: Piece) -> bool:
    same = parts.annotate(length=Length("data"))
    return same.filter(start=piece.start, length=len(piece.data)).exists()


def _make_room(parts: QuerySet[PhotoPart], by: User, sha256: str, size: int) -> None:
    """Keep a person's unfinished photos within bounds: those that have waited longest go."""
    if parts.count() >= MOST_PIECES:
        raise Unusable("Send this photo in fewer and larger pieces.", code="too_many_pieces")
    size += _bytes(parts)
    others = PhotoPart.objects.filter(person=by).exclude(sha256=sha256)
    waiting = others.values("sha256").annotate(last=Max("created_at"), size=Sum(Length("data")))
    for one in waiting.order_by("-last", "sha256"):
        size += one["size"]
        if size > MOST_UNFINISHED_BYTES:
            others.filter(sha256=one["sha256"]).delete()


def _bytes(parts: QuerySet[PhotoPart]) -> int:
    return parts.aggregate(size=Sum(Length("data")))["size"] or 0


def _drop(by: User, sha256: str) -> None:
    _parts(by, sha256).delete()


@transaction.atomic
def _forget(person_id: UUID, sha256: str, before: datetime) -> bool:
    """Unless something of it has come since."""
    _lock(person_id)
    parts = PhotoPart.objects.filter(person=person_id, sha256=sha256)
    if parts.filter(created_at__gte=before).exists():
        return False
    return parts.delete()[0] > 0
