"""The visits of one site: what comes, and what was."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import DateField, F, Min, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce, TruncDate

from accounts.models import User
from sites.models import ServiceLine, Site
from visits.access import lines_visible_to, visits_visible_to
from visits.models import Visit

OVER = (Visit.State.CLOSED, Visit.State.CALLED_OFF, Visit.State.MISSED)


@dataclass(frozen=True, slots=True)
class ComingDay:
    """A day on which somebody comes, or by which somebody is due; nothing else about it."""

    on: date
    kind: str
    is_booked: bool


def coming_days(site: Site, now: datetime, limit: int) -> list[ComingDay]:
    """The next days at a site, for the client's manager: days only, soonest first. One query."""
    today = site.day_of(now)
    rows = _coming(Visit.objects.filter(site=site), today)[:limit]
    return [
        ComingDay(
            on=visit.booked_on or visit.due_on,
            kind=visit.get_kind_display(),
            is_booked=visit.booked_on is not None,
        )
        for visit in rows
    ]


def coming_visits(user: User, site: Site, now: datetime, limit: int) -> Sequence[Visit]:
    """The next open visits of a site that a person may open, late ones first. One query, and those
    of the person's rights.
    """
    today = site.day_of(now)
    rows = _coming(visits_visible_to(user).filter(site=site), today, late_too=True)
    return list(rows.select_related("technician", "line")[:limit])


def _coming(visits: QuerySet[Visit], today: date, *, late_too: bool = False) -> QuerySet[Any]:
    rows = visits.filter(state__in=Visit.OPEN_STATES).annotate(
        comes_on=Coalesce("booked_on", "due_on", output_field=DateField())
    )
    if not late_too:
        rows = rows.filter(comes_on__gte=today)
    return rows.order_by("comes_on", "pk")


def past_visits(user: User, site: Site) -> QuerySet[Visit]:
    """What was, as far as the person may open it: latest first, each with ``was_on``.

    That is the day on which it was closed, or was due if it was not made.
    """
    return visits_at(user, site).filter(state__in=OVER)


def visits_at(user: User, site: Site) -> QuerySet[Visit]:
    """All visits of a site that the person may open, latest first, each with ``was_on``."""
    closed_on = TruncDate("closed_at", tzinfo=site.zone_info)
    return (
        visits_visible_to(user)
        .filter(site=site)
        .annotate(was_on=Coalesce(closed_on, "booked_on", "due_on", output_field=DateField()))
        .select_related("technician", "line")
        .defer("sealed_record", "signature", "summary")
        .order_by("-was_on", "-pk")
    )


def lines_at(user: User, site: Site, now: datetime) -> QuerySet[ServiceLine]:
    """The service lines of a site, those that go on first, each with ``next_on``, the day on which
    its next visit is booked or due. One query, and those of the person's rights.
    """
    coming = (
        Visit.objects.filter(
            line=OuterRef("pk"),
            state__in=[Visit.State.PLANNED, Visit.State.BOOKED],
            closes_on__gte=site.day_of(now),
        )
        .order_by()
        .values("line")
        .annotate(first=Min(Coalesce("booked_on", "due_on")))
        .values("first")
    )
    return (
        lines_visible_to(user)
        .filter(contract__site=site)
        .select_related("contract")
        .annotate(next_on=Subquery(coming, output_field=DateField()))
        .order_by(F("last_on").desc(nulls_first=True), "title", "first_on", "pk")
    )
