"""Where the phone sends photos to, whole or in pieces.

Answers in JSON, for the signed-in technician, and the same whosever the visit is. docs/sync.md
tells the protocol.
"""

import re
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import UnreadablePostError
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, parser_classes
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.refusals import Unusable
from sites.media import MOST_PHOTO_BYTES
from visits.services.photo_parts import (
    MOST_PIECE_BYTES,
    NotTheNext,
    Piece,
    Progress,
    progress_of,
    take_part,
)
from visits.services.sent_photos import keep_photo
from visits.views.sync import require_same_person, technician_of

# Source: RFC 9110, 14.4. The total is always known here.
CONTENT_RANGE = re.compile(r"bytes (\d{1,9})-(\d{1,9})/(\d{1,9})")


class PhotoSent(serializers.Serializer[Any]):
    """One photo as it comes from the camera."""

    person = serializers.CharField(max_length=40, allow_blank=True, default="")
    photo = serializers.FileField(max_length=200)
    taken_at = serializers.DateTimeField(required=False, allow_null=True, default=None)


@extend_schema(exclude=True)
@api_view(["POST"])
@parser_classes([MultiPartParser])
def photo(request: Request, visit_id: UUID) -> Response:
    """Keep a photo taken on a visit; it is known from now on by the hash of the file sent."""
    person = technician_of(request)
    sent = PhotoSent(data=request.data)
    sent.is_valid(raise_exception=True)
    require_same_person(person, sent.validated_data["person"])
    file = sent.validated_data["photo"]
    if file.size > MOST_PHOTO_BYTES:
        raise Unusable("This photo is too large.", code="too_large", most=MOST_PHOTO_BYTES)
    kept = keep_photo(
        visit_id, by=person, data=file.read(), taken_at=sent.validated_data["taken_at"]
    )
    return Response({"photo": kept.pk, "sha256": kept.given_sha256}, status=201)


@extend_schema(exclude=True)
@api_view(["GET", "PUT"])
def photo_part(request: Request, visit_id: UUID, sha256: str) -> Response:
    """GET says how much of a photo is here; PUT takes the piece that comes next."""
    person = technician_of(request)
    require_same_person(person, request.headers.get("X-Person"))
    if request.method == "GET":
        progress = progress_of(visit_id, sha256, by=person)
        return Response({"held": progress.held, "whole": progress.whole})
    piece = _piece(request)
    if piece is None:
        # The phone goes on from what is here, as after any break.
        held = progress_of(visit_id, sha256, by=person).held
        raise NotTheNext("The line broke off within this piece.", held=held)
    progress = take_part(visit_id, sha256, by=person, piece=piece, taken_at=_taken_at(request))
    return _told(progress, sha256)


def _told(progress: Progress, sha256: str) -> Response:
    if progress.whole:
        return Response({"whole": True, "sha256": sha256}, status=201)
    return Response({"held": progress.held, "whole": False})


def _piece(request: Request) -> Piece | None:
    """The body and the place in the photo that it names; None if it did not come whole.

    Raises ``Unusable`` for what names no piece.
    """
    given = CONTENT_RANGE.fullmatch(request.headers.get("Content-Range", ""))
    if not given:
        raise Unusable("Say with Content-Range which bytes these are.", code="malformed")
    first, last, total = map(int, given.groups())
    if last - first >= MOST_PIECE_BYTES:
        raise Unusable("This piece is too large.", code="too_large", most=MOST_PIECE_BYTES)
    if request.headers.get("Content-Length") != str(last - first + 1):
        raise Unusable("These are not as many bytes as they are said to be.", code="malformed")
    try:
        data = request._request.body
    except UnreadablePostError:
        data = b""
    return Piece(first, total, data) if len(data) == last - first + 1 else None


def _taken_at(request: Request) -> datetime | None:
    given = request.headers.get("X-Taken-At")
    if not given:
        return None
    taken: datetime = serializers.DateTimeField().run_validation(given)
    return taken
