"""The people at the premises."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_http_methods

from accounts.http import PersonRequest
from sites import access
from sites.forms import ContactForm, Nothing
from sites.models import Contact
from sites.services.contacts import add_contact, change_contact, remove_contact
from sites.views.pages import done, form_page, posted, site_to_change


@require_http_methods(["GET", "POST"])
def contact_new(request: PersonRequest, site_id: UUID) -> HttpResponse:
    """Puts a person at the premises on file."""
    site = site_to_change(request, site_id)
    form = ContactForm(posted(request), instance=Contact(site=site))
    if form.is_bound and form.is_valid():
        added = done(form, add_contact, site_id, by=request.user, **form.facts())
        if added:
            messages.success(request, f"{added.name} is on file.")
            return redirect(site)
    return form_page(
        request,
        form,
        title="Add a contact",
        submit="Add the contact",
        back=site.get_absolute_url(),
        back_label=str(site),
    )


@require_http_methods(["GET", "POST"])
def contact_edit(request: PersonRequest, contact_id: UUID) -> HttpResponse:
    """Changes what is on file for a contact."""
    contact = _contact(request, contact_id)
    site, name = contact.site, contact.name
    form = ContactForm(posted(request), instance=contact)
    if form.is_bound and form.is_valid():
        seen = form.cleaned_data["seen"]
        changed = done(form, change_contact, contact_id, by=request.user, seen=seen, **form.facts())
        if changed:
            messages.success(request, f"{changed.name} is saved.")
            return redirect(site)
    return form_page(
        request,
        form,
        title=f"Change {name}",
        submit="Save the contact",
        back=site.get_absolute_url(),
        back_label=str(site),
    )


@require_http_methods(["GET", "POST"])
def contact_remove(request: PersonRequest, contact_id: UUID) -> HttpResponse:
    """Takes a contact off file, after asking once."""
    contact = _contact(request, contact_id)
    site, name = contact.site, contact.name
    form = Nothing(posted(request))
    if form.is_bound and form.is_valid():
        remove_contact(contact_id, by=request.user)
        messages.success(request, f"{name} is off file.")
        return redirect(site)
    return form_page(
        request,
        form,
        title=f"Take {name} off file",
        hint="Closed visits keep the name of whom they met; telephone and e-mail are gone.",
        submit="Take off file",
        back=site.get_absolute_url(),
        back_label=str(site),
        danger=True,
    )


def _contact(request: PersonRequest, contact_id: UUID) -> Contact:
    contact = get_object_or_404(
        Contact.objects.filter(site__in=access.sites_visible_to(request.user)).select_related(
            "site"
        ),
        pk=contact_id,
    )
    access.require_may_keep_sites(request.user)
    return contact
