"""Where electronic traps report. Their tokens open nothing else, and nobody else's open this."""

from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.http import require_POST
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView

from accounts.api.base import Plain
from accounts.refusals import Unusable
from visits.models import Reading, TrapSender
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import sender_of
from visits.views.sync import DeepJSON

KEYWORD = "Trap"
MOST_BYTES = 500_000


class ByTrapToken(BaseAuthentication):
    """``Authorization: Trap …``: a sender, who is nobody that signs in."""

    def authenticate(self, request: Request) -> tuple[AnonymousUser, TrapSender] | None:
        keyword, _, token = get_authorization_header(request).partition(b" ")
        if keyword.lower() != KEYWORD.lower().encode():
            return None
        sender = sender_of(token.strip().decode("latin-1"))
        if sender is None:
            raise AuthenticationFailed("This token does not work, or no longer.")
        return AnonymousUser(), sender

    def authenticate_header(self, request: Request) -> str:
        return KEYWORD


class ByTrapTokenInSchema(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the description of the interface tells of it."""

    target_class = ByTrapToken
    name = "trapToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": f"The token of a trap sender, with the prefix “{KEYWORD}”.",
        }


class IsTrapSender(BasePermission):
    """Only what carries the token of a sender."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return isinstance(request.auth, TrapSender)


class PerSender(SimpleRateThrottle):
    """So many batches a minute for each sender."""

    scope = "trap_sender"

    def get_cache_key(self, request: Request, view: APIView) -> str | None:
        if not isinstance(request.auth, TrapSender):
            return None
        return self.cache_format % {"scope": self.scope, "ident": request.auth.pk}


class TrapReportIn(Plain):
    """One report, as the description tells it; each is judged by itself, see the service."""

    id = serializers.RegexField(r"^[A-Za-z0-9._:-]{1,80}$")
    monitor = serializers.CharField(help_text="The code on its label, or its identifier.")
    at = serializers.DateTimeField(help_text="Up to when it speaks, with an offset.")
    counts = serializers.DictField(child=serializers.IntegerField(min_value=0))
    condition = serializers.ChoiceField(Reading.Condition.choices, required=False)
    battery = serializers.IntegerField(
        min_value=0, max_value=100, required=False, allow_null=True, help_text="Per cent."
    )
    note = serializers.CharField(max_length=500, required=False, allow_blank=True)

    def get_fields(self) -> dict[str, Any]:
        since = serializers.DateTimeField(help_text="After when it speaks, with an offset.")
        return {**super().get_fields(), "from": since}


class TrapReportsIn(Plain):
    reports = TrapReportIn(many=True)


class TrapReportAnswer(Plain):
    id = serializers.CharField(allow_null=True)
    verdict = serializers.ChoiceField([("applied", "Applied"), ("refused", "Refused")])
    again = serializers.BooleanField()
    code = serializers.CharField(allow_blank=True)
    message = serializers.CharField(allow_blank=True)
    facts = serializers.DictField()


class TrapReportsAnswered(Plain):
    answers = TrapReportAnswer(many=True)
    now = serializers.DateTimeField()


@method_decorator(require_POST, name="dispatch")
class TrapReports(APIView):
    """Where a sender of electronic traps reports."""

    authentication_classes = [ByTrapToken]
    permission_classes = [IsTrapSender]
    throttle_classes = [PerSender]
    parser_classes = [DeepJSON]

    @extend_schema(request=TrapReportsIn, responses=TrapReportsAnswered)
    def post(self, request: Request) -> Response:
        """Take in up to two hundred reports and answer each, in the order in which they came.

        A report that was applied is never applied twice: the same id with the same content gets
        the same answer for ever, with other content it is refused. Reports of a monitor and a day
        add up to one reading.
        """
        if int(request.META.get("CONTENT_LENGTH") or 0) > MOST_BYTES:
            raise Unusable(f"Send at most {MOST_BYTES} bytes at once.", code="too_large")
        reports = request.data.get("reports") if isinstance(request.data, dict) else None
        if not isinstance(reports, list):
            raise Unusable("Send a list of “reports”.", code="malformed")
        now = timezone.now()
        answers = take_reports(request.auth.pk, reports, now=now)
        return Response({"answers": answers, "now": now})
