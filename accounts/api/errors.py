"""The one place that turns errors into answers for programs."""

from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler

from accounts.refusals import Refused


def answer(error: Exception, context: dict[str, Any]) -> Response | None:
    """``{"code", "message", "facts"}`` for a refusal; the framework's own answer otherwise."""
    if isinstance(error, Refused):
        body = {"code": error.code, "message": str(error), "facts": error.facts}
        return Response(body, status=error.status)
    return exception_handler(error, context)
