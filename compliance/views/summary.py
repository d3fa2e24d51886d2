"""Whether one's own daily summary comes by e-mail, and what the last one said."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from accounts.services.people import choose_digest
from compliance.forms import ChooseSummary
from compliance.models import Digest


@require_http_methods(["GET", "POST"])
def summary(request: PersonRequest) -> HttpResponse:
    """Everybody chooses for themselves."""
    form = ChooseSummary(
        request.POST or None, initial={"wants": "yes" if request.user.wants_digest else "no"}
    )
    if request.method == "POST" and form.is_valid():
        choose_digest(by=request.user, wants=form.cleaned_data["wants"])
        messages.success(request, "Saved.")
        return redirect("compliance:summary")
    last = Digest.objects.filter(person=request.user).exclude(body="").order_by("-day").first()
    status = 422 if form.is_bound else 200
    return render(request, "compliance/summary.html", {"form": form, "last": last}, status=status)
