"""Closed visits with findings, and actions in every state, for tests."""

import csv
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from io import BytesIO, StringIO
from itertools import count
from typing import Any
from uuid import UUID

from django.utils import timezone
from PIL import Image

from accounts.models import AuditorPass, Role, User
from compliance.models import ActionOption, CorrectiveAction, TrendReview
from compliance.quarters import Quarter, ended_quarters
from compliance.queries.reviews import review_sheet
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
from compliance.services.counting import count_sites
from compliance.services.judging import judge_months
from compliance.services.signing import Proof
from compliance.services.trend_reviews import Explained, sign_review
from sites.models import Checkpoint, Monitor, PassSite, Photo, Site
from sites.services.imports import import_file
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
    """A small picture unlike any before it, and by more than compressing it takes away."""
    n = next(_numbers)
    picture = BytesIO()
    Image.new("RGB", (40, 30), (n * 67 % 256, n // 256 * 40 % 256, 90)).save(picture, "PNG")
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


def make_counts(
    site: Site,
    caught: Mapping[Monitor, Mapping[date, Mapping[str, int]]],
    *,
    condition: str = "sound",
    judged_at: datetime | None = None,
) -> None:
    """What each monitor held on each day, by the pests' slugs; {} for nothing caught.

    It comes as a spreadsheet of past readings, whose monitors stood from the day they were placed
    (``tests.builders.sites.PLACED_ON``, if nothing else was said). Site and months are counted, and
    with ``judged_at`` judged as of that instant.
    """
    file = StringIO()
    writer = csv.writer(file)
    writer.writerow(["site_reference", "monitor_number", "read_on", "pest", "count", "condition"])
    for monitor, days in caught.items():
        for day, pests in days.items():
            for pest, number in list(pests.items()) or [("", "")]:
                writer.writerow([site.reference, monitor.number, day, pest, number, condition])
    plan = import_file(file.getvalue().encode(), "readings.csv", by=make_office(), write=True)
    assert not plan.has_errors, [row.problems for sheet in plan.sheets for row in sheet.rows]
    count_sites()
    if judged_at:
        judge_months(now=judged_at)


def make_monthly_counts(
    monitor: Monitor,
    pest: str,
    counts: Sequence[int],
    *,
    last: date,
    judged_at: datetime | None = None,
) -> None:
    """Counts of one monitor, the last of them on ``last`` and each a month before the next."""
    number = last.year * 12 + last.month - 1
    days = [
        date((number - back) // 12, (number - back) % 12 + 1, min(last.day, 28))
        for back in reversed(range(len(counts)))
    ]
    caught = {day: {pest: one} if one else {} for day, one in zip(days, counts, strict=True)}
    make_counts(monitor.site, {monitor: caught}, judged_at=judged_at)


def make_review(
    site: Site,
    *,
    by: User,
    quarter: Quarter | None = None,
    explained: Mapping[UUID, Explained] | None = None,
    at: datetime | None = None,
    **words: str,
) -> TrendReview:
    """A signed review of a quarter, of the last that is over where none is named.

    ``by`` must be competent and hold the site.
    """
    at = at or timezone.now()
    quarter = quarter or ended_quarters(site.day_of(at), 1)[0]
    said = {"seen": "All as usual.", "cause": "", "plan": "Nothing needs to be done.", **words}
    return sign_review(
        site.pk,
        quarter,
        by=by,
        explained=explained or {},
        shown_hash=review_sheet(site, quarter).hash,
        proof=Proof("password"),
        at=at,
        **said,
    )
