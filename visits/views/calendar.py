"""A person's own calendar: its secret address, and what is read there without signing in."""

from typing import cast

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView

from accounts.http import PersonRequest
from accounts.sealing import digest
from visits.access import require_may_have_calendar
from visits.calendar_file import calendar_file
from visits.models import CalendarAddress
from visits.queries.calendar import CANCELLED_FOR, DAYS
from visits.services import calendar as services

NAME = "Kickplate visits"


@never_cache
@require_http_methods(["GET", "POST"])
def calendar(request: PersonRequest) -> HttpResponse:
    """What a person's calendar is and whether it has an address. POST makes one, shown once."""
    require_may_have_calendar(request.user)
    if request.method == "POST":
        return _page(request, services.make_calendar_address(by=request.user, at=timezone.now()))
    return _page(request, None)


@never_cache
@require_POST
def renew(request: PersonRequest) -> HttpResponse:
    """Gives it another address, shown once; the one before stops."""
    require_may_have_calendar(request.user)
    return _page(request, services.renew_calendar_address(by=request.user, at=timezone.now()))


@require_POST
def end(request: PersonRequest) -> HttpResponse:
    """Has it read no more."""
    require_may_have_calendar(request.user)
    services.end_calendar_address(by=request.user, at=timezone.now())
    messages.success(request, "Your calendar’s address no longer works.")
    return redirect("visits:calendar")


def _page(request: PersonRequest, made: services.Made | None) -> HttpResponse:
    before, after = DAYS[request.user.role]
    context = {
        "address": services.working_address(request.user),
        "shown_once": made
        and settings.BASE_URL + reverse("visits:calendar_feed", args=[made.secret]),
        "days_before": before,
        "days_after": after,
        "cancelled_for": CANCELLED_FOR.days,
    }
    return render(request, "visits/calendar.html", context)


class PerAddress(SimpleRateThrottle):
    """So many readings of one calendar in an hour, on all devices together."""

    scope = "calendar"

    def __init__(self, address: CalendarAddress) -> None:
        super().__init__()
        self.address = address

    def get_cache_key(self, request: Request, view: APIView) -> str:
        return self.cache_format % {"scope": self.scope, "ident": self.address.pk}

    def is_enough(self) -> bool:
        """Whether it has been read often enough; counts this reading if not."""
        return not self.allow_request(cast("Request", None), cast("APIView", None))


@login_not_required
@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponseBase:
    """The calendar at an address, whoever asks. A wrong one, one that was ended, and that of a
    person who may not sign in any more are answered alike.
    """
    address = services.address_of(secret)
    if address is None:
        raise Http404
    limit = PerAddress(address)
    if limit.is_enough():
        wait = str(int(limit.wait() or 0) + 1)
        text = "This calendar is read too often. Ask again later."
        return HttpResponse(text, "text/plain", status=429, headers={"Retry-After": wait})
    now = timezone.now()
    services.note_reading(address, at=now)
    body = calendar_file(NAME, services.events_on_calendar(address.person, now=now))
    return _answer(request, body)


def _answer(request: HttpRequest, body: bytes) -> HttpResponseBase:
    """The file, or 304 where the reader has it. Kept by the reader alone, and never told on."""
    response = HttpResponse(
        body,
        "text/calendar; charset=utf-8",
        headers={
            "Cache-Control": "private, no-cache",
            "Content-Disposition": 'inline; filename="visits.ics"',
            "Referrer-Policy": "no-referrer",
            "X-Robots-Tag": "noindex",
        },
    )
    etag = f'"{digest(body)}"'
    response["ETag"] = etag
    return get_conditional_response(request, etag=etag, response=response) or response
