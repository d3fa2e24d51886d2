"""What the record of a treatment shows against its label and the rules, once it was done.

The same checks warn a technician beforehand (``visits.dosing.notices``); here they judge what was
recorded. Nothing is refused: the truth stands beside the record, with the technician's explanation.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import Prefetch

from accounts.models import Competence
from visits.dosing.allowance import YEAR, Applied
from visits.dosing.baiting import BaitingState
from visits.dosing.label import KIND_OF_PER, Label, RateLine
from visits.dosing.notices import Notice, Planned, notices, within_of
from visits.dosing.rotation import WINDOW_DAYS, Used
from visits.dosing.units import DosingError, Quantity, kind_of
from visits.dosing.vocabulary import RODENTICIDES
from visits.models import LabelRate, ProductLabel, Treatment, Visit
from visits.queries.baiting import baiting_before
from visits.queries.labels import pure_label, pure_rate

# Three windows are compared, and a year is counted; a day more for what lies beside midnight.
LOOK_BACK = max(YEAR, timedelta(days=3 * WINDOW_DAYS)) + timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Before:
    """One earlier application at the site: of which visit, where, what, against what, and when."""

    visit_id: UUID
    zone_id: UUID
    product_id: UUID
    target_id: UUID
    on: date
    actives: tuple[str, ...]


def judged(visit: Visit, treatments: Sequence[Treatment]) -> dict[UUID, tuple[Notice, ...]]:
    """By treatment of one visit, what stands against it, what is forbidden first.

    The visit must have its site at hand; the treatments their zone, product and target. Nine
    queries at most, however many treatments; none without any. They need not be saved.
    """
    if not treatments:
        return {}
    labels = _labels(treatments)
    history = _history(visit, treatments)
    technician_holds = _competences(visit)
    baiting = _baiting(visit, treatments)
    found = {}
    for one in treatments:
        on = visit.site.day_of(one.started_at)
        label = labels.get(one.label_id) if one.label_id else None
        found[one.pk] = (
            ()
            if label is None
            else _against(
                one,
                on,
                label,
                [before for before in history if before.on <= on],
                technician_holds,
                baiting.get(on),
            )
        )
    return found


def as_kept(found: Iterable[Notice]) -> list[dict[str, Any]]:
    """Notices as ``Treatment.against_label`` keeps them and seals hold them."""
    return [{"code": one.code, "forbidden": one.forbidden, "words": one.words} for one in found]


def _against(
    one: Treatment,
    on: date,
    label: ProductLabel,
    history: Sequence[Before],
    technician_holds: bool | None,
    baiting: BaitingState | None,
) -> tuple[Notice, ...]:
    """Where the record names no line of rates, the one that speaks best for it counts."""
    rates = list(label.rates.all())
    try:
        pure = pure_label(label, rates)
        named = next((pure_rate(rate) for rate in rates if rate.pk == one.rate_id), None)
    except DosingError as error:
        words = (
            f"The register's words of this label cannot be used, so nothing was checked. {error}"
        )
        return (Notice("label_unclear", False, words),)
    planned = Planned(
        on=on,
        zone_kind=one.zone.kind,
        within=within_of(one.surface, one.zone.kind),
        pest=one.target.slug,
        pest_group=one.target.group,
        method=one.method,
        outdoors=one.outdoors,
        amount=Quantity(Fraction(one.amount), one.unit),
        wind_kmh=None if one.wind_speed is None else Fraction(one.wind_speed),
        licensed=True if one.applicator_licence else technician_holds,
        supervised=bool(one.supervised_person.strip()),
        boundary=one.zone.boundary,
    )
    facts: dict[str, Any] = {
        "applied": [
            Applied(before.on)
            for before in history
            if (before.product_id, before.zone_id) == (one.product_id, one.zone_id)
        ],
        "rotation": [
            Used(before.on, before.actives)
            for before in history
            if before.target_id == one.target_id
        ],
        "bait_review": baiting,
        "in_force": _is_in_force(label, on),
    }
    lines = [named] if named else _lines_for(one, pure)
    tries = [
        notices(replace(planned, line=line, measure=_measure(one, line)), pure, **facts)
        for line in lines
    ] or [notices(replace(planned, measure=_measure(one, None)), pure, **facts)]
    return min(tries, key=lambda found: (sum(each.forbidden for each in found), len(found)))


def _lines_for(one: Treatment, label: Label) -> list[RateLine]:
    """The lines of rates that the measure of a treatment could go by."""
    return [
        line
        for line in label.rates
        if (not line.methods or one.method in line.methods)
        and (measure := _measure(one, line)) is not None
        and (
            kind_of(measure.unit) == "volume"
            or kind_of(measure.unit) == KIND_OF_PER[line.per]
            or (line.cover is not None and kind_of(line.cover.per_unit) == kind_of(measure.unit))
        )
    ]


def _measure(one: Treatment, line: RateLine | None) -> Quantity | None:
    """What the amount is held against: the place, the spots, or what was mixed.

    What was never written on a visit may lack a unit, and then is no measure.
    """
    finished = (
        Quantity(Fraction(one.finished_amount), one.finished_unit)
        if one.finished_amount is not None and one.finished_unit
        else None
    )
    place = Quantity(Fraction(one.area), one.area_unit) if one.area and one.area_unit else None
    if place is None and one.monitor_id and line is not None and line.per == "point":
        place = Quantity(Fraction(1), "points")
    if line is not None and line.per == "finished" and finished is not None:
        return finished
    return place or finished


def _is_in_force(label: ProductLabel, on: date) -> bool:
    """Whether no later version of the label was in force on the day."""
    newest = label.product.label
    return not (newest is not None and newest.number > label.number and newest.in_force_from <= on)


def _labels(treatments: Sequence[Treatment]) -> dict[UUID, ProductLabel]:
    """The labels by which they were made, with product and rates. Two queries."""
    ids = {one.label_id for one in treatments if one.label_id}
    rates = Prefetch("rates", LabelRate.objects.order_by("position"))
    rows = ProductLabel.objects.select_related("product__label").prefetch_related(rates)
    return {label.pk: label for label in rows.filter(pk__in=ids)}


def _history(visit: Visit, treatments: Sequence[Treatment]) -> list[Before]:
    """What was applied at the site on other visits up to a year before. One query.

    What was recorded before treatments named their label has the actives of the one in force.
    """
    first = min(one.started_at for one in treatments)
    last = max(one.started_at for one in treatments)
    actives = ("label__actives", "product__label__actives")
    rows = (
        Treatment.objects.filter(
            visit__site=visit.site_id,
            started_at__gte=first - LOOK_BACK,
            started_at__lte=last + timedelta(days=1),
        )
        .exclude(visit=visit.pk)
        .order_by("started_at", "pk")
        .values_list("visit", "zone", "product", "target", "started_at", *actives)
    )
    return [
        Before(
            visit_id,
            zone_id,
            product_id,
            target_id,
            visit.site.day_of(at),
            tuple(active["name"] for active in then or now or ()),
        )
        for visit_id, zone_id, product_id, target_id, at, then, now in rows
    ]


def _competences(visit: Visit) -> bool | None:
    """False where the technician's licences are on file, so that one was wanted; else not known.

    Which of them counted that day stands on the record itself. One query.
    """
    on_file = Competence.objects.filter(person=visit.technician_id).exists()
    return False if on_file else None


def _baiting(visit: Visit, treatments: Sequence[Treatment]) -> Mapping[date, BaitingState]:
    """By day, how the site's baiting stood before this visit. Four queries, none without bait."""
    days = {
        visit.site.day_of(one.started_at)
        for one in treatments
        if one.product.formulation in RODENTICIDES
    }
    return baiting_before(visit.site, days, but_not=visit.pk) if days else {}
