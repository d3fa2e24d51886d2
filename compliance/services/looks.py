"""Every look of an auditor at a site goes on the trail, where the client can read it."""

from collections.abc import Iterable
from datetime import date, datetime, time
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import TrailEntry, User
from accounts.trail import record_each, stream_of
from sites.access import valid_pass_sites
from sites.models import Site

VIEWED = "site.viewed"


@transaction.atomic
def record_looks(site_ids: Iterable[UUID], *, by: User, at: datetime | None = None) -> int:
    """Note that an auditor looked at sites, once a site and day, and say how many were new.

    Days are the site's own. Sites that no pass of theirs names are left out: there was nothing to
    see. Two queries where all was noted before, seven else, however many sites.
    """
    at = at or timezone.now()
    named = valid_pass_sites(by).filter(site__in=list(site_ids)).values("site_id")
    sites = list(Site.objects.filter(pk__in=named).order_by("pk"))
    new = _new(sites, by, at)
    if new:
        # Two pages opened at once wait for each other here, and the second looks again.
        User.objects.select_for_update(no_key=True).get(pk=by.pk)
        new = _new(new, by, at)
        record_each(by, VIEWED, new, at=at)
    return len(new)


def _new(sites: list[Site], by: User, at: datetime) -> list[Site]:
    noted = _noted(sites, by, at)
    return [site for site in sites if site.day_of(at) not in noted[site.pk]]


def _noted(sites: list[Site], by: User, at: datetime) -> dict[UUID, set[date]]:
    """The days, from that of ``at`` on, on which this person's looks at each site are noted."""
    days: dict[UUID, set[date]] = {site.pk: set() for site in sites}
    by_stream = {stream_of(site): site for site in sites}
    if not sites:
        return days
    earliest = min(datetime.combine(site.day_of(at), time.min, site.zone_info) for site in sites)
    seen = TrailEntry.objects.filter(
        stream__in=by_stream, verb=VIEWED, actor=by, at__gte=earliest
    ).values_list("stream_id", "at")
    for stream, seen_at in seen:
        site = by_stream[stream]
        days[site.pk].add(site.day_of(seen_at))
    return days
