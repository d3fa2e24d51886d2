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


class WhoMiddleware:
    """Leaves the id of who is signed in where the phone's pages can read it without a line.

    The phone shows nobody what another recorded on it. A session that merely runs out leaves the
    cookie as it is: it is still that person's phone. It is no secret and opens nothing.
    """

    COOKIE = "who"
    YEAR = 365 * 86400

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        was_signed_in = request.user.is_authenticated
        response = self.get_response(request)
        given = request.COOKIES.get(self.COOKIE)
        if request.user.is_authenticated:
            if given != str(request.user.pk):
                response.set_cookie(
                    self.COOKIE,
                    str(request.user.pk),
                    max_age=self.YEAR,
                    secure=settings.SESSION_COOKIE_SECURE,
                    samesite="Lax",
                )
        elif was_signed_in and given:
            response.delete_cookie(self.COOKIE, samesite="Lax")
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
