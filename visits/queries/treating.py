"""What a phone needs to treat without a line: labels with rates worked out, the guide, what was.

Amounts travel as exact text (``0.5``, or ``4733/3048`` where no decimal would be exact): the phone
reckons in fractions like ``visits.dosing`` and rounds only what it shows. The label itself comes
first, and the licensed technician decides.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import BooleanField, Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.expressions import ExpressionWrapper

from accounts.models import Competence, User
from sites.models import Site
from visits.dosing.biology import is_unusual
from visits.dosing.doses import dose
from visits.dosing.label import Label, LabelError, RateLine
from visits.dosing.mixing import MixError, active_in
from visits.dosing.rotation import Used, rotation
from visits.dosing.showing import typed_quantity
from visits.dosing.units import DosingError, Quantity, convert, kind_of
from visits.dosing.vocabulary import ZONE_KINDS
from visits.models import Carried, LabelRate, Product, ProductLabel, Treatment, Visit
from visits.queries.baiting import bait_at_points
from visits.queries.guide import guide_table
from visits.queries.labels import pure_active, pure_label, pure_rate

MOST_PRODUCTS = 200
"""More are on no van; a register may hold thousands."""

HISTORY_DAYS = 365

# What rates are worked out for: one of these, whatever the label's own unit.
BASE = {"area": "m2", "length": "m", "void": "m3", "points": "points", "volume": "l"}


def products_for(technician: User, today: date) -> QuerySet[Product]:
    """What this technician may choose from: carried first, then used within a year, then by name.

    Two queries: the products with their labels, and the lines of rates.
    """
    carried = Carried.objects.filter(person=technician, product=OuterRef("pk"))
    since = today - timedelta(days=HISTORY_DAYS)
    used = Treatment.objects.filter(
        visit__technician=technician, visit__booked_on__gte=since
    ).values("product")
    return (
        Product.objects.filter(withdrawn_on=None)
        .select_related("label__product")
        .prefetch_related(Prefetch("label__rates", LabelRate.objects.order_by("position")))
        .annotate(
            is_carried=Exists(carried),
            carried_batch=Subquery(carried.values("batch__number")[:1]),
            was_used=ExpressionWrapper(Q(pk__in=used), output_field=BooleanField()),
        )
        .order_by("-is_carried", "-was_used", "name", "pk")[:MOST_PRODUCTS]
    )


def product_facts(one: Product, today: date) -> dict[str, Any]:
    """A product of ``products_for``, ready to be sent. No query."""
    label = one.label
    return {
        "id": str(one.pk),
        "name": one.name,
        "registration_number": one.registration_number,
        "formulation": one.formulation,
        "formulation_words": one.get_formulation_display(),
        "actives": label.actives_words,
        "unit": one.unit,
        "permitted_places": label.permitted_places,
        "permitted_pests": label.permitted_pests,
        "cautions": label.cautions,
        "re_entry": label.re_entry,
        "lapsed": bool(label.authorised_until and label.authorised_until < today),
        "is_demo": one.is_demo,
        "carried": one.is_carried,  # type: ignore[attr-defined]  # by products_for
        "batch": one.carried_batch or "",  # type: ignore[attr-defined]  # by products_for
        "label": label_facts(label, list(label.rates.all())),
    }


def label_facts(label: ProductLabel, rates: Sequence[LabelRate]) -> dict[str, Any]:
    """One version of a label with its lines of rates; its product must be at hand. No query.

    ``rates`` are of the product, for one m², m, m³, point or litre of finished spray; ``why`` says
    what keeps a line from being worked out.
    """
    try:
        pure = pure_label(label, rates)
    except DosingError as error:
        pure, why = None, str(error)
    else:
        why = ""
    return {
        "id": str(label.pk),
        "number": label.number,
        "issued_on": _day(label.issued_on),
        "unit": label.product.unit,
        "density": exact_text(Fraction(label.density)) if label.density is not None else None,
        "ready_to_use": label.ready_to_use,
        "actives": _actives(label),
        "pests": label.pests,
        "pest_groups": label.pest_groups,
        "places": label.places,
        "methods": label.methods,
        "interval_days": label.interval_days,
        "most_a_year": label.most_a_year,
        "re_entry_minutes": label.re_entry_minutes,
        "wind_most_kmh": str(label.wind_most_kmh) if label.wind_most_kmh is not None else None,
        "names_weather": label.names_weather,
        "authorised_until": _day(label.authorised_until),
        "sheet_on": _day(label.safety_data_sheet_on),
        "why": why,
        "rates": [_rate(one, pure) for one in rates] if pure else [],
    }


def _actives(label: ProductLabel) -> list[dict[str, Any]]:
    """Each active ingredient, and how much of it one g or ml of the product holds, if known."""
    found = []
    one_unit = Quantity(Fraction(1), label.product.unit)
    density = Fraction(label.density) if label.density is not None else None
    for one in label.actives:
        held = None
        if one.get("strength"):
            try:
                held = active_in(one_unit, pure_active(one).stated, density=density)
            except (MixError, LabelError):
                held = None  # a density that the register has not
        found.append(
            {
                "name": one["name"],
                "in_each": exact_text(held.amount) if held else None,
                "unit": held.unit if held else "",
            }
        )
    return found


def _rate(rate: LabelRate, label: Label) -> dict[str, Any]:
    line = pure_rate(rate)
    base = BASE[kind_of(line.per_unit)]
    told: dict[str, Any] = {
        "id": str(rate.pk),
        "per": line.per,
        "base": base,
        "measured_in": line.per_unit,
        "unit": line.unit,
        "methods": sorted(line.methods),
        "places": sorted(line.places),
        "words": rate.words or rate_words(line),
        "least": None,
        "most": None,
        "cover": _cover(line),
        "why": "",
    }
    try:
        one = dose(line, label, Quantity(Fraction(1), base))
    except DosingError as error:
        told["why"] = str(error)
        return told
    most = one.product_most
    told |= {"unit": most.unit, "most": exact_text(most.amount)}
    if one.product_least is not None:
        told["least"] = exact_text(one.product_least.to(most.unit).amount)
    return told


def _cover(line: RateLine) -> dict[str, str] | None:
    """How much finished spray goes over one base unit of a place."""
    if line.cover is None:
        return None
    base = BASE[kind_of(line.cover.per_unit)]
    place = convert(line.cover.per_amount, line.cover.per_unit, base)
    spray = line.cover.amount / place
    return {"base": base, "amount": exact_text(spray), "unit": line.cover.unit}


def rate_words(line: RateLine) -> str:
    """“0.2 g to 0.5 g for each point”: a line of rates as it is read aloud."""
    amounts = typed_quantity(Quantity(line.most, line.unit))
    if line.least is not None and line.least != line.most:
        amounts = f"{typed_quantity(Quantity(line.least, line.unit))} to {amounts}"
    else:
        amounts = f"at most {amounts}"
    if line.of == "active":
        amounts += f" of {line.active or 'the active ingredient'}"
    each = typed_quantity(Quantity(line.per_amount, line.per_unit))
    if line.per_amount == 1:
        each = each.removeprefix("1 ")
    finished = " of finished spray" if line.per == "finished" else ""
    return f"{amounts} for each {each}{finished}"


def guide_lines() -> list[dict[str, Any]]:
    """The method guide as the phone judges by it, in the office's order. One query.

    What a line leaves open is left out; nor does a phone need its sources.
    """
    return [
        {key: value for key, value in row.items() if value and key != "source"}
        for row in guide_table()
    ]


def competences_of(technician: User) -> list[dict[str, Any]]:
    """What the technician is licensed for, with first and last day. One query.

    The phone judges by the day of the visit, which may be a week ahead.
    """
    held = Competence.objects.filter(person=technician).select_related("kind")
    return [
        {
            "name": str(one),
            "from": _day(one.valid_from),
            "until": _day(_last_day(one)),
        }
        for one in held.order_by("kind__name", "pk")
    ]


def _last_day(one: Competence) -> date | None:
    withdrawn = one.withdrawn_on - timedelta(days=1) if one.withdrawn_on else None
    ends = [day for day in (one.valid_until, withdrawn) if day]
    return min(ends) if ends else None


@dataclass(frozen=True, slots=True)
class Applied:
    """That a product was applied: where, against what and on which day of the site's calendar."""

    visit_id: UUID
    zone_id: UUID
    product_id: UUID
    target: str
    actives: tuple[str, ...]
    on: date


class Treating:
    """What was applied and what bait lies at the sites of a package, as each visit needs it.

    ``products`` are those of the package. Six queries, however many visits.
    """

    def __init__(self, visits: Sequence[Visit], products: Iterable[Product], now: datetime) -> None:
        sites: dict[UUID, Site] = {visit.site_id: visit.site for visit in visits}
        products = list(products)
        self._counted = counted_products(products)
        self._actives = sorted({one["name"] for each in products for one in each.label.actives})
        self._baiting = bait_at_points(sites.values(), now)
        self._now = now
        self._of_site: dict[UUID, list[Applied]] = defaultdict(list)
        since = now - timedelta(days=HISTORY_DAYS + 1)
        for site_id, visit_id, zone_id, product_id, target, actives, at in _applications(
            sites, since
        ):
            names = tuple(one["name"] for one in actives or ())
            on = sites[site_id].day_of(at)
            self._of_site[site_id].append(Applied(visit_id, zone_id, product_id, target, names, on))

    def of(self, visit: Visit) -> dict[str, Any]:
        """What a phone needs to know of the past when it treats on this visit. No query.

        ``applied`` and ``rotation`` are without the visit itself, of which the phone knows more
        than we do. ``points`` are the monitors at which bait lies, in g by the record.
        """
        before = [one for one in self._of_site[visit.site_id] if one.visit_id != visit.pk]
        on = max(visit.booked_on or date.min, visit.site.day_of(self._now))
        baiting = self._baiting[visit.site_id]
        return {
            "applied": applied_days(before, self._counted),
            "rotation": rotation_words(before, self._actives, on),
            "bait": {"words": baiting.state.words, "is_overdue": baiting.state.is_overdue},
            "points": {
                str(one.monitor.pk): {
                    "balance_g": str(one.balance_g),
                    "since": _day(one.state.open_since),
                }
                for one in baiting.open_points
            },
        }


def _applications(sites: Collection[UUID], since: datetime) -> Iterable[Any]:
    return (
        Treatment.objects.filter(visit__site__in=sites, started_at__gte=since)
        .order_by("started_at", "pk")
        .values_list(
            "visit__site",
            "visit",
            "zone",
            "product",
            "target__slug",
            "label__actives",
            "started_at",
        )
    )


def applied_days(
    history: Sequence[Applied], counted: Collection[UUID]
) -> dict[str, dict[str, list[str]]]:
    """By zone and product, the days of applications, the oldest first.

    ``counted`` are the products whose labels ask for an interval or a yearly count: of the others
    nothing has to be known.
    """
    found: dict[str, dict[str, dict[str, None]]] = defaultdict(lambda: defaultdict(dict))
    for one in history:
        if one.product_id in counted:
            found[str(one.zone_id)][str(one.product_id)][str(one.on)] = None
    return {
        zone: {product: list(days) for product, days in by_product.items()}
        for zone, by_product in found.items()
    }


def rotation_words(
    history: Sequence[Applied], actives: Iterable[str], on: date
) -> dict[str, dict[str, dict[str, Any]]]:
    """By pest and active ingredient, what using it again on a day would mean for resistance."""
    used: dict[str, list[Used]] = defaultdict(list)
    for one in history:
        used[one.target].append(Used(one.on, one.actives))
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for pest, applications in used.items():
        judged = {name: rotation((name,), applications, on=on) for name in actives}
        found[pest] = {
            name: {"code": f"rotation_{one.level}", "forbidden": False, "words": one.words}
            for name, one in judged.items()
            if one.level != "clear"
        }
    return found


def counted_products(products: Iterable[Product]) -> set[UUID]:
    """Those whose label in force asks for an interval or for a yearly count."""
    return {
        one.pk
        for one in products
        if one.label.interval_days is not None or one.label.most_a_year is not None
    }


def unusual_pests(pests: Iterable[str]) -> dict[str, list[str]]:
    """By kind of zone, the pests whose find there asks for a second look. No query."""
    slugs = list(pests)
    return {kind: [slug for slug in slugs if is_unusual(kind, slug)] for kind in ZONE_KINDS}


def _day(on: date | None) -> str | None:
    return str(on) if on else None


def exact_text(amount: Fraction) -> str:
    """A fraction as text from which it comes back whole: a decimal where there is an exact one."""
    rest = amount.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    if rest > 1:
        return f"{amount.numerator}/{amount.denominator}"
    places = 0
    while (amount * 10**places).denominator > 1:
        places += 1
    digits = str(abs(int(amount * 10**places))).zfill(places + 1)
    text = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    return f"-{text}" if amount < 0 else text
