"""The day's package: everything that a technician's phone needs where there is no line.

docs/sync.md says what is in it.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Prefetch, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce
from django.urls import reverse

from accounts.models import Company, User
from accounts.sealing import canonical, digest, plain
from sites.access import sites_visible_to
from sites.models import AccessWindow, Contact, Height, Monitor, SitePlan
from visits.access import visits_visible_to
from visits.application_record import NO_BAIT, application_of, bait_instants, left_unsaid
from visits.cautions import DROPPINGS, caution_table
from visits.models import (
    Finding,
    NotReached,
    ParkedOperation,
    Pest,
    Reading,
    ReadingCount,
    Visit,
)
from visits.package_parts import parts
from visits.queries.places import ZonePlaces, places_of
from visits.queries.record_rules import rules_at
from visits.queries.treating import (
    Treating,
    competences_of,
    guide_lines,
    product_facts,
    products_for,
    unusual_pests,
)
from visits.remedies import remedy_table
from visits.usual_pests import USUAL_PESTS
from visits.visit_record import Rows, rows_of

PACKAGE_DAYS = 7
PACKAGE_FORM = 2
MOST_PARKED = 20
NEVER = datetime.max.replace(tzinfo=UTC)


def package_of(technician: User, *, now: datetime, visit_id: UUID | None = None) -> dict[str, Any]:
    """Everything the phone needs for today and the seven days after it, ready to be sent as JSON.

    Booked visits, those under way whenever they were booked, and of today's own also the closed and
    the called off. With ``visit_id`` only that one of the technician's own, whatever its state, as
    long as its site is open to them. Thirty-five queries at most, however many visits.
    """
    today = now.astimezone(ZoneInfo(technician.time_zone)).date()
    visits = list(
        _wanted(technician, today, visit_id)
        .select_related("site__client", "line", "technician")
        .defer("sealed_record")
        .annotate(before=Subquery(_closed_before()))
        .order_by("booked_on", F("booked_at_time").asc(nulls_last=True), "created_at", "pk")
    )
    products = list(products_for(technician, today))
    facts = _Facts(technician, visits, Treating(visits, products, now))
    pests = _pests()
    return {
        "form": PACKAGE_FORM,
        "made_at": plain(now),
        "today": plain(today),
        "person": {
            "id": str(technician.pk),
            "name": technician.name,
            "time_zone": technician.time_zone,
        },
        "competences": competences_of(technician),
        "visits": [facts.visit(one) for one in visits],
        "parked": _parked(technician),
        "pests": pests,
        "unusual": unusual_pests(one["slug"] for one in pests),
        "products": [product_facts(one, today) for one in products],
        "guide": guide_lines(),
        "cautions": caution_table(),
        "droppings": DROPPINGS,
        "remedies": remedy_table(),
    }


def tag_of(package: Mapping[str, Any]) -> str:
    """The entity tag of a package: it changes when anything in it does but the time of its making.

    A weak one, as what is sent may be compressed. Source: RFC 9110, section 8.8.3.
    """
    content = {key: value for key, value in package.items() if key != "made_at"}
    return f'W/"{digest(canonical(content))}"'


def _wanted(technician: User, today: date, visit_id: UUID | None) -> QuerySet[Visit]:
    own = Visit.objects.filter(technician=technician)
    begun = Q(state=Visit.State.UNDER_WAY)  # wherever it was: it has to be closed some day
    if visit_id is not None:
        open_to_them = visits_visible_to(technician).values("pk")
        return own.filter(begun | Q(pk__in=open_to_them), pk=visit_id)
    week = (today, today + timedelta(days=PACKAGE_DAYS))
    over = (Visit.State.CLOSED, Visit.State.CALLED_OFF)
    return own.filter(
        begun
        | Q(state=Visit.State.BOOKED, booked_on__range=week)
        | Q(state__in=over, booked_on=today)
    )


def _closed_before() -> QuerySet[Visit, Any]:
    """The visit that was closed last at the same site before the outer one was."""
    return (
        Visit.objects.filter(
            site=OuterRef("site"),
            state=Visit.State.CLOSED,
            closed_at__lt=Coalesce(OuterRef("closed_at"), Value(NEVER)),
        )
        .order_by("-closed_at", "-pk")
        .values("pk")[:1]
    )


def _parked(technician: User) -> list[dict[str, Any]]:
    """What this person recorded and the office has still to place, the oldest first. One query.

    The site is named only to whom it is known: what was parked may name a stranger's visit.
    """
    known = Q(visit__technician=technician) | Exists(
        sites_visible_to(technician).filter(pk=OuterRef("visit__site_id"))
    )
    waiting = ParkedOperation.objects.filter(person=technician, settled_at=None)
    found: list[dict[str, Any]] = plain(
        [
            {
                "id": one.pk,
                "operation": one.operation_id,
                "site": one.visit.site.name if one.visit and one.is_known else "",
                "reason": one.reason,
                "at": one.created_at,
            }
            for one in waiting.annotate(is_known=known)
            .select_related("visit__site")
            .order_by("created_at", "pk")[:MOST_PARKED]
        ]
    )
    return found


def _pests() -> list[dict[str, Any]]:
    """By group, the likeliest first, as the phone offers the first of a group to be counted.

    The usual pests stand in their own order; what was added since follows by name. One query.
    """
    rank = {slug: at for at, (slug, _, _) in enumerate(USUAL_PESTS)}
    kept = Pest.objects.order_by("name", "pk")
    kept_by_rank = sorted(kept, key=lambda one: (one.group, rank.get(one.slug, len(rank))))
    return [{"slug": one.slug, "name": one.name, "group": one.group} for one in kept_by_rank]


class _Facts:
    """What the visits of a package need, read at once and handed out one by one."""

    def __init__(self, technician: User, visits: Sequence[Visit], treating: Treating) -> None:
        sites = {visit.site_id for visit in visits}
        self._visits = visits
        self._treating = treating
        self._places = places_of(visits)
        self._rows = rows_of(visits)
        self._contacts: dict[UUID, list[Contact]] = defaultdict(list)
        for contact in Contact.objects.filter(site__in=sites).order_by(
            "-is_premises_manager", "name", "pk"
        ):
            self._contacts[contact.site_id].append(contact)
        self._windows: dict[UUID, list[str]] = defaultdict(list)
        for window in AccessWindow.objects.filter(site__in=sites).order_by(
            "weekday", "opens", "pk"
        ):
            self._windows[window.site_id].append(str(window))
        self._plans: dict[UUID, list[SitePlan]] = defaultdict(list)
        for plan in SitePlan.objects.filter(site__in=sites, retired_on=None).order_by(
            "created_at", "pk"
        ):
            self._plans[plan.site_id].append(plan)
        self._parts = parts.of_sites(technician, sites)
        self._unsaid = self._what_is_unsaid()
        self._before = _visits_before(visits)
        self._left = left_by(list(self._before.values()))
        self._last_read = _last_readings(
            {
                monitor.pk
                for zones in self._places.values()
                for zone in zones
                for monitor in zone.monitors
            },
            [visit.pk for visit in visits],
            until=max((visit.closed_at or NEVER for visit in visits), default=NEVER),
        )

    def _read_before(self, visit: Visit) -> dict[UUID, dict[str, Any]]:
        """By monitor, its last reading before this visit. No query.

        Two visits of one package may be at the same site, and the first be closed.
        """
        found = dict(self._last_read)
        earlier = [
            (one.closed_at, one.pk)
            for one in self._visits
            if one.site_id == visit.site_id
            and one.closed_at is not None
            and one.closed_at < (visit.closed_at or NEVER)
        ]
        for _, visit_id in sorted(earlier):
            for reading in self._rows[visit_id].readings:
                found[reading.monitor_id] = _last_reading(reading)
        return found

    def _what_is_unsaid(self) -> dict[UUID, list[str]]:
        """By treatment, the labels of what its record leaves out. Three queries at most."""
        treatments = [one for rows in self._rows.values() for one in rows.treatments]
        if not treatments:
            return {}
        company = Company.objects.first()
        chosen = rules_at({visit.site_id for visit in self._visits})
        bait = bait_instants(treatments)
        return {
            one.pk: left_unsaid(
                application_of(one, bait.get(one.pk, NO_BAIT)), chosen[one.visit.site_id], company
            )
            for one in treatments
        }

    def visit(self, visit: Visit) -> dict[str, Any]:
        site = visit.site
        last = self._before.get(visit.pk)
        missed, remedies = self._left[last.pk] if last else ([], [])
        read_before = self._read_before(visit)
        found: dict[str, Any] = plain(
            {
                "id": visit.pk,
                "version": visit.version,
                "state": visit.state,
                "state_reason": visit.state_reason,
                "kind": visit.kind,
                "kind_words": visit.get_kind_display(),
                "line": visit.line.title if visit.line else "",
                "booked_on": visit.booked_on,
                "booked_at_time": visit.booked_at_time,
                "minutes": visit.minutes,
                "minutes_on_site": visit.minutes_on_site,
                "closed_at": visit.closed_at,
                "office_note": visit.office_note,
                "reported_problem": visit.reported_problem,
                "reported_by": visit.reported_by,
                "reported_at": visit.reported_at,
                "respond_by": visit.respond_by,
                "site": {
                    "id": site.pk,
                    "name": site.name,
                    "client": site.client.name,
                    "address": site.address,
                    "postcode": site.postcode,
                    "time_zone": site.time_zone,
                    "latitude": site.latitude,
                    "longitude": site.longitude,
                    "hazards": site.hazards,
                    "access_note": site.access_note,
                    "access_windows": self._windows[visit.site_id],
                    "contacts": [
                        {
                            "name": one.name,
                            "job_title": one.job_title,
                            "phone": one.phone,
                            "is_premises_manager": one.is_premises_manager,
                        }
                        for one in self._contacts[visit.site_id]
                    ],
                },
                "zones": [_zone(one, read_before) for one in self._places[visit.pk]],
                "plans": [_plan(one) for one in self._plans[visit.site_id]],
                **{key: by_site.get(visit.site_id, []) for key, by_site in self._parts.items()},
                "left_open": {
                    "closed_at": last.closed_at if last else None,
                    "by": last.technician.name if last and last.technician else "",
                    "not_reached": [_left_place(one) for one in missed],
                    "remedies": [
                        {
                            "zone": one.zone.name,
                            "place": one.checkpoint.label if one.checkpoint else one.place,
                            "text": one.remedy or one.note,
                            "whose_move": one.get_whose_move_display(),
                        }
                        for one in remedies
                    ],
                    "rodents": any(
                        one.pest and one.pest.group == Pest.Group.RODENT for one in remedies
                    ),
                },
                "said": said_of(visit, self._rows[visit.pk], self._unsaid),
                "treating": self._treating.of(visit),
                "photos": {
                    by.photo.given_sha256: reverse("sites:photo", args=[by.photo_id])
                    for finding in self._rows[visit.pk].findings
                    for by in finding.shown_by.all()
                },
            }
        )
        return found


def _zone(one: ZonePlaces, read_before: Mapping[UUID, Any]) -> dict[str, Any]:
    zone = one.zone
    return {
        "id": zone.pk,
        "name": zone.name,
        "kind": zone.kind,
        "kind_words": zone.get_kind_display(),
        "boundary": zone.boundary,
        "boundary_words": zone.get_boundary_display(),
        "boundary_note": zone.boundary_note,
        "plan": zone.plan_id,
        "outline": zone.outline,
        "checkpoints": [
            {
                "id": place.pk,
                "height": place.height,
                "height_words": Height(place.height).label,
                "label": place.label,
                "due": place.pk in one.due,
            }
            for place in one.checkpoints
        ],
        "monitors": [
            {
                "id": monitor.pk,
                "number": monitor.number,
                "kind": monitor.kind,
                "kind_words": monitor.get_kind_display(),
                "place": monitor.place,
                "label_code": monitor.label_code,
                "plan": monitor.plan_id,
                "x": monitor.x,
                "y": monitor.y,
                "due": monitor.pk in one.due,
                "last": read_before.get(monitor.pk),
            }
            for monitor in one.monitors
        ],
    }


def _plan(one: SitePlan) -> dict[str, Any]:
    """The hash is that of the image at the address, so that a phone fetches each image once."""
    return {
        "id": one.pk,
        "title": one.title,
        "address": reverse("sites:plan_image", args=[one.pk]),
        "width": one.width,
        "height": one.height,
        "sha256": one.sha256,
    }


def _visits_before(visits: Sequence[Visit]) -> dict[UUID, Visit]:
    """By visit, the one at the same site that was closed last before it. One query."""
    before = {
        visit.pk: visit.before  # type: ignore[attr-defined]  # by package_of
        for visit in visits
    }
    closed = Visit.objects.select_related("technician").defer("sealed_record")
    found = closed.in_bulk([one for one in before.values() if one])
    return {visit_id: found[one] for visit_id, one in before.items() if one}


Left = tuple[list[NotReached], list[Finding]]


def left_by(visits: Sequence[Visit]) -> dict[UUID, Left]:
    """By visit, what it did not reach and what it recommended. Two queries at most."""
    if not visits:
        return {}
    found: dict[UUID, Left] = {visit.pk: ([], []) for visit in visits}
    missed = NotReached.objects.filter(visit__in=found).select_related(
        "zone", "checkpoint", "monitor"
    )
    for one in missed.order_by("zone__walk_order", "at", "pk"):
        found[one.visit_id][0].append(one)
    findings = Finding.objects.filter(visit__in=found).exclude(remedy_kind="")
    for finding in findings.select_related("zone", "checkpoint", "pest").order_by("at", "pk"):
        found[finding.visit_id][1].append(finding)
    return found


def _left_place(one: NotReached) -> dict[str, Any]:
    return {
        "zone": one.zone.name,
        "checkpoint": one.checkpoint_id,
        "monitor": one.monitor_id,
        "what": str(one.checkpoint or one.monitor or "The whole zone"),
        "reason": one.get_reason_display(),
        "whose_move": one.get_whose_move_display(),
    }


def _last_readings(
    monitor_ids: set[UUID], but_not_of: Sequence[UUID], *, until: datetime
) -> dict[UUID, dict[str, Any]]:
    """By monitor, the last reading of a person beside these visits, by an instant. Two queries."""
    if not monitor_ids:
        return {}
    others = Reading.objects.filter(source__in=Reading.BY_PEOPLE).exclude(visit__in=but_not_of)
    if until != NEVER:
        others = others.exclude(visit__closed_at__gt=until)
    before = others.filter(monitor=OuterRef("pk")).order_by("-read_on", "-pk").values("pk")[:1]
    newest = (
        Monitor.objects.filter(pk__in=monitor_ids)
        .annotate(newest=Subquery(before))
        .values("newest")
    )
    readings = Reading.objects.filter(pk__in=newest).prefetch_related(
        Prefetch("counts", ReadingCount.objects.select_related("pest").order_by("pest__name"))
    )
    return {one.monitor_id: _last_reading(one) for one in readings}


def _last_reading(one: Reading) -> dict[str, Any]:
    """The reading must have its counts and their pests at hand."""
    counts = list(one.counts.all())
    return {
        "read_on": one.read_on,
        "condition": one.condition,
        "condition_words": one.get_condition_display(),
        "bait_taken": one.bait_taken,
        "counts": {count.pest.slug: count.count for count in counts},
        "words": ", ".join(f"{count.count} {count.pest.name}" for count in counts),
    }


def said_of(visit: Visit, rows: Rows, unsaid: Mapping[UUID, list[str]]) -> dict[str, Any]:
    """What was recorded so far, in the shapes in which operations say it.

    ``unsaid`` is, by treatment, what its record leaves out.
    """
    return {
        "started_at": visit.started_at,
        "looks": {str(one.checkpoint_id): {"at": one.at} for one in rows.looks},
        "readings": {
            str(one.monitor_id): {
                "monitor": one.monitor_id,
                "condition": one.condition,
                "counts": {count.pest.slug: count.count for count in one.counts.all()},
                "bait_taken": one.bait_taken,
                "bait_taken_g": one.bait_taken_g,
                "bait_lifted_g": one.bait_lifted_g,
                "renewed": one.renewed,
                "note": one.note,
                "at": one.at,
            }
            for one in rows.readings
        },
        "findings": {
            str(one.pk): {
                "finding": one.pk,
                "zone": one.zone_id,
                "checkpoint": one.checkpoint_id,
                "height": one.height,
                "kind": one.kind,
                "pest": one.pest.slug if one.pest else "",
                "count": one.count,
                "urgency": one.urgency,
                "note": one.note,
                "place": one.place,
                "remedy_kind": one.remedy_kind,
                "remedy": one.remedy,
                "whose_move": one.whose_move,
                "photos": [by.photo.given_sha256 for by in one.shown_by.all()] + list(one.awaits),
                "x": one.x,
                "y": one.y,
                "at": one.at,
            }
            for one in rows.findings
        },
        "not_reached": {
            f"{sort}/{place}": {
                sort: place,
                "reason": one.reason,
                "whose_move": one.whose_move,
                "note": one.note,
                "at": one.at,
            }
            for one in rows.not_reached
            for sort, place in [_place_named(one)]
        },
        "treatments": {
            str(one.pk): {
                "treatment": one.pk,
                "zone": one.zone_id,
                "checkpoint": one.checkpoint_id,
                "monitor": one.monitor_id,
                "product": one.product_id,
                "label": one.label_id,
                "rate": one.rate_id,
                "target": one.target.slug,
                **{name: getattr(one, name) for name in _TREATMENT_AS_IS},
                "at": one.started_at,
                "missing": unsaid[one.pk],
            }
            for one in rows.treatments
        },
        "contact": {
            "contact_name": visit.contact_name,
            "contact_job_title": visit.contact_job_title,
            "summary": visit.summary,
            "signature": visit.signature,
            "signature_typed": visit.signature_typed,
            "no_signature_reason": visit.no_signature_reason,
        },
    }


def _place_named(one: NotReached) -> tuple[str, UUID]:
    if one.checkpoint_id:
        return "checkpoint", one.checkpoint_id
    if one.monitor_id:
        return "monitor", one.monitor_id
    return "zone", one.zone_id


_TREATMENT_AS_IS = (
    "method",
    "place",
    "surface",
    "amount",
    "unit",
    "finished_amount",
    "finished_unit",
    "explanation",
    "started_at",
    "finished_at",
    "batch_number",
    "equipment",
    "situation",
    "dilution",
    "area",
    "area_unit",
    "outdoors",
    "wind_speed",
    "wind_direction",
    "weather",
    "precautions",
    "cautions_confirmed",
    "re_entry",
    "supervised_person",
    "note",
)
