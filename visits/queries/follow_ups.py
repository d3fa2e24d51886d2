"""Follow-ups: what comes by itself within their days, and the lists."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import DateField, Exists, OuterRef, QuerySet
from django.db.models.functions import Coalesce, TruncDate

from accounts.models import User
from sites.models import Site
from visits.access import follow_ups_visible_to
from visits.models import FollowUp, Pest, Visit
from visits.queries.objections import words_of

SEES_PESTS = (Visit.Kind.ROUTINE, Visit.Kind.SURVEY, Visit.Kind.FOLLOW_UP, Visit.Kind.CALL_OUT)


@dataclass(frozen=True, slots=True)
class Wanted:
    """On which days somebody should look again for a pest, and why. Days of the site's calendar."""

    pest: Pest
    first_on: date
    by_on: date
    reason: str


def coming_within(site: Site, first_on: date, by_on: date, *, but_not: UUID) -> Sequence[Visit]:
    """Visits that look for pests and that fall within these days anyhow, soonest first. One query.

    Each has ``comes_on``, the day on which it was made, is booked, or is due.
    """
    made_on = TruncDate("closed_at", tzinfo=site.zone_info)
    return list(
        Visit.objects.filter(
            site=site,
            kind__in=SEES_PESTS,
            state__in=[*Visit.OPEN_STATES, Visit.State.CLOSED],
        )
        .exclude(pk=but_not)
        .annotate(comes_on=Coalesce(made_on, "booked_on", "due_on", output_field=DateField()))
        .filter(comes_on__gte=first_on, comes_on__lte=by_on)
        .order_by("comes_on", "pk")
    )


def needless(wanted: Wanted, coming: Sequence[Visit]) -> str:
    """Why no follow-up is needed, in words: a visit that falls within its days; else nothing."""
    for visit in coming:
        on = visit.comes_on  # type: ignore[attr-defined]  # by coming_within
        if wanted.first_on <= on <= wanted.by_on:
            standing = {Visit.State.CLOSED: "was made", Visit.State.PLANNED: "is due"}.get(
                Visit.State(visit.state), "is booked"
            )
            return (
                f"Not needed: {visit.get_kind_display().lower()} at this site {standing} on "
                f"{words_of(on)}, within these days."
            )
    return ""


def overtaken() -> QuerySet[FollowUp]:
    """Proposed follow-ups since whose first day the site was looked at all the same. One query.

    By the day in UTC: ``visit_since`` looks by the site's own calendar. What falls between the two,
    a visit closed at night far from Greenwich, waits for the office as any other.
    """
    since = Visit.objects.filter(
        site=OuterRef("visit__site"),
        kind__in=SEES_PESTS,
        state=Visit.State.CLOSED,
        closed_at__date__gte=OuterRef("first_on"),
    ).exclude(pk=OuterRef("visit"))
    return FollowUp.objects.filter(Exists(since), state=FollowUp.State.PROPOSED).order_by(
        "by_on", "pk"
    )


def visit_since(one: FollowUp) -> Visit | None:
    """The first visit that looked for pests at its site from its first day on. One query.

    By the calendar of the site, which must be at hand.
    """
    made_on = TruncDate("closed_at", tzinfo=one.visit.site.zone_info)
    return (
        Visit.objects.filter(site=one.visit.site_id, kind__in=SEES_PESTS, state=Visit.State.CLOSED)
        .exclude(pk=one.visit_id)
        .annotate(made_on=made_on)
        .filter(made_on__gte=one.first_on)
        .order_by("closed_at", "pk")
        .first()
    )


def follow_ups_listed(follow_ups: QuerySet[FollowUp], *, state: str = "") -> QuerySet[FollowUp]:
    """Follow-ups for lists, those that should come first on top. One query."""
    if state:
        follow_ups = follow_ups.filter(state=state)
    return follow_ups.select_related(
        "visit__site__client", "pest", "booked", "answered_by"
    ).order_by("first_on", "by_on", "pk")


def proposed_to(user: User) -> QuerySet[FollowUp]:
    """What waits for this person's answer, soonest first."""
    return follow_ups_listed(follow_ups_visible_to(user), state=FollowUp.State.PROPOSED)


def is_late(follow_up: FollowUp, now: datetime) -> bool:
    """Whether its last day has passed at its site. No query where the site is at hand."""
    return follow_up.by_on < follow_up.visit.site.day_of(now)
