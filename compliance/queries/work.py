"""Finished work: what was reported, what waits to be checked, and which visit does which job."""

from collections.abc import Sequence
from typing import Any

from django.db.models import F, OuterRef, Q, QuerySet

from accounts.sealing import canonical, digest
from compliance.models import ActionOption, ActionPhoto, CorrectiveAction, Decision, SealedGap
from compliance.proofing.gaps import risk_from
from sites.models import Site
from visits.models import Visit

State = CorrectiveAction.State
Moment = ActionPhoto.Moment

ROUND_KINDS = (Visit.Kind.ROUTINE, Visit.Kind.SURVEY)
"""Visits that go round the whole site, and so past whatever was finished there."""


def done_facts(action: CorrectiveAction) -> dict[str, Any]:
    """What was reported of finished work, as signatures bind it. Widths in mm. Two queries."""
    photos = list(
        ActionPhoto.objects.filter(
            action=action, attempt=action.attempt, moment__in=[Moment.START, Moment.AFTER]
        )
        .order_by("photo__sha256")
        .values_list("moment", "photo__sha256")
    )
    return {
        "at": action.done_at,
        "by": action.done_by.name if action.done_by else None,
        "note": action.done_note,
        "attempt": action.attempt,
        "gaps": [
            {
                "place": gap.place,
                "material": gap.material,
                "before_mm": gap.before_mm,
                "after_mm": gap.after_mm,
                "keeps_out": gap.risk,
            }
            for gap in gaps_of(action)
        ],
        "photos_start": [sha256 for moment, sha256 in photos if moment == Moment.START],
        "photos_after": [sha256 for moment, sha256 in photos if moment == Moment.AFTER],
    }


def done_hash(facts: dict[str, Any]) -> str:
    """SHA-256 of what was reported, by which an acceptance names what was read."""
    return digest(canonical(facts))


def gaps_of(action: CorrectiveAction) -> Sequence[SealedGap]:
    """The gaps of the report that stands, in their order. One query."""
    return list(action.gaps.filter(attempt=action.attempt).order_by("position", "pk"))


def risk_of(action: CorrectiveAction) -> str | None:
    """The rodent that the action's finding names; None where it names none. At most two queries."""
    pest = action.finding.pest if action.finding else None
    return risk_from(pest.slug) if pest else None


def order_of(action: CorrectiveAction) -> ActionOption | None:
    """The option that the client ordered of what an action says now. One query."""
    ordered = (
        Decision.objects.select_related("option")
        .filter(action=action, revision=action.revision, outcome=Decision.Outcome.GO_AHEAD)
        .first()
    )
    return ordered.option if ordered else None


def to_check_at(site: Site) -> QuerySet[CorrectiveAction]:
    """Work of a site that was reported done and that nobody has checked, the oldest first."""
    return (
        CorrectiveAction.objects.filter(site=site, state=State.DONE)
        .select_related("zone")
        .order_by("done_at", "pk")
    )


def rounds_since_done() -> QuerySet[Visit]:
    """Rounds of an action's site that began after its work was reported done and are closed."""
    return Visit.objects.filter(
        site=OuterRef("site"),
        kind__in=ROUND_KINDS,
        state=Visit.State.CLOSED,
        started_at__gt=OuterRef("done_at"),
    )


def jobs_of(visit: Visit) -> QuerySet[CorrectiveAction]:
    """The ordered job that a visit does or was to do. One query, with its zone."""
    return (
        CorrectiveAction.objects.filter(Q(work_visit=visit) | Q(past_work_visits__visit=visit))
        .select_related("zone", "done_by")
        .distinct()
    )


def without_work_visit() -> Q:
    """Actions that no visit is planned for, or none that can still bring the work to its end.

    A visit that was called off or missed does not, nor one that was closed before the work was
    sent back.
    """
    over = [Visit.State.CALLED_OFF, Visit.State.MISSED]
    return (
        Q(work_visit=None)
        | Q(work_visit__state__in=over)
        | Q(work_visit__state=Visit.State.CLOSED, work_visit__closed_at__lt=F("reopened_at"))
    )
