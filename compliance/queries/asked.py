"""Whom an action waits for. Who may no longer sign in or see the site counts as nobody."""

from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db.models import Exists, OuterRef, Q, QuerySet

from accounts.models import Role, User
from compliance.access import may_be_asked
from compliance.models import CorrectiveAction
from sites.models import SiteGrant


def with_who_is_asked(actions: QuerySet[CorrectiveAction]) -> QuerySet[CorrectiveAction]:
    """The actions with ``asked_stands``: whether somebody is asked who may still decide."""
    return actions.annotate(asked_stands=_asked_stands())


def waiting_for(actions: QuerySet[CorrectiveAction], user: User) -> QuerySet[CorrectiveAction]:
    """Those that wait for this manager's decision: asked of them, or of nobody in particular."""
    waiting = actions.filter(state=CorrectiveAction.State.PRICED)
    return waiting.filter(Q(asked=user) | ~_asked_stands())


def waiting_for_others(
    actions: QuerySet[CorrectiveAction], user: User
) -> QuerySet[CorrectiveAction]:
    """Those that a colleague is asked to decide; this manager may decide them all the same."""
    waiting = actions.filter(_asked_stands(), state=CorrectiveAction.State.PRICED)
    return waiting.exclude(asked=user)


def _asked_stands() -> Exists:
    """Whether whoever is asked may still decide: for many sites what ``may_be_asked`` says of one.

    It costs no query of its own.
    """
    grants = SiteGrant.objects.filter(person_id=OuterRef("pk"))
    asked = User.objects.filter(
        Exists(grants.filter(site_id=OuterRef(OuterRef("site_id")))) | ~Exists(grants),
        pk=OuterRef("asked_id"),
        role=Role.CLIENT_MANAGER,
        client_id=OuterRef("site__client_id"),
        is_active=True,
    )
    return Exists(asked.exclude(password__startswith=UNUSABLE_PASSWORD_PREFIX))


def who_is_asked(action: CorrectiveAction) -> User | None:
    """The manager who is asked to decide an action that waits. One query where somebody is."""
    if action.asked_id is None or action.state != CorrectiveAction.State.PRICED:
        return None
    return may_be_asked(action).filter(pk=action.asked_id).first()
