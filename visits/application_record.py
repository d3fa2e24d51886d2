"""What the record of one application says, element by element, in words.

The elements are the union of what published rules ask a record of a pesticide application to say;
``visits.dosing.rules`` holds the rules and judges what is missing by one of them. Here is the one
place where stored facts become those words: when a visit closes, for its report and the phone, and
for the application register, which reads half a million rows and so never makes models of them.
What happened is recorded even where an element is wanting; the gap is named when the visit closes,
and stays in the sealed record.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Case, DateTimeField, OuterRef, Q, QuerySet, Subquery, When
from django.db.models.functions import Coalesce

from accounts.models import Company
from visits.dosing import rules
from visits.dosing.vocabulary import RODENTICIDES, SPRAYED
from visits.models import Pest, Reading, Treatment

# Source: CRRU UK Code 2015: baiting that goes on longer needs a documented cause.
BAITING_REVIEW_DAYS = 35
LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)

# What is said of an application, in the order in which it is read. Most keys are those of the
# rules; the others (label_version, finished_spray, re_entry_at, explanation) no rule asks for.
LABELS: Mapping[str, str] = {
    "product_name": "Product",
    "registration_number": "Registration number",
    "label_version": "Label",
    "active_concentration": "Active ingredients and strength",
    "batch_number": "Batch or lot",
    "quantity_product": "Amount of product",
    "rate_or_dilution": "Rate or dilution",
    "finished_spray": "Finished spray",
    "method": "Method",
    "equipment": "Equipment",
    "date": "Date",
    "start_time": "Started",
    "finish_time": "Finished",
    "treatment_order": "Order on this visit",
    "site_address": "Address",
    "area_delineation": "Zone",
    "location": "Place treated",
    "site_or_commodity": "Kind of surface or goods",
    "area_size": "Size of what was treated",
    "target_pest": "Target pest",
    "applicator_name": "Applied by",
    "applicator_contact": "How to reach them",
    "applicator_certificate": "Licence valid that day",
    "supervised_person_name": "Supervised person",
    "employer_name": "Employer",
    "employer_contact": "Employer's address",
    "client_name": "For",
    "client_address": "Client's address",
    "occupier_name": "Occupier",
    "wind_speed": "Wind speed",
    "wind_direction": "Wind from",
    "weather_if_outdoor": "Weather",
    "other_weather_if_label": "Weather the label names",
    "precautions_given": "What people were told",
    "re_entry_advice": "Re-entry",
    "re_entry_at": "People may come back from",
    "signature": "Signed",
    "bait_point_locations": "Bait point",
    "bait_quantity_per_point": "Bait at each point",
    "bait_start_date": "Baited since",
    "bait_end_date": "Bait lifted",
    "cause_if_over_35_days": "Why baiting goes on after 35 days",
    "carcass_search": "Search for dead rodents",
    "explanation": "Why it was done against the label",
}

# Where each fact of an application is kept, from its row. The register selects these columns.
PATHS: Mapping[str, str] = {
    "pk": "pk",
    "visit_id": "visit_id",
    "seal_number": "visit__seal_number",
    "closed_at": "visit__closed_at",
    "visit_received_at": "visit__received_at",
    "site_id": "visit__site_id",
    "site_name": "visit__site__name",
    "site_reference": "visit__site__reference",
    "site_address": "visit__site__address",
    "site_postcode": "visit__site__postcode",
    "time_zone": "visit__site__time_zone",
    "client_name": "visit__site__client__name",
    "client_address": "visit__site__client__address",
    "technician_phone": "visit__technician__phone",
    "zone_name": "zone__name",
    "monitor_id": "monitor_id",
    "monitor_number": "monitor__number",
    "monitor_place": "monitor__place",
    "monitor_removed_on": "monitor__removed_on",
    "position": "position",
    "formulation": "product__formulation",
    "is_demo": "product__is_demo",
    "label_number": "label__number",
    "label_issued_on": "label__issued_on",
    "re_entry_minutes": "label__re_entry_minutes",
    "names_weather": "label__names_weather",
    "rate_words": "rate__words",
    "product_name": "product_name",
    "registration_number": "registration_number",
    "actives": "actives",
    "batch_number": "batch_number",
    "target": "target__name",
    "target_group": "target__group",
    "method": "method",
    "equipment": "equipment",
    "place": "place",
    "situation": "situation",
    "amount": "amount",
    "unit": "unit",
    "finished_amount": "finished_amount",
    "finished_unit": "finished_unit",
    "dilution": "dilution",
    "area": "area",
    "area_unit": "area_unit",
    "started_at": "started_at",
    "finished_at": "finished_at",
    "received_at": "received_at",
    "outdoors": "outdoors",
    "wind_speed": "wind_speed",
    "wind_direction": "wind_direction",
    "weather": "weather",
    "precautions": "precautions",
    "cautions_confirmed": "cautions_confirmed",
    "re_entry": "re_entry",
    "explanation": "explanation",
    "against_label": "against_label",
    "applicator_name": "applicator_name",
    "applicator_licence": "applicator_licence",
    "supervised_person": "supervised_person",
    "note": "note",
    "rule_set": "rule_set",
    "unsaid": "unsaid",
    "made_late": "made_late",
    "keep_until": "keep_until",
}


class BaitAt(NamedTuple):
    """Since when bait lies at the point of an application, and when it was lifted after it."""

    baited_from: datetime | None = None
    lifted_at: datetime | None = None


NO_BAIT = BaitAt()


class Application(NamedTuple):
    """The facts of one application, in the order of ``PATHS``; then those of bait at its point.

    A tuple, as the database gives one: making half a million models would take the register ten
    times as long. ``baited_from`` is the instant at which bait was first laid at the same point
    since it was last lifted there, ``lifted_at`` that of its next lifting.
    """

    pk: UUID
    visit_id: UUID
    seal_number: int | None
    closed_at: datetime | None
    visit_received_at: datetime | None
    site_id: UUID
    site_name: str
    site_reference: str
    site_address: str
    site_postcode: str
    time_zone: str
    client_name: str
    client_address: str
    technician_phone: str | None
    zone_name: str
    monitor_id: UUID | None
    monitor_number: int | None
    monitor_place: str | None
    monitor_removed_on: date | None
    position: int
    formulation: str
    is_demo: bool
    label_number: int | None
    label_issued_on: date | None
    re_entry_minutes: int | None
    names_weather: bool | None
    rate_words: str | None
    product_name: str
    registration_number: str
    actives: str
    batch_number: str
    target: str
    target_group: str
    method: str
    equipment: str
    place: str
    situation: str
    amount: Decimal
    unit: str
    finished_amount: Decimal | None
    finished_unit: str
    dilution: str
    area: Decimal | None
    area_unit: str
    started_at: datetime
    finished_at: datetime | None
    received_at: datetime | None
    outdoors: bool
    wind_speed: Decimal | None
    wind_direction: str
    weather: str
    precautions: str
    cautions_confirmed: list[str]
    re_entry: str
    explanation: str
    against_label: list[dict[str, Any]]
    applicator_name: str
    applicator_licence: str
    supervised_person: str
    note: str
    rule_set: str
    unsaid: list[str]
    made_late: bool
    keep_until: date | None
    baited_from: datetime | None = None
    lifted_at: datetime | None = None

    @property
    def zone_info(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    @property
    def on(self) -> date:
        """The day of the application in the site's own zone."""
        return self.started_at.astimezone(self.zone_info).date()

    @property
    def done_at(self) -> datetime:
        """When it ended; where nobody wrote that down, when it began."""
        return self.finished_at or self.started_at

    @property
    def re_entry_at(self) -> datetime | None:
        """From when people may come back by the label's minutes, where it states any."""
        if self.re_entry_minutes is None:
            return None
        return self.done_at + timedelta(minutes=self.re_entry_minutes)

    @property
    def is_baiting(self) -> bool:
        """Whether bait for rodents was laid; stations for ants ask for no search for the dead."""
        return self.method == Treatment.Method.BAIT_STATION and (
            self.formulation in RODENTICIDES or self.target_group == Pest.Group.RODENT
        )

    @property
    def amount_words(self) -> str:
        return _amount(self.amount, self.unit)

    @property
    def method_words(self) -> str:
        return _METHODS.get(self.method, self.method)

    @property
    def unsaid_words(self) -> str:
        """What the record leaves out: “batch or lot; equipment”."""
        return "; ".join(labels_of(self.unsaid)).lower()

    @property
    def is_forbidden(self) -> bool:
        return any(notice["forbidden"] for notice in self.against_label)

    @property
    def baited_on(self) -> date | None:
        return self.baited_from.astimezone(self.zone_info).date() if self.baited_from else None

    @property
    def made_at(self) -> datetime | None:
        """When its record reached us: before the closing of its visit, or with it."""
        return min(
            (at for at in (self.received_at, self.visit_received_at) if at is not None),
            default=None,
        )


BAIT_INSTANTS = ("baited_from", "lifted_at")


def application_of(treatment: Treatment, bait: BaitAt = NO_BAIT) -> Application:
    """One application as facts. No query, if what ``PATHS`` names was brought along."""
    return Application._make([*(_followed(treatment, path) for path in PATHS.values()), *bait])


def with_bait_instants(treatments: QuerySet[Treatment]) -> QuerySet[Treatment]:
    """The same rows with ``baited_from`` and ``lifted_at``; looked up for bait in stations only."""
    lifted_before = (
        Reading.objects.filter(
            monitor=OuterRef(OuterRef("monitor")),
            bait_lifted_g__gt=0,
            at__lt=OuterRef(OuterRef("started_at")),
        )
        .order_by("-at")
        .values("at")[:1]
    )
    laid = Treatment.objects.filter(
        monitor=OuterRef("monitor"),
        method=Treatment.Method.BAIT_STATION,
        started_at__gt=Coalesce(Subquery(lifted_before), LONG_AGO, output_field=DateTimeField()),
    )
    first_laid = laid.order_by("started_at").values("started_at")[:1]
    lifted_after = (
        Reading.objects.filter(
            monitor=OuterRef("monitor"), bait_lifted_g__gt=0, at__gte=OuterRef("started_at")
        )
        .order_by("at")
        .values("at")[:1]
    )

    def at_a_point(found: QuerySet[Any]) -> Case:
        laid_here = Q(method=Treatment.Method.BAIT_STATION, monitor__isnull=False)
        return Case(When(laid_here, then=Subquery(found)), output_field=DateTimeField())

    return treatments.annotate(
        baited_from=at_a_point(first_laid), lifted_at=at_a_point(lifted_after)
    )


def bait_instants(treatments: Iterable[Treatment]) -> dict[UUID, BaitAt]:
    """By treatment, for those that laid bait in stations. At most one query."""
    laid = [one.pk for one in treatments if one.method == Treatment.Method.BAIT_STATION]
    if not laid:
        return {}
    rows = with_bait_instants(Treatment.objects.filter(pk__in=laid))
    return {
        pk: BaitAt(baited_from, lifted_at)
        for pk, baited_from, lifted_at in rows.values_list("pk", *BAIT_INSTANTS)
    }


def said_of(one: Application, company: Company | None) -> dict[str, str]:
    """Everything that the record says, by element; what it leaves unsaid is an empty text.

    The keys are those of ``LABELS``, in that order. Times are in the site's own zone. No query.
    """
    zone = one.zone_info
    baiting = one.is_baiting
    contact = employer_contact(company)
    return {
        "product_name": one.product_name,
        "registration_number": one.registration_number,
        "label_version": _label(one),
        "active_concentration": one.actives,
        "batch_number": one.batch_number,
        "quantity_product": one.amount_words,
        "rate_or_dilution": one.dilution or one.rate_words or "",
        "finished_spray": (
            "" if one.finished_amount is None else _amount(one.finished_amount, one.finished_unit)
        ),
        "method": one.method_words,
        "equipment": one.equipment,
        "date": in_words(one.on),
        "start_time": _clock(one.started_at, zone),
        "finish_time": _clock(one.finished_at, zone),
        "treatment_order": str(one.position),
        "site_address": _joined(one.site_address, one.site_postcode),
        "area_delineation": one.zone_name,
        "location": one.place,
        "site_or_commodity": one.situation,
        "area_size": "" if one.area is None else f"{_short(one.area)} {_AREAS[one.area_unit]}",
        "target_pest": one.target,
        "applicator_name": one.applicator_name,
        "applicator_contact": _joined(one.technician_phone or "", contact),
        "applicator_certificate": one.applicator_licence,
        "supervised_person_name": one.supervised_person,
        "employer_name": company.name if company else "",
        "employer_contact": contact,
        "client_name": one.client_name,
        "client_address": _joined(one.client_address or one.site_address),
        "occupier_name": f"{one.client_name}, {one.site_name}",
        "wind_speed": _wind(one),
        "wind_direction": one.wind_direction,
        "weather_if_outdoor": (one.weather or _wind(one)) if one.outdoors else "",
        "other_weather_if_label": one.weather,
        "precautions_given": one.precautions,
        "re_entry_advice": one.re_entry,
        "re_entry_at": _moment(one.re_entry_at, zone),
        "signature": f"{one.applicator_name}, by closing and sealing the visit",
        "bait_point_locations": _point(one),
        "bait_quantity_per_point": _per_point(one) if baiting else "",
        "bait_start_date": in_words(one.baited_on or one.on) if baiting else "",
        "bait_end_date": _lifted(one, zone) if baiting else "",
        "cause_if_over_35_days": one.note if _goes_on(one) else "",
        "carcass_search": "Done" if "carcass_search" in one.cautions_confirmed else "",
        "explanation": one.explanation,
    }


def conditions_of(one: Application) -> rules.Conditions:
    """Under which conditions an application was made, for elements that are not always asked."""
    return rules.Conditions(
        outdoors=one.outdoors,
        sprayed=one.formulation in SPRAYED,
        # Somebody without a licence that day works under somebody who has one.
        supervised=bool(one.supervised_person) or not one.applicator_licence,
        label_names_weather=bool(one.names_weather),
        baiting=one.is_baiting,
        lifted=bool(one.lifted_at or one.monitor_removed_on),
        past_review=_goes_on(one),
    )


@dataclass(frozen=True, slots=True)
class Judged:
    """What a set of rules makes of one record.

    ``missing`` are keys of ``LABELS`` in their order. ``made_by`` is the instant by which the
    record had to be made and ``keep_until`` the day until which it is kept, where the set says so.
    """

    by: rules.RuleSet
    missing: tuple[str, ...]
    made_at: datetime | None
    made_by: datetime | None
    keep_until: date | None

    @property
    def made_late(self) -> bool:
        return bool(self.made_at and self.made_by and self.made_at > self.made_by)


def judged(one: Application, said: Mapping[str, str], rule_set: rules.RuleSet) -> Judged:
    """One record by one set of rules. Elements of a visit or a site are kept there, not here."""
    missing = rules.missing(rule_set, said, conditions_of(one))
    # Years are counted from when the record was made, which is never before what it tells of.
    made_on = one.made_at.astimezone(one.zone_info).date() if one.made_at else one.on
    return Judged(
        by=rule_set,
        missing=tuple(key for key in LABELS if key in missing),
        made_at=one.made_at,
        made_by=rules.made_by(rule_set, one.done_at),
        keep_until=rules.keep_until(rule_set, max(made_on, one.on)),
    )


def left_unsaid(one: Application, rule_set: rules.RuleSet, company: Company | None) -> list[str]:
    """The labels of what a record leaves out. No query."""
    return labels_of(judged(one, said_of(one, company), rule_set).missing)


def labels_of(keys: Iterable[str]) -> list[str]:
    """Elements in words; one that is no longer known here by its key."""
    return [LABELS.get(key, key) for key in keys]


def employer_contact(company: Company | None) -> str:
    """How to reach the company, on one line."""
    if company is None:
        return ""
    return _joined(company.address, company.phone, company.email, company.registration)


def in_words(on: date) -> str:
    return f"{on.day} {on:%b %Y}"


_METHODS: Mapping[str, str] = {str(key): str(words) for key, words in Treatment.Method.choices}
_AREAS: Mapping[str, str] = {str(key): str(words) for key, words in Treatment.AreaUnit.choices}
_UNITS: Mapping[str, str] = {str(key): str(words) for key, words in Treatment.AmountUnit.choices}


def _followed(treatment: Treatment, path: str) -> Any:
    """What stands at the end of a path; nothing where it breaks off, as in the database."""
    value: Any = treatment
    for name in path.split("__"):
        if value is None:
            return None
        value = getattr(value, name)
    return value


def _joined(*parts: str) -> str:
    """The parts, and the lines within them, on one line."""
    lines = (" ".join(line.split()) for part in parts for line in part.splitlines())
    return ", ".join(line for line in lines if line)


def _clock(at: datetime | None, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%H:%M} ({zone.key})" if at else ""


def _moment(at: datetime | None, zone: ZoneInfo) -> str:
    if at is None:
        return ""
    local = at.astimezone(zone)
    return f"{local:%a} {in_words(local.date())}, {local:%H:%M} ({zone.key})"


def _label(one: Application) -> str:
    if one.label_number is None:
        return ""
    issued = f", dated {in_words(one.label_issued_on)}" if one.label_issued_on else ""
    return f"Version {one.label_number}{issued}"


def _amount(amount: Decimal, unit: str) -> str:
    return f"{_short(amount)} {_UNITS.get(unit, unit)}"


def _point(one: Application) -> str:
    if one.monitor_number is None:
        return ""
    return _joined(f"Monitor {one.monitor_number}", one.monitor_place or "")


def _per_point(one: Application) -> str:
    if one.monitor_id:
        return one.amount_words
    if one.area and one.area_unit == Treatment.AreaUnit.POINT:
        return _amount(round(one.amount / one.area, 2), one.unit)
    return ""


def _lifted(one: Application, zone: ZoneInfo) -> str:
    if one.lifted_at:
        return in_words(one.lifted_at.astimezone(zone).date())
    return in_words(one.monitor_removed_on) if one.monitor_removed_on else ""


def _goes_on(one: Application) -> bool:
    """Whether bait has lain at this point for longer than a review allows."""
    since = one.baited_on
    return since is not None and (one.on - since).days > BAITING_REVIEW_DAYS


def _wind(one: Application) -> str:
    return "" if one.wind_speed is None else f"{_short(one.wind_speed)} km/h"


def _short(figure: Decimal) -> str:
    """A figure without the zeros that only the column adds: 12.50 as 12.5, 12.00 as 12."""
    return f"{figure.normalize():f}"
