"""Contracts, service lines and visits for tests, each reached through the services."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import count
from typing import Any, cast

from accounts.models import Competence, CompetenceKind, User
from sites.models import Checkpoint, Contract, Monitor, ServiceLine, Site, Zone
from sites.services.contracts import add_contract
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from visits.label_words import actives_told
from visits.models import LabelRate, MeasureUnit, Product, Treatment, Visit
from visits.services.booking import add_visit, book_visit
from visits.services.closing import close_visit
from visits.services.labels import LabelFacts, RateFacts
from visits.services.lines import agree_service_line
from visits.services.products import add_product
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    TreatmentGiven,
    apply_treatment,
    record_finding,
    record_looks,
    record_not_reached,
    record_readings,
    start_visit,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)

_numbers = count(1)


def make_contract(site: Site | None = None, *, by: User | None = None, **fields: Any) -> Contract:
    """A contract without an end."""
    facts = {"number": f"K{next(_numbers)}", "starts_on": date(2026, 1, 1), **fields}
    return add_contract((site or make_site()).pk, by=by or make_office(), **facts)


def make_competence_kind(**fields: Any) -> CompetenceKind:
    return CompetenceKind.objects.create(**{"name": f"Certificate {next(_numbers)}", **fields})


def make_competence(person: User, kind: CompetenceKind, **fields: Any) -> Competence:
    defaults = {"person": person, "kind": kind, "valid_from": date(2026, 1, 1)}
    return Competence.objects.create(**{**defaults, **fields})


def make_line(
    contract: Contract | None = None,
    *,
    by: User | None = None,
    now: datetime = NOW,
    **facts: Any,
) -> ServiceLine:
    """A monthly inspection on the first Tuesday, its visits planned as of ``now``."""
    by = by or make_office()
    defaults = {
        "title": f"Monthly inspection {next(_numbers)}",
        "rule": "FREQ=MONTHLY;BYDAY=1TU",
        "first_on": date(2026, 12, 1),
    }
    return agree_service_line(
        (contract or make_contract(by=by)).pk, by=by, now=now, **{**defaults, **facts}
    )


def make_visit(
    site: Site | None = None,
    *,
    state: str = Visit.State.PLANNED,
    by: User | None = None,
    technician: User | None = None,
    due_on: date = date(2026, 12, 8),
    time: time | None = None,
    zones: int = 0,
    monitors: int = 0,
    **fields: Any,
) -> Visit:
    """A visit without a service line, three days of tolerance either way.

    ``zones`` and ``monitors`` (in each zone) are for the site it makes when none is given. Under
    way, it was started at nine on the day it was due, local time; closed, everything was looked at
    and read by ten, and nobody was there to sign.
    """
    by = by or make_office()
    facts = {
        "kind": Visit.Kind.FOLLOW_UP,
        "opens_on": due_on - timedelta(days=3),
        "closes_on": due_on + timedelta(days=3),
        **fields,
    }
    site = site or make_site(zones=zones, monitors=monitors)
    visit = add_visit(site.pk, by=by, due_on=due_on, **facts)
    if state == Visit.State.PLANNED:
        return visit
    technician = technician or make_technician()
    visit = book_visit(visit.pk, by=by, technician=technician, day=due_on, time=time)
    if state == Visit.State.BOOKED:
        return visit
    visit = start_visit(visit.pk, by=technician, at=local(visit, 9))
    if state == Visit.State.UNDER_WAY:
        return visit
    look_everywhere(visit)
    return close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=ContactGiven(no_signature_reason="Nobody of the premises was there."),
    )


def local(visit: Visit, hour: int, minute: int = 0) -> datetime:
    """An instant on the day a visit is booked for, by the site's own clock."""
    assert visit.booked_on
    return datetime(
        visit.booked_on.year,
        visit.booked_on.month,
        visit.booked_on.day,
        hour,
        minute,
        tzinfo=visit.site.zone_info,
    )


def look_everywhere(visit: Visit, *, at: datetime | None = None) -> None:
    """Look at every checkpoint of the site and read every monitor: nothing anywhere."""
    assert visit.technician
    at = at or local(visit, 9, 30)
    checkpoints = Checkpoint.objects.filter(zone__site=visit.site).values_list("pk", flat=True)
    monitors = Monitor.objects.filter(site=visit.site).values_list("pk", flat=True)
    if checkpoints:
        record_looks(visit.pk, by=visit.technician, at=at, checkpoint_ids=list(checkpoints))
    if monitors:
        record_readings(
            visit.pk,
            by=visit.technician,
            at=at,
            readings=[ReadingGiven(monitor_id=one) for one in monitors],
        )


def record_some_of_all(visit: Visit, *, product: Product | None = None) -> None:
    """Something of every kind on a visit under way: its site needs two zones with checkpoints."""
    assert visit.technician
    say: Any = {"by": visit.technician, "at": local(visit, 9, 30)}
    first, *_, last = visit.site.zones.order_by("walk_order", "created_at")
    low, reach, _ = first.checkpoints.order_by("walk_order")
    record_looks(visit.pk, **say, checkpoint_ids=[low.pk])
    record_readings(
        visit.pk,
        **say,
        readings=[ReadingGiven(one.pk, counts={"wasp": 1}) for one in first.monitors.all()],
    )
    record_finding(visit.pk, **say, finding=FindingGiven(first.pk, "signs", reach.pk))
    record_not_reached(
        visit.pk, **say, not_reached=NotReachedGiven("locked", "us", zone_id=last.pk)
    )
    treatment = treatment_given(first, product or make_product())
    apply_treatment(visit.pk, **say, treatment=treatment)


def make_product(*, by: User | None = None, **facts: Any) -> Product:
    """An invented gel with an invented label; takes what a label states beside the product's own.

    ``actives`` may be one line of words, as “indoxacarb 6 g/kg”.
    """
    n = next(_numbers)
    told = {
        "name": f"Test gel {n}",
        "registration_number": f"TEST-{n:04}",
        "formulation": Product.Formulation.GEL,
        "unit": Product.Unit.GRAM,
        "actives": "indoxacarb 6 g/kg",
        "cautions": "Keep off food.",
        "re_entry": "At once; keep off the placements.",
        **facts,
    }
    if isinstance(told["actives"], str):
        told["actives"] = actives_told(told["actives"])
    label: Any = {name: told.pop(name) for name in LabelFacts.__annotations__ if name in told}
    return add_product(by=by or make_office(), label=label, **told)


def make_rate(**facts: Any) -> RateFacts:
    """A line of an invented label: 0.2 to 0.5 g for each point."""
    usual: RateFacts = {
        "per": LabelRate.Per.POINT,
        "least": Decimal("0.2"),
        "most": Decimal("0.5"),
        "unit": MeasureUnit.GRAM,
        "per_amount": Decimal(1),
        "per_unit": MeasureUnit.POINTS,
    }
    return cast(RateFacts, {**usual, **facts})


def treatment_given(zone: Zone, product: Product, **facts: Any) -> TreatmentGiven:
    """An application of which everything is said that any rule asks for indoors."""
    started = facts.pop("started_at", datetime(2026, 12, 8, 9, 40, tzinfo=UTC))
    defaults = {
        "zone_id": zone.pk,
        "product_id": product.pk,
        "target": "german-cockroach",
        "method": Treatment.Method.GEL,
        "place": "Hinges of the left oven",
        "amount": Decimal("2.5"),
        "started_at": started,
        "finished_at": started + timedelta(minutes=10),
        "batch_number": "L2611",
        "equipment": "Bait gun",
        "situation": "Painted steel",
        "dilution": "Ready to use, 0.2 g a point",
        "area": Decimal(12),
        "area_unit": Treatment.AreaUnit.POINT,
        "precautions": "Told the head chef to keep the placements dry.",
    }
    return TreatmentGiven(**{**defaults, **facts})
