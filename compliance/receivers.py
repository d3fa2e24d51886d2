"""What this app does when those before it speak."""

from typing import Any
from uuid import UUID

from django.dispatch import receiver

from compliance.services.actions import raise_actions_of_visit
from visits.signals import visit_closed


@receiver(visit_closed)
def raise_actions(sender: type, visit_id: UUID, **facts: Any) -> None:
    """Raise the actions of a visit as soon as it is closed; a sweep finds it otherwise."""
    raise_actions_of_visit(visit_id)
