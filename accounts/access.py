"""Who may see or do what with people and clients; the later apps build on these roots."""

from collections.abc import Callable
from typing import TypeGuard

from django.contrib.auth.models import AnonymousUser
from django.db.models import QuerySet

from accounts.models import Client, Competence, CompetenceKind, Notice, Role, TrailEntry, User
from accounts.refusals import NotAllowed

AnyUser = User | AnonymousUser
Narrowing = Callable[[User, QuerySet[Notice]], QuerySet[Notice]]

_notice_narrowings: list[Narrowing] = []


def is_somebody(user: AnyUser) -> TypeGuard[User]:
    """Whether this is a signed-in person who may still sign in."""
    return bool(user.is_authenticated and user.is_active)


def people_visible_to(user: AnyUser) -> QuerySet[User]:
    """Office sees everybody; others only themselves."""
    if not is_somebody(user):
        return User.objects.none()
    if user.role == Role.OFFICE:
        return User.objects.all()
    return User.objects.filter(pk=user.pk)


def require_office(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but the office."""
    if not (is_somebody(user) and user.role == Role.OFFICE):
        raise NotAllowed("Only the office can do this.")


def require_administrator(user: AnyUser) -> None:
    """Raise ``NotAllowed`` for anybody but an administrator."""
    if not (is_somebody(user) and user.role == Role.OFFICE and user.is_administrator):
        raise NotAllowed("Only an administrator can do this.")


def clients_of(user: AnyUser) -> QuerySet[Client]:
    """Clients a person belongs to by role alone; ``sites.access`` adds those seen through sites."""
    if not is_somebody(user):
        return Client.objects.none()
    if user.role == Role.OFFICE:
        return Client.objects.all()
    if user.role == Role.CLIENT_MANAGER and user.client_id:
        return Client.objects.filter(pk=user.client_id)
    return Client.objects.none()


def require_may_invite(user: AnyUser, role: str) -> None:
    """Raise ``NotAllowed`` unless an administrator asks, or the office for a client's manager."""
    require_office(user)
    if role != Role.CLIENT_MANAGER:
        require_administrator(user)


def require_may_manage(user: AnyUser, person: User) -> None:
    """Raise ``NotAllowed`` unless ``user`` may change what is known of ``person``."""
    require_may_invite(user, person.role)


def may_manage(user: AnyUser, person: User) -> bool:
    """Whether ``require_may_manage`` would let it pass: for pages that offer it."""
    try:
        require_may_manage(user, person)
    except NotAllowed:
        return False
    return True


def competences_visible_to(user: AnyUser) -> QuerySet[Competence]:
    """The office sees everybody's; a technician their own."""
    if not is_somebody(user):
        return Competence.objects.none()
    if user.role == Role.OFFICE:
        return Competence.objects.all()
    return Competence.objects.filter(person_id=user.pk)


def technicians_bookable_by(user: AnyUser) -> QuerySet[User]:
    """Technicians whom the office may book; nobody for others."""
    if is_somebody(user) and user.role == Role.OFFICE:
        return User.objects.filter(role=Role.TECHNICIAN, is_active=True)
    return User.objects.none()


def competence_kinds_visible_to(user: AnyUser) -> QuerySet[CompetenceKind]:
    """The list of kinds: office and technicians."""
    if is_somebody(user) and user.role in {Role.OFFICE, Role.TECHNICIAN}:
        return CompetenceKind.objects.all()
    return CompetenceKind.objects.none()


def trail_visible_to(user: AnyUser) -> QuerySet[TrailEntry]:
    """The whole trail, for administrators of all branches; others meet it in papers."""
    if is_somebody(user) and user.is_administrator and not user.branches.exists():
        return TrailEntry.objects.all()
    return TrailEntry.objects.none()


def narrow_notices(rule: Narrowing) -> None:
    """Have a later room leave out notices about what a person may no longer see."""
    _notice_narrowings.append(rule)


def notices_visible_to(user: AnyUser) -> QuerySet[Notice]:
    """A person's own notices, as far as they may still see what these are about."""
    if not is_somebody(user):
        return Notice.objects.none()
    notices = Notice.objects.filter(person_id=user.pk)
    for narrowed in _notice_narrowings:
        notices = narrowed(user, notices)
    return notices
