"""Who may see, decide and check what follows from visits."""

from django.db.models import Exists, OuterRef, QuerySet
from django.db.models.functions import TruncDate

from accounts.access import AnyUser, is_somebody
from accounts.models import Role
from accounts.refusals import NotAllowed
from compliance.models import CorrectiveAction, Flag, SiteFile
from sites.access import sites_visible_to, valid_pass_sites
from sites.models import Site
from visits.models import WhoseMove


def actions_visible_to(user: AnyUser) -> QuerySet[CorrectiveAction]:
    """Actions of visible sites; for an auditor those raised by the end of the pass's period."""
    if not is_somebody(user):
        return CorrectiveAction.objects.none()
    actions = CorrectiveAction.objects.filter(site__in=sites_visible_to(user))
    if user.role == Role.AUDITOR:
        within = valid_pass_sites(user).filter(
            site_id=OuterRef("site_id"), auditor_pass__period_to__gte=OuterRef("raised_on")
        )
        return actions.alias(raised_on=TruncDate("raised_at")).filter(Exists(within))
    return actions


def flags_visible_to(user: AnyUser) -> QuerySet[Flag]:
    """Flags are the office's; those of sites it may not see stay hidden from a branch's people."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        return Flag.objects.none()
    return Flag.objects.filter(site__in=sites_visible_to(user)) | Flag.objects.filter(site=None)


def site_files_visible_to(user: AnyUser) -> QuerySet[SiteFile]:
    """Site files of visible sites; for an auditor only those within the pass's period."""
    if not is_somebody(user) or user.role == Role.TECHNICIAN:
        return SiteFile.objects.none()
    files = SiteFile.objects.filter(site__in=sites_visible_to(user))
    if user.role == Role.OFFICE:
        return files
    files = files.exclude(audience=Role.OFFICE)
    if user.role == Role.AUDITOR:
        within = valid_pass_sites(user).filter(
            site_id=OuterRef("site_id"),
            auditor_pass__period_from__lte=OuterRef("period_from"),
            auditor_pass__period_to__gte=OuterRef("period_to"),
        )
        return files.filter(Exists(within), audience=Role.AUDITOR)
    return files.filter(audience=Role.CLIENT_MANAGER)


def sees_money(user: AnyUser) -> bool:
    """Whether what options cost is this person's business: the office's and the client's own."""
    return is_somebody(user) and user.role in {Role.OFFICE, Role.CLIENT_MANAGER}


def require_sees_money(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office and the client's own managers."""
    if not sees_money(user):
        raise NotAllowed("What options cost is between the office and the client.")


def judged_sites_visible_to(user: AnyUser) -> QuerySet[Site]:
    """Sites whose evidence a person may read: not a technician's business."""
    sites = sites_visible_to(user)
    return sites.none() if is_somebody(user) and user.role == Role.TECHNICIAN else sites


def require_may_keep(user: AnyUser, action: CorrectiveAction) -> None:
    """Raise ``NotAllowed`` for anybody but an office person who sees the action's site."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office keeps the record of actions.")
    if not sites_visible_to(user).filter(pk=action.site_id).exists():
        raise NotAllowed("This site belongs to another branch.")


def require_may_decide(user: AnyUser, action: CorrectiveAction) -> None:
    """Raise ``NotAllowed`` for anybody but a manager of the action's client who has this site."""
    if not (is_somebody(user) and user.role == Role.CLIENT_MANAGER):
        raise NotAllowed("Only the client's manager decides this.")
    if not sites_visible_to(user).filter(pk=action.site_id).exists():
        raise NotAllowed("This site is not one of yours.")


def require_may_report_done(user: AnyUser, action: CorrectiveAction) -> None:
    """Raise ``NotAllowed`` unless the work is this person's to report.

    The office and technicians report any; a client's manager what is not ours to do.
    """
    if not (is_somebody(user) and user.role != Role.AUDITOR):
        raise NotAllowed("An auditor's pass is for reading.")
    if user.role != Role.CLIENT_MANAGER:
        return
    if not sites_visible_to(user).filter(pk=action.site_id).exists():
        raise NotAllowed("This site is not one of yours.")
    if action.whose_move == WhoseMove.US:
        raise NotAllowed("This work is ours; we report it done.")


def require_may_check(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but a technician or the office."""
    if not (is_somebody(user) and user.role in {Role.OFFICE, Role.TECHNICIAN}):
        raise NotAllowed("Only a technician or the office checks finished work.")
