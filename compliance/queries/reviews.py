"""Trend reviews: what one is written about, and which quarters of a site have none."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from django.db.models import Q

from accounts.models import Competence, User
from accounts.sealing import canonical, digest
from compliance.access import trend_reviews_visible_to
from compliance.models import Alarm, Breach, PlaceMonth, TrendReview
from compliance.quarters import Quarter, ended_quarters
from sites.models import Site

HISTORY_QUARTERS = 12
"""How far back the list of quarters goes."""


@dataclass(frozen=True, slots=True)
class PlaceQuarter:
    """What one zone, or the whole site, caught of one pest in a quarter, month by month."""

    zone: str
    pest: str
    months: tuple[PlaceMonth, ...]

    @property
    def count(self) -> int:
        """Individuals."""
        return sum(one.count for one in self.months)

    @property
    def trap_days(self) -> float:
        """Of all three months."""
        return sum(one.half_days for one in self.months) / 2

    @property
    def per_100(self) -> float | None:
        """Individuals per 100 trap-days, None where nobody could look."""
        return 100 * self.count / self.trap_days if self.trap_days else None

    @property
    def last(self) -> PlaceMonth:
        """How it stood in the last month that is on file."""
        return self.months[-1]

    @property
    def is_quiet(self) -> bool:
        """Nothing was caught, and nothing stood out."""
        return not self.count and self.last.state != PlaceMonth.State.ALARM


@dataclass(frozen=True)
class ReviewSheet:
    """What is put before the one who reviews a quarter; the signature is bound to its hash.

    ``alarms``: the open ones up to the end of the quarter, which the review may explain.
    """

    site: Site
    quarter: Quarter
    places: Sequence[PlaceQuarter]
    alarms: Sequence[Alarm]
    breaches: Sequence[Breach]

    @cached_property
    def facts(self) -> dict[str, Any]:
        """The figures and sentences shown, as plain values."""
        return {
            "site": {"reference": self.site.reference, "name": self.site.name},
            "first": self.quarter.first,
            "last": self.quarter.last,
            "places": [
                {
                    "zone": one.zone,
                    "pest": one.pest,
                    "months": [
                        {
                            "month": f"{month.month:%Y-%m}",
                            "count": month.count,
                            "half_trap_days": month.half_days,
                            "at_least": month.at_least,
                            "state": month.state,
                            "words": month.words,
                        }
                        for month in one.months
                    ],
                }
                for one in self.places
            ],
            "alarms": [
                {"alarm": str(one.pk), "month": f"{one.month:%Y-%m}", "words": one.words}
                for one in self.alarms
            ],
            "breaches": [{"on": one.on, "words": one.words} for one in self.breaches],
        }

    @cached_property
    def hash(self) -> str:
        """SHA-256 of the facts as canonical JSON."""
        return digest(canonical(self.facts))


def review_sheet(site: Site, quarter: Quarter) -> ReviewSheet:
    """What a review of a site's quarter is written about. Three queries."""
    rows = (
        PlaceMonth.objects.filter(site=site, month__gte=quarter.first, month__lte=quarter.last)
        .select_related("zone", "pest")
        .order_by("zone__walk_order", "zone__name", "pest__name", "month", "pk")
    )
    places: dict[tuple[str, str], list[PlaceMonth]] = defaultdict(list)
    for row in rows:
        places[row.zone.name if row.zone else "", row.pest.name].append(row)
    alarms = (
        Alarm.objects.filter(site=site, state=Alarm.State.OPEN, month__lte=quarter.last)
        .select_related("zone", "pest")
        .order_by("month", "zone__walk_order", "zone__name", "pest__name", "pk")
    )
    breaches = (
        Breach.objects.filter(site=site, on__gte=quarter.first, on__lte=quarter.last)
        .exclude(state=Breach.State.GONE)
        .select_related("zone", "pest", "monitor")
        .order_by("on", "pk")
    )
    return ReviewSheet(
        site=site,
        quarter=quarter,
        places=[
            PlaceQuarter(zone=zone or "Whole site", pest=pest, months=tuple(months))
            for (zone, pest), months in places.items()
        ],
        alarms=list(alarms),
        breaches=list(breaches),
    )


def competence_on(person: User, day: date) -> Competence | None:
    """The competence that makes somebody competent on a day, the longest valid first. One query."""
    return (
        Competence.objects.filter(
            Q(valid_until=None) | Q(valid_until__gte=day),
            Q(withdrawn_on=None) | Q(withdrawn_on__gt=day),
            person=person,
            valid_from__lte=day,
        )
        .select_related("kind")
        .order_by("kind__name", "-valid_from", "pk")
        .first()
    )


@dataclass(frozen=True, slots=True)
class QuarterLine:
    """One ended quarter of a site and its reviews, the newest first.

    ``was_read``: monitors were read in it, so that there is something to review.
    """

    quarter: Quarter
    reviews: tuple[TrendReview, ...]
    was_read: bool
    is_late: bool

    @property
    def state(self) -> str:
        """The key of a tag: sound, late, due or unknown."""
        if self.reviews:
            return "sound"
        if not self.was_read:
            return "unknown"
        return "late" if self.is_late else "due"

    @property
    def words(self) -> str:
        """The same in words."""
        if self.reviews:
            return "Signed"
        if not self.was_read:
            return "Nothing to review"
        return "Late" if self.is_late else "Due"


def quarters_of(site: Site, user: User, *, today: date) -> list[QuarterLine]:
    """The last ended quarters of a site as a person may see them, newest first. Two queries."""
    quarters = ended_quarters(today, HISTORY_QUARTERS)
    reviews: Mapping[date, list[TrendReview]] = defaultdict(list)
    for one in (
        trend_reviews_visible_to(user)
        .filter(site=site, quarter__gte=quarters[-1].first)
        .order_by("-number", "pk")
    ):
        reviews[one.quarter].append(one)
    read = set(
        PlaceMonth.objects.filter(
            site=site, month__gte=quarters[-1].first, month__lte=quarters[0].last, half_days__gt=0
        )
        .values_list("month", flat=True)
        .distinct()
    )
    return [
        QuarterLine(
            quarter=quarter,
            reviews=tuple(reviews.get(quarter.first, ())),
            was_read=any(quarter.first <= month <= quarter.last for month in read),
            is_late=today > quarter.due_on,
        )
        for quarter in quarters
    ]
