"""What this app does when those before it speak."""

from typing import Any
from uuid import UUID

from django.apps import apps as apps_of_today
from django.apps.registry import Apps
from django.db.models.signals import post_migrate, post_save
from django.dispatch import receiver
from django.utils import timezone

from accounts.wake import wake
from compliance.models import ActionMessage, CorrectiveAction
from compliance.services.actions import raise_actions_of_visit
from compliance.tasks import find_breaches, tell_people
from compliance.usual_thresholds import ensure_usual_thresholds
from visits.signals import readings_came, visit_closed


@receiver(visit_closed)
def raise_actions(sender: type, visit_id: UUID, **facts: Any) -> None:
    """Raise the actions of a visit as soon as it is closed; a sweep finds it otherwise."""
    raise_actions_of_visit(visit_id)


@receiver(visit_closed)
@receiver(readings_came)
def look_for_breaches(sender: type, **facts: Any) -> None:
    """Have thresholds looked at as soon as readings count; the sweep finds them otherwise.

    Neither counting nor judging is woken: both are about whole months.
    """
    wake(find_breaches)


@receiver(post_save, sender=ActionMessage)
@receiver(post_save, sender=CorrectiveAction)
def have_people_told(
    sender: type, instance: ActionMessage | CorrectiveAction, **facts: Any
) -> None:
    """Have what has just happened told soon; the sweep finds it otherwise.

    Many actions may be raised at once, and nobody is told at once of those: they wake nothing.
    """
    if getattr(instance, "state", "") != CorrectiveAction.State.RAISED:
        wake(tell_people)


@receiver(post_migrate)
def keep_usual_thresholds(
    sender: Any, using: str, apps: Apps = apps_of_today, **facts: Any
) -> None:
    """Add the usual thresholds once the tables are there, unless they were ever on file."""
    if sender.label != "compliance":
        return
    try:
        thresholds = apps.get_model("compliance", "ActionThreshold")._default_manager.using(using)
        pests = apps.get_model("visits", "Pest")._default_manager.using(using)
    except LookupError:  # migrated back to before there were thresholds
        return
    ensure_usual_thresholds(thresholds.all(), pests.all(), today=timezone.now().date())
