"""Placing, moving and removing monitors. A number is used once at a site, for ever."""

from collections.abc import Collection, Sequence
from datetime import date
from typing import Any, TypedDict, Unpack
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable, WrongState
from accounts.trail import record
from sites.keeping import Taken, check, keep_changes, keep_new
from sites.models import Monitor, Site
from sites.services.sites import site_to_keep
from sites.services.zones import plan_of_site, zone_to_place_in

MOST_AT_ONCE = 200


class MonitorFacts(TypedDict, total=False):
    """What may be corrected of a monitor that stands where it stood."""

    number: int
    kind: str
    place: str
    placed_on: date


@transaction.atomic
def place_monitor(
    zone_id: UUID,
    *,
    by: User,
    kind: str,
    placed_on: date,
    number: int | None = None,
    place: str = "",
) -> Monitor:
    """Place one monitor in a zone. Without a number it gets the next one of its site.

    Raises ``Taken`` for a number that the site has or had, ``WrongState`` for a retired zone or
    a closed site.
    """
    zone = zone_to_place_in(zone_id, by=by)
    _require_past(zone.site, placed_on, "placed_on")
    if number is None:
        number = next_number(zone.site)
    else:
        _require_free(zone.site, [number])
    monitor = Monitor(
        site=zone.site, zone=zone, number=number, kind=kind, place=place, placed_on=placed_on
    )
    keep_new(monitor)
    record(by, "monitor.placed", monitor, kind=kind, zone=zone.name, on=placed_on)
    return monitor


@transaction.atomic
def place_monitors(
    zone_id: UUID,
    *,
    by: User,
    kind: str,
    placed_on: date,
    how_many: int,
    first_number: int | None = None,
    place: str = "",
) -> list[Monitor]:
    """Place a run of monitors of one kind in a zone, numbered one after another.

    Without a first number the run follows the site's highest. All are placed or none: raises
    ``Taken`` naming the numbers that are in the way.
    """
    zone = zone_to_place_in(zone_id, by=by)
    _require_past(zone.site, placed_on, "placed_on")
    if not 1 <= how_many <= MOST_AT_ONCE:
        raise Unusable(f"1 to {MOST_AT_ONCE} monitors can be placed at once.", field="how_many")
    first = first_number or next_number(zone.site)
    numbers = range(first, first + how_many)
    _require_free(zone.site, numbers)
    monitors = [
        Monitor(
            site=zone.site, zone=zone, number=number, kind=kind, place=place, placed_on=placed_on
        )
        for number in numbers
    ]
    check(monitors[0])
    try:
        with transaction.atomic():
            Monitor.objects.bulk_create(monitors)
    except IntegrityError as error:
        raise Taken("Somebody has just used one of these numbers; look again.") from error
    record(
        by,
        "monitors.placed",
        zone,
        kind=kind,
        first=numbers[0],
        last=numbers[-1],
        on=placed_on,
    )
    return monitors


def next_number(site: Site) -> int:
    """One more than the highest number that the site has or had. One query."""
    highest: int | None = site.monitors.aggregate(highest=Max("number"))["highest"]
    return (highest or 0) + 1


def _require_free(site: Site, numbers: Collection[int]) -> None:
    held = site.monitors.filter(number__gte=min(numbers), number__lte=max(numbers))
    taken = sorted(held.values_list("number", flat=True))
    if taken:
        words = ", ".join(str(number) for number in taken[:10]) + (
            f" and {len(taken) - 10} more" if len(taken) > 10 else ""
        )
        raise Taken(
            f"This site has, or had, monitor{'s' if len(taken) > 1 else ''} {words}. A number is "
            f"used once, so that old readings keep their meaning; {next_number(site)} is free.",
            taken=taken,
        )


def _require_past(site: Site, day: date, field: str) -> None:
    if day > site.day_of(timezone.now()):
        raise Unusable(f"{day:%-d %b %Y} has not come yet at this site.", field=field)


@transaction.atomic
def move_monitor(monitor_id: UUID, *, by: User, zone_id: UUID, place: str) -> Monitor:
    """Record that a monitor now stands elsewhere; its mark on the plan is taken away.

    Raises ``Unusable`` for a zone of another site: a device carried to another site is removed
    here and placed there.
    """
    monitor = _monitor_to_keep(monitor_id, by=by)
    zone = zone_to_place_in(zone_id, by=by)
    if zone.site_id != monitor.site_id:
        raise Unusable("The zone belongs to another site.", field="zone")
    if (zone.pk, place) == (monitor.zone_id, monitor.place):
        return monitor
    changed = keep_changes(
        monitor, {"zone": zone, "place": place, "plan": None, "x": None, "y": None}
    )
    record(by, "monitor.moved", monitor, changed=changed)
    return monitor


@transaction.atomic
def mark_monitor(
    monitor_id: UUID, *, by: User, plan_id: UUID | None, x: float = 0, y: float = 0
) -> Monitor:
    """Mark on a plan where a monitor stands; no plan takes the mark away.

    ``x`` and ``y`` are fractions (0 to 1) of the plan's width and height, from the top left.
    """
    monitor = _monitor_to_keep(monitor_id, by=by)
    if plan_id is None:
        facts: dict[str, Any] = {"plan": None, "x": None, "y": None}
    else:
        if not (0 <= x <= 1 and 0 <= y <= 1):
            raise Unusable("The mark lies outside the plan.", field="x")
        plan = plan_of_site(plan_id, monitor.site)
        facts = {"plan": plan, "x": round(x, 4), "y": round(y, 4)}
    changed = keep_changes(monitor, facts)
    if changed:
        record(by, "monitor.marked", monitor, changed=changed)
    return monitor


@transaction.atomic
def change_monitor(
    monitor_id: UUID, *, by: User, seen: str = "", **facts: Unpack[MonitorFacts]
) -> Monitor:
    """Correct what is on file for a monitor that has not moved.

    Raises ``Taken`` for a number that the site has or had.
    """
    monitor = _monitor_to_keep(monitor_id, by=by)
    if "placed_on" in facts:
        _require_past(monitor.site, facts["placed_on"], "placed_on")
    changed = keep_changes(monitor, facts, seen=seen)
    if changed:
        record(by, "monitor.changed", monitor, changed=changed)
    return monitor


@transaction.atomic
def remove_monitor(monitor_id: UUID, *, by: User, on: date, reason: str) -> Monitor:
    """Record that a monitor no longer stands; its readings and its number stay.

    ``on`` is a day on the site's calendar, from the day it was placed to today.
    """
    monitor = _monitor_to_keep(monitor_id, by=by)
    _require_past(monitor.site, on, "on")
    keep_changes(monitor, {"removed_on": on})
    record(by, "monitor.removed", monitor, on=on, reason=reason)
    return monitor


@transaction.atomic
def print_labels(site_id: UUID, *, by: User, monitor_ids: Sequence[UUID]) -> list[Monitor]:
    """The monitors whose labels are printed now, by number; that they were goes on the trail.

    Raises ``Unusable`` if none is chosen or one does not stand at this site.
    """
    site = site_to_keep(site_id, by=by)
    chosen = set(monitor_ids)
    monitors = list(
        site.monitors.filter(pk__in=chosen, removed_on=None)
        .select_related("zone")
        .order_by("number", "pk")
    )
    if not chosen or len(monitors) != len(chosen):
        raise Unusable("Choose monitors that stand at this site.", field="monitors")
    record(by, "labels.printed", site, numbers=[monitor.number for monitor in monitors])
    return monitors


def _monitor_to_keep(monitor_id: UUID, *, by: User) -> Monitor:
    site_id = Monitor.objects.values_list("site_id", flat=True).get(pk=monitor_id)
    site = site_to_keep(site_id, by=by)
    monitor = Monitor.objects.select_for_update().get(pk=monitor_id)
    if monitor.removed_on:
        raise WrongState(f"{monitor} was removed on {monitor.removed_on:%-d %b %Y}.")
    monitor.site = site
    return monitor
