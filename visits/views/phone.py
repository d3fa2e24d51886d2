"""The technician's pages: the day, what to know at the door, the walk, closing it.

All are drawn on the phone from what it keeps, so that they need no line; here it is only said who
may have them, and what the phone's service worker keeps.
"""

import json
from uuid import UUID

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_GET

from accounts.http import PersonRequest
from visits.access import require_may_record, visits_visible_to
from visits.phone_pages import page_html, phone_pages, release, worker_source


@require_GET
def my_day(request: PersonRequest) -> HttpResponse:
    """The stops of today and of the days after it."""
    require_may_record(request.user)
    return HttpResponse(page_html("day"))


@require_GET
def start(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """Hazards, access and what the last visit left open; one button starts the visit."""
    return _of_own_visit(request, visit_id, "start")


@require_GET
def walk(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """The walk."""
    return _of_own_visit(request, visit_id, "walk")


@require_GET
def close(request: PersonRequest, visit_id: UUID) -> HttpResponse:
    """What will be sealed, what is missing, and the signature."""
    return _of_own_visit(request, visit_id, "close")


def _of_own_visit(request: PersonRequest, visit_id: UUID, name: str) -> HttpResponse:
    """A page of a visit booked for the person who asks; else 404."""
    own = visits_visible_to(request.user).filter(technician_id=request.user.pk)
    get_object_or_404(own, pk=visit_id)
    return HttpResponse(page_html(name))


@login_not_required
@require_GET
@cache_control(no_cache=True)
def phone_page(request: HttpRequest, page: str) -> HttpResponse:
    """One of these pages for the phone's worker to keep. There is nothing of anybody in it."""
    if page not in phone_pages():
        raise Http404
    return HttpResponse(page_html(page))


@login_not_required
@require_GET
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker: its script, headed by what this release is made of."""
    source = f"const RELEASE = {json.dumps(release())};\n{worker_source()}"
    return HttpResponse(source, content_type="text/javascript; charset=utf-8")


@login_not_required
@require_GET
@cache_control(no_cache=True)
def manifest(request: HttpRequest) -> JsonResponse:
    """How the phone keeps Kickplate on its home screen. Source: W3C, Web Application Manifest."""
    facts = {
        "id": "/",
        "name": "Kickplate",
        "short_name": "Kickplate",
        "description": "Your visits of the day, also where there is no signal.",
        "lang": "en-GB",
        "dir": "ltr",
        "start_url": reverse("visits:my_day"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#f6f3ec",
        "theme_color": "#f6f3ec",
        "icons": [
            {
                "src": static("icons/kickplate.svg"),
                "sizes": "any",
                "type": "image/svg+xml",
                "purpose": "any",
            },
            {"src": static("icons/kickplate-192.png"), "sizes": "192x192", "type": "image/png"},
            {"src": static("icons/kickplate-512.png"), "sizes": "512x512", "type": "image/png"},
            {
                "src": static("icons/kickplate-maskable-512.png"),
                "sizes": "512x512",
                "type": "image/png",
                "purpose": "maskable",
            },
        ],
    }
    return JsonResponse(facts, content_type="application/manifest+json")
