"""The application register as a paper."""

from uuid import UUID

from django.http import HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_GET

from accounts.files import safe_name
from accounts.http import PersonRequest
from compliance.queries.applications import register_paper
from compliance.sitefile.build import PaperSize, build_application_register
from visits.queries.application_register import rows_of
from visits.views.application_register import (
    asked_of,
    file_name,
    too_many,
    too_many_answer,
)

MOST_ON_PAPER = 150
"""About sixty pages, and about as many tenths of a second; a request can wait for no more."""


@require_GET
def applications_pdf(request: PersonRequest, site_id: UUID | None = None) -> HttpResponse:
    """The register of a site or of the company, as far as it was narrowed; A4 unless asked else."""
    register = asked_of(request, site_id)
    if too_many(register.rows, MOST_ON_PAPER):
        return too_many_answer(request, register.site, most=MOST_ON_PAPER, paper="A PDF")
    gathered = register_paper(
        rows_of(register.rows),
        register.asked,
        site=register.site,
        by=request.user,
        now=timezone.now(),
    )
    size = PaperSize.LETTER if request.GET.get("paper") == PaperSize.LETTER.value else PaperSize.A4
    paper = build_application_register(gathered, render=render_to_string, size=size)
    answer = HttpResponse(paper.pdf, content_type="application/pdf")
    name = safe_name(f"{file_name(register.site)}.pdf")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
