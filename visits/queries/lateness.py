"""What is late, by the clock of each visit's own site."""

from collections import defaultdict
from datetime import date, datetime

from django.db.models import BooleanField, Case, Q, QuerySet, Value, When

from sites.models import Site
from visits.models import Visit


def zones_by_day(now: datetime) -> dict[date, list[str]]:
    """The time zones in use, by the day it is there now: never more than three days. One query."""
    days: dict[date, list[str]] = defaultdict(list)
    names = Site.objects.order_by("time_zone").values_list("time_zone", flat=True).distinct()
    for name in names:
        days[Site(time_zone=name).day_of(now)].append(name)
    return dict(days)


def is_late(now: datetime) -> Q:
    """Open visits past their last day on time, and call-outs not begun by their deadline.

    Days are counted in the site's own zone. One query, for the zones in use.
    """
    past = Q(pk__in=[])
    for day, zones in zones_by_day(now).items():
        past |= Q(site__time_zone__in=zones, closes_on__lt=day)
    unanswered = Q(kind=Visit.Kind.CALL_OUT, respond_by__lt=now, started_at__isnull=True)
    return Q(state__in=Visit.OPEN_STATES) & (past | unanswered)


def with_lateness(visits: QuerySet[Visit], late: Q) -> QuerySet[Visit]:
    """The same visits with ``late``, true or false, by what ``is_late`` gave. No query."""
    return visits.annotate(
        late=Case(When(late, then=Value(True)), default=False, output_field=BooleanField())
    )
