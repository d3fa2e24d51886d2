"""Clients: who holds the contracts."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from accounts.http import PersonRequest
from accounts.models import Client
from accounts.sheets import csv_answer
from sites import access, queries
from sites.forms import ClientForm, FindClients, NewClientForm
from sites.services.clients import add_client, change_client
from sites.views.pages import done, form_page, paged, posted, read_filters, today_of


@require_GET
def clients(request: PersonRequest) -> HttpResponse:
    """The clients a person may know of, fifty a page."""
    form = FindClients(request.GET)
    context = {
        "filters": form,
        "page": paged(request, _found(request, form)),
        "may_keep": request.user.is_office,
    }
    return render(request, "sites/clients.html", context)


@require_GET
def clients_csv(request: PersonRequest) -> HttpResponseBase:
    """The same list as a file."""
    found = _found(request, FindClients(request.GET))
    return csv_answer(
        "clients",
        ["reference", "client", "open sites", "former client since"],
        ((one.reference, one.name, one.sites_open, one.closed_on) for one in found.iterator()),
    )


def _found(request: PersonRequest, form: FindClients) -> QuerySet[Any]:
    asked = read_filters(form)
    found = queries.clients_found(
        access.clients_visible_to(request.user), text=asked["text"], with_closed=asked["closed"]
    )
    return queries.clients_listed(found, access.sites_visible_to(request.user))


@require_GET
def client(request: PersonRequest, client_id: UUID) -> HttpResponse:
    """One client: its sites and its papers."""
    found = get_object_or_404(access.clients_visible_to(request.user), pk=client_id)
    sites = access.sites_visible_to(request.user).filter(client=found)
    papers = access.documents_visible_to(request.user).filter(client=found)
    context = {
        "client": found,
        "page": paged(request, queries.sites_listed(sites)),
        "documents": queries.documents_listed(papers, today_of(request.user)),
        "may_keep": request.user.is_office,
    }
    return render(request, "sites/client.html", context)


@require_http_methods(["GET", "POST"])
def client_new(request: PersonRequest) -> HttpResponse:
    """Puts a client on file."""
    access.require_may_keep_sites(request.user)
    form = NewClientForm(posted(request), instance=Client())
    if form.is_bound and form.is_valid():
        added = done(form, add_client, by=request.user, **form.facts())
        if added:
            messages.success(request, f"{added} is on file. Add its sites next.")
            return redirect(added)
    return form_page(
        request,
        form,
        title="Add a client",
        submit="Add the client",
        back=reverse("sites:clients"),
        back_label="Clients",
    )


@require_http_methods(["GET", "POST"])
def client_edit(request: PersonRequest, client_id: UUID) -> HttpResponse:
    """Changes what is on file for a client."""
    found = get_object_or_404(access.clients_visible_to(request.user), pk=client_id)
    access.require_may_keep_sites(request.user)
    name = str(found)
    form = ClientForm(posted(request), instance=found)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        changed = done(form, change_client, client_id, by=request.user, seen=seen, **form.facts())
        if changed:
            messages.success(request, f"{changed} is saved.")
            return redirect(changed)
    return form_page(
        request,
        form,
        title=f"Change {name}",
        submit="Save the client",
        back=reverse("sites:client", args=[client_id]),
        back_label=name,
    )
