"""Putting sites on file, keeping them current, and closing them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from itertools import pairwise
from typing import TypedDict, Unpack
from uuid import UUID
from zoneinfo import available_timezones

from django.db import transaction
from django.utils import timezone

from accounts.models import Branch, User
from accounts.refusals import Unusable, WrongState
from accounts.trail import record
from sites import access
from sites.holiday_regions import is_known_region
from sites.keeping import keep_changes, keep_new
from sites.models import AccessWindow, Site


class SiteFacts(TypedDict, total=False):
    """What may be said of a site."""

    branch: Branch | None
    reference: str
    name: str
    address: str
    postcode: str
    time_zone: str
    latitude: Decimal | None
    longitude: Decimal | None
    holiday_region: str
    holiday_rule: str
    access_note: str
    hazards: str
    internal_note: str


@dataclass(frozen=True, slots=True, order=True)
class Opening:
    """A span of one weekday (Monday is 0) in which the premises can be entered, local time."""

    weekday: int
    opens: time
    closes: time


def site_to_keep(site_id: UUID, *, by: User) -> Site:
    """The locked site that ``by`` is about to change something of. One query.

    Raises ``NotAllowed`` for anybody but the office, ``Site.DoesNotExist`` for a site that this
    person may not see.
    """
    access.require_may_keep_sites(by)
    return access.sites_visible_to(by).select_for_update(of=("self",)).get(pk=site_id)


def require_open_site(site: Site) -> None:
    """Raise ``WrongState`` for a site that was closed."""
    if site.closed_on:
        raise WrongState(
            f"{site} was closed on {site.closed_on:%-d %b %Y}; the office can open it again.",
            closed_on=site.closed_on,
        )


def _require_known(facts: SiteFacts) -> None:
    zone, region = facts.get("time_zone"), facts.get("holiday_region")
    if zone is not None and zone not in available_timezones():
        raise Unusable(f"There is no time zone called “{zone}”.", field="time_zone")
    if region and not is_known_region(region):
        raise Unusable(f"No public holidays are known for “{region}”.", field="holiday_region")


@transaction.atomic
def add_site(client_id: UUID, *, by: User, **facts: Unpack[SiteFacts]) -> Site:
    """Put a site of a client on file; ``reference``, ``name`` and ``address`` are needed.

    Raises ``Taken`` for a reference that another site has.
    """
    access.require_may_keep_sites(by)
    client = access.clients_visible_to(by).select_for_update(of=("self",)).get(pk=client_id)
    if client.closed_on:
        raise WrongState(f"{client} is no longer a client; change that first.")
    _require_known(facts)
    site = Site(client=client, **facts)
    keep_new(site)
    record(by, "site.added", site, reference=site.reference, client=client.name)
    return site


@transaction.atomic
def change_site(site_id: UUID, *, by: User, seen: str = "", **facts: Unpack[SiteFacts]) -> Site:
    """Change what is on file for a site; changing nothing leaves no entry on the trail.

    ``seen`` is the fingerprint of the same facts as they were shown; ``Changed`` is raised if
    somebody else wrote since.
    """
    site = site_to_keep(site_id, by=by)
    _require_known(facts)
    changed = keep_changes(site, facts, seen=seen)
    if changed:
        record(by, "site.changed", site, changed=changed)
    return site


@transaction.atomic
def close_site(site_id: UUID, *, by: User, on: date, reason: str) -> Site:
    """Close a site: nothing more is placed or planned there, and its record stays readable.

    ``on`` is a day on the site's calendar, not later than today.
    """
    site = site_to_keep(site_id, by=by)
    require_open_site(site)
    if on > site.day_of(timezone.now()):
        raise Unusable(
            "A site is closed when it has closed; give the contract its last day instead.",
            field="on",
        )
    site.closed_on = on
    site.save(update_fields=["closed_on"])
    record(by, "site.closed", site, on=on, reason=reason)
    return site


@transaction.atomic
def reopen_site(site_id: UUID, *, by: User, reason: str) -> Site:
    """Open a closed site again."""
    site = site_to_keep(site_id, by=by)
    if site.closed_on is None:
        raise WrongState(f"{site} is open already.")
    was, site.closed_on = site.closed_on, None
    site.save(update_fields=["closed_on"])
    record(by, "site.reopened", site, was_closed_on=was, reason=reason)
    return site


@transaction.atomic
def set_access_windows(site_id: UUID, *, by: User, windows: Sequence[Opening]) -> Site:
    """Say when the premises can be entered, in place of what was said before; none means any time.

    Raises ``Unusable`` for a span that ends before it starts or overlaps another.
    """
    site = site_to_keep(site_id, by=by)
    wanted = sorted(windows)
    require_sound(wanted)
    held = sorted(
        Opening(*row)
        for row in site.access_windows.order_by("pk").values_list("weekday", "opens", "closes")
    )
    if wanted != held:
        site.access_windows.all().delete()
        AccessWindow.objects.bulk_create(
            AccessWindow(site=site, weekday=one.weekday, opens=one.opens, closes=one.closes)
            for one in wanted
        )
        record(by, "access.changed", site, changed={"windows": [_told(held), _told(wanted)]})
    return site


def require_sound(wanted: Sequence[Opening]) -> None:
    """Raise ``Unusable`` for spans (sorted) that end before they start or overlap."""
    for one in wanted:
        if one.weekday not in AccessWindow.Weekday.values:
            raise Unusable("A week has seven days, Monday (0) to Sunday (6).")
        if one.closes <= one.opens:
            raise Unusable(
                f"On {AccessWindow.Weekday(one.weekday).label} it closes before it opens; "
                "give two rows for a span over midnight."
            )
    for one, following in pairwise(wanted):
        if one.weekday == following.weekday and following.opens < one.closes:
            raise Unusable(f"Two spans on {AccessWindow.Weekday(one.weekday).label} overlap.")


def _told(windows: Sequence[Opening]) -> list[str]:
    return [
        f"{AccessWindow.Weekday(one.weekday).label} {one.opens:%H:%M}–{one.closes:%H:%M}"
        for one in windows
    ]
