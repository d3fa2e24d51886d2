"""The part that this room adds to the day's package: the open actions of its sites."""

from collections import defaultdict
from collections.abc import Collection
from typing import Any
from uuid import UUID

from accounts.models import User
from compliance.access import actions_visible_to
from compliance.models import CorrectiveAction
from compliance.queries.actions import still_to_do
from visits.package_parts import BySite, register


def open_actions(technician: User, site_ids: Collection[UUID]) -> BySite:
    """By site, what somebody still has to do, each by its day. One query.

    Nothing of options, of what they cost, or of what the office notes for itself.
    """
    found: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    actions = actions_visible_to(technician).filter(still_to_do(), site__in=site_ids)
    for one in actions.select_related("zone").order_by("due_on", "pk"):
        found[one.site_id].append(
            {
                "title": one.title,
                "kind_words": one.get_kind_display(),
                "state_words": _standing(one),
                "whose_move": one.get_whose_move_display(),
                "due_on": one.due_on,
                "zone": one.zone.name if one.zone else "",
            }
        )
    return found


def _standing(action: CorrectiveAction) -> str:
    """How an action stands; of finished work, what this visit is to do about it."""
    if action.state == CorrectiveAction.State.DONE:
        return "Done: check it on this visit"
    return action.get_state_display()


def register_parts() -> None:
    """Add this room's part to the day's package."""
    register("actions", open_actions)
