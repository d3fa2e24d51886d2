"""Who may see, decide and check what follows from visits."""

from collections.abc import Callable
from typing import Any, TypeVar

from django.db.models import Exists, F, Model, OuterRef, Q, QuerySet
from django.db.models.functions import TruncDate, TruncMonth, TruncQuarter

from accounts.access import AnyUser, is_somebody
from accounts.models import Client, Role, User
from accounts.refusals import NotAllowed
from compliance.models import (
    ActionMessage,
    ActionThreshold,
    Alarm,
    Breach,
    CorrectiveAction,
    Decision,
    DecisionPaper,
    Flag,
    PlaceMonth,
    Remedy,
    ReviewPack,
    SiteFile,
    TrendReview,
)
from sites.access import managers_of, sites_visible_to, valid_pass_sites
from sites.models import Site
from visits.models import WhoseMove

Row = TypeVar("Row", bound=Model)

_BEGINS: dict[str, Callable[[str], Any]] = {"on": F, "month": TruncMonth, "quarter": TruncQuarter}


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


def messages_visible_to(user: AnyUser) -> QuerySet[ActionMessage]:
    """What the office and the client wrote each other about actions; nobody else's business."""
    if not sees_money(user):
        return ActionMessage.objects.none()
    return ActionMessage.objects.filter(action__in=actions_visible_to(user))


def decisions_visible_to(user: AnyUser) -> QuerySet[Decision]:
    """Decisions with all that was signed, prices too: the office's and the client's own."""
    if not sees_money(user):
        return Decision.objects.none()
    return Decision.objects.filter(action__in=actions_visible_to(user))


def decision_papers_visible_to(user: AnyUser) -> QuerySet[DecisionPaper]:
    """Papers name the prices that were signed, so they are seen as those are."""
    return DecisionPaper.objects.filter(decision__in=decisions_visible_to(user))


def require_may_write(user: AnyUser, action: CorrectiveAction) -> None:
    """Raise ``NotAllowed`` for anybody but the office and the client's managers of the site."""
    if not sees_money(user):
        raise NotAllowed("Questions are asked and answered between the client and the office.")
    if not sites_visible_to(user).filter(pk=action.site_id).exists():
        raise NotAllowed("This site is not one of yours.")


def require_may_keep_prices(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office: on which terms is theirs to say."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office sets prices, and the terms options are weighed on.")


def remedies_visible_to(user: AnyUser) -> QuerySet[Remedy]:
    """The price list is the office's; what a client is asked to pay stands with the options."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        return Remedy.objects.none()
    return Remedy.objects.all()


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


def reviewed_clients_visible_to(user: AnyUser) -> QuerySet[Client]:
    """Clients whose quarters a person may read: those with a site that the office, or the client's
    own manager, may see. What is decided and what it costs is nobody else's business."""
    if not sees_money(user):
        return Client.objects.none()
    return Client.objects.filter(pk__in=sites_visible_to(user).values("client_id"))


def whole_clients_visible_to(user: AnyUser) -> QuerySet[Client]:
    """Those of them of which the person may see every site, as a pack tells of all."""
    hidden = Site.objects.filter(client=OuterRef("pk")).exclude(
        pk__in=sites_visible_to(user).values("pk")
    )
    return reviewed_clients_visible_to(user).filter(~Exists(hidden))


def review_packs_visible_to(user: AnyUser) -> QuerySet[ReviewPack]:
    """Packs of clients of which the person may see every site."""
    return ReviewPack.objects.filter(client__in=whole_clients_visible_to(user))


def place_months_visible_to(user: AnyUser) -> QuerySet[PlaceMonth]:
    """How places of visible sites stood; for an auditor in the months of the pass's period."""
    return _of_the_period(PlaceMonth.objects.all(), user, "month")


def alarms_visible_to(user: AnyUser) -> QuerySet[Alarm]:
    """Alarms of visible sites; for an auditor those of the months of the pass's period."""
    return _of_the_period(Alarm.objects.all(), user, "month")


def breaches_visible_to(user: AnyUser) -> QuerySet[Breach]:
    """Breaches at visible sites; for an auditor those within the pass's period."""
    return _of_the_period(Breach.objects.all(), user, "on")


def trend_reviews_visible_to(user: AnyUser) -> QuerySet[TrendReview]:
    """Reviews of visible sites; for an auditor of quarters that the pass's period touches."""
    return _of_the_period(TrendReview.objects.all(), user, "quarter")


def thresholds_visible_to(user: AnyUser) -> QuerySet[ActionThreshold]:
    """What holds for visible sites: their own thresholds and those of the whole company."""
    if not is_somebody(user):
        return ActionThreshold.objects.none()
    own = Q(site__in=sites_visible_to(user))
    return ActionThreshold.objects.filter(own | Q(site__isnull=True))


def _of_the_period(rows: QuerySet[Row], user: AnyUser, day: str) -> QuerySet[Row]:
    """Rows of visible sites; for an auditor those whose ``day`` the pass's period has come to.

    A month or quarter that began before the period and reaches into it is shown whole.
    """
    if not is_somebody(user):
        return rows.none()
    rows = rows.filter(site__in=sites_visible_to(user))
    if user.role != Role.AUDITOR:
        return rows
    begins = _BEGINS[day]("auditor_pass__period_from")
    within = valid_pass_sites(user).annotate(begins=begins)
    return rows.filter(
        Exists(
            within.filter(
                site_id=OuterRef("site_id"),
                begins__lte=OuterRef(day),
                auditor_pass__period_to__gte=OuterRef(day),
            )
        )
    )


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


def require_may_see_ageing(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office and the client's own managers."""
    if not (is_somebody(user) and user.role in {Role.OFFICE, Role.CLIENT_MANAGER}):
        raise NotAllowed("How long actions take is between the office and the client.")


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


def require_may_ask(user: AnyUser, action: CorrectiveAction) -> None:
    """Raise ``NotAllowed`` unless this person may say which manager is asked to decide.

    The client's managers of the site may, and the office on the client's word.
    """
    if not sees_money(user):
        raise NotAllowed("Who is asked to decide is between the client and the office.")
    if not sites_visible_to(user).filter(pk=action.site_id).exists():
        raise NotAllowed("This site is not one of yours.")


def may_be_asked(action: CorrectiveAction) -> QuerySet[User]:
    """Whom one may ask to decide an action: the managers of its client who see its site."""
    return managers_of(action.site)


def may_review(user: AnyUser, site: Site) -> bool:
    """Whether trends of this site are a person's to review: the office's and its technicians'."""
    if not (is_somebody(user) and user.role in {Role.OFFICE, Role.TECHNICIAN}):
        return False
    return sites_visible_to(user).filter(pk=site.pk).exists()


def require_may_review(user: AnyUser, site: Site) -> None:
    """Raise ``NotAllowed`` for anybody but the office and the technicians of the site."""
    if not may_review(user, site):
        raise NotAllowed("Trends are reviewed by the office and the technicians of the site.")


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


def require_may_accept(user: AnyUser, action: CorrectiveAction) -> None:
    """Raise ``NotAllowed`` unless a manager of the action's client accepts work of ours."""
    if not (is_somebody(user) and user.role == Role.CLIENT_MANAGER):
        raise NotAllowed("Only the client's manager accepts finished work.")
    if not sites_visible_to(user).filter(pk=action.site_id).exists():
        raise NotAllowed("This site is not one of yours.")
    if action.whose_move != WhoseMove.US:
        raise NotAllowed("This work is not ours; there is nothing of ours to accept.")


def require_may_send_back(user: AnyUser, action: CorrectiveAction) -> None:
    """Raise ``NotAllowed`` unless finished work is this person's to find unsound.

    A technician's or the office's, and the client's manager's where the work is ours.
    """
    if is_somebody(user) and user.role == Role.CLIENT_MANAGER:
        require_may_accept(user, action)
        return
    require_may_check(user)
