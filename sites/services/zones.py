"""Dividing a site into zones, and saying what is looked at in each on the walk."""

from collections.abc import Sequence
from typing import TypedDict, Unpack
from uuid import UUID

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Changed, Unusable, WrongState
from accounts.trail import record
from sites.keeping import keep_changes, keep_new
from sites.models import Checkpoint, Height, Site, SitePlan, Zone
from sites.services.sites import require_open_site, site_to_keep
from sites.starting_checkpoints import starting_places

MOST_CORNERS = 60
Corner = tuple[float, float]


class ZoneFacts(TypedDict, total=False):
    """What may be said of a zone."""

    name: str
    kind: str
    boundary: str
    boundary_note: str


class CheckpointFacts(TypedDict, total=False):
    """What may be said of a checkpoint."""

    height: str
    label: str


@transaction.atomic
def add_zone(
    site_id: UUID,
    *,
    by: User,
    places: Sequence[tuple[str, str]] | None = None,
    **facts: Unpack[ZoneFacts],
) -> Zone:
    """Add a zone at the end of the walk, with its checkpoints; ``name`` and ``kind`` are needed.

    ``places`` are heights and words of the checkpoints in walking order; left out, the zone gets
    the starting set of its kind. Raises ``Taken`` for a name that the site has or had.
    """
    site = site_to_keep(site_id, by=by)
    require_open_site(site)
    last = site.zones.aggregate(last=Max("walk_order"))["last"]
    zone = Zone(site=site, walk_order=0 if last is None else last + 1, **facts)
    keep_new(zone)
    chosen = starting_places(zone.kind) if places is None else list(places)
    Checkpoint.objects.bulk_create(_checkpoints(zone, chosen))
    record(by, "zone.added", zone, kind=zone.kind, boundary=zone.boundary, checkpoints=len(chosen))
    return zone


def _checkpoints(zone: Zone, places: Sequence[tuple[str, str]]) -> list[Checkpoint]:
    labels = [label.casefold() for _, label in places]
    if len(set(labels)) < len(labels):
        raise Unusable("Two checkpoints of one zone have the same words.", field="places")
    rows = [
        Checkpoint(zone=zone, height=height, label=label, walk_order=order)
        for order, (height, label) in enumerate(places)
    ]
    for row in rows:
        if row.height not in Height.values or not row.label.strip() or len(row.label) > 120:
            raise Unusable(
                f"“{row.label[:40]}” is no checkpoint: it needs a height and up to 120 characters.",
                field="places",
            )
    return rows


@transaction.atomic
def change_zone(zone_id: UUID, *, by: User, seen: str = "", **facts: Unpack[ZoneFacts]) -> Zone:
    """Change a zone's name, kind or boundary. Its checkpoints stay as they are."""
    zone = _zone_to_keep(zone_id, by=by)
    changed = keep_changes(zone, facts, seen=seen)
    if changed:
        record(by, "zone.changed", zone, changed=changed)
    return zone


@transaction.atomic
def retire_zone(zone_id: UUID, *, by: User, reason: str) -> Zone:
    """Take a zone off the walk; what was recorded there stays.

    Raises ``WrongState`` while monitors stand in it.
    """
    zone = _zone_to_keep(zone_id, by=by)
    _require_standing(zone)
    standing = zone.monitors.filter(removed_on=None).count()
    if standing:
        raise WrongState(
            f"{zone} still has {standing} monitor{'s' if standing > 1 else ''}; "
            "move or remove them first.",
            monitors=standing,
        )
    zone.retired_on = zone.site.day_of(timezone.now())
    zone.save(update_fields=["retired_on"])
    record(by, "zone.retired", zone, reason=reason)
    return zone


@transaction.atomic
def bring_back_zone(zone_id: UUID, *, by: User) -> Zone:
    """Put a retired zone back on the walk, at its old place."""
    zone = _zone_to_keep(zone_id, by=by)
    require_open_site(zone.site)
    if zone.retired_on is None:
        raise WrongState(f"{zone} is on the walk already.")
    was, zone.retired_on = zone.retired_on, None
    zone.save(update_fields=["retired_on"])
    record(by, "zone.brought_back", zone, was_retired_on=was)
    return zone


@transaction.atomic
def order_zones(site_id: UUID, *, by: User, zone_ids: Sequence[UUID]) -> Site:
    """Set the walking order: every zone on the walk once, first to last.

    Raises ``Changed`` if these are not the zones that are on the walk now.
    """
    site = site_to_keep(site_id, by=by)
    zones = list(site.zones.filter(retired_on=None).order_by("walk_order", "pk"))
    if sorted(zone_ids) != sorted(zone.pk for zone in zones):
        raise Changed("The zones of this site have changed meanwhile; look at the list again.")
    before = [zone.pk for zone in zones]
    if before != list(zone_ids):
        by_id = {zone.pk: zone for zone in zones}
        ordered = [by_id[zone_id] for zone_id in zone_ids]
        for order, zone in enumerate(ordered):
            zone.walk_order = order
        Zone.objects.bulk_update(ordered, ["walk_order"])
        record(by, "zones.ordered", site, order=[zone.name for zone in ordered])
    return site


@transaction.atomic
def draw_zone(
    zone_id: UUID, *, by: User, plan_id: UUID | None, corners: Sequence[Corner] = ()
) -> Zone:
    """Draw a zone's outline on a plan; no plan takes the drawing away.

    Corners are fractions (0 to 1) of the plan's width and height, from the top left, at least
    three, in order round the outline.
    """
    zone = _zone_to_keep(zone_id, by=by)
    if plan_id is None:
        zone.plan, zone.outline = None, []
    else:
        zone.plan = plan_of_site(plan_id, zone.site)
        zone.outline = [[_fraction(x), _fraction(y)] for x, y in corners]
        if not 3 <= len(zone.outline) <= MOST_CORNERS:
            raise Unusable(f"An outline needs 3 to {MOST_CORNERS} corners.", field="corners")
    zone.save(update_fields=["plan", "outline"])
    record(by, "zone.placed", zone, plan=zone.plan and zone.plan.title, corners=len(zone.outline))
    return zone


def plan_of_site(plan_id: UUID, site: Site) -> SitePlan:
    """A plan of this very site that is in use; ``Unusable`` for any other."""
    plan = SitePlan.objects.filter(pk=plan_id, site=site, retired_on=None).first()
    if plan is None:
        raise Unusable("This site has no such plan in use.", field="plan")
    return plan


def _fraction(value: float) -> float:
    if not 0 <= value <= 1:
        raise Unusable("A corner lies outside the plan.", field="corners")
    return round(float(value), 4)


@transaction.atomic
def add_checkpoint(zone_id: UUID, *, by: User, **facts: Unpack[CheckpointFacts]) -> Checkpoint:
    """Add a place to look at, last at its height; ``height`` and ``label`` are needed.

    A retired place with the same words is brought back, so that its past stays with it.
    """
    zone = _zone_to_keep(zone_id, by=by)
    _require_standing(zone)
    last = zone.checkpoints.aggregate(last=Max("walk_order"))["last"]
    order = 0 if last is None else last + 1
    retired = zone.checkpoints.filter(
        label__iexact=facts.get("label", ""), retired_on__isnull=False
    ).first()
    if retired:
        keep_changes(retired, {**facts, "retired_on": None, "walk_order": order})
        record(by, "checkpoint.added", retired, zone=zone.name, again=True)
        return retired
    checkpoint = Checkpoint(zone=zone, walk_order=order, **facts)
    keep_new(checkpoint)
    record(by, "checkpoint.added", checkpoint, zone=zone.name, height=checkpoint.height)
    return checkpoint


@transaction.atomic
def change_checkpoint(
    checkpoint_id: UUID, *, by: User, seen: str = "", **facts: Unpack[CheckpointFacts]
) -> Checkpoint:
    """Change a place's words or height."""
    checkpoint = _checkpoint_to_keep(checkpoint_id, by=by)
    changed = keep_changes(checkpoint, facts, seen=seen)
    if changed:
        record(by, "checkpoint.changed", checkpoint, zone=checkpoint.zone.name, changed=changed)
    return checkpoint


@transaction.atomic
def retire_checkpoint(checkpoint_id: UUID, *, by: User) -> Checkpoint:
    """Take a place off the walk; what was recorded there stays."""
    checkpoint = _checkpoint_to_keep(checkpoint_id, by=by)
    if checkpoint.retired_on:
        raise WrongState(f"“{checkpoint}” is off the walk already.")
    checkpoint.retired_on = checkpoint.zone.site.day_of(timezone.now())
    checkpoint.save(update_fields=["retired_on"])
    record(by, "checkpoint.retired", checkpoint, zone=checkpoint.zone.name)
    return checkpoint


def zone_to_place_in(zone_id: UUID, *, by: User) -> Zone:
    """The locked zone that something is about to be placed in, at an open site, on the walk."""
    zone = _zone_to_keep(zone_id, by=by)
    require_open_site(zone.site)
    _require_standing(zone)
    return zone


def _require_standing(zone: Zone) -> None:
    if zone.retired_on:
        raise WrongState(f"{zone} was retired on {zone.retired_on:%-d %b %Y}; bring it back first.")


def _zone_to_keep(zone_id: UUID, *, by: User) -> Zone:
    site_id = Zone.objects.values_list("site_id", flat=True).get(pk=zone_id)
    site = site_to_keep(site_id, by=by)
    zone = Zone.objects.select_for_update().get(pk=zone_id)
    zone.site = site
    return zone


def _checkpoint_to_keep(checkpoint_id: UUID, *, by: User) -> Checkpoint:
    zone_id = Checkpoint.objects.values_list("zone_id", flat=True).get(pk=checkpoint_id)
    zone = _zone_to_keep(zone_id, by=by)
    checkpoint = Checkpoint.objects.select_for_update().get(pk=checkpoint_id)
    checkpoint.zone = zone
    return checkpoint
