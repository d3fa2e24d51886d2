"""Closed visits with findings, and actions in every state, for tests."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from io import BytesIO
from itertools import count
from typing import Any

from django.utils import timezone
from PIL import Image

from accounts.models import AuditorPass, Role, User
from compliance.models import ActionOption, CorrectiveAction
from compliance.queries.sheets import sheet_of
from compliance.services.actions import (
    OptionGiven,
    check_action,
    decide_action,
    price_action,
    raise_action,
    report_done,
    withdraw_action,
)
from sites.models import Checkpoint, PassSite, Photo, Site
from sites.services.photos import add_photo
from tests.builders.accounts import PASSWORD, make_office, make_person, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import local, make_visit
from visits.models import Visit, WhoseMove
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    record_finding,
    record_looks,
    record_not_reached,
)

_numbers = count(1)

LASTING = OptionGiven(
    kind=ActionOption.Kind.LASTING,
    description="Seal the pipe chase behind the ovens with steel mesh and mortar.",
    cost_once=Decimal("4800"),
    cost_monthly=Decimal("60"),
    life_years=15,
    remaining_risk="Little, as long as no new pipe is led through.",
)
CARRY_ON = OptionGiven(
    kind=ActionOption.Kind.CARRY_ON,
    description="Gel in the chase on every visit.",
    cost_once=Decimal("0"),
    cost_monthly=Decimal("180"),
    remaining_risk="Cockroaches come back from the chase between visits.",
)
OPTIONS = (LASTING, CARRY_ON)


def make_photo_bytes() -> bytes:
    """A small picture unlike any before it."""
    n = next(_numbers)
    picture = BytesIO()
    Image.new("RGB", (40, 30), (n % 256, n // 256 % 256, 90)).save(picture, "PNG")
    return picture.getvalue()


def make_photo(site: Site, *, by: User | None = None) -> Photo:
    return add_photo(site.pk, by=by or make_office(), data=make_photo_bytes())


def give_pass(
    auditor: User, *sites: Site, ends: timedelta = timedelta(days=7), **fields: Any
) -> AuditorPass:
    """A pass for these sites that opened yesterday, for the first half of 2026 unless said.

    One that is over or not begun can be had, which no service would issue.
    """
    now = timezone.now()
    facts = {
        "period_from": date(2026, 1, 1),
        "period_to": date(2026, 6, 30),
        "valid_from": now - timedelta(days=1),
        "valid_until": now + ends,
        **fields,
    }
    given = AuditorPass.objects.create(
        auditor=auditor, client=sites[0].client, issued_by=make_office(), **facts
    )
    PassSite.objects.bulk_create([PassSite(auditor_pass=given, site=site) for site in sites])
    return given


def make_closed_visit(
    site: Site,
    *,
    due_on: date,
    technician: User | None = None,
    findings: Sequence[FindingGiven] = (),
    not_reached: Sequence[NotReachedGiven] = (),
    looks: Sequence[Checkpoint] = (),
    **fields: Any,
) -> Visit:
    """A visit on which just this was recorded, closed at ten local time on the day it was due."""
    technician = technician or make_technician()
    visit = make_visit(
        site,
        state=Visit.State.UNDER_WAY,
        technician=technician,
        due_on=due_on,
        **{"kind": Visit.Kind.ROUTINE, **fields},
    )
    at = local(visit, 9, 30)
    for finding in findings:
        record_finding(visit.pk, by=technician, at=at, finding=finding)
    for one in not_reached:
        record_not_reached(visit.pk, by=technician, at=at, not_reached=one)
    if looks:
        looked = [checkpoint.pk for checkpoint in looks]
        record_looks(visit.pk, by=technician, at=at, checkpoint_ids=looked)
    return close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=ContactGiven(no_signature_reason="Nobody of the premises was there."),
    )


def make_action(
    state: str = CorrectiveAction.State.RAISED,
    *,
    site: Site | None = None,
    by: User | None = None,
    manager: User | None = None,
    declined: bool = False,
    at: datetime | None = None,
    options: Sequence[OptionGiven] = OPTIONS,
    **fields: Any,
) -> CorrectiveAction:
    """An action brought to a state by the services that lead there.

    Proofing of ours unless said otherwise. It was raised at ``at`` (now unless said); each later
    step is a minute after the one before.
    """
    site = site or make_site()
    by = by or make_office()
    at = at or timezone.now()
    facts = {
        "kind": CorrectiveAction.Kind.PROOFING,
        "title": f"Seal the pipe chase {next(_numbers)}",
        "whose_move": WhoseMove.US,
        **fields,
    }
    action = raise_action(site.pk, by=by, at=at, **facts)
    priced = facts["kind"] == CorrectiveAction.Kind.PROOFING
    if state == CorrectiveAction.State.RAISED:
        return action
    if state == CorrectiveAction.State.WITHDRAWN:
        return withdraw_action(action.pk, by=by, reason="Raised twice.", at=at)
    if priced:
        action = price_action(action.pk, by=by, options=options, at=at + timedelta(minutes=1))
    if state == CorrectiveAction.State.PRICED:
        return action
    if priced:
        manager = manager or make_person(Role.CLIENT_MANAGER, client=site.client)
        decide(action, by=manager, declined=declined, at=at + timedelta(minutes=2))
    if state == CorrectiveAction.State.DECIDED:
        return CorrectiveAction.objects.get(pk=action.pk)
    action = report_done(
        action.pk,
        by=by,
        note="Sealed and photographed.",
        photo_ids=[make_photo(site, by=by).pk],
        at=at + timedelta(minutes=3),
    )
    if state == CorrectiveAction.State.DONE:
        return action
    return check_action(action.pk, by=by, password=PASSWORD, at=at + timedelta(minutes=4))


def decide(
    action: CorrectiveAction,
    *,
    by: User,
    declined: bool = False,
    reason: str = "",
    at: datetime | None = None,
    **changed: Any,
) -> Any:
    """Decide an action after reading it as it stands; ``changed`` replaces what is sent."""
    sheet = sheet_of(CorrectiveAction.objects.get(pk=action.pk))
    given: dict[str, Any] = {
        "revision": sheet.action.revision,
        "shown_hash": sheet.hash,
        "outcome": "declined" if declined else "go_ahead",
        "option_id": None if declined or not sheet.options else sheet.options[0].pk,
        "reason": reason or ("Too dear this year." if declined else ""),
        "password": PASSWORD,
        "at": at,
    }
    return decide_action(action.pk, by=by, **{**given, **changed})
