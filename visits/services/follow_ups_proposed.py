"""Follow-ups are proposed when a visit with treatments closes, from the biology of each pest."""

from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.trail import record
from visits.models import FollowUp, Pest, Visit
from visits.queries.follow_ups import Wanted, coming_within, needless, overtaken, visit_since
from visits.queries.follow_ups_wanted import visits_without_follow_up, wanted_of
from visits.queries.objections import words_of


def propose_follow_ups(limit: int = 100, *, now: datetime | None = None) -> int:
    """Propose the follow-ups of closed visits that have none yet, and say how many. Safe to repeat.

    Two queries where nothing waits, a dozen for each visit that does.
    """
    waiting = visits_without_follow_up(now or timezone.now()).values_list("pk", flat=True)
    return sum(propose_follow_ups_of(visit_id) for visit_id in list(waiting[:limit]))


@transaction.atomic
def propose_follow_ups_of(visit_id: UUID) -> int:
    """Propose one follow-up for each pest treated on a closed visit, and say how many.

    Where another visit falls within the days anyhow, the follow-up is passed over at once and says
    so. A pest that has one already gets no second, so that it is safe to repeat. Nothing happens
    for a visit that is not closed.
    """
    visit = (
        Visit.objects.select_for_update(of=("self",))
        .select_related("site")
        .filter(pk=visit_id, state=Visit.State.CLOSED)
        .first()
    )
    wanted = _wanted(visit) if visit else []
    if visit is None or not wanted:
        return 0
    first, last = min(one.first_on for one in wanted), max(one.by_on for one in wanted)
    coming = coming_within(visit.site, first, last, but_not=visit.pk)
    rows = [_row(visit, one, needless(one, coming)) for one in wanted]
    FollowUp.objects.bulk_create(rows)
    record(
        None,
        "follow_ups.proposed",
        visit,
        proposed=[_told(row) for row in rows if row.state == FollowUp.State.PROPOSED],
        not_needed=[_told(row) for row in rows if row.state == FollowUp.State.PASSED_OVER],
    )
    return sum(row.state == FollowUp.State.PROPOSED for row in rows)


def pass_over_overtaken(limit: int = 100) -> int:
    """Pass over follow-ups that nobody answered before a visit looked anyhow; says how many.

    Safe to repeat; one query where there is none, a handful for each that there is.
    """
    waiting = overtaken().values_list("pk", flat=True)
    return sum(_pass_over_overtaken(one) for one in list(waiting[:limit]))


@transaction.atomic
def _pass_over_overtaken(follow_up_id: UUID) -> bool:
    one = (
        FollowUp.objects.select_for_update(of=("self",))
        .select_related("visit__site", "pest")
        .get(pk=follow_up_id)
    )
    looked = visit_since(one)
    if one.state != FollowUp.State.PROPOSED or looked is None or looked.closed_at is None:
        return False
    on = one.visit.site.day_of(looked.closed_at)
    one.state, one.answered_at = FollowUp.State.PASSED_OVER, timezone.now()
    one.answer = (
        f"Overtaken: {looked.get_kind_display().lower()} at this site was made on {words_of(on)} "
        "before anybody answered."
    )
    one.save(update_fields=["state", "answer", "answered_at"])
    record(
        None,
        "follow_up.passed_over",
        one,
        pest=one.pest.name,
        first=one.first_on,
        by_day=one.by_on,
        reason=one.answer,
    )
    return True


def _wanted(visit: Visit) -> list[Wanted]:
    """What the pests treated on this visit ask for, but for those that have a follow-up already.

    The days count from the last treatment of each pest. Two queries.
    """
    asked = set(visit.follow_ups.values_list("pest", flat=True))
    treated: dict[Pest, date] = {}
    for one in visit.treatments.select_related("target").order_by("started_at", "pk"):
        if one.target_id not in asked:
            treated[one.target] = visit.site.day_of(one.started_at)
    return [wanted for pest, on in treated.items() for wanted in wanted_of([pest], on)]


def _row(visit: Visit, wanted: Wanted, why_not: str) -> FollowUp:
    row = FollowUp(
        visit=visit,
        pest=wanted.pest,
        first_on=wanted.first_on,
        by_on=wanted.by_on,
        reason=wanted.reason,
    )
    if why_not:
        row.state, row.answer = FollowUp.State.PASSED_OVER, why_not
        row.answered_at = timezone.now()
    return row


def _told(row: FollowUp) -> dict[str, object]:
    told = {"pest": row.pest.name, "first": row.first_on, "by": row.by_on}
    return told | ({"why": row.answer} if row.answer else {})
