"""The last resort: a phone's log that was saved to a file, and that the office loads by hand.

What a file says is taken at its word, so none of it is applied. Every record that is not here
already is parked whole for the office to place, under the very hash that the phone's own sending
would have: should the phone ever send it, it gets the same answer and forgets it. A photo is parked
beside the records that name it. docs/sync.md tells the form of the file.
"""

import base64
import binascii
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import IO, Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.dateparse import parse_datetime
from django.utils.timezone import is_aware

from accounts.models import Role, User
from accounts.refusals import Refused, Unusable
from accounts.sealing import digest
from accounts.trail import record
from sites.media import MOST_PHOTO_BYTES, clean_image
from sites.models import Photo
from visits.access import require_may_plan, visits_visible_to
from visits.models import Finding, Operation, ParkedOperation, ParkedPhoto, Visit
from visits.protocol import BY_FILE, HASH
from visits.services.sent_photos import park_photo, settle_photo
from visits.services.sync import Sent, sent_of

FORM = "kickplate-log-1"
MEGABYTE = 1_000_000
MOST_LOG_BYTES = 60 * MEGABYTE
MOST_RECORDS = 5000
MOST_PHOTOS = 500
MOST_PARTS = 1_000_000
"""Commas and brackets, of which photos have none: more would be no phone's log, and take gigabytes
once it is read."""
AT_ONCE = 500

REASON = "Loaded from a file that was saved on the phone."
OTHER_CONTENT = "Loaded from a file; the same id came before with other content."


@dataclass(frozen=True, slots=True)
class PhotoLeft:
    """A photo that is not kept, as a person would name it, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class LogLoaded:
    """What became of a file, in numbers; ``unreadable`` are records that nobody could place."""

    person: User
    operations: frozenset[UUID]
    to_place: int
    here_before: int
    unreadable: int
    photos: int
    photos_here: int
    photos_left: Sequence[PhotoLeft]


def load_log(file: IO[bytes], *, by: User) -> LogLoaded:
    """Park what a phone's file holds and is not here already; the same file again adds nothing.

    Raises ``NotAllowed`` for anybody but the office, and ``Unusable`` for what is no such file or
    names no technician who is known here; then nothing is kept. Photos are decoded, so it may take
    minutes; it holds no lock meanwhile. Some ten queries, a few more for each photo.
    """
    require_may_plan(by)
    data = file.read(MOST_LOG_BYTES + 1)
    log = _read(data)
    person = _technician(log["person"])
    given = [sent_of(raw, person) for raw in log["operations"]]
    sent = list({(one.id, one.content_hash): one for one in given if one}.values())
    unreadable = given.count(None)
    photos = _Photos(person, by)
    for number, one in enumerate(log["photos"], start=1):
        photos.take(number, one)
    return _kept(log, person, sent, unreadable, photos, file_hash=digest(data), by=by)


# --- the shape of it ------------------------------------------------------------------------------


class NoLog(Unusable):
    """It is not a file that a phone has saved."""

    code = "not_a_log"


def _read(data: bytes) -> dict[str, Any]:
    """The content of the file, its outline checked."""
    if len(data) > MOST_LOG_BYTES:
        raise NoLog(f"The file is larger than {MOST_LOG_BYTES // MEGABYTE} MB.")
    if sum(data.count(mark) for mark in (b",", b"[", b"{")) > MOST_PARTS:
        raise NoLog("The file holds more than any phone keeps.")
    try:
        log = json.loads(data.decode("utf-8-sig"), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise NoLog(
            "This cannot be read: it is no file that a phone has saved, or it is damaged."
        ) from error
    if not isinstance(log, dict) or not isinstance(log.get("form"), str):
        raise NoLog("This is not a file that was saved on a phone's page of Kickplate.")
    if log["form"] != FORM:
        raise NoLog("This file has another form, perhaps that of a newer Kickplate.")
    for name, most, what in (
        ("operations", MOST_RECORDS, "records"),
        ("photos", MOST_PHOTOS, "photos"),
    ):
        if not isinstance(log.setdefault(name, []), list):
            raise NoLog(f"The file has no list of {what}: it is damaged.")
        if len(log[name]) > most:
            raise NoLog(f"The file holds more than {most} {what}; no phone keeps as many.")
    return log


def _no_number(name: str) -> None:
    raise ValueError(f"{name} is not JSON")


def _technician(named: Any) -> User:
    """Whose log it is, also if they may sign in no more: what they recorded has happened."""
    key = _uuid(named.get("id")) if isinstance(named, Mapping) else None
    person = User.objects.filter(pk=key, role=Role.TECHNICIAN).first() if key else None
    if person is None:
        raise NoLog("The file names no technician who is known here.", code="unknown_technician")
    return person


def _uuid(text: Any) -> UUID | None:
    try:
        return UUID(text) if isinstance(text, str) else None
    except ValueError:
        return None


def _instant(text: Any) -> datetime | None:
    try:
        found = parse_datetime(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return found if found and is_aware(found) else None


# --- photos ---------------------------------------------------------------------------------------


class _Photos:
    """Takes in the photos of a file one by one; what cannot be kept is named and stops nothing."""

    def __init__(self, person: User, by: User) -> None:
        self.person, self.by = person, by
        self.new = self.here = 0
        self.left: list[PhotoLeft] = []

    def take(self, number: int, one: Any) -> None:
        given = one if isinstance(one, Mapping) else {}
        taken_at = _instant(given.get("taken_at"))
        try:
            if self._is_new(given, taken_at):
                self.new += 1
            else:
                self.here += 1
        except Refused as refusal:
            name = f"Photo {number}"
            if taken_at:
                name += f", taken {taken_at:%a %-d %b %Y, %H:%M}"
            self.left.append(PhotoLeft(name, str(refusal)))

    def _is_new(self, one: Mapping[str, Any], taken_at: datetime | None) -> bool:
        named, visit_id = one.get("sha256"), _uuid(one.get("visit"))
        if not (isinstance(named, str) and re.match(HASH, named)) or visit_id is None:
            raise Unusable("It does not say which photo of which visit it is.")
        if self._is_here(visit_id, named):
            return False
        data = _decoded(one.get("data"))
        if digest(data) != named:
            raise Unusable("It is not the picture that was taken: its hash is another.")
        picture = clean_image(data)
        try:
            park_photo(
                visit_id,
                by=self.person,
                given=named,
                picture=picture,
                taken_at=taken_at,
                brought_by=self.by,
            )
        except IntegrityError:
            return False  # The phone has sent it at this very moment.
        if self._is_awaited(visit_id, named):
            settle_photo(visit_id, by=self.person, given=named)
        return True

    def _is_here(self, visit_id: UUID, named: str) -> bool:
        return (
            ParkedPhoto.objects.filter(person=self.person, given_sha256=named).exists()
            or Photo.objects.filter(given_sha256=named, site__visits=visit_id).exists()
        )

    def _is_awaited(self, visit_id: UUID, named: str) -> bool:
        """Whether a finding stands that names it: then nobody has to take the file at its word."""
        waiting = Finding.objects.filter(visit=visit_id, visit__technician=self.person)
        return any(
            named in awaits
            for awaits in waiting.exclude(awaits=[]).values_list("awaits", flat=True)
        )


def _decoded(text: Any) -> bytes:
    if not isinstance(text, str) or len(text) > MOST_PHOTO_BYTES * 4 // 3 + 4:
        raise Unusable("It has no picture in it, or one that is too large.")
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as error:
        raise Unusable("Its picture is damaged in the file.") from error


# --- records --------------------------------------------------------------------------------------


def _kept(
    log: Mapping[str, Any],
    person: User,
    sent: Sequence[Sent],
    unreadable: int,
    photos: _Photos,
    *,
    file_hash: str,
    by: User,
) -> LogLoaded:
    """Park the records and tell the trail, in one transaction."""
    try:
        new = _park_new(log, person, sent, unreadable, photos, file_hash=file_hash, by=by)
    except IntegrityError:
        # The phone sent one of them at this very moment: now it is seen to be here.
        new = _park_new(log, person, sent, unreadable, photos, file_hash=file_hash, by=by)
    return LogLoaded(
        person=person,
        operations=frozenset(one.id for one in sent),
        to_place=new,
        here_before=len(sent) - new,
        unreadable=unreadable,
        photos=photos.new,
        photos_here=photos.here,
        photos_left=photos.left,
    )


@transaction.atomic
def _park_new(
    log: Mapping[str, Any],
    person: User,
    sent: Sequence[Sent],
    unreadable: int,
    photos: _Photos,
    *,
    file_hash: str,
    by: User,
) -> int:
    visits = _locked(sent, by)
    held, ids = _held(sent)
    new = [one for one in sent if (one.id, one.content_hash) not in held]
    ParkedOperation.objects.bulk_create(
        [
            ParkedOperation(
                operation_id=one.id,
                person=person,
                visit=visits.get(_visit_named(one)),
                sent=one.raw,
                content_hash=one.content_hash,
                reason=OTHER_CONTENT if one.id in ids else REASON,
                code=BY_FILE,
            )
            for one in new
        ],
        batch_size=100,
    )
    device = log.get("device")
    record(
        by,
        "log.loaded",
        person,
        file=file_hash,
        device=device if isinstance(device, str) and re.fullmatch(r"[\w-]{1,40}", device) else "",
        saved_at=_instant(log.get("saved_at")),
        to_place=len(new),
        here_before=len(sent) - len(new),
        unreadable=unreadable,
        photos=photos.new,
        photos_here=photos.here,
        photos_left=len(photos.left),
    )
    return len(new)


def _locked(sent: Sequence[Sent], by: User) -> dict[UUID | None, Visit]:
    """The visits that are named, locked, so that no phone sends the same meanwhile.

    Only those that ``by`` may see are given: of another branch's they are told nothing, and what
    names it waits as if it named none.
    """
    named = sorted({key for key in map(_visit_named, sent) if key})
    locked = list(
        Visit.objects.select_for_update(of=("self",))
        .filter(pk__in=named)
        .order_by("pk")
        .values_list("pk", flat=True)
    )
    return {visit.pk: visit for visit in visits_visible_to(by).filter(pk__in=locked)}


def _visit_named(one: Sent) -> UUID | None:
    return _uuid(one.raw.get("visit"))


def _held(sent: Sequence[Sent]) -> tuple[set[tuple[UUID, str]], set[UUID]]:
    """The records that are here with the same content, and the ids that are here at all."""
    held: set[tuple[UUID, str]] = set()
    for start in range(0, len(sent), AT_ONCE):
        ids = [one.id for one in sent[start : start + AT_ONCE]]
        held.update(Operation.objects.filter(pk__in=ids).values_list("pk", "content_hash"))
        held.update(
            ParkedOperation.objects.filter(operation_id__in=ids).values_list(
                "operation_id", "content_hash"
            )
        )
    return held, {key for key, _ in held}
