"""Who may see which sites; all that hangs on a site is filtered by ``sites_visible_to``."""

from datetime import date, timedelta

from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from accounts.access import AnyUser, is_somebody
from accounts.models import AuditorPass, Client, Notice, Role, User
from accounts.refusals import NotAllowed
from sites.models import (
    Contact,
    Contract,
    Document,
    ImportJob,
    Monitor,
    PassSite,
    Photo,
    Site,
    SiteGrant,
    SitePlan,
    Zone,
)

TECHNICIAN_DAYS = 31


def technician_days(today: date) -> tuple[date, date]:
    """The first and last day whose visits open a site to the technician they are booked for."""
    return today - timedelta(days=TECHNICIAN_DAYS), today + timedelta(days=TECHNICIAN_DAYS)


def valid_pass_sites(user: AnyUser) -> QuerySet[PassSite]:
    """The sites named on an auditor's passes that are valid now."""
    now = timezone.now()
    return PassSite.objects.filter(
        auditor_pass__auditor_id=user.pk,
        auditor_pass__revoked_at__isnull=True,
        auditor_pass__valid_from__lte=now,
        auditor_pass__valid_until__gt=now,
    )


def sites_visible_to(user: AnyUser) -> QuerySet[Site]:
    """The sites a person may look at, without order; empty for nobody and for unknown roles.

    Whether somebody is limited to branches or to listed sites is asked within the same query, so
    that a page may start here as often as it likes.
    """
    sites = Site.objects.all()
    if not is_somebody(user):
        return sites.none()
    if user.role == Role.OFFICE:
        limits = User.branches.through.objects.filter(user_id=user.pk)
        named = Q(branch__in=limits.values("branch_id")) | Q(branch=None)
        return sites.filter(named | ~Exists(limits))
    if user.role == Role.TECHNICIAN:
        # "visits" is the reverse name of a later app's key: a subquery, so that no row comes twice.
        reached = Site.objects.filter(
            visits__technician_id=user.pk,
            visits__booked_on__range=technician_days(timezone.now().date()),
        )
        return sites.filter(pk__in=reached.values("pk"))
    if user.role == Role.CLIENT_MANAGER and user.client_id:
        grants = SiteGrant.objects.filter(person_id=user.pk)
        named = Q(pk__in=grants.values("site_id"))
        return sites.filter(named | ~Exists(grants), client_id=user.client_id)
    if user.role == Role.AUDITOR:
        return sites.filter(pk__in=valid_pass_sites(user).values("site_id"))
    return sites.none()


def managers_of(site: Site) -> QuerySet[User]:
    """The client's managers who have joined, may sign in and see this site; without order."""
    grants = SiteGrant.objects.filter(person_id=OuterRef("pk"))
    return User.objects.filter(
        Exists(grants.filter(site_id=site.pk)) | ~Exists(grants),
        role=Role.CLIENT_MANAGER,
        client_id=site.client_id,
        is_active=True,
    ).exclude(password__startswith=UNUSABLE_PASSWORD_PREFIX)


def clients_visible_to(user: AnyUser) -> QuerySet[Client]:
    """The clients of whom a person may see at least the name."""
    clients = Client.objects.all()
    if not is_somebody(user):
        return clients.none()
    if user.role == Role.OFFICE:
        return clients
    return clients.filter(pk__in=sites_visible_to(user).values("client_id"))


def notices_of_visible_sites(user: User, notices: QuerySet[Notice]) -> QuerySet[Notice]:
    """Those that are about no site, or about one that the person may still see."""
    return notices.filter(Q(site_id=None) | Q(site_id__in=sites_visible_to(user).values("pk")))


def contacts_visible_to(user: AnyUser) -> QuerySet[Contact]:
    """Contacts at visible sites."""
    return Contact.objects.filter(site__in=sites_visible_to(user))


def zones_visible_to(user: AnyUser) -> QuerySet[Zone]:
    """Zones of visible sites."""
    return Zone.objects.filter(site__in=sites_visible_to(user))


def monitors_visible_to(user: AnyUser) -> QuerySet[Monitor]:
    """Monitors of visible sites."""
    return Monitor.objects.filter(site__in=sites_visible_to(user))


def plans_visible_to(user: AnyUser) -> QuerySet[SitePlan]:
    """Plans of visible sites."""
    return SitePlan.objects.filter(site__in=sites_visible_to(user))


def photos_visible_to(user: AnyUser) -> QuerySet[Photo]:
    """Photos of visible sites."""
    return Photo.objects.filter(site__in=sites_visible_to(user))


def contracts_visible_to(user: AnyUser) -> QuerySet[Contract]:
    """Contracts of visible sites; technicians have no business with prices and terms."""
    if is_somebody(user) and user.role == Role.TECHNICIAN:
        return Contract.objects.none()
    return Contract.objects.filter(site__in=sites_visible_to(user))


def documents_visible_to(user: AnyUser) -> QuerySet[Document]:
    """Documents of visible sites and clients, and the company's own for everybody signed in.

    A signed contract carries prices: besides the office only the client's own managers see it.
    """
    if not is_somebody(user):
        return Document.objects.none()
    sites = sites_visible_to(user)
    if user.role == Role.OFFICE:
        return Document.objects.filter(
            Q(site__in=sites) | Q(client__isnull=False) | Q(site=None, client=None)
        )
    documents = Document.objects.filter(
        Q(site__in=sites) | Q(client__in=sites.values("client_id")) | Q(site=None, client=None),
        withdrawn_at__isnull=True,
    )
    if user.role == Role.CLIENT_MANAGER:
        return documents
    return documents.exclude(kind=Document.Kind.CONTRACT)


def passes_visible_to(user: AnyUser) -> QuerySet[AuditorPass]:
    """An auditor sees their own passes; the office and a client's manager those on their sites."""
    if not is_somebody(user):
        return AuditorPass.objects.none()
    if user.role == Role.AUDITOR:
        return AuditorPass.objects.filter(auditor_id=user.pk)
    if user.role in {Role.OFFICE, Role.CLIENT_MANAGER}:
        named = PassSite.objects.filter(site__in=sites_visible_to(user))
        return AuditorPass.objects.filter(pk__in=named.values("auditor_pass_id"))
    return AuditorPass.objects.none()


def imports_visible_to(user: AnyUser) -> QuerySet[ImportJob]:
    """Spreadsheets that came in: the office's."""
    if is_somebody(user) and user.role == Role.OFFICE:
        return ImportJob.objects.all()
    return ImportJob.objects.none()


def require_may_keep_sites(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office changes what is on file for a site.")


def require_may_add_photos(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for auditors, who change nothing."""
    if not (is_somebody(user) and user.role != Role.AUDITOR):
        raise NotAllowed("An auditor's pass is for reading only.")
