"""Reads of sites and what is in them for pages, papers and programs; each states its cost."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import (
    Case,
    Count,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce

from accounts.models import Client, Role, User
from sites.models import (
    Checkpoint,
    Contract,
    Document,
    Height,
    Monitor,
    Site,
    SiteGrant,
    SitePlan,
    Zone,
)

PLAN_WIDTH = 800  # units of a drawn plan's width; a pin is about 32 of them wide
EXPIRY_NOTICE_DAYS = 60


def sites_found(
    sites: QuerySet[Site],
    *,
    text: str = "",
    client_id: UUID | None = None,
    branch_id: UUID | None = None,
    with_closed: bool = False,
) -> QuerySet[Site]:
    """Those that fit every filter that is given; text is looked for in names and places."""
    if text:
        sites = sites.filter(
            Q(name__icontains=text)
            | Q(reference__icontains=text)
            | Q(address__icontains=text)
            | Q(postcode__icontains=text)
            | Q(client__name__icontains=text)
        )
    if client_id:
        sites = sites.filter(client_id=client_id)
    if branch_id:
        sites = sites.filter(branch_id=branch_id)
    return sites if with_closed else sites.filter(closed_on=None)


def sites_listed(sites: QuerySet[Site]) -> QuerySet[Any]:
    """By client and name, each with ``zones_walked`` and ``monitors_standing``. One query."""
    return (
        sites.select_related("client", "branch")
        .annotate(
            zones_walked=_count_of(Zone.objects.filter(retired_on=None), "site"),
            monitors_standing=_count_of(Monitor.objects.filter(removed_on=None), "site"),
        )
        .order_by("client__name", "name", "pk")
    )


def clients_found(
    clients: QuerySet[Client], *, text: str = "", with_closed: bool = False
) -> QuerySet[Client]:
    """Those whose name or reference has the text; former clients only where asked for."""
    if text:
        clients = clients.filter(Q(name__icontains=text) | Q(reference__icontains=text))
    return clients if with_closed else clients.filter(closed_on=None)


def clients_listed(clients: QuerySet[Client], sites: QuerySet[Site]) -> QuerySet[Any]:
    """By name, each with ``sites_open``, counted among ``sites`` only. One query."""
    still_open = sites.filter(closed_on=None)
    return clients.annotate(sites_open=_count_of(still_open, "client")).order_by("name", "pk")


def zones_walked(site: Site) -> QuerySet[Any]:
    """The zones of a site's walk in walking order, each with ``places`` (checkpoints on the walk)
    and ``monitors_standing``. One query."""
    return _zones_counted(site.zones.filter(retired_on=None)).order_by("walk_order", "pk")


def zones_retired(site: Site) -> QuerySet[Zone]:
    """The zones that are off the walk, last retired first. One query."""
    return site.zones.filter(retired_on__isnull=False).order_by("-retired_on", "pk")


def _zones_counted(zones: QuerySet[Zone]) -> QuerySet[Any]:
    return zones.annotate(
        places=_count_of(Checkpoint.objects.filter(retired_on=None), "zone"),
        monitors_standing=_count_of(Monitor.objects.filter(removed_on=None), "zone"),
    )


@dataclass(frozen=True, slots=True)
class PlacesAt:
    """The checkpoints of a zone at one height, in walking order."""

    height: str
    label: str
    places: list[Checkpoint]


def places_by_height(zone: Zone) -> list[PlacesAt]:
    """A zone's checkpoints on the walk, low first; every height is there. One query."""
    places = list(zone.checkpoints.filter(retired_on=None).order_by("walk_order", "pk"))
    return [
        PlacesAt(height.value, str(height.label), [one for one in places if one.height == height])
        for height in Height
    ]


def monitors_found(
    monitors: QuerySet[Monitor],
    *,
    zone_id: UUID | None = None,
    kind: str = "",
    with_removed: bool = False,
) -> QuerySet[Monitor]:
    """Those that fit every filter that is given."""
    if zone_id:
        monitors = monitors.filter(zone_id=zone_id)
    if kind:
        monitors = monitors.filter(kind=kind)
    return monitors if with_removed else monitors.filter(removed_on=None)


def monitors_listed(monitors: QuerySet[Monitor]) -> QuerySet[Monitor]:
    """By number, with their zones and plans. One query."""
    return monitors.select_related("zone", "plan").order_by("number", "pk")


def monitors_numbered(
    monitors: QuerySet[Monitor], *, first: int | None = None, last: int | None = None
) -> QuerySet[Monitor]:
    """Those whose number lies within the ends that are given, both included."""
    if first is not None:
        monitors = monitors.filter(number__gte=first)
    return monitors if last is None else monitors.filter(number__lte=last)


@dataclass(frozen=True, slots=True)
class MonitorCount:
    """How many monitors of one kind stand in one zone."""

    zone: str
    kind: str
    standing: int

    @property
    def kind_words(self) -> str:
        return Monitor.Kind(self.kind).label


def monitor_counts(site: Site) -> list[MonitorCount]:
    """Standing monitors by zone in walking order and by kind. One query."""
    rows = (
        site.monitors.filter(removed_on=None)
        .values("zone__walk_order", "zone_id", "zone__name", "kind")
        .annotate(standing=Count("pk"))
        .order_by("zone__walk_order", "zone_id", "kind")
    )
    return [MonitorCount(row["zone__name"], row["kind"], row["standing"]) for row in rows]


def contracts_of(contracts: QuerySet[Contract]) -> QuerySet[Contract]:
    """Newest first, each with who is told of what stays undecided. One query."""
    return contracts.select_related("escalate_to").order_by("-starts_on", "pk")


def people_who_see(sites: Iterable[Site]) -> dict[UUID, list[User]]:
    """The office's people and the client's managers who may look at each site, by role and name.

    Only those who may still sign in. This is ``access.sites_visible_to`` of these roles the other
    way round, for many sites at once. Three queries, whatever their number.
    """
    sites = list(sites)
    office, manager = Q(role=Role.OFFICE), Q(role=Role.CLIENT_MANAGER)
    found = User.objects.filter(
        office | manager & Q(client_id__in={site.client_id for site in sites}), is_active=True
    )
    people = list(found.order_by("role", "name", "pk"))
    branches: dict[UUID, set[UUID]] = defaultdict(set)
    for person_id, branch_id in User.branches.through.objects.filter(
        user__role=Role.OFFICE
    ).values_list("user_id", "branch_id"):
        branches[person_id].add(branch_id)
    listed: dict[UUID, set[UUID]] = defaultdict(set)
    for person_id, site_id in SiteGrant.objects.filter(
        person__client_id__in={site.client_id for site in sites}
    ).values_list("person_id", "site_id"):
        listed[person_id].add(site_id)

    def sees(person: User, site: Site) -> bool:
        if person.role == Role.OFFICE:
            limits = branches.get(person.pk)
            return not limits or site.branch_id is None or site.branch_id in limits
        limits = listed.get(person.pk)
        return person.client_id == site.client_id and (not limits or site.pk in limits)

    return {site.pk: [person for person in people if sees(person, site)] for site in sites}


def people_to_escalate_to(site: Site) -> QuerySet[User]:
    """Who may be told of what stays undecided at a site, by role and name. Four queries."""
    seeing = people_who_see([site])[site.pk]
    return User.objects.filter(pk__in=[person.pk for person in seeing]).order_by(
        "role", "name", "pk"
    )


def documents_listed(documents: QuerySet[Document], today: date) -> QuerySet[Any]:
    """The papers that hold: neither withdrawn nor replaced; soonest to expire first. One query.

    Each has ``expiry``: expired, expiring (within sixty days), current, or nothing.
    """
    soon = today + timedelta(days=EXPIRY_NOTICE_DAYS)
    return (
        documents.filter(withdrawn_at=None, replaced_by=None)
        .select_related("site", "client")
        .annotate(
            expiry=Case(
                When(expires_on__lt=today, then=Value("expired")),
                When(expires_on__lte=soon, then=Value("expiring")),
                When(expires_on__isnull=False, then=Value("current")),
                default=Value(""),
            )
        )
        .order_by(F("expires_on").asc(nulls_last=True), "kind", "title", "pk")
    )


def documents_put_aside(documents: QuerySet[Document]) -> QuerySet[Document]:
    """The papers that were withdrawn or replaced, newest first. One query."""
    return (
        documents.exclude(withdrawn_at=None, replaced_by=None)
        .select_related("site", "client", "replaced_by")
        .order_by("-created_at", "pk")
    )


def documents_shown_at(documents: QuerySet[Document], site: Site) -> QuerySet[Document]:
    """The papers of a site, of its client and of the company."""
    return documents.filter(
        Q(site=site) | Q(client=site.client_id) | Q(site__isnull=True, client__isnull=True)
    )


@dataclass(frozen=True, slots=True)
class DrawnZone:
    """A zone's outline in the drawing's own units."""

    pk: UUID
    name: str
    boundary: str
    points: str
    label_x: float
    label_y: float


@dataclass(frozen=True, slots=True)
class DrawnPin:
    """A monitor's mark in the drawing's own units."""

    pk: UUID
    number: int
    kind: str
    title: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """A plan with everything that is marked on it; ``width`` is always 800 units."""

    plan: SitePlan
    width: int
    height: int
    zones: list[DrawnZone]
    pins: list[DrawnPin]

    @property
    def kinds(self) -> list[tuple[str, str]]:
        """The kinds of monitor that are marked, with their words, for the legend."""
        seen = {pin.kind for pin in self.pins}
        return [(kind, words) for kind, words in Monitor.Kind.choices if kind in seen]


def drawing_of(plan: SitePlan) -> Drawing:
    """A plan as it is drawn on pages and papers: zones in use, monitors that stand. Two queries."""
    height = round(PLAN_WIDTH * plan.height / plan.width)
    zones = plan.zones.filter(retired_on=None).order_by("walk_order", "pk")
    pins = (
        plan.monitors.filter(removed_on=None, x__isnull=False)
        .select_related("zone")
        .order_by("number", "pk")
    )
    return Drawing(
        plan=plan,
        width=PLAN_WIDTH,
        height=height,
        zones=[_drawn_zone(zone, height) for zone in zones if zone.outline],
        pins=[_drawn_pin(monitor, height) for monitor in pins],
    )


def outline_points(corners: Iterable[Sequence[float]], height: int) -> str:
    """Corners (0 to 1) as the ``points`` of an SVG polygon in a drawing of that height."""
    return " ".join(f"{x * PLAN_WIDTH:.1f},{y * height:.1f}" for x, y in corners)


def _drawn_zone(zone: Zone, height: int) -> DrawnZone:
    xs, ys = zip(*zone.outline, strict=True)
    return DrawnZone(
        pk=zone.pk,
        name=zone.name,
        boundary=zone.boundary,
        points=outline_points(zone.outline, height),
        label_x=round((min(xs) + max(xs)) / 2 * PLAN_WIDTH, 1),
        label_y=round(min(ys) * height + 16, 1),
    )


def _drawn_pin(monitor: Monitor, height: int) -> DrawnPin:
    words = f"Monitor {monitor.number}, {monitor.get_kind_display().lower()}, {monitor.zone}"
    return DrawnPin(
        pk=monitor.pk,
        number=monitor.number,
        kind=monitor.kind,
        title=words,
        x=round((monitor.x or 0) * PLAN_WIDTH, 1),
        y=round((monitor.y or 0) * height, 1),
    )


def plans_in_use(site: Site) -> QuerySet[SitePlan]:
    """A site's plans, oldest first. One query."""
    return site.plans.filter(retired_on=None).order_by("created_at", "pk")


def _count_of(rows: QuerySet[Any], key: str) -> Coalesce:
    """How many of ``rows`` point at the outer record by ``key``: a subquery, so that two counts
    do not multiply each other."""
    counted = (
        rows.filter(**{key: OuterRef("pk")})
        .order_by()
        .values(key)
        .annotate(how_many=Count("pk"))
        .values("how_many")
    )
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)
