"""The one place that turns errors into answers for programs: ``{"code", "message", "facts"}``."""

from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from accounts.refusals import Refused

# Codes that a program can rely on; the framework's own names for the rest are kept as they are.
CODES = {
    "authentication_failed": "not_signed_in",
    "not_authenticated": "not_signed_in",
    "permission_denied": "not_allowed",
}


def answer(error: Exception, context: dict[str, Any]) -> Response | None:
    """What a program is told; None leaves the error to the server's own page and log.

    A record that went away, or out of sight, between two looks is as absent as any other.
    """
    if isinstance(error, Refused):
        return Response(told(error.code, str(error), error.facts), status=error.status)
    if isinstance(error, Http404 | ObjectDoesNotExist):
        error = exceptions.NotFound()
    response = exception_handler(error, context)
    if response is None or not isinstance(error, exceptions.APIException):
        return response
    if isinstance(error, exceptions.ValidationError):
        fields = response.data if isinstance(response.data, dict) else {"": response.data}
        response.data = told(
            "invalid", "Some of what was sent cannot be used; nothing was done.", {"fields": fields}
        )
    else:
        code = CODES.get(error.default_code, error.default_code)
        response.data = told(code, str(error.detail), {})
    return response


def told(code: str, message: str, facts: dict[str, Any]) -> dict[str, Any]:
    """The shape of every no."""
    return {"code": code, "message": message, "facts": facts}
