"""Keeping the papers of sites, clients and the company."""

from datetime import date
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone

from accounts.models import Client, User
from accounts.refusals import WrongState
from accounts.trail import record
from sites import access
from sites.keeping import keep_new
from sites.media import CleanFile, clean_document
from sites.models import Document, Site
from sites.services.storage import require_room


def add_document(
    home: Site | Client | None,
    *,
    by: User,
    data: bytes,
    kind: str,
    title: str,
    issued_on: date | None = None,
    expires_on: date | None = None,
) -> Document:
    """Put a paper on file for a site, a client, or (None) the company.

    A company's paper is shown with every site. Raises ``Unusable`` for a file that cannot be
    kept, ``NoRoom`` where too much is stored. Checking the file happens before the transaction.
    """
    access.require_may_keep_sites(by)
    return _keep(
        Document(
            site=home if isinstance(home, Site) else None,
            client=home if isinstance(home, Client) else None,
            kind=kind,
            title=title,
            issued_on=issued_on,
            expires_on=expires_on,
        ),
        by=by,
        file=clean_document(data),
    )


def replace_document(
    document_id: UUID,
    *,
    by: User,
    data: bytes,
    title: str,
    issued_on: date | None = None,
    expires_on: date | None = None,
) -> Document:
    """Put a newer issue of a paper on file; the earlier one stays behind it.

    Raises ``WrongState`` if it was withdrawn or has a newer issue already.
    """
    access.require_may_keep_sites(by)
    return _keep_newer(
        document_id,
        by=by,
        file=clean_document(data),
        title=title,
        issued_on=issued_on,
        expires_on=expires_on,
    )


@transaction.atomic
def keep_company_paper(
    *,
    by: User,
    file: CleanFile,
    kind: str,
    title: str,
    issued_on: date | None = None,
    replaces: UUID | None = None,
) -> Document:
    """Put a paper of the company on file that belongs to another record of it.

    ``file`` has been looked at (``clean_document``), so that the other record's service can do so
    before its transaction. ``replaces`` names an earlier issue, which stays behind this one unless
    it was withdrawn or has a newer issue already. Raises ``NotAllowed`` or ``NoRoom``.
    """
    access.require_may_keep_sites(by)
    current = Document.objects.filter(withdrawn_at=None, replaced_by=None)
    if replaces and current.filter(pk=replaces).exists():
        return _keep_newer(
            replaces, by=by, file=file, title=title, issued_on=issued_on, expires_on=None
        )
    return _keep(Document(kind=kind, title=title, issued_on=issued_on), by=by, file=file)


@transaction.atomic
def withdraw_document(document_id: UUID, *, by: User, reason: str) -> Document:
    """Take a paper off file for all but the office, which can still read it."""
    document = _document_to_keep(document_id, by=by)
    document.withdrawn_at = timezone.now()
    document.save(update_fields=["withdrawn_at"])
    record(by, "document.withdrawn", document, reason=reason)
    return document


@transaction.atomic
def _keep(document: Document, *, by: User, file: CleanFile) -> Document:
    _store(document, by=by, file=file)
    record(
        by,
        "document.added",
        document,
        kind=document.kind,
        sha256=document.sha256,
        expires_on=document.expires_on,
    )
    return document


@transaction.atomic
def _keep_newer(
    document_id: UUID,
    *,
    by: User,
    file: CleanFile,
    title: str,
    issued_on: date | None,
    expires_on: date | None,
) -> Document:
    earlier = _document_to_keep(document_id, by=by)
    newer = Document(
        site=earlier.site,
        client=earlier.client,
        kind=earlier.kind,
        title=title,
        issued_on=issued_on,
        expires_on=expires_on,
        replaces=earlier,
    )
    _store(newer, by=by, file=file)
    record(
        by,
        "document.replaced",
        newer,
        earlier=earlier.pk,
        sha256=[earlier.sha256, newer.sha256],
        expires_on=[earlier.expires_on, newer.expires_on],
    )
    return newer


def _store(document: Document, *, by: User, file: CleanFile) -> None:
    require_room(len(file.data), site=document.site, by=by, now=timezone.now())
    document.mime, document.size, document.sha256 = file.mime, len(file.data), file.sha256
    document.uploaded_by = by
    document.file.save(f"{document.pk}{file.ending}", ContentFile(file.data), save=False)
    keep_new(document)


def _document_to_keep(document_id: UUID, *, by: User) -> Document:
    access.require_may_keep_sites(by)
    document = access.documents_visible_to(by).select_for_update(of=("self",)).get(pk=document_id)
    if document.withdrawn_at:
        raise WrongState(f"{document} was withdrawn.")
    if Document.objects.filter(replaces=document).exists():
        raise WrongState(f"{document} has a newer issue; change that one.")
    return document
