"""What this app does when those before it speak."""

from typing import Any

from django.apps import apps as apps_of_today
from django.apps.registry import Apps
from django.db.models.signals import post_migrate
from django.dispatch import receiver

from visits.usual_pests import USUAL_PESTS


@receiver(post_migrate)
def keep_usual_pests(sender: Any, using: str, apps: Apps = apps_of_today, **facts: Any) -> None:
    """Add the usual pests that are not on file once the tables are there; never change one."""
    if sender.label != "visits":
        return
    try:
        pests = apps.get_model("visits", "Pest")._default_manager.using(using)
    except LookupError:  # migrated back to before there were pests
        return
    known = set(pests.values_list("slug", flat=True))
    for slug, name, group in USUAL_PESTS:
        if slug not in known:
            pests.create(slug=slug, name=name, group=group)
