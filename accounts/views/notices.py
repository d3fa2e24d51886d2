"""A person's own notices, and how each wants to be told."""

from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts import access
from accounts.forms import ChooseNotices, ReadNotices
from accounts.http import PersonRequest
from accounts.services.notices import mark_all_read, mark_read, set_wishes


@require_GET
def notices(request: PersonRequest) -> HttpResponse:
    """What one was told, newest first, fifty a page."""
    found = access.notices_visible_to(request.user).order_by("-at", "-pk")
    context = {
        "page": Paginator(found, 50).get_page(request.GET.get("page")),
        "now": timezone.now(),
    }
    return render(request, "accounts/notices.html", context)


@require_GET
def open_notice(request: PersonRequest, notice_id: UUID) -> HttpResponse:
    """Leads to what a notice is about, and notes that it was read."""
    found = get_object_or_404(access.notices_visible_to(request.user), pk=notice_id)
    return redirect(mark_read(found.pk, by=request.user).path)


@require_POST
def read_all(request: PersonRequest) -> HttpResponse:
    """Takes all that stood on the page for read."""
    form = ReadNotices(request.POST)
    mark_all_read(by=request.user, up_to=form.cleaned_data["up_to"] if form.is_valid() else None)
    messages.success(request, "All marked as read.")
    return redirect("notices:list")


@require_http_methods(["GET", "POST"])
def wishes(request: PersonRequest) -> HttpResponse:
    """Everybody chooses for themselves."""
    form = ChooseNotices(request.POST or None, person=request.user)
    if request.method == "POST" and form.is_valid():
        set_wishes(form.wishes(), by=request.user)
        messages.success(request, "Saved.")
        return redirect("notices:wishes")
    status = 422 if form.is_bound else 200
    return render(request, "accounts/notice_wishes.html", {"form": form}, status=status)
