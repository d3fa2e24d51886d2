"""Which follow-ups the biology of the treated pests asks for, and which visits still have none."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, QuerySet

from visits.dosing.biology import follow_up_of
from visits.models import FollowUp, Pest, Treatment, Visit
from visits.queries.follow_ups import Wanted

# What closed longer ago asks for nothing any more. Ours; no source.
LOOK_BACK = timedelta(days=60)


def wanted_of(pests: Sequence[Pest], treated_on: date) -> list[Wanted]:
    """The follow-ups that the biology of these pests asks for, soonest first. No query."""
    found = []
    for pest in pests:
        told = follow_up_of(pest.slug, pest.group)
        if told is not None:
            found.append(
                Wanted(
                    pest=pest,
                    first_on=treated_on + timedelta(days=told.first_on_days),
                    by_on=treated_on + timedelta(days=told.by_days),
                    reason=told.reason[:300],
                )
            )
    return sorted(found, key=lambda one: (one.first_on, one.by_on, one.pest.slug))


def visits_without_follow_up(now: datetime) -> QuerySet[Visit]:
    """Visits closed in the last 60 days with a treated pest that has no follow-up, oldest first.

    Two queries: pests whose biology asks for none are left out by name.
    """
    asks_none = [pest.pk for pest in Pest.objects.all() if not wanted_of([pest], now.date())]
    proposed = FollowUp.objects.filter(visit=OuterRef("visit"), pest=OuterRef("target"))
    unasked = Treatment.objects.filter(~Exists(proposed), visit=OuterRef("pk")).exclude(
        target__in=asks_none
    )
    return Visit.objects.filter(
        Exists(unasked),
        state=Visit.State.CLOSED,
        closed_at__gt=now - LOOK_BACK,
        site__closed_on=None,
    ).order_by("closed_at", "pk")
