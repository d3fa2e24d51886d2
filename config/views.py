"""Pages that belong to no single room: the front door and what a refused form shows."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from accounts.http import PersonRequest

LANDING_PAGES = {
    "office": "compliance:today",
    "technician": "visits:my_day",
    "client_manager": "compliance:your_sites",
    "auditor": "compliance:the_file",
}


def home(request: PersonRequest) -> HttpResponse:
    """Sends everybody to the one page that answers "what needs me now"."""
    return redirect(LANDING_PAGES[request.user.role])


@require_safe
def own_email(request: PersonRequest) -> HttpResponse:
    """The address that a person signs in with; only the office changes it."""
    return render(request, "account/email.html")


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The form was too old or came from elsewhere; what was typed can be sent again."""
    return render(request, "csrf_failure.html", status=403)
