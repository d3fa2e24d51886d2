"""Closing a visit: its record is sealed, and from then on stands as it is."""

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import Unusable, WrongState
from accounts.sealing import NOTHING_BEFORE, canonical, chained
from accounts.trail import record
from sites.models import Photo, Site
from visits.access import require_may_write
from visits.clocks import ClockOff
from visits.coverage import as_counts
from visits.models import Finding, Treatment, Visit
from visits.queries.places import coverage_now
from visits.services import writing
from visits.services.judging import judge_treatments
from visits.services.recording import hang_photo
from visits.services.writing import ContactGiven, MinutesGiven
from visits.signals import visit_closed
from visits.signatures import require_ink
from visits.visit_record import Rows, record_of, rows_of


@transaction.atomic
def close_visit(
    visit_id: UUID,
    *,
    by: User,
    at: datetime,
    received_at: datetime | None = None,
    contact: ContactGiven | None = None,
    minutes: MinutesGiven | None = None,
) -> Visit:
    """Close a visit and seal it; from here on it changes only by amendment.

    ``at`` is the instant the technician closed it (aware), ``received_at`` the one it reached us
    (now unless said). Without ``contact`` what was recorded of the contact before stands; without
    ``minutes`` the visit took those between start and closing. Raises ``NotAllowed`` for anybody
    but its technician, ``WrongState`` unless it is under way, ``Unusable`` without a signature, a
    typed name, or a reason why there is neither, and for other minutes without a reason.
    """
    lock_site_of(visit_id)
    visit = writing.locked(visit_id)
    require_may_write(by, visit)
    return close_locked(
        visit,
        by=by,
        at=at,
        received_at=received_at,
        contact=contact,
        minutes=minutes,
        clock=None,
    )


def lock_site_of(visit_id: UUID) -> None:
    """Lock the site of a visit: seals are numbered one after another. Two queries.

    Always before the visit itself, so that two closings never wait for each other.
    """
    site_id = Visit.objects.values_list("site_id", flat=True).get(pk=visit_id)
    Site.objects.select_for_update(no_key=True).get(pk=site_id)


def close_locked(
    visit: Visit,
    *,
    by: User,
    at: datetime,
    received_at: datetime | None,
    contact: ContactGiven | None,
    minutes: MinutesGiven | None,
    clock: ClockOff | None,
) -> Visit:
    """The same for who holds the locks of site and visit, and may close it.

    ``clock`` is by how much the phone's clock was off, for the trail.
    """
    writing.require_open(visit)
    if visit.state != Visit.State.UNDER_WAY:
        raise WrongState(
            "The visit has not been started; start it before you close it.", code="not_started"
        )
    if contact is not None:
        writing.take_contact(visit, contact)
    _require_signed(visit)
    _hang_what_arrived(visit)

    covered, rows = coverage_now(visit), rows_of([visit])[visit.pk]
    closed_at = _last_of(visit, rows, at)
    worked_out = writing.take_minutes(visit, minutes or MinutesGiven(), closed_at=closed_at)
    visit.state, visit.closed_at = Visit.State.CLOSED, closed_at
    visit.received_at = received_at or timezone.now()
    visit.coverage = as_counts(covered)
    visit.version += 1
    visit.seal_number, visit.previous_seal = _after(visit.site)
    forbidden = judge_treatments(visit, rows.treatments)
    found = record_of(visit, rows, coverage=covered)
    _keep_judgement(rows, found)
    visit.sealed_record = canonical(found)
    visit.seal = chained(visit.previous_seal, visit.sealed_record)
    visit.save()
    record(
        by,
        "visit.closed",
        visit,
        at=closed_at,
        seal=visit.seal,
        seal_number=visit.seal_number,
        coverage=visit.coverage,
        signed=_signed(visit),
        minutes_on_site=visit.minutes_on_site,
        **_corrected(visit, worked_out),
        **_clock_told(clock),
        **_lacking(found),
        **_against(forbidden),
    )
    transaction.on_commit(
        partial(visit_closed.send_robust, sender=Visit, visit_id=visit.pk), robust=True
    )
    return visit


def _last_of(visit: Visit, rows: Rows, at: datetime) -> datetime:
    """A closing is the last word: if a clock was changed on the way, it may say otherwise.

    Then it stands at the latest instant recorded. What was typed of treatments does not count.
    """
    instants: list[datetime | None] = [at, visit.started_at]
    for said in (rows.looks, rows.readings, rows.findings, rows.not_reached):
        instants.extend(one.at for one in said)
    return max(one for one in instants if one)


def _after(site: Site) -> tuple[int, str]:
    """The next number of a site's seals, and the seal before it. One query, the site locked."""
    last = (
        Visit.objects.filter(site=site, seal_number__isnull=False)
        .order_by("-seal_number")
        .values_list("seal_number", "seal")
        .first()
    )
    if last is None:
        return 1, NOTHING_BEFORE
    return (last[0] or 0) + 1, last[1]


def _require_signed(visit: Visit) -> None:
    if visit.signature:
        require_ink(visit.signature)
    if not (visit.signature or visit.signature_typed or visit.no_signature_reason):
        raise Unusable(
            "Have the contact sign or write their name, or say why nobody signed.",
            code="signature_missing",
        )
    if visit.signature and not visit.contact_name:
        raise Unusable("Write the name of who signed.", code="contact_missing")


def _signed(visit: Visit) -> str:
    if visit.signature:
        return "by hand"
    return "by name" if visit.signature_typed else "not signed"


def _hang_what_arrived(visit: Visit) -> None:
    """Show photos that came by another way than this visit with the findings that wait for them."""
    waiting = (
        Finding.objects.filter(visit=visit).exclude(awaits=[]).values_list("awaits", flat=True)
    )
    named = {given for awaits in waiting for given in awaits}
    if named:
        for photo in Photo.objects.filter(site=visit.site_id, given_sha256__in=named).order_by(
            "pk"
        ):
            hang_photo(visit.pk, photo)


def _corrected(visit: Visit, worked_out: int) -> dict[str, Any]:
    if not visit.minutes_reason:
        return {}
    return {"minutes_worked_out": worked_out, "minutes_reason": visit.minutes_reason}


def _clock_told(clock: ClockOff | None) -> dict[str, Any]:
    """For the trail; ``visits.queries.phone_clock`` reads it back."""
    if clock is None:
        return {}
    told: dict[str, Any] = {"phone_clock_ahead_seconds": clock.seconds}
    return told if clock.measured else {**told, "phone_clock_measured": False}


def _against(forbidden: Sequence[Treatment]) -> dict[str, Any]:
    """What was done although a label or the rules forbid it, for the trail, with the reason given.

    In the order of the treatments.
    """
    told = [
        {
            "treatment": f"{one.product_name}, {one.zone}",
            "against": [notice["words"] for notice in one.against_label if notice["forbidden"]],
            "explanation": one.explanation,
        }
        for one in forbidden
    ]
    return {"against_label": told} if told else {}


def _keep_judgement(rows: Rows, found: dict[str, Any]) -> None:
    """Keep beside each treatment what the rules made of its record, for the register to find."""
    for row, told in zip(rows.treatments, found["treatments"], strict=True):
        words = told["words"]
        row.rule_set = words["rules"]["slug"]
        row.unsaid = [key for key, _ in words["missing"]]
        row.is_incomplete = bool(row.unsaid)
        row.made_late, row.keep_until = words["made_late"], words["keep_until"]
    Treatment.objects.bulk_update(
        rows.treatments, ["rule_set", "unsaid", "is_incomplete", "made_late", "keep_until"]
    )


def _lacking(found: dict[str, Any]) -> dict[str, Any]:
    """Which records of treatments leave something unsaid, for the trail."""
    gaps = {
        f"{one['product_name']}, {one['words']['zone']}": [
            label for _, label in one["words"]["missing"]
        ]
        for one in found["treatments"]
        if one["words"]["missing"]
    }
    if not gaps:
        return {}
    (title,) = {one["words"]["rules"]["title"] for one in found["treatments"]}
    return {"left_unsaid": gaps, "by_rules": title}
