"""The paper of a decision, to be taken away."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_GET

from accounts.files import private_file
from accounts.http import PersonRequest
from compliance import access
from compliance.services.decision_papers import note_paper_download

PDF = "application/pdf"


@require_GET
def decision_paper(request: PersonRequest, decision_id: UUID) -> HttpResponseBase:
    """The PDF. That it was taken away goes on the trail of the site."""
    decision = get_object_or_404(
        access.decisions_visible_to(request.user).select_related("action__site", "paper"),
        pk=decision_id,
    )
    action, paper = decision.action, getattr(decision, "paper", None)
    if paper is None or not paper.made_at:
        messages.info(request, "The paper of this decision is not made yet.")
        return redirect(action)
    name = f"decision {action.site.reference} {action.number}-{decision.revision}.pdf"
    answer = private_file(paper.file, name=name, mime=PDF)
    note_paper_download(decision.pk, by=request.user)
    return answer
