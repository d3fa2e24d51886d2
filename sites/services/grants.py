"""Rights that name single sites: auditors' passes, and client managers limited to some sites."""

from collections.abc import Collection
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.access import require_office
from accounts.models import AuditorPass, Role, User
from accounts.refusals import Unusable, WrongState
from accounts.trail import record
from sites.models import PassSite, Site, SiteGrant


@transaction.atomic
def issue_pass(
    auditor_id: UUID,
    *,
    by: User,
    sites: Collection[Site],
    period_from: date,
    period_to: date,
    valid_from: datetime,
    valid_until: datetime,
    purpose: str = "",
) -> AuditorPass:
    """Let an auditor read named sites of one client for a period, until the pass lapses.

    Raises ``Unusable`` when no site is named, when they belong to several clients, or when the
    person is no auditor.
    """
    require_office(by)
    auditor = User.objects.get(pk=auditor_id)
    if auditor.role != Role.AUDITOR:
        raise Unusable("A pass is for an auditor.", field="auditor")
    if len({site.client_id for site in sites}) != 1:
        raise Unusable("Name at least one site, all of one client.", field="sites")
    auditor_pass = AuditorPass.objects.create(
        auditor=auditor,
        client=next(iter(sites)).client,
        period_from=period_from,
        period_to=period_to,
        valid_from=valid_from,
        valid_until=valid_until,
        issued_by=by,
        purpose=purpose,
    )
    PassSite.objects.bulk_create(PassSite(auditor_pass=auditor_pass, site=site) for site in sites)
    record(
        by,
        "pass.issued",
        auditor_pass,
        auditor=auditor.name,
        sites=sorted(site.name for site in sites),
        period=[period_from, period_to],
        valid=[valid_from, valid_until],
    )
    return auditor_pass


@transaction.atomic
def revoke_pass(pass_id: UUID, *, by: User, reason: str) -> AuditorPass:
    """End a pass now."""
    require_office(by)
    auditor_pass = AuditorPass.objects.select_for_update().get(pk=pass_id)
    if auditor_pass.revoked_at:
        raise WrongState("This pass has already ended.")
    auditor_pass.revoked_at = timezone.now()
    auditor_pass.save(update_fields=["revoked_at"])
    record(by, "pass.revoked", auditor_pass, auditor=auditor_pass.auditor.name, reason=reason)
    return auditor_pass


@transaction.atomic
def limit_manager(person_id: UUID, *, by: User, sites: Collection[Site]) -> User:
    """Limit a client manager to the listed sites; an empty list opens all of the client's."""
    require_office(by)
    person = User.objects.select_for_update().get(pk=person_id)
    if person.role != Role.CLIENT_MANAGER:
        raise Unusable("Only a client's manager can be limited to sites.")
    if any(site.client_id != person.client_id for site in sites):
        raise Unusable("All the sites must be this manager's client's.", field="sites")
    SiteGrant.objects.filter(person=person).delete()
    SiteGrant.objects.bulk_create(SiteGrant(person=person, site=site) for site in sites)
    record(by, "manager.limited", person, sites=sorted(site.name for site in sites))
    return person
