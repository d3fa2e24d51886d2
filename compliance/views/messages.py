"""Asking and answering about an action."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from compliance import access
from compliance.forms import WriteMessage
from compliance.services.messages import write_message


@require_http_methods(["GET", "POST"])
def action_write(request: PersonRequest, action_id: UUID) -> HttpResponse:
    """Write a question or an answer about an action."""
    seen = access.actions_visible_to(request.user).select_related("site__client")
    found = get_object_or_404(seen, pk=action_id)
    access.require_may_write(request.user, found)
    form = WriteMessage(request.POST or None)
    if request.method == "POST" and form.is_valid():
        write_message(found.pk, by=request.user, text=form.cleaned_data["text"])
        messages.success(request, "Sent.")
        return redirect(f"{reverse('compliance:action', args=[found.pk])}#asked")
    status = 422 if form.is_bound and form.errors else 200
    context = {"form": form, "action": found}
    return render(request, "compliance/action_write.html", context, status=status)
