"""The day's package: everything that a technician's phone needs where there is no line."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.urls import reverse

from accounts.models import Company, User
from accounts.sealing import plain
from sites.models import Contact, Height, Monitor
from visits.application_record import baited_since, missing_elements
from visits.cautions import DROPPINGS, caution_table
from visits.models import Finding, NotReached, Pest, Product, Reading, ReadingCount, Visit
from visits.queries.places import ZonePlaces, places_of
from visits.remedies import remedy_table
from visits.usual_pests import USUAL_PESTS
from visits.visit_record import Rows, rows_of

PACKAGE_DAYS = 7
PACKAGE_FORM = 1


def package_of(technician: User, *, now: datetime, visit_id: UUID | None = None) -> dict[str, Any]:
    """Everything the phone needs for today and the seven days after it, ready to be sent as JSON.

    With ``visit_id`` only that visit, whatever its day. Booked, under way and, for today, closed
    visits. Twenty queries, however many visits.
    """
    today = now.astimezone(ZoneInfo(technician.time_zone)).date()
    own = Visit.objects.filter(technician=technician)
    if visit_id is not None:
        wanted = own.filter(pk=visit_id)
    else:
        wanted = own.filter(
            Q(state=Visit.State.UNDER_WAY)
            | Q(
                state=Visit.State.BOOKED,
                booked_on__range=(today, today + timedelta(days=PACKAGE_DAYS)),
            )
        )
    visits = list(
        wanted.select_related("site__client", "line", "technician")
        .defer("sealed_record")
        .order_by("booked_on", F("booked_at_time").asc(nulls_last=True), "created_at", "pk")
    )
    facts = _Facts(visits)
    return {
        "form": PACKAGE_FORM,
        "made_at": plain(now),
        "person": {"id": str(technician.pk), "name": technician.name},
        "visits": [facts.visit(one) for one in visits],
        "pests": _pests(),
        "products": [_product(one, today) for one in _products()],
        "cautions": caution_table(),
        "droppings": DROPPINGS,
        "remedies": remedy_table(),
    }


def _pests() -> list[dict[str, Any]]:
    """By group, the likeliest first, as the phone offers the first of a group to be counted.

    The usual pests stand in their own order; what was added since follows by name. One query.
    """
    rank = {slug: at for at, (slug, _, _) in enumerate(USUAL_PESTS)}
    kept = Pest.objects.order_by("name", "pk")
    kept_by_rank = sorted(kept, key=lambda one: (one.group, rank.get(one.slug, len(rank))))
    return [{"slug": one.slug, "name": one.name, "group": one.group} for one in kept_by_rank]


def _products() -> QuerySet[Product]:
    return Product.objects.filter(withdrawn_on=None).order_by("name", "pk")


def _product(one: Product, today: date) -> dict[str, Any]:
    return {
        "id": str(one.pk),
        "name": one.name,
        "registration_number": one.registration_number,
        "formulation": one.formulation,
        "formulation_words": one.get_formulation_display(),
        "actives": one.actives,
        "unit": one.unit,
        "permitted_places": one.permitted_places,
        "permitted_pests": one.permitted_pests,
        "cautions": one.cautions,
        "re_entry": one.re_entry,
        "lapsed": bool(one.authorised_until and one.authorised_until < today),
        "is_demo": one.is_demo,
    }


class _Facts:
    """What the visits of a package need, read at once and handed out one by one."""

    def __init__(self, visits: Sequence[Visit]) -> None:
        sites = {visit.site_id for visit in visits}
        self._places = places_of(visits)
        self._rows = rows_of(visits)
        self._contacts: dict[UUID, list[Contact]] = defaultdict(list)
        for contact in Contact.objects.filter(site__in=sites).order_by(
            "-is_premises_manager", "name", "pk"
        ):
            self._contacts[contact.site_id].append(contact)
        self._unsaid = self._what_is_unsaid()
        self._last_visit = last_visits(sites)
        self._left = left_by(list(self._last_visit.values()))
        self._last_read = _last_readings(
            {
                monitor.pk
                for zones in self._places.values()
                for zone in zones
                for monitor in zone.monitors
            },
            [visit.pk for visit in visits],
        )

    def _what_is_unsaid(self) -> dict[UUID, list[str]]:
        """By treatment, the labels of what its record leaves out. Two queries at most."""
        treatments = [one for rows in self._rows.values() for one in rows.treatments]
        company = Company.objects.first() if treatments else None
        since = baited_since(treatments)
        return {
            one.pk: [
                element.label
                for element in missing_elements(
                    one,
                    company=company,
                    bait_since=since.get(one.monitor_id) if one.monitor_id else None,
                )
            ]
            for one in treatments
        }

    def visit(self, visit: Visit) -> dict[str, Any]:
        site = visit.site
        last = self._last_visit.get(visit.site_id)
        missed, remedies = self._left.get(visit.site_id, ([], []))
        found: dict[str, Any] = plain(
            {
                "id": visit.pk,
                "version": visit.version,
                "state": visit.state,
                "kind": visit.kind,
                "kind_words": visit.get_kind_display(),
                "line": visit.line.title if visit.line else "",
                "booked_on": visit.booked_on,
                "booked_at_time": visit.booked_at_time,
                "minutes": visit.minutes,
                "office_note": visit.office_note,
                "reported_problem": visit.reported_problem,
                "site": {
                    "id": site.pk,
                    "name": site.name,
                    "client": site.client.name,
                    "address": site.address,
                    "postcode": site.postcode,
                    "time_zone": site.time_zone,
                    "hazards": site.hazards,
                    "access_note": site.access_note,
                    "contacts": [
                        {"name": one.name, "job_title": one.job_title, "phone": one.phone}
                        for one in self._contacts[visit.site_id]
                    ],
                },
                "zones": [self._zone(one) for one in self._places[visit.pk]],
                "left_open": {
                    "closed_at": last.closed_at if last else None,
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
                },
                "said": _said(visit, self._rows[visit.pk], self._unsaid),
                "photos": {
                    by.photo.given_sha256: reverse("sites:photo", args=[by.photo_id])
                    for finding in self._rows[visit.pk].findings
                    for by in finding.shown_by.all()
                },
            }
        )
        return found

    def _zone(self, one: ZonePlaces) -> dict[str, Any]:
        zone = one.zone
        return {
            "id": zone.pk,
            "name": zone.name,
            "kind": zone.kind,
            "kind_words": zone.get_kind_display(),
            "boundary": zone.boundary,
            "boundary_words": zone.get_boundary_display(),
            "boundary_note": zone.boundary_note,
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
                    "due": monitor.pk in one.due,
                    "last": self._last_read.get(monitor.pk),
                }
                for monitor in one.monitors
            ],
        }


def last_visits(site_ids: Iterable[UUID]) -> dict[UUID, Visit]:
    """By site, the visit that was closed last. One query."""
    newest = (
        Visit.objects.filter(site=OuterRef("site"), state=Visit.State.CLOSED)
        .order_by("-closed_at", "-pk")
        .values("pk")[:1]
    )
    found = Visit.objects.filter(
        site__in=list(site_ids), state=Visit.State.CLOSED, pk=Subquery(newest)
    ).defer("sealed_record")
    return {visit.site_id: visit for visit in found.select_related("technician")}


Left = tuple[list[NotReached], list[Finding]]


def left_by(visits: Sequence[Visit]) -> dict[UUID, Left]:
    """By site, what a closed visit did not reach and what it recommended. Two queries at most."""
    if not visits:
        return {}
    site_of = {visit.pk: visit.site_id for visit in visits}
    found: dict[UUID, Left] = {visit.site_id: ([], []) for visit in visits}
    missed = NotReached.objects.filter(visit__in=visits).select_related(
        "zone", "checkpoint", "monitor"
    )
    for one in missed.order_by("zone__walk_order", "at", "pk"):
        found[site_of[one.visit_id]][0].append(one)
    findings = Finding.objects.filter(visit__in=visits).exclude(remedy_kind="")
    for finding in findings.select_related("zone", "checkpoint", "pest").order_by("at", "pk"):
        found[site_of[finding.visit_id]][1].append(finding)
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
    monitor_ids: set[UUID], but_not_of: Sequence[UUID]
) -> dict[UUID, dict[str, Any]]:
    """By monitor, its last reading before these visits. Three queries at most."""
    if not monitor_ids:
        return {}
    before = (
        Reading.objects.filter(monitor=OuterRef("pk"))
        .exclude(visit__in=but_not_of)
        .order_by("-read_on", "-pk")
        .values("pk")[:1]
    )
    newest = (
        Monitor.objects.filter(pk__in=monitor_ids)
        .annotate(newest=Subquery(before))
        .exclude(newest=None)
        .values_list("newest", flat=True)
    )
    readings = Reading.objects.filter(pk__in=list(newest)).prefetch_related(
        Prefetch("counts", ReadingCount.objects.select_related("pest").order_by("pest__name"))
    )
    return {
        one.monitor_id: {
            "read_on": one.read_on,
            "condition": one.condition,
            "condition_words": one.get_condition_display(),
            "counts": {count.pest.slug: count.count for count in one.counts.all()},
            "words": ", ".join(f"{count.count} {count.pest.name}" for count in one.counts.all()),
        }
        for one in readings
    }


def _said(visit: Visit, rows: Rows, unsaid: Mapping[UUID, list[str]]) -> dict[str, Any]:
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
    "amount",
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
