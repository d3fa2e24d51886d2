"""What this app does when those before it speak, and after its own visits close."""

from typing import Any
from uuid import UUID

from django.apps import apps as apps_of_today
from django.apps.registry import Apps
from django.db.models.signals import post_migrate
from django.dispatch import receiver
from django.utils import timezone

from visits.services.follow_ups_proposed import propose_follow_ups_of
from visits.services.guide import ensure_guide_lines
from visits.signals import visit_closed
from visits.usual_pests import COUNTED_PESTS, USUAL_PESTS


@receiver(post_migrate)
def keep_usual_pests(sender: Any, using: str, apps: Apps = apps_of_today, **facts: Any) -> None:
    """Add the usual pests that are not on file once the tables are there; never change one."""
    if sender.label != "visits":
        return
    try:
        pests = apps.get_model("visits", "Pest")._base_manager.using(using)
    except LookupError:  # migrated back to before there were pests
        return
    known = set(pests.values_list("slug", flat=True))
    for slug, name, group in USUAL_PESTS + COUNTED_PESTS:
        if slug not in known:
            pests.create(slug=slug, name=name, group=group)


@receiver(post_migrate)
def keep_guide_lines(sender: Any, using: str, apps: Apps = apps_of_today, **facts: Any) -> None:
    """Bring the method guide up to this release once the table is there; see ``services.guide``."""
    if sender.label != "visits":
        return
    try:
        lines = apps.get_model("visits", "GuideLine")._default_manager.using(using)
    except LookupError:  # migrated back to before there was a guide
        return
    ensure_guide_lines(lines.all(), today=timezone.now().date())


@receiver(visit_closed)
def propose_when_to_look_again(sender: type, visit_id: UUID, **facts: Any) -> None:
    """Propose follow-ups as soon as a visit is closed; the sweep finds it otherwise."""
    propose_follow_ups_of(visit_id)
