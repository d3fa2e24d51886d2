"""A visit as one record: what is sealed when it closes, and what its report is drawn from.

Two kinds of things are in it. *Facts* are what was recorded, by id; they must stay as they are for
ever. *Words* (under every key ``words``) are the names by which things went that day; they are
sealed as well, but a zone may be renamed later without anybody having touched the visit. Lists are
in the order of their instants, then ids, so that the same facts make the same text.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import Model, Prefetch, QuerySet

from accounts.models import Company
from sites.models import Height
from visits import application_record
from visits.application_record import (
    LABELS,
    NO_BAIT,
    BaitAt,
    application_of,
    bait_instants,
    judged,
)
from visits.cautions import KEYS, cautions_for
from visits.coverage import Coverage, as_record
from visits.dosing.rules import RuleSet
from visits.models import (
    Finding,
    FindingPhoto,
    LabelRate,
    Look,
    NotReached,
    Reading,
    ReadingCount,
    RemedyKind,
    Treatment,
    Visit,
)
from visits.queries.guide import guide_words
from visits.queries.reckoning import rates_of, reckoned
from visits.queries.record_rules import rules_at
from visits.signatures import path_of

FORM = "kickplate-visit-3"
WITHOUT_LABELS = "kickplate-visit-2"
"""Sealed before treatments named their label's version and readings weighed the bait."""
WITHOUT_MINUTES = "kickplate-visit-1"
"""Sealed before visits said how long they took. Such records are compared as what they are."""
FORMS = (WITHOUT_MINUTES, WITHOUT_LABELS, FORM)
_CENT = Decimal("0.01")
WORDS = "words"

AnyRow = TypeVar("AnyRow", bound=Model)


@dataclass(slots=True)
class Rows:
    """Everything that a visit recorded, each sort in the order of its instants."""

    looks: list[Look] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    not_reached: list[NotReached] = field(default_factory=list)
    treatments: list[Treatment] = field(default_factory=list)


def rows_of(visits: Sequence[Visit]) -> dict[UUID, Rows]:
    """By visit, what it recorded, with names at hand. Seven queries, however many visits.

    The visits must have their site, client and technician at hand.
    """
    at_hand = {visit.pk: visit for visit in visits}
    found = {visit_id: Rows() for visit_id in at_hand}
    for look in _in_order(Look.objects.select_related("checkpoint__zone"), visits):
        found[look.visit_id].looks.append(look)
    readings = Reading.objects.select_related("monitor__zone").prefetch_related(
        Prefetch("counts", ReadingCount.objects.select_related("pest").order_by("pest__slug"))
    )
    for reading in _in_order(readings, visits):
        if reading.visit_id:
            found[reading.visit_id].readings.append(reading)
    findings = Finding.objects.select_related("zone", "checkpoint", "pest").prefetch_related(
        Prefetch(
            "shown_by", FindingPhoto.objects.select_related("photo").order_by("position", "pk")
        )
    )
    for finding in _in_order(findings, visits):
        found[finding.visit_id].findings.append(finding)
    places = NotReached.objects.select_related("zone", "checkpoint", "monitor")
    for not_reached in _in_order(places, visits):
        found[not_reached.visit_id].not_reached.append(not_reached)
    treatments = Treatment.objects.filter(visit__in=visits).select_related(
        "zone", "checkpoint", "monitor", "product__label", "label", "rate", "target"
    )
    for treatment in treatments.order_by("started_at", "pk"):
        treatment.visit = at_hand[treatment.visit_id]
        found[treatment.visit_id].treatments.append(treatment)
    return found


def _in_order(rows: QuerySet[AnyRow], visits: Sequence[Visit]) -> QuerySet[AnyRow]:
    return rows.filter(visit__in=visits).order_by("at", "pk")


def record_of(visit: Visit, rows: Rows, *, coverage: Coverage) -> dict[str, Any]:
    """The whole record of one visit, as it stands. Five queries at most, for its treatments.

    The visit must have its site, client, line and technician at hand.
    """
    told: list[dict[str, Any]] = []
    if rows.treatments:
        company = Company.objects.first()
        rule_set = rules_at([visit.site_id])[visit.site_id]
        bait, rates = bait_instants(rows.treatments), rates_of(rows.treatments)
        guide = guide_words(
            key for one in rows.treatments for key in one.cautions_confirmed if key not in KEYS
        )
        told = [
            _treatment(one, company, rule_set, bait.get(one.pk, NO_BAIT), rates, guide)
            for one in rows.treatments
        ]
    return {**facts_of(visit, rows), "coverage": as_record(coverage), "treatments": told}


def facts_of(visit: Visit, rows: Rows, *, form: str = FORM) -> dict[str, Any]:
    """The same without what is worked out from it, in one of the forms. No query."""
    return {
        "form": form,
        "visit": _visit(visit) | _minutes(visit, form),
        "site": _site(visit),
        "technician": {
            "id": visit.technician_id,
            WORDS: {"name": visit.technician.name if visit.technician else ""},
        },
        "contact": _contact(visit),
        "summary": visit.summary,
        "looks": [_look(one) for one in rows.looks],
        "readings": [_reading(one, form) for one in rows.readings],
        "findings": [_finding(one) for one in rows.findings],
        "not_reached": [_not_reached(one) for one in rows.not_reached],
        "treatments": [_treatment_facts(one, form) for one in rows.treatments],
    }


def without_words(value: Any) -> Any:
    """The facts of a record, or of a part of one."""
    if isinstance(value, Mapping):
        return {key: without_words(item) for key, item in value.items() if key != WORDS}
    if isinstance(value, list):
        return [without_words(item) for item in value]
    return value


def _visit(visit: Visit) -> dict[str, Any]:
    return {
        "id": visit.pk,
        "seal_number": visit.seal_number,
        "kind": visit.kind,
        "due_on": visit.due_on,
        "opens_on": visit.opens_on,
        "closes_on": visit.closes_on,
        "booked_on": visit.booked_on,
        "reported_at": visit.reported_at,
        "respond_by": visit.respond_by,
        "reported_problem": visit.reported_problem,
        "reported_by": visit.reported_by,
        "started_at": visit.started_at,
        "closed_at": visit.closed_at,
        "received_at": visit.received_at,
        WORDS: {
            "kind": visit.get_kind_display(),
            "line": visit.line.title if visit.line else "",
        },
    }


def _minutes(visit: Visit, form: str) -> dict[str, Any]:
    """The first form knows none; if the visit has some all the same, they were put there later."""
    if form == WITHOUT_MINUTES and visit.minutes_on_site is None and not visit.minutes_reason:
        return {}
    return {"minutes_on_site": visit.minutes_on_site, "minutes_reason": visit.minutes_reason}


def _site(visit: Visit) -> dict[str, Any]:
    site = visit.site
    return {
        "id": site.pk,
        WORDS: {
            "name": site.name,
            "reference": site.reference,
            "address": site.address,
            "postcode": site.postcode,
            "time_zone": site.time_zone,
            "client": site.client.name,
        },
    }


def _contact(visit: Visit) -> dict[str, Any]:
    return {
        "name": visit.contact_name,
        "job_title": visit.contact_job_title,
        "signature": path_of(visit.signature or []),
        "signature_typed": visit.signature_typed,
        "no_signature_reason": visit.no_signature_reason,
    }


def _look(one: Look) -> dict[str, Any]:
    return {
        "id": one.pk,
        "checkpoint": one.checkpoint_id,
        "at": one.at,
        WORDS: {
            "zone": one.checkpoint.zone.name,
            "place": one.checkpoint.label,
            "height": one.checkpoint.get_height_display(),
        },
    }


def _reading(one: Reading, form: str) -> dict[str, Any]:
    counts = list(one.counts.all())
    return {
        "id": one.pk,
        "monitor": one.monitor_id,
        "at": one.at,
        "read_on": one.read_on,
        "stood_days": one.stood_days,
        "condition": one.condition,
        "bait_taken": one.bait_taken,
        "renewed": one.renewed,
        "note": one.note,
        "counts": {count.pest.slug: count.count for count in counts},
        **_bait_weighed(one, form),
        WORDS: {
            "monitor": one.monitor.number,
            "kind": one.monitor.get_kind_display(),
            "zone": one.monitor.zone.name,
            "place": one.monitor.place,
            "condition": one.get_condition_display(),
            "bait_taken": one.get_bait_taken_display() if one.bait_taken else "",
            "counts": [[count.pest.name, count.count] for count in counts],
        },
    }


def _bait_weighed(one: Reading, form: str) -> dict[str, Any]:
    """Forms without labels know no weights; a reading that has some all the same was changed."""
    weighed = {"bait_taken_g": one.bait_taken_g, "bait_lifted_g": one.bait_lifted_g}
    if form != FORM and not any(value is not None for value in weighed.values()):
        return {}
    return {name: _exact(value) for name, value in weighed.items()}


def _finding(one: Finding) -> dict[str, Any]:
    shown = {by.photo.given_sha256: by.photo.sha256 for by in one.shown_by.all()}
    awaited = dict.fromkeys(one.awaits)
    return {
        "id": one.pk,
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
        "x": one.x,
        "y": one.y,
        "at": one.at,
        # As sent, and as kept: a photo that is still on its way is known by the first alone.
        "photos": [
            {"given": given, "kept": kept} for given, kept in sorted({**awaited, **shown}.items())
        ],
        WORDS: {
            "zone": one.zone.name,
            "checkpoint": one.checkpoint.label if one.checkpoint else "",
            "height": Height(one.height).label if one.height else "",
            "kind": one.get_kind_display(),
            "pest": one.pest.name if one.pest else "",
            "urgency": one.get_urgency_display(),
            "remedy_kind": RemedyKind(one.remedy_kind).label if one.remedy_kind else "",
            "whose_move": one.get_whose_move_display() if one.whose_move else "",
        },
    }


def _not_reached(one: NotReached) -> dict[str, Any]:
    if one.checkpoint:
        what = one.checkpoint.label
    elif one.monitor:
        what = str(one.monitor)
    else:
        what = "The whole zone"
    return {
        "id": one.pk,
        "zone": one.zone_id,
        "checkpoint": one.checkpoint_id,
        "monitor": one.monitor_id,
        "reason": one.reason,
        "note": one.note,
        "whose_move": one.whose_move,
        "at": one.at,
        WORDS: {
            "zone": one.zone.name,
            "what": what,
            "reason": one.get_reason_display(),
            "whose_move": one.get_whose_move_display(),
        },
    }


def _treatment_facts(one: Treatment, form: str = FORM) -> dict[str, Any]:
    return {
        **_treatment_as_sealed_first(one),
        **_with_label(one, form),
    }


def _with_label(one: Treatment, form: str) -> dict[str, Any]:
    """What the third form adds, and its way with figures.

    Amounts used to be kept, and sealed, to the hundredth. Where a record of an older form has
    more, it was changed after the seal, and then it reads otherwise than what was sealed.
    """
    added = {
        "label": one.label_id,
        "rate": one.rate_id,
        "surface": one.surface,
        "finished_amount": _exact(one.finished_amount),
        "finished_unit": one.finished_unit,
        "explanation": one.explanation,
        "against_label": one.against_label,
        "received_at": one.received_at,
    }
    if form == FORM:
        return {**added, "amount": _exact(one.amount), "area": _exact(one.area)}
    figures = {
        "amount": _hundredths(one.amount),
        "area": None if one.area is None else _hundredths(one.area),
    }
    return figures | (added if any(added.values()) else {})


def _hundredths(figure: Decimal) -> Decimal:
    rounded = figure.quantize(_CENT)
    return rounded if rounded == figure else figure


def _exact(figure: Decimal | None) -> str | None:
    """A figure without the zeros that only the column adds."""
    return None if figure is None else f"{figure.normalize():f}"


def _treatment_as_sealed_first(one: Treatment) -> dict[str, Any]:
    return {
        "id": one.pk,
        "zone": one.zone_id,
        "checkpoint": one.checkpoint_id,
        "monitor": one.monitor_id,
        "position": one.position,
        "product": one.product_id,
        "product_name": one.product_name,
        "registration_number": one.registration_number,
        "actives": one.actives,
        "batch_number": one.batch_number,
        "target": one.target.slug,
        "method": one.method,
        "equipment": one.equipment,
        "place": one.place,
        "situation": one.situation,
        "amount": one.amount,
        "unit": one.unit,
        "dilution": one.dilution,
        "area": one.area,
        "area_unit": one.area_unit,
        "started_at": one.started_at,
        "finished_at": one.finished_at,
        "outdoors": one.outdoors,
        "wind_speed": one.wind_speed,
        "wind_direction": one.wind_direction,
        "weather": one.weather,
        "precautions": one.precautions,
        "cautions_confirmed": one.cautions_confirmed,
        "re_entry": one.re_entry,
        "applicator_name": one.applicator_name,
        "applicator_licence": one.applicator_licence,
        "supervised_person": one.supervised_person,
        "note": one.note,
    }


def _treatment(
    one: Treatment,
    company: Company | None,
    rule_set: RuleSet,
    bait: BaitAt,
    rates: Mapping[UUID, Sequence[LabelRate]],
    guide: Mapping[str, str],
) -> dict[str, Any]:
    application = application_of(one, bait)
    said = application_record.said_of(application, company)
    found = judged(application, said, rule_set)
    cautions = cautions_for(
        method=one.method,
        formulation=one.product.formulation,
        zone_kind=one.zone.kind,
        pest_group=one.target.group,
        surroundings=(one.surface, "outdoors" if one.outdoors else ""),
        confirmed=one.cautions_confirmed,
    )
    label = one.label or one.product.label
    return {
        **_treatment_facts(one),
        WORDS: {
            "zone": one.zone.name,
            "target": one.target.name,
            "method": one.get_method_display(),
            "elements": [[key, LABELS[key], value] for key, value in said.items() if value],
            "missing": [[key, LABELS[key]] for key in found.missing],
            "rules": {
                "slug": rule_set.slug,
                "title": rule_set.title,
                "edition": rule_set.edition,
                "source": rule_set.source,
            },
            "made_at": found.made_at,
            "made_by": found.made_by,
            "made_late": found.made_late,
            "keep_until": found.keep_until,
            "re_entry_at": application.re_entry_at,
            "label": {"number": label.number, "issued_on": label.issued_on},
            "working": reckoned(one, label, rates.get(label.pk, ())),
            "cautions": [
                *(
                    [caution.key, caution.text, caution.key in one.cautions_confirmed]
                    for caution in cautions
                ),
                *([key, guide[key], True] for key in one.cautions_confirmed if key in guide),
            ],
            "label_cautions": label.cautions,
            "is_demo": one.product.is_demo,
        },
    }
