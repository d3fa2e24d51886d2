"""What a client's manager decides at one sitting."""

from collections.abc import Iterable, Sequence
from uuid import UUID

from django.db.models import QuerySet

from accounts.models import User
from compliance.access import actions_visible_to
from compliance.models import ActionPhoto, CorrectiveAction
from compliance.queries.asked import waiting_for
from sites.models import Site


def to_decide_at_a_sitting(user: User, *, site: Site | None = None) -> QuerySet[CorrectiveAction]:
    """What waits for this manager's decision, site by site, each by its day. One query."""
    waiting = waiting_for(actions_visible_to(user), user)
    if site:
        waiting = waiting.filter(site=site)
    return _site_by_site(waiting)


def to_sign_at_a_sitting(user: User, action_ids: Iterable[UUID]) -> QuerySet[CorrectiveAction]:
    """These actions, those that the manager sees, in the same order. One query.

    Who is asked does not matter: what was answered may be signed.
    """
    return _site_by_site(actions_visible_to(user).filter(pk__in=list(action_ids)))


def _site_by_site(actions: QuerySet[CorrectiveAction]) -> QuerySet[CorrectiveAction]:
    return actions.select_related("site__client", "zone", "visit").order_by(
        "site__name", "site_id", "due_on", "pk"
    )


def first_photos_of(actions: Sequence[CorrectiveAction]) -> dict[UUID, UUID]:
    """The first photo of each action as it was found, where there is one. One query."""
    shown = ActionPhoto.objects.filter(
        action__in=actions, moment=ActionPhoto.Moment.BEFORE
    ).order_by("photo__created_at", "pk")
    first: dict[UUID, UUID] = {}
    for action_id, photo_id in shown.values_list("action_id", "photo_id"):
        first.setdefault(action_id, photo_id)
    return first
