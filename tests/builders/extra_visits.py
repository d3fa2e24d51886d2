"""Closed visits beyond the contract, with what they treated and found, for tests."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from uuid import UUID

from accounts.models import User
from sites.models import Site, Zone
from tests.builders.accounts import make_office, make_technician
from tests.builders.visits import local, make_product, make_visit, treatment_given
from visits.models import Visit
from visits.services.booking import book_visit, take_call_out
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    apply_treatment,
    record_finding,
    start_visit,
)


def make_extra_visit(
    site: Site,
    on: date,
    *,
    kind: str = Visit.Kind.FOLLOW_UP,
    treated: Sequence[Zone] = (),
    found: Sequence[Zone] = (),
    follows: Visit | None = None,
    technician: User | None = None,
) -> Visit:
    """A visit closed at ten local time that day, on which gel was laid and signs were found there.

    A call-out was reported at eight that day. Zones may come more than once.
    """
    visit = _planned(site, on, kind, follows.pk if follows else None)
    return carry_out(visit, on, treated=treated, found=found, technician=technician)


def carry_out(
    visit: Visit,
    on: date,
    *,
    treated: Sequence[Zone] = (),
    found: Sequence[Zone] = (),
    technician: User | None = None,
) -> Visit:
    """A planned visit, booked for that day, made and closed."""
    technician = technician or make_technician()
    visit = book_visit(visit.pk, by=make_office(), technician=technician, day=on)
    visit = start_visit(visit.pk, by=technician, at=local(visit, 9))
    at = local(visit, 9, 30)
    product = make_product() if treated else None
    for zone in treated:
        assert product
        told = treatment_given(zone, product, started_at=at.astimezone(UTC))
        apply_treatment(visit.pk, by=technician, at=at, treatment=told)
    for zone in found:
        record_finding(visit.pk, by=technician, at=at, finding=FindingGiven(zone.pk, "signs"))
    return close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=ContactGiven(no_signature_reason="Nobody of the premises was there."),
    )


def _planned(site: Site, on: date, kind: str, follows_id: UUID | None) -> Visit:
    if kind != Visit.Kind.CALL_OUT:
        return make_visit(site, due_on=on, kind=kind, follows_id=follows_id)
    return take_call_out(
        site.pk,
        by=make_office(),
        reported_at=datetime.combine(on, time(8), site.zone_info),
        problem="Something ran across the floor.",
        reported_by="The chef",
        follows_id=follows_id,
    )
