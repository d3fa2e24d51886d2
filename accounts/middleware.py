"""What happens around every request."""

from collections.abc import Callable

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from accounts.refusals import Refused

Answer = Callable[[HttpRequest], HttpResponse]


class RefusalMiddleware:
    """Turns a ``Refused`` from a service into a page that says what stands in the way."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, Refused):
            return None
        return render(request, "refused.html", {"error": error}, status=error.status)


class PrivatePagesMiddleware:
    """Keeps pages of signed-in people out of every cache but the browser's own session."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            response["Cache-Control"] = "private, no-store"
        response["Permissions-Policy"] = "camera=(self), geolocation=(self), microphone=()"
        return response


class SecondFactorMiddleware:
    """Sends office people without a second factor to set one up, where the setting asks for it."""

    OPEN_PATHS = ("/accounts/", "/static/", "/health/")

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if (
            settings.SECOND_FACTOR_REQUIRED_FOR_OFFICE
            and user.is_authenticated
            and user.is_office
            and not request.path.startswith(self.OPEN_PATHS)
            and not Authenticator.objects.filter(user=user).exists()
        ):
            messages.info(request, "Office sign-ins need a second factor. Set one up to go on.")
            return redirect(reverse("mfa_index"))
        return self.get_response(request)
