"""The papers of sites, clients and the company."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.files import private_file
from accounts.http import PersonRequest
from accounts.models import Client
from sites import access, queries
from sites.forms import NewDocument, NewerDocument, Reason
from sites.models import Document, Site
from sites.services.documents import add_document, replace_document, withdraw_document
from sites.views.pages import done, form_page, paged, posted, site_to_change, today_of


@require_GET
def documents(request: PersonRequest) -> HttpResponse:
    """The company's own papers, which stand with every site."""
    papers = access.documents_visible_to(request.user).filter(site=None, client=None)
    listed = queries.documents_listed(papers, today_of(request.user))
    context = {
        "page": paged(request, listed),
        "aside": queries.documents_put_aside(papers)[:50] if request.user.is_office else [],
        "may_keep": request.user.is_office,
    }
    return render(request, "sites/documents.html", context)


@require_GET
def site_documents(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """All papers that count for a site: its own, its client's and the company's."""
    site = get_object_or_404(access.sites_visible_to(request.user), pk=site_id)
    papers = queries.documents_shown_at(access.documents_visible_to(request.user), site)
    listed = queries.documents_listed(papers, site.day_of(timezone.now()))
    context = {
        "site": site,
        "page": paged(request, listed),
        "aside": queries.documents_put_aside(papers)[:50] if request.user.is_office else [],
        "may_keep": request.user.is_office,
    }
    return render(request, "sites/documents.html", context)


@require_GET
def document(request: PersonRequest, document_id: UUID) -> HttpResponseBase:
    """The paper itself, as a download."""
    found = get_object_or_404(access.documents_visible_to(request.user), pk=document_id)
    ending = ".pdf" if found.mime == "application/pdf" else ".jpg"
    return private_file(found.file, name=f"{found.title}{ending}", mime=found.mime)


@require_http_methods(["GET", "POST"])
def company_document_new(request: PersonRequest) -> HttpResponse:
    """Puts a paper of the company on file."""
    access.require_may_keep_sites(request.user)
    back = reverse("sites:documents")
    return _add(request, None, back=back, back_label="The company's documents")


@require_http_methods(["GET", "POST"])
def client_document_new(request: PersonRequest, client_id: UUID) -> HttpResponse:
    """Puts a paper of a client on file."""
    client = get_object_or_404(access.clients_visible_to(request.user), pk=client_id)
    access.require_may_keep_sites(request.user)
    return _add(request, client, back=client.get_absolute_url(), back_label=str(client))


@require_http_methods(["GET", "POST"])
def site_document_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Puts a paper of a site on file."""
    site = site_to_change(request, site_id)
    back = reverse("sites:site_documents", args=[site_id])
    return _add(request, site, back=back, back_label="Documents")


def _add(
    request: PersonRequest, home: Site | Client | None, *, back: str, back_label: str
) -> HttpResponse:
    form = NewDocument(posted(request), request.FILES or None)
    if form.is_bound and form.is_valid():
        facts = dict(form.cleaned_data)
        data = facts.pop("file").read()
        added = done(form, add_document, home, by=request.user, data=data, **facts)
        if added:
            messages.success(request, f"{added} is on file.")
            return redirect(back)
    return form_page(
        request,
        form,
        title=f"Add a document of {home}" if home else "Add a document of the company",
        submit="Add the document",
        back=back,
        back_label=back_label,
    )


@require_http_methods(["GET", "POST"])
def document_replace(request: PersonRequest, document_id: UUID) -> HttpResponse:
    """Puts a newer issue of a paper on file."""
    found = _to_change(request, document_id)
    form = NewerDocument(posted(request), request.FILES or None, initial={"title": found.title})
    if form.is_bound and form.is_valid():
        facts = dict(form.cleaned_data)
        data = facts.pop("file").read()
        newer = done(form, replace_document, document_id, by=request.user, data=data, **facts)
        if newer:
            messages.success(request, f"The newer issue of {newer} is on file.")
            return redirect(_list_with(newer))
    return form_page(
        request,
        form,
        title=f"Replace {found}",
        hint="The earlier issue stays behind the newer one.",
        submit="Put the newer issue on file",
        back=_list_with(found),
        back_label="Documents",
    )


@require_http_methods(["GET", "POST"])
def document_withdraw(request: PersonRequest, document_id: UUID) -> HttpResponse:
    """Takes a paper off file, after asking once."""
    found = _to_change(request, document_id)
    form = Reason(posted(request))
    if form.is_bound and form.is_valid():
        withdraw_document(document_id, by=request.user, **form.cleaned_data)
        messages.success(request, f"{found} is withdrawn.")
        return redirect(_list_with(found))
    return form_page(
        request,
        form,
        title=f"Withdraw {found}",
        hint="From now on only the office can read it.",
        submit="Withdraw the document",
        back=_list_with(found),
        back_label="Documents",
        danger=True,
    )


def _to_change(request: PersonRequest, document_id: UUID) -> Document:
    papers = access.documents_visible_to(request.user).select_related("site", "client")
    found = get_object_or_404(papers, pk=document_id)
    access.require_may_keep_sites(request.user)
    return found


def _list_with(document: Document) -> str:
    if document.site_id:
        return reverse("sites:site_documents", args=[document.site_id])
    if document.client_id:
        return reverse("sites:client", args=[document.client_id])
    return reverse("sites:documents")
