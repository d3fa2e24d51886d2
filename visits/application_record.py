"""What the record of one application says, element by element, and what it leaves unsaid.

The elements are the union of what published rules ask a record of a pesticide application to say
(7 CFR 110.3; 40 CFR 171.303; NSW Pesticides Regulation 2017 cl. 35; Victoria, Queensland and
British Columbia equivalents; Regulation (EC) 1107/2009 art. 67; CRRU UK Code). Recording the union
is more than any single one asks. What happened is recorded even where an element is wanting; the
gap is named when the visit closes, and stays in the sealed record.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Min

from accounts.models import Company
from visits.models import Product, Treatment

# Source: CRRU UK Code 2015: baiting that goes on longer needs a documented cause.
BAITING_REVIEW_DAYS = 35
SPRAYED = (Product.Formulation.LIQUID, Product.Formulation.AEROSOL)


@dataclass(frozen=True, slots=True)
class Element:
    """One thing a record says. ``asked`` is false where its condition does not hold."""

    key: str
    label: str
    value: str
    asked: bool = True

    @property
    def is_missing(self) -> bool:
        return self.asked and not self.value.strip()


def elements_of(
    treatment: Treatment, *, company: Company | None, bait_since: date | None = None
) -> list[Element]:
    """Everything the record of an application says, in the order in which it is read.

    Needs the treatment's visit (with technician), product, target, zone, site, client and monitor
    at hand; then it asks the database nothing. ``bait_since`` is the day on which bait was first
    laid at the same point. Times are in the site's own zone.
    """
    visit, site = treatment.visit, treatment.visit.site
    client, monitor = site.client, treatment.monitor
    started = _local(treatment.started_at, site.zone_info)
    on = site.day_of(treatment.started_at)
    baiting = treatment.method == Treatment.Method.BAIT_STATION
    outdoor_spray = treatment.outdoors and treatment.product.formulation in SPRAYED
    review_due = baiting and bait_since is not None and (on - bait_since).days > BAITING_REVIEW_DAYS
    employer = company.name if company else ""
    employer_contact = (
        _joined(company.address, company.phone, company.email, company.registration)
        if company
        else ""
    )
    technician = visit.technician
    return [
        Element("product_name", "Product", treatment.product_name),
        Element("registration_number", "Registration number", treatment.registration_number),
        Element("active_concentration", "Active ingredients and strength", treatment.actives),
        Element("batch_number", "Batch or lot", treatment.batch_number),
        Element("quantity_product", "Amount of product", _amount(treatment)),
        Element("rate_or_dilution", "Rate or dilution", treatment.dilution),
        Element("method", "Method", treatment.get_method_display()),
        Element("equipment", "Equipment", treatment.equipment),
        Element("date", "Date", f"{on:%-d %b %Y}"),
        Element("start_time", "Started", started),
        Element("finish_time", "Finished", _local(treatment.finished_at, site.zone_info)),
        Element("treatment_order", "Order on this visit", str(treatment.position)),
        Element("site_address", "Address", _joined(site.address, site.postcode)),
        Element("area_delineation", "Zone", treatment.zone.name),
        Element("location", "Place treated", treatment.place),
        Element("site_or_commodity", "Kind of surface or goods", treatment.situation),
        Element("area_size", "Size of what was treated", _area(treatment)),
        Element("target_pest", "Target pest", treatment.target.name),
        Element("applicator_name", "Applied by", treatment.applicator_name),
        Element(
            "applicator_contact",
            "How to reach them",
            _joined(technician.phone if technician else "", employer_contact),
        ),
        Element("applicator_certificate", "Licence valid that day", treatment.applicator_licence),
        Element(
            "supervised_person_name",
            "Supervised person",
            treatment.supervised_person,
            asked=False,
        ),
        Element("employer_name", "Employer", employer),
        Element("employer_contact", "Employer's address", employer_contact),
        Element("client_name", "For", client.name),
        Element("client_address", "Client's address", _joined(client.address or site.address)),
        Element("occupier_name", "Occupier", f"{client.name}, {site.name}"),
        Element("wind_speed", "Wind speed", _wind(treatment), asked=outdoor_spray),
        Element("wind_direction", "Wind from", treatment.wind_direction, asked=outdoor_spray),
        Element(
            "weather_if_outdoor",
            "Weather",
            treatment.weather or _wind(treatment),
            asked=treatment.outdoors,
        ),
        Element(
            "other_weather_if_label", "Weather the label names", treatment.weather, asked=False
        ),
        Element("precautions_given", "What people were told", treatment.precautions),
        Element("re_entry_advice", "Re-entry", treatment.re_entry),
        Element(
            "signature",
            "Signed",
            f"{treatment.applicator_name}, by closing and sealing the visit",
        ),
        Element(
            "bait_point_locations",
            "Bait point",
            _joined(f"{monitor}", monitor.place) if monitor else "",
            asked=baiting,
        ),
        Element(
            "bait_quantity_per_point",
            "Bait at each point",
            _per_point(treatment) if baiting else "",
            asked=baiting,
        ),
        Element(
            "bait_start_date",
            "Baited since",
            f"{bait_since or on:%-d %b %Y}" if baiting else "",
            asked=baiting,
        ),
        Element(
            "bait_end_date",
            "Bait lifted",
            f"{monitor.removed_on:%-d %b %Y}" if monitor and monitor.removed_on else "",
            asked=False,
        ),
        Element(
            "cause_if_over_35_days",
            "Why baiting goes on after 35 days",
            treatment.note if review_due else "",
            asked=review_due,
        ),
        Element(
            "carcass_search",
            "Search for dead rodents",
            "Done" if "carcass_search" in treatment.cautions_confirmed else "",
            asked=baiting,
        ),
    ]


def missing_elements(
    treatment: Treatment, *, company: Company | None, bait_since: date | None = None
) -> list[Element]:
    """The elements that are asked for and that the record does not say. No query."""
    said = elements_of(treatment, company=company, bait_since=bait_since)
    return [element for element in said if element.is_missing]


def baited_since(treatments: Iterable[Treatment]) -> dict[UUID, date]:
    """By monitor, the day on which bait was first laid there, for those of these treatments.

    The sites of the treatments' visits must be at hand. At most one query.
    """
    points = {
        one.monitor_id: one.visit.site
        for one in treatments
        if one.monitor_id and one.method == Treatment.Method.BAIT_STATION
    }
    if not points:
        return {}
    first = (
        Treatment.objects.filter(monitor__in=points, method=Treatment.Method.BAIT_STATION)
        .values("monitor_id")
        .annotate(first=Min("started_at"))
        .values_list("monitor_id", "first")
    )
    return {monitor_id: points[monitor_id].day_of(at) for monitor_id, at in first}


def _joined(*parts: str) -> str:
    """The parts, and the lines within them, on one line."""
    lines = (" ".join(line.split()) for part in parts for line in part.splitlines())
    return ", ".join(line for line in lines if line)


def _local(at: datetime | None, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%H:%M} ({zone.key})" if at else ""


def _amount(treatment: Treatment) -> str:
    return f"{_short(treatment.amount)} {treatment.unit}"


def _area(treatment: Treatment) -> str:
    if treatment.area is None:
        return ""
    return f"{_short(treatment.area)} {treatment.get_area_unit_display()}"


def _per_point(treatment: Treatment) -> str:
    if treatment.monitor_id:
        return _amount(treatment)
    if treatment.area and treatment.area_unit == Treatment.AreaUnit.POINT:
        return f"{_short(round(treatment.amount / treatment.area, 2))} {treatment.unit}"
    return ""


def _wind(treatment: Treatment) -> str:
    return "" if treatment.wind_speed is None else f"{_short(treatment.wind_speed)} km/h"


def _short(figure: Decimal) -> str:
    """A figure without the zeros that only the column adds: 12.50 as 12.5, 12.00 as 12."""
    return f"{figure.normalize():f}"
