"""Putting the drawing of a site on file."""

from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import WrongState
from accounts.trail import record
from sites import access
from sites.keeping import keep_new
from sites.media import CleanImage, clean_plan
from sites.models import SitePlan
from sites.services.sites import require_open_site, site_to_keep


def add_plan(site_id: UUID, *, by: User, title: str, data: bytes, page_number: int = 1) -> SitePlan:
    """Put a plan on file from a picture, or from one page (from 1) of a PDF.

    Raises ``Unusable`` for what cannot be drawn. Decoding happens before the transaction.
    """
    access.require_may_keep_sites(by)
    picture = clean_plan(data, page_number=page_number)
    return _keep(site_id, by=by, title=title, picture=picture)


@transaction.atomic
def _keep(site_id: UUID, *, by: User, title: str, picture: CleanImage) -> SitePlan:
    site = site_to_keep(site_id, by=by)
    require_open_site(site)
    plan = SitePlan(
        site=site,
        title=title,
        mime=picture.mime,
        sha256=picture.sha256,
        width=picture.width,
        height=picture.height,
    )
    plan.image.save(f"{plan.pk}{picture.ending}", ContentFile(picture.data), save=False)
    keep_new(plan)
    record(by, "plan.added", plan, sha256=plan.sha256)
    return plan


@transaction.atomic
def retire_plan(plan_id: UUID, *, by: User) -> SitePlan:
    """Put a plan out of use. Zones and monitors drawn on it wait to be drawn on another."""
    site_id = SitePlan.objects.values_list("site_id", flat=True).get(pk=plan_id)
    site = site_to_keep(site_id, by=by)
    plan = SitePlan.objects.select_for_update().get(pk=plan_id)
    if plan.retired_on:
        raise WrongState(f"{plan} is out of use already.")
    plan.retired_on = site.day_of(timezone.now())
    plan.save(update_fields=["retired_on"])
    monitors = plan.monitors.update(plan=None, x=None, y=None)
    zones = plan.zones.update(plan=None, outline=[])
    record(by, "plan.retired", plan, monitors=monitors, zones=zones)
    return plan
