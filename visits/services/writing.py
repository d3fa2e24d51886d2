"""What is written on a visit that the caller has locked and may write to.

``recording`` makes verbs of these for the technician, ``sync`` for a phone, ``parked`` for the
office that places a phone's record by hand: the rules stand here once. Every function belongs into
a transaction that holds the visit's row (``locked``), and leaves one entry on the trail.

The last word on a place stands: a look at a checkpoint replaces "not reached" and findings there, a
finding replaces a look, a reading replaces "not reached" of the same monitor, and the other way
round; the trail names what was replaced. A zone that was not reached as a whole speaks only for
those of its places that have no word of their own.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeVar
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db.models import Model, OuterRef, Subquery
from django.utils import timezone

from accounts.ids import uuid7
from accounts.models import Competence, User
from accounts.refusals import Refused, Unusable, WrongState
from accounts.trail import record
from sites.models import Checkpoint, Monitor, Photo, Zone
from visits.clocks import minutes_between, typed_at
from visits.dosing.units import kind_of, through_density
from visits.models import (
    Finding,
    FindingPhoto,
    LabelRate,
    Look,
    NotReached,
    Pest,
    Product,
    ProductLabel,
    Reading,
    ReadingCount,
    Treatment,
    Visit,
)
from visits.services.standing import BY_PEOPLE, lock_monitors, restand_devices
from visits.signatures import Strokes, require_ink

Row = TypeVar("Row", Finding, Treatment)

MOST_PHOTOS = 12
STANDS_IN_THE_WAY = {
    Visit.State.CLOSED: ("visit_closed", "This visit is closed and sealed; amend it instead."),
    Visit.State.CALLED_OFF: ("visit_called_off", "The office has called this visit off."),
    Visit.State.MISSED: ("visit_missed", "The office has recorded this visit as missed."),
    Visit.State.PLANNED: ("visit_unbooked", "The office has taken this visit off the plan."),
}


class Unknown(Refused):
    """Something was named that this site, or Kickplate, does not have."""

    code = "unknown"
    status = 422


@dataclass(frozen=True, slots=True)
class ReadingGiven:
    """What a monitor showed; ``counts`` by the slug of the pest, empty for nothing caught.

    ``bait_taken_g`` is what was eaten since the last reading, ``bait_lifted_g`` what was taken away
    now, both in grams where they were weighed.
    """

    monitor_id: UUID
    condition: str = Reading.Condition.SOUND
    counts: Mapping[str, int] = field(default_factory=dict)
    bait_taken: str = ""
    renewed: bool = False
    note: str = ""
    bait_taken_g: Decimal | None = None
    bait_lifted_g: Decimal | None = None


@dataclass(frozen=True, slots=True)
class FindingGiven:
    """Something seen. ``pest`` is a slug; ``awaits`` are hashes of photos that are on their way."""

    zone_id: UUID
    kind: str
    checkpoint_id: UUID | None = None
    height: str = ""
    pest: str = ""
    count: int | None = None
    urgency: str = Finding.Urgency.SOON
    note: str = ""
    place: str = ""
    remedy_kind: str = ""
    remedy: str = ""
    whose_move: str = ""
    photo_ids: Sequence[UUID] = ()
    awaits: Sequence[str] = ()
    x: float | None = None
    y: float | None = None


@dataclass(frozen=True, slots=True)
class NotReachedGiven:
    """A checkpoint, a monitor, or a whole zone: exactly one of them is named."""

    reason: str
    whose_move: str
    zone_id: UUID | None = None
    checkpoint_id: UUID | None = None
    monitor_id: UUID | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class TreatmentGiven:
    """One application. ``amount`` is of the product itself, in ``unit`` (empty: the product's own).

    ``label_id`` and ``rate_id`` name the version of the label, and the line of it, that the amount
    was worked out by; without them the label in force is noted. ``finished_amount`` is what was
    mixed. ``explanation`` says why it was done against the label, where it was.
    ``target`` is the slug of a pest, ``cautions_confirmed`` are keys of ``visits.cautions``, and
    ``wind_speed`` is in km/h. An empty ``re_entry`` becomes what the label says.
    """

    zone_id: UUID
    product_id: UUID
    target: str
    method: str
    place: str
    amount: Decimal
    started_at: datetime
    finished_at: datetime | None = None
    checkpoint_id: UUID | None = None
    monitor_id: UUID | None = None
    batch_number: str = ""
    equipment: str = ""
    situation: str = ""
    dilution: str = ""
    area: Decimal | None = None
    area_unit: str = ""
    outdoors: bool = False
    wind_speed: Decimal | None = None
    wind_direction: str = ""
    weather: str = ""
    precautions: str = ""
    cautions_confirmed: Sequence[str] = ()
    re_entry: str = ""
    supervised_person: str = ""
    note: str = ""
    unit: str = ""
    surface: str = ""
    label_id: UUID | None = None
    rate_id: UUID | None = None
    finished_amount: Decimal | None = None
    finished_unit: str = ""
    explanation: str = ""


@dataclass(frozen=True, slots=True)
class ContactGiven:
    """Who was met and what they signed: strokes, a typed name, or why there is neither."""

    contact_name: str = ""
    contact_job_title: str = ""
    summary: str = ""
    signature: Strokes | None = None
    signature_typed: str = ""
    no_signature_reason: str = ""


@dataclass(frozen=True, slots=True)
class MinutesGiven:
    """How long the technician was on site, and why that is not the time from start to closing.

    None for the time from start to closing.
    """

    minutes: int | None = None
    reason: str = ""


# --- the visit itself -----------------------------------------------------------------------------


def locked(visit_id: UUID) -> Visit:
    """The visit with its site, its row locked until the transaction ends. One query."""
    return Visit.objects.select_for_update(of=("self",)).select_related("site").get(pk=visit_id)


def require_open(visit: Visit) -> None:
    """Raise ``WrongState`` unless things may still be written on the visit."""
    if visit.state in STANDS_IN_THE_WAY:
        code, sentence = STANDS_IN_THE_WAY[Visit.State(visit.state)]
        raise WrongState(sentence, code=code, state=visit.state)


def begin(visit: Visit, *, by: User, at: datetime) -> bool:
    """Put a booked visit under way; says whether that changed anything.

    Once it is under way only an earlier start changes anything: the tap on "start" may reach us
    after the first record.
    """
    require_open(visit)
    if visit.state == Visit.State.UNDER_WAY and visit.started_at and visit.started_at <= at:
        return False
    old, visit.state, visit.started_at = visit.started_at, Visit.State.UNDER_WAY, at
    _grown(visit, "state", "started_at")
    record(by, "visit.started", visit, at=at, **({"instead_of": old} if old else {}))
    return True


def _started(visit: Visit, *, by: User, at: datetime) -> None:
    """A record on a booked visit is its start, whatever else may still be on its way."""
    require_open(visit)
    if visit.state == Visit.State.BOOKED:
        begin(visit, by=by, at=at)


def _grown(visit: Visit, *fields: str) -> None:
    visit.version += 1
    visit.save(update_fields=[*fields, "version"])


def _told(visit: Visit, by: User, at: datetime, what: str, **facts: Any) -> None:
    """Close what was written: a new version, and one entry on the trail."""
    _grown(visit)
    record(by, "visit.recorded", visit, at=at, what=what, **facts)


# --- looked, nothing ------------------------------------------------------------------------------


def write_looks(
    visit: Visit, *, by: User, at: datetime, checkpoint_ids: Sequence[UUID]
) -> list[Look]:
    """Looked at these checkpoints, nothing found. Raises ``Unknown`` for one of another site."""
    _started(visit, by=by, at=at)
    checkpoints = _checkpoints(visit, checkpoint_ids)
    replaced = _replaced(
        NotReached.objects.filter(visit=visit, checkpoint__in=checkpoints),
        Finding.objects.filter(visit=visit, checkpoint__in=checkpoints),
    )
    held = Look.objects.filter(visit=visit, checkpoint__in=checkpoints)
    held.update(at=at)
    there = set(held.values_list("checkpoint_id", flat=True))
    Look.objects.bulk_create(
        Look(visit=visit, checkpoint=one, at=at) for one in checkpoints if one.pk not in there
    )
    places = [_words(one) for one in checkpoints]
    _told(visit, by, at, "looked, nothing", places=places, **replaced)
    return list(
        Look.objects.filter(visit=visit, checkpoint__in=checkpoints).order_by(
            "checkpoint__zone__walk_order", "checkpoint__walk_order", "pk"
        )
    )


def unwrite_look(visit: Visit, *, by: User, at: datetime, checkpoint_id: UUID) -> bool:
    """Take a look back; says whether there was one."""
    return _unwritten(
        visit, by, at, "look", Look.objects.filter(visit=visit, checkpoint_id=checkpoint_id)
    )


# --- readings -------------------------------------------------------------------------------------


def write_readings(
    visit: Visit, *, by: User, at: datetime, readings: Sequence[ReadingGiven]
) -> list[Reading]:
    """What monitors showed. A second reading of a monitor replaces the first.

    Raises ``Unknown`` for a monitor of another site or an unknown pest. Ten queries or so, however
    many readings.
    """
    _started(visit, by=by, at=at)
    given = {one.monitor_id: one for one in readings}
    own = Monitor.objects.filter(site=visit.site_id, pk__in=given.keys())
    # Locked, as their devices may report of the same days at this moment.
    monitors = {one.pk: one for one in own.order_by("pk").select_for_update(no_key=True)}
    if len(monitors) != len(given):
        raise Unknown(
            "A monitor was named that does not stand at this site.", code="unknown_monitor"
        )
    pests = _pests(slug for one in given.values() for slug in one.counts)
    read_on = visit.site.day_of(at)
    last = _last_read(visit, given.keys(), read_on)
    replaced = _replaced(NotReached.objects.filter(visit=visit, monitor__in=given.keys()))
    held = {
        one.monitor_id: one for one in Reading.objects.filter(visit=visit, monitor__in=given.keys())
    }
    rows = []
    for monitor_id, one in given.items():
        monitor = monitors[monitor_id]
        row = held.get(monitor_id) or Reading(visit=visit, monitor=monitor)
        since = last.get(monitor_id, monitor.placed_on)
        row.at, row.read_on = at, read_on
        row.stood_days = (read_on - since).days if since <= read_on else None
        row.condition, row.bait_taken = one.condition, one.bait_taken
        row.bait_taken_g, row.bait_lifted_g = one.bait_taken_g, one.bait_lifted_g
        row.renewed, row.note = one.renewed, one.note.strip()
        _clean(row)
        rows.append(row)
    Reading.objects.bulk_create([row for row in rows if row._state.adding])
    Reading.objects.bulk_update(
        held.values(),
        [
            "at",
            "read_on",
            "stood_days",
            "condition",
            "bait_taken",
            "bait_taken_g",
            "bait_lifted_g",
            "renewed",
            "note",
        ],
    )
    ReadingCount.objects.filter(reading__in=held.values()).delete()
    ReadingCount.objects.bulk_create(
        ReadingCount(reading=row, pest=pests[slug], count=count)
        for row in rows
        for slug, count in sorted(given[row.monitor_id].counts.items())
        if count
    )
    _restand_devices(rows)
    shown = [
        {
            "monitor": monitors[row.monitor_id].number,
            "counts": {k: v for k, v in given[row.monitor_id].counts.items() if v},
            "condition": row.condition,
            **({"bait_taken": row.bait_taken} if row.bait_taken else {}),
            **{
                name: value
                for name in ("bait_taken_g", "bait_lifted_g")
                if (value := getattr(row, name)) is not None
            },
        }
        for row in rows
    ]
    _told(visit, by, at, "read", readings=shown, **replaced)
    return rows


def unwrite_reading(visit: Visit, *, by: User, at: datetime, monitor_id: UUID) -> bool:
    """Take a reading back; says whether there was one."""
    lock_monitors([monitor_id])
    gone = list(Reading.objects.filter(visit=visit, monitor_id=monitor_id))
    changed = _unwritten(visit, by, at, "reading", gone)
    _restand_devices(gone)
    return changed


def _restand_devices(readings: Sequence[Reading]) -> None:
    """What devices reported of the days that these readings count, or counted, is weighed anew."""
    if readings:
        days = [one.read_on for one in readings]
        longest = timedelta(days=max(one.stood_days or 0 for one in readings))
        restand_devices(
            [one.monitor_id for one in readings], since=min(days) - longest, until=max(days)
        )


def _last_read(visit: Visit, monitor_ids: Iterable[UUID], by_day: date) -> dict[UUID, date]:
    """The day on which a person last read each monitor before this visit, on whatever occasion.

    What an electronic trap reports is no reading in this sense: what it counted lies there still.
    """
    before = (
        Reading.objects.filter(monitor=OuterRef("pk"), read_on__lte=by_day, source__in=BY_PEOPLE)
        .exclude(visit=visit)
        .order_by("-read_on")
        .values("read_on")[:1]
    )
    read = (
        Monitor.objects.filter(pk__in=list(monitor_ids))
        .annotate(last=Subquery(before))
        .exclude(last=None)
    )
    return dict(read.values_list("pk", "last"))


# --- findings -------------------------------------------------------------------------------------


def write_finding(
    visit: Visit, *, by: User, at: datetime, finding: FindingGiven, finding_id: UUID | None = None
) -> Finding:
    """Something seen. The same ``finding_id`` again replaces what it said before.

    Raises ``Unknown`` for a place, pest or photo that the site does not have, ``Unusable`` for
    what makes no sense.
    """
    _started(visit, by=by, at=at)
    zone = _zone(visit, finding.zone_id)
    checkpoint = _checkpoint_in(zone, finding.checkpoint_id)
    photos = _photos(visit, finding.photo_ids)
    if len(photos) + len(finding.awaits) > MOST_PHOTOS:
        raise Unusable(f"A finding takes at most {MOST_PHOTOS} photos.", code="too_many_photos")
    row, is_new = _row_of(Finding, visit, finding_id)
    row.zone, row.checkpoint = zone, checkpoint
    row.height = finding.height or (checkpoint.height if checkpoint else "")
    row.kind, row.urgency, row.count = finding.kind, finding.urgency, finding.count
    row.pest = _pests([finding.pest])[finding.pest] if finding.pest else None
    row.note, row.place = finding.note.strip(), finding.place.strip()
    row.remedy_kind, row.remedy = finding.remedy_kind, finding.remedy.strip()
    row.whose_move = finding.whose_move
    row.awaits = list(finding.awaits)
    row.x, row.y, row.at = finding.x, finding.y, at
    _clean(row)
    if row.remedy_kind and not row.whose_move:
        raise Unusable("Say whose move the remedy is.", code="whose_move_missing")
    replaced = {}
    if checkpoint:
        replaced = _replaced(
            Look.objects.filter(visit=visit, checkpoint=checkpoint),
            NotReached.objects.filter(visit=visit, checkpoint=checkpoint),
        )
    row.save(force_insert=is_new)
    if not is_new:
        row.shown_by.all().delete()
    FindingPhoto.objects.bulk_create(
        FindingPhoto(finding=row, photo=photo, position=position)
        for position, photo in enumerate(photos)
    )
    _told(
        visit,
        by,
        at,
        "found" if is_new else "changed a finding",
        place=_words(checkpoint or zone),
        kind=row.kind,
        pest=finding.pest or None,
        count=row.count,
        remedy=row.remedy_kind or None,
        photos=len(photos) + len(row.awaits),
        **replaced,
    )
    return row


def unwrite_finding(visit: Visit, *, by: User, at: datetime, finding_id: UUID) -> bool:
    """Take a finding back; says whether there was one."""
    return _unwritten(visit, by, at, "finding", Finding.objects.filter(visit=visit, pk=finding_id))


# --- not reached ----------------------------------------------------------------------------------


def write_not_reached(
    visit: Visit, *, by: User, at: datetime, not_reached: NotReachedGiven
) -> NotReached:
    """A checkpoint, monitor or whole zone that could not be looked at, why, whose move it is."""
    _started(visit, by=by, at=at)
    named = _place_of(visit, not_reached)
    row = NotReached.objects.filter(visit=visit, **_keys_of(named)).first()
    row = row or NotReached(visit=visit, **named)
    row.reason, row.whose_move = not_reached.reason, not_reached.whose_move
    row.note, row.at = not_reached.note.strip(), at
    _clean(row)
    replaced = {}
    if row.checkpoint:
        replaced = _replaced(
            Look.objects.filter(visit=visit, checkpoint=row.checkpoint),
            Finding.objects.filter(visit=visit, checkpoint=row.checkpoint),
        )
    if row.monitor:
        lock_monitors([row.monitor.pk])
        gone = list(Reading.objects.filter(visit=visit, monitor=row.monitor))
        replaced = _replaced(gone)
        _restand_devices(gone)
    row.save()
    _told(
        visit,
        by,
        at,
        "not reached",
        place=_words(row.checkpoint or row.monitor or row.zone),
        reason=row.reason,
        whose_move=row.whose_move,
        **replaced,
    )
    return row


def unwrite_not_reached(
    visit: Visit,
    *,
    by: User,
    at: datetime,
    zone_id: UUID | None = None,
    checkpoint_id: UUID | None = None,
    monitor_id: UUID | None = None,
) -> bool:
    """Take "not reached" back; says whether it was there."""
    named = NotReachedGiven("", "", zone_id, checkpoint_id, monitor_id)
    rows = NotReached.objects.filter(visit=visit, **_keys_of(_place_of(visit, named)))
    return _unwritten(visit, by, at, "not reached", rows)


def unwrite_words(
    visit: Visit,
    *,
    by: User,
    at: datetime,
    zone_id: UUID | None = None,
    checkpoint_id: UUID | None = None,
    monitor_id: UUID | None = None,
) -> bool:
    """Take back whatever was said of a place, findings apart; says whether anything was.

    To a phone a place has one word. Which one it is may not be known here yet, when what it said
    before is still on its way.
    """
    named = _place_of(visit, NotReachedGiven("", "", zone_id, checkpoint_id, monitor_id))
    rows: list[Any] = [NotReached.objects.filter(visit=visit, **_keys_of(named))]
    if named["checkpoint"]:
        rows.append(Look.objects.filter(visit=visit, checkpoint=named["checkpoint"]))
    gone: list[Reading] = []
    if named["monitor"]:
        lock_monitors([named["monitor"].pk])
        gone = list(Reading.objects.filter(visit=visit, monitor=named["monitor"]))
        rows.append(gone)
    changed = _unwritten(visit, by, at, "what was said of a place", *rows)
    _restand_devices(gone)
    return changed


def _place_of(visit: Visit, given: NotReachedGiven) -> dict[str, Any]:
    """The zone, and the checkpoint or monitor in it, that "not reached" names."""
    if sum(one is not None for one in (given.zone_id, given.checkpoint_id, given.monitor_id)) != 1:
        raise Unusable("Name one checkpoint, one monitor or one zone.", code="one_place")
    if given.checkpoint_id:
        (checkpoint,) = _checkpoints(visit, [given.checkpoint_id])
        return {"zone": checkpoint.zone, "checkpoint": checkpoint, "monitor": None}
    if given.monitor_id:
        monitor = _monitor(visit, given.monitor_id)
        return {"zone": monitor.zone, "checkpoint": None, "monitor": monitor}
    return {"zone": _zone(visit, given.zone_id), "checkpoint": None, "monitor": None}


def _keys_of(named: dict[str, Any]) -> dict[str, Any]:
    """How that row is found again: a monitor may meanwhile stand in another zone."""
    if named["checkpoint"] or named["monitor"]:
        return {"checkpoint": named["checkpoint"], "monitor": named["monitor"]}
    return named


# --- treatments -----------------------------------------------------------------------------------


def write_treatment(
    visit: Visit,
    *,
    by: User,
    at: datetime,
    treatment: TreatmentGiven,
    treatment_id: UUID | None = None,
    received_at: datetime | None = None,
) -> Treatment:
    """One application of a product, with product, applicator and licence as they stood that day.

    A withdrawn product or a lapsed licence is no reason to leave out what was done: what the
    record lacks is named when the visit closes. Nor is a clock that was days ahead: an instant that
    lies more than a day after ``received_at`` stands at ``at``, and the trail keeps what was said.
    ``received_at`` is when this reached us (now unless said); of a changed record the first stands.
    Raises ``Unknown`` or ``Unusable`` only for what cannot be true.
    """
    _started(visit, by=by, at=at)
    treatment, typed = _in_time(treatment, at=at, received_at=received_at)
    zone = _zone(visit, treatment.zone_id)
    product = Product.objects.select_related("label").filter(pk=treatment.product_id).first()
    if product is None:
        raise Unknown("A product was named that is not on the register.", code="unknown_product")
    finished = treatment.finished_at
    if finished and finished < treatment.started_at:
        raise Unusable("The treatment ended before it began.", code="times_out_of_order")
    if treatment.amount <= 0:
        raise Unusable("Say how much product was used.", code="amount_missing")
    if treatment.area is not None and not treatment.area_unit:
        raise Unusable("Say in which unit the treated area is.", code="area_unit_missing")
    if treatment.finished_amount is not None and not treatment.finished_unit:
        raise Unusable("Say in which unit the finished spray is.", code="finished_unit_missing")
    row, is_new = _row_of(Treatment, visit, treatment_id)
    row.zone, row.checkpoint = zone, _checkpoint_in(zone, treatment.checkpoint_id)
    row.monitor = _monitor(visit, treatment.monitor_id) if treatment.monitor_id else None
    row.product, row.unit = product, treatment.unit or product.unit
    day = visit.site.day_of(treatment.started_at)
    row.label, row.rate = label_of(
        product, day, label_id=treatment.label_id, rate_id=treatment.rate_id
    )
    row.product_amount = amount_in(product.unit, treatment.amount, row.unit, row.label)
    row.product_name, row.actives = product.name, row.label.actives_words
    row.registration_number = product.registration_number
    row.target = _pests([treatment.target])[treatment.target]
    row.re_entry = treatment.re_entry.strip() or row.label.re_entry
    person = visit.technician or by
    row.applicator_name = person.name
    row.applicator_licence = licences_of(person, day)
    row.cautions_confirmed = sorted(set(treatment.cautions_confirmed))
    row.received_at = row.received_at or received_at or timezone.now()
    for name, value in asdict(treatment).items():
        if name in TYPED_AS_THEY_ARE:
            setattr(row, name, value.strip() if isinstance(value, str) else value)
    _clean(row)
    row.save(force_insert=is_new)
    _reorder(visit)
    _told(
        visit,
        by,
        at,
        "treated" if is_new else "changed a treatment",
        zone=zone.name,
        place=row.place,
        product=row.product_name,
        amount=row.amount,
        unit=row.unit,
        method=row.method,
        against=treatment.target,
        **typed,
    )
    return row


def _in_time(
    treatment: TreatmentGiven, *, at: datetime, received_at: datetime | None
) -> tuple[TreatmentGiven, dict[str, datetime]]:
    """The treatment at instants that may be true, and those that were typed instead."""
    moved: dict[str, datetime] = {}
    if received_at is None:
        return treatment, moved

    def in_time(name: str, typed: datetime) -> datetime:
        stands = typed_at(typed, at=at, received_at=received_at)
        if stands != typed:
            moved[f"typed_{name}"] = typed
        return stands

    finished = treatment.finished_at
    treatment = replace(
        treatment,
        started_at=in_time("started_at", treatment.started_at),
        finished_at=in_time("finished_at", finished) if finished else None,
    )
    return treatment, moved


TYPED_AS_THEY_ARE = (
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
    "supervised_person",
    "note",
    "surface",
    "finished_amount",
    "finished_unit",
    "explanation",
)


def label_of(
    product: Product, day: date, *, label_id: UUID | None, rate_id: UUID | None
) -> tuple[ProductLabel, LabelRate | None]:
    """The version of the label that was named, or that in force on the day, and the line of it.

    Raises ``Unknown`` for a version that is none of this product's, or a line that is not in it.
    """
    label = product.label
    if label_id:
        named = product.labels.filter(pk=label_id).first()
        if named is None:
            raise Unknown(
                "A version of the label was named that this product does not have.",
                code="unknown_label",
            )
        label = named
    elif day < label.in_force_from:
        then = product.labels.filter(in_force_from__lte=day).order_by("-number").first()
        label = then or label
    rate = None
    if rate_id:
        rate = label.rates.filter(pk=rate_id).first()
    if rate_id and rate is None:
        raise Unknown("A rate was named that this label does not state.", code="unknown_rate")
    return label, rate


def amount_in(own: str, amount: Decimal, unit: str, label: ProductLabel | None) -> Decimal | None:
    """An amount in the product's own unit, to a millionth of it.

    Nothing where a weight and a volume cannot be compared as the label states no density, and
    where the amount is too small to be one.
    """
    density = Fraction(label.density) if label and label.density else None
    if density is None and kind_of(unit) != kind_of(own):
        return None
    found = through_density(Fraction(amount), unit, own, density or Fraction(1))
    return (Decimal(found.numerator) / found.denominator).quantize(Decimal("0.000001")) or None


def unwrite_treatment(visit: Visit, *, by: User, at: datetime, treatment_id: UUID) -> bool:
    """Take a treatment back; says whether there was one."""
    rows = Treatment.objects.filter(visit=visit, pk=treatment_id)
    gone = _unwritten(visit, by, at, "treatment", rows)
    if gone:
        _reorder(visit)
    return gone


def _reorder(visit: Visit) -> None:
    """Number the treatments of a visit by when they began, in whatever order they came in."""
    rows = list(Treatment.objects.filter(visit=visit).order_by("started_at", "pk"))
    for position, row in enumerate(rows, start=1):
        row.position = position
    Treatment.objects.bulk_update(rows, ["position"])


def licences_of(person: User, on: date) -> str:
    """The licences and certificates that counted on a day, as the record names them. One query."""
    held = Competence.objects.filter(person=person).select_related("kind")
    named = [str(one) for one in held.order_by("kind__name", "pk") if one.is_valid_on(on)]
    words = ""
    for one in named:
        longer = f"{words}; {one}" if words else one
        if len(longer) > 120:
            break
        words = longer
    return words


# --- who was met ----------------------------------------------------------------------------------


def write_contact(visit: Visit, *, by: User, at: datetime, contact: ContactGiven) -> Visit:
    """Who was met, the summary, and what was signed. Raises ``Unusable`` for an empty signature."""
    _started(visit, by=by, at=at)
    take_contact(visit, contact)
    visit.save(update_fields=list(asdict(contact)))
    _told(visit, by, at, "contact", name=visit.contact_name, signed=_signed(visit))
    return visit


def take_contact(visit: Visit, contact: ContactGiven) -> None:
    """Put what was given on the visit, unsaved."""
    if contact.signature:
        require_ink(contact.signature)
    for name, value in asdict(contact).items():
        setattr(visit, name, value.strip() if isinstance(value, str) else value or None)
    _clean(visit, only=set(asdict(contact)))


def take_minutes(visit: Visit, given: MinutesGiven, *, closed_at: datetime) -> int:
    """Put the minutes on a visit that is being closed, unsaved; says those that are worked out.

    A minute more or less is a matter of rounding. Raises ``Unusable`` for other ones without a
    reason.
    """
    worked_out = minutes_between(visit.started_at or closed_at, closed_at)
    reason = given.reason.strip()
    said = worked_out if given.minutes is None else given.minutes
    if said == worked_out or (abs(said - worked_out) == 1 and not reason):
        visit.minutes_on_site, visit.minutes_reason = worked_out, ""
        return worked_out
    if not reason:
        raise Unusable(
            f"Minutes from start to closing: {worked_out}. Say why {said} are recorded.",
            code="minutes_reason_missing",
            worked_out=worked_out,
        )
    visit.minutes_on_site, visit.minutes_reason = said, reason
    _clean(visit, only={"minutes_on_site", "minutes_reason"})
    return worked_out


def _signed(visit: Visit) -> str:
    if visit.signature:
        return "by hand"
    return "by name" if visit.signature_typed else ""


# --- what they share ------------------------------------------------------------------------------


def _zone(visit: Visit, zone_id: UUID | None) -> Zone:
    zone = Zone.objects.filter(site=visit.site_id, pk=zone_id).first() if zone_id else None
    if zone is None:
        raise Unknown("A zone was named that this site does not have.", code="unknown_zone")
    return zone


def _monitor(visit: Visit, monitor_id: UUID) -> Monitor:
    found = Monitor.objects.select_related("zone").filter(site=visit.site_id, pk=monitor_id)
    monitor = found.first()
    if monitor is None:
        raise Unknown(
            "A monitor was named that does not stand at this site.", code="unknown_monitor"
        )
    return monitor


def _checkpoints(visit: Visit, ids: Sequence[UUID]) -> list[Checkpoint]:
    wanted = set(ids)
    found = list(
        Checkpoint.objects.filter(zone__site=visit.site_id, pk__in=wanted)
        .select_related("zone")
        .order_by("zone__walk_order", "walk_order", "pk")
    )
    if not wanted or len(found) != len(wanted):
        raise Unknown(
            "A checkpoint was named that this site does not have.", code="unknown_checkpoint"
        )
    return found


def _checkpoint_in(zone: Zone, checkpoint_id: UUID | None) -> Checkpoint | None:
    if checkpoint_id is None:
        return None
    found = Checkpoint.objects.filter(zone=zone, pk=checkpoint_id).first()
    if found is None:
        raise Unknown("A checkpoint was named that is not in this zone.", code="unknown_checkpoint")
    found.zone = zone
    return found


def _pests(slugs: Iterable[str]) -> dict[str, Pest]:
    wanted = set(slugs)
    if not wanted:
        return {}
    found = {pest.slug: pest for pest in Pest.objects.filter(slug__in=wanted)}
    for slug in sorted(wanted - found.keys()):
        raise Unknown(f"There is no pest “{slug[:40]}” on file.", code="unknown_pest")
    return found


def _photos(visit: Visit, ids: Sequence[UUID]) -> list[Photo]:
    """The photos in the order in which they were named, each once."""
    wanted = list(dict.fromkeys(ids))
    found = Photo.objects.filter(site=visit.site_id, pk__in=wanted).in_bulk()
    if len(found) != len(wanted):
        raise Unknown("A photo was named that was not taken at this site.", code="unknown_photo")
    return [found[one] for one in wanted]


def _row_of(model: type[Row], visit: Visit, row_id: UUID | None) -> tuple[Row, bool]:
    """The row with an id that the phone made, or a new one; and whether it is new."""
    if row_id is None:
        return model(pk=uuid7(), visit=visit), True
    held = model._default_manager.filter(pk=row_id).first()
    if held is None:
        return model(pk=row_id, visit=visit), True
    if held.visit_id != visit.pk:
        raise Refused("Another visit has a record with this id.", code="id_taken")
    held.visit = visit
    return held, False


def _clean(row: Model, *, only: set[str] | None = None) -> None:
    """Raise ``Unusable``, naming the field, for a value that the model does not take. No query."""
    skipped = {one.name for one in row._meta.fields if only is not None and one.name not in only}
    skipped |= {one.name for one in row._meta.fields if one.is_relation}
    try:
        row.clean_fields(exclude=skipped)
    except ValidationError as error:
        name, sentences = next(iter(error.message_dict.items()))
        label = str(row._meta.get_field(name).verbose_name).capitalize()  # type: ignore[union-attr]
        raise Unusable(f"{label}: {sentences[0]}", code="unusable", field=name) from error


def _words(place: Checkpoint | Monitor | Zone) -> str:
    """A place as the trail names it."""
    return str(place) if isinstance(place, Zone) else f"{place.zone}: {place}"


def _replaced(*words_before: Any) -> dict[str, Any]:
    """Delete what the new word stands against, and name it for the trail."""
    gone = []
    for rows in words_before:
        for row in rows:
            gone.append(str(row))
            row.delete()
    return {"replaced": gone} if gone else {}


def _unwritten(visit: Visit, by: User, at: datetime, what: str, *rows: Any) -> bool:
    _started(visit, by=by, at=at)
    gone = _replaced(*rows)
    if not gone:
        return False
    _told(visit, by, at, f"took back: {what}", **gone)
    return True
