"""Who may see and write which visits."""

from django.db.models import Exists, OuterRef, Q, QuerySet, TextField
from django.db.models.functions import Cast

from accounts.access import AnyUser, is_somebody
from accounts.models import Role, User
from accounts.refusals import NotAllowed
from sites.access import contracts_visible_to, sites_visible_to, valid_pass_sites
from sites.models import ServiceLine
from visits.models import (
    BaitingReview,
    Batch,
    Finding,
    FollowUp,
    GuideLine,
    NotReached,
    ParkedOperation,
    ParkedPhoto,
    Pest,
    Product,
    Reading,
    TrapSender,
    Treatment,
    Visit,
)


def visits_visible_to(user: AnyUser) -> QuerySet[Visit]:
    """The visits a person may open, without order.

    Technicians see the visits of the sites that are open to them; client managers the closed ones
    of their sites; auditors what was closed, missed or called off in the period of their pass.
    """
    if not is_somebody(user):
        return Visit.objects.none()
    visits = Visit.objects.filter(site__in=sites_visible_to(user))
    if user.role in {Role.OFFICE, Role.TECHNICIAN}:
        return visits
    if user.role == Role.CLIENT_MANAGER:
        return visits.filter(state=Visit.State.CLOSED)
    if user.role == Role.AUDITOR:
        within = valid_pass_sites(user).filter(
            site_id=OuterRef("site_id"),
            auditor_pass__period_from__lte=OuterRef("due_on"),
            auditor_pass__period_to__gte=OuterRef("due_on"),
        )
        return visits.filter(
            Exists(within),
            state__in=[Visit.State.CLOSED, Visit.State.MISSED, Visit.State.CALLED_OFF],
        )
    return visits.none()


def visits_on_calendar_of(user: AnyUser) -> QuerySet[Visit]:
    """The visits of which a person's calendar tells kind, site and time, without order.

    Technicians: those booked for them, also on days so far off that the site is not open to them
    yet. Client managers: all of their sites, as their pages tell the days of those that come; which
    of these they may open is ``visits_visible_to``. Auditors have no calendar.
    """
    if not is_somebody(user):
        return Visit.objects.none()
    if user.role == Role.OFFICE:
        return visits_visible_to(user)
    if user.role == Role.TECHNICIAN:
        return Visit.objects.filter(technician_id=user.pk)
    if user.role == Role.CLIENT_MANAGER:
        return Visit.objects.filter(site__in=sites_visible_to(user))
    return Visit.objects.none()


def visits_writable_by(user: AnyUser) -> QuerySet[Visit]:
    """The visits a technician may record on: their own, until closed."""
    if not (is_somebody(user) and user.role == Role.TECHNICIAN):
        return Visit.objects.none()
    return visits_visible_to(user).filter(
        technician_id=user.pk, state__in=[Visit.State.BOOKED, Visit.State.UNDER_WAY]
    )


def lines_visible_to(user: AnyUser) -> QuerySet[ServiceLine]:
    """The service lines of visible contracts."""
    return ServiceLine.objects.filter(contract__in=contracts_visible_to(user))


def readings_visible_to(user: AnyUser) -> QuerySet[Reading]:
    """Readings of visible visits and, for those who see the site's past, imported ones."""
    if not is_somebody(user):
        return Reading.objects.none()
    readings = Reading.objects.filter(monitor__site__in=sites_visible_to(user))
    if user.role == Role.CLIENT_MANAGER:
        return readings.exclude(visit__isnull=False, visit__closed_at__isnull=True)
    if user.role == Role.AUDITOR:
        within = valid_pass_sites(user).filter(
            site_id=OuterRef("monitor__site_id"),
            auditor_pass__period_from__lte=OuterRef("read_on"),
            auditor_pass__period_to__gte=OuterRef("read_on"),
        )
        return readings.filter(Exists(within)).exclude(
            visit__isnull=False, visit__closed_at__isnull=True
        )
    return readings


def findings_visible_to(user: AnyUser) -> QuerySet[Finding]:
    """Findings of visible visits."""
    return Finding.objects.filter(visit__in=visits_visible_to(user))


def not_reached_visible_to(user: AnyUser) -> QuerySet[NotReached]:
    """What was not reached on visible visits."""
    return NotReached.objects.filter(visit__in=visits_visible_to(user))


def treatments_visible_to(user: AnyUser) -> QuerySet[Treatment]:
    """Treatments of visible visits.

    Asked of each row, so that half a million can be read in the order of an index: a list of all
    visible visits would be made, and the rows sorted, for every page.
    """
    visible = visits_visible_to(user).filter(pk=OuterRef("visit_id"))
    return Treatment.objects.filter(Exists(visible))


def follow_ups_visible_to(user: AnyUser) -> QuerySet[FollowUp]:
    """Proposed follow-ups are the office's; what it accepts is a visit, and is seen as one."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        return FollowUp.objects.none()
    return FollowUp.objects.filter(visit__site__in=sites_visible_to(user))


def baiting_reviews_visible_to(user: AnyUser) -> QuerySet[BaitingReview]:
    """Reviews of bait at visible sites; for an auditor those of the period of the pass."""
    if not is_somebody(user):
        return BaitingReview.objects.none()
    reviews = BaitingReview.objects.filter(site__in=sites_visible_to(user))
    if user.role == Role.AUDITOR:
        within = valid_pass_sites(user).filter(
            site_id=OuterRef("site_id"),
            auditor_pass__period_from__lte=OuterRef("reviewed_on"),
            auditor_pass__period_to__gte=OuterRef("reviewed_on"),
        )
        return reviews.filter(Exists(within))
    return reviews


def guide_lines_visible_to(user: AnyUser) -> QuerySet[GuideLine]:
    """The method guide: office and technicians."""
    if is_somebody(user) and user.role in {Role.OFFICE, Role.TECHNICIAN}:
        return GuideLine.objects.all()
    return GuideLine.objects.none()


def pests_visible_to(user: AnyUser) -> QuerySet[Pest]:
    """The list of pests, for everybody who is signed in."""
    return Pest.objects.all() if is_somebody(user) else Pest.objects.none()


def products_visible_to(user: AnyUser) -> QuerySet[Product]:
    """The product register: office and technicians; others meet products in reports only."""
    if is_somebody(user) and user.role in {Role.OFFICE, Role.TECHNICIAN}:
        return Product.objects.all()
    return Product.objects.none()


def parked_visible_to(user: AnyUser) -> QuerySet[ParkedOperation]:
    """What is to be placed: the office's, with what names no visit; a technician sees their own."""
    if not is_somebody(user):
        return ParkedOperation.objects.none()
    if user.role == Role.OFFICE:
        return ParkedOperation.objects.filter(
            Q(visit=None) | Q(visit__site__in=sites_visible_to(user))
        )
    return ParkedOperation.objects.filter(person_id=user.pk)


def parked_photos_visible_to(user: AnyUser) -> QuerySet[ParkedPhoto]:
    """Photos without a visit: with a record that names them and that the person may see."""
    named = parked_visible_to(user).annotate(words=Cast("sent", TextField()))
    return ParkedPhoto.objects.filter(
        Exists(
            named.filter(person_id=OuterRef("person_id"), words__contains=OuterRef("given_sha256"))
        )
    )


def require_may_record(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but technicians."""
    if not (is_somebody(user) and user.role == Role.TECHNICIAN):
        raise NotAllowed("Only the technician records a visit.")


def require_may_write(user: AnyUser, visit: Visit) -> None:
    """Raise ``NotAllowed`` for anybody but the technician the visit is booked for."""
    require_may_record(user)
    if visit.technician_id != user.pk:
        raise NotAllowed("This visit is booked for somebody else.")


def require_may_have_calendar(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for auditors, whose pass is for looking in and has an end."""
    if not (is_somebody(user) and user.role != Role.AUDITOR):
        raise NotAllowed("An auditor has no calendar of visits.")


def require_may_plan(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office plans visits.")


def require_may_keep_products(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office keeps the register of products.")


def batches_visible_to(user: AnyUser) -> QuerySet[Batch]:
    """Stock by batch: the office's alone, since its sums are of every client's treatments."""
    if is_somebody(user) and user.role == Role.OFFICE:
        return Batch.objects.all()
    return Batch.objects.none()


def carriers_visible_to(user: AnyUser) -> QuerySet[User]:
    """Whose van may be looked into: every technician's by the office, one's own by oneself."""
    if not is_somebody(user):
        return User.objects.none()
    technicians = User.objects.filter(role=Role.TECHNICIAN, is_active=True)
    if user.role == Role.OFFICE:
        return technicians
    return technicians.filter(pk=user.pk)


def require_may_carry(user: AnyUser, person: User) -> None:
    """Raise ``NotAllowed`` for anybody but the office and the technician whose van it is."""
    if is_somebody(user) and (user.role == Role.OFFICE or user.pk == person.pk):
        return
    raise NotAllowed("What somebody carries is said by themselves or by the office.")


def require_may_keep_guide(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office amends the method guide.")


def require_may_choose_rules(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office chooses the rules for records.")


def require_may_enter_readings(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office enters readings by hand.")


def require_may_let_traps_report(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office says what reports for electronic traps.")


def trap_senders_visible_to(user: AnyUser) -> QuerySet[TrapSender]:
    """Senders of electronic traps at visible sites; the office's alone."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        return TrapSender.objects.none()
    return TrapSender.objects.filter(site__in=sites_visible_to(user))


def require_may_review_baiting(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office reviews baiting.")


def require_may_amend(user: AnyUser, visit: Visit) -> None:
    """Raise ``NotAllowed`` for anybody but the office and the technician who made the visit."""
    if not (is_somebody(user) and user.role in {Role.OFFICE, Role.TECHNICIAN}):
        raise NotAllowed("Only the office or the technician amends a visit.")
    if user.role == Role.TECHNICIAN and visit.technician_id != user.pk:
        raise NotAllowed("Somebody else made this visit.")


def may_amend(user: AnyUser, visit: Visit) -> bool:
    """Whether ``require_may_amend`` would let it pass: for pages that offer it."""
    try:
        require_may_amend(user, visit)
    except NotAllowed:
        return False
    return True
