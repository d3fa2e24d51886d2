"""Where the phone talks to: who am I, here is what I recorded, what is the day.

Answers in JSON, for the signed-in technician. docs/sync.md tells the protocol.
"""

from collections.abc import Mapping
from typing import IO, Any
from uuid import UUID

from django.http import Http404, HttpResponseBase
from django.middleware.csrf import get_token
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.gzip import gzip_page
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view, parser_classes
from rest_framework.exceptions import NotAuthenticated, ParseError
from rest_framework.parsers import JSONParser
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import User
from accounts.refusals import Refused, Unusable
from visits.access import require_may_record
from visits.queries.package import package_of, tag_of
from visits.services.sync import apply_operations


class DeepJSON(JSONParser):
    """JSON that lies too deep for the parser is an error of the sender, not of ours."""

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> dict[str, Any]:
        try:
            return super().parse(stream, media_type, parser_context)
        except RecursionError as error:
            raise ParseError("This lies too deep to be read.") from error


def technician_of(request: Request) -> User:
    """Who asks, if it is a technician."""
    if not isinstance(request.user, User):
        raise NotAuthenticated
    require_may_record(request.user)
    return request.user


@extend_schema(exclude=True)
@api_view(["GET", "POST"])
@parser_classes([DeepJSON])
def sync(request: Request) -> Response:
    """GET says who is signed in and gives a fresh token; POST takes a batch of operations."""
    person = technician_of(request)
    if request.method == "GET":
        return Response(
            {
                "person": {"id": person.pk, "name": person.name},
                "csrf": get_token(request._request),
                "now": timezone.now(),
            }
        )
    sent = request.data if isinstance(request.data, Mapping) else {}
    require_same_person(person, sent.get("person"))
    operations = sent.get("operations")
    if not isinstance(operations, list):
        raise Unusable("Send a list of operations.", code="malformed")
    answers = apply_operations(operations, by=person)
    return Response({"answers": answers, "now": timezone.now()})


# Compressed, as the line may be thin: it repeats nothing of what is asked, and holds no token.
@gzip_page
@extend_schema(exclude=True)
@api_view(["GET"])
def package(request: Request) -> HttpResponseBase:
    """The technician's visits of today and the week after it; with ``?visit=`` only that one."""
    return packed(request, technician_of(request), _asked_visit(request.GET.get("visit", "")))


def packed(request: Request, technician: User, visit_id: UUID | None) -> HttpResponseBase:
    """The package with its tag; only 304 for a phone that names this very tag as what it has.

    Raises ``Http404`` for a visit that is not the technician's.
    """
    found = package_of(technician, now=timezone.now(), visit_id=visit_id)
    if visit_id and not found["visits"]:
        raise Http404
    tag = tag_of(found)
    answer = Response(found, headers={"ETag": tag})
    return get_conditional_response(request._request, etag=tag, response=answer) or answer


def _asked_visit(text: str) -> UUID | None:
    try:
        return UUID(text) if text else None
    except ValueError as error:
        raise Http404 from error


class OtherPerson(Refused):
    """Two people share a phone: what one recorded is not sent in the other's name."""

    code = "other_person"


def require_same_person(person: User, named: object) -> None:
    """Raise ``OtherPerson`` unless the sender is who is named, or nobody is."""
    if named not in (None, "", str(person.pk)):
        raise OtherPerson("Somebody else recorded this; they sign in to send it.")
