"""Rodent bait at sites: what lies at which point, since when, and when it must be reviewed.

Laid is what treatments against rodents say of a numbered point, in g; taken and lifted is what
readings say that were weighed. A liquid bait counts a gram for each millilitre, whatever its
density, so that bait that lies is never overlooked. Days are dates in the site's own zone.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from accounts.models import User
from sites.models import Monitor, Site
from visits.access import (
    baiting_reviews_visible_to,
    readings_visible_to,
    treatments_visible_to,
)
from visits.dosing.baiting import (
    BaitEvent,
    BaitingState,
    BaitReview,
    PointState,
    baiting_state,
    point_state,
)
from visits.dosing.units import convert, kind_of
from visits.models import BaitingReview, Pest, Reading, Treatment, Visit

Events = Mapping[UUID, Sequence[BaitEvent]]


@dataclass(frozen=True, slots=True)
class BaitPoint:
    """One numbered point, and how it stands."""

    monitor: Monitor
    state: PointState

    @property
    def balance_g(self) -> Decimal:
        return grams(self.state.balance)

    @property
    def laid_g(self) -> Decimal:
        return grams(self.state.laid)

    @property
    def taken_g(self) -> Decimal:
        return grams(self.state.taken)

    @property
    def lifted_g(self) -> Decimal:
        return grams(self.state.lifted)


@dataclass(frozen=True, slots=True)
class SiteBaiting:
    """How the baiting of a site stands on ``today``, its points in the order of their numbers.

    ``unnumbered`` counts applications of bait that name no point: nobody can say what is left.
    """

    site: Site
    today: date
    points: Sequence[BaitPoint]
    state: BaitingState
    reviews: Sequence[BaitingReview]
    unnumbered: int = 0

    @property
    def open_points(self) -> list[BaitPoint]:
        return [one for one in self.points if one.state.is_open]

    @property
    def balance_g(self) -> Decimal:
        return grams(self.state.balance)


def grams(amount: Fraction) -> Decimal:
    """An amount of bait as it is kept: to the hundredth of a gram."""
    return (Decimal(amount.numerator) / amount.denominator).quantize(Decimal("0.01"))


def bait_laid() -> QuerySet[Treatment]:
    """Applications of rodent bait. Without order."""
    return Treatment.objects.filter(
        method=Treatment.Method.BAIT_STATION, target__group=Pest.Group.RODENT
    )


def was_baited(site: Site, user: User) -> bool:
    """Whether this person may see that rodent bait was ever laid at a site. One query."""
    return (
        bait_laid()
        .filter(visit__site=site, pk__in=treatments_visible_to(user).values("pk"))
        .exists()
    )


def bait_weighed() -> QuerySet[Reading]:
    """Readings that say how much bait was taken or lifted. Without order."""
    return Reading.objects.filter(Q(bait_taken_g__isnull=False) | Q(bait_lifted_g__isnull=False))


def site_baiting(site: Site, user: User, now: datetime) -> SiteBaiting:
    """How the baiting of a site stands by the records that this person may see. Four queries.

    An auditor's pass may begin in the middle: then it is reckoned from what the pass shows.
    """
    laid = bait_laid().filter(pk__in=treatments_visible_to(user).values("pk"))
    weighed = bait_weighed().filter(pk__in=readings_visible_to(user).values("pk"))
    reviews = baiting_reviews_visible_to(user).select_related("reviewed_by")
    (found,) = _baiting([site], laid, weighed, reviews, _today(now))
    return found


def baiting_on(site: Site, on: date) -> SiteBaiting:
    """How the baiting of a site stood at the end of a day, by its closed visits. Four queries."""
    closed = Visit.State.CLOSED
    laid = bait_laid().filter(visit__state=closed)
    weighed = bait_weighed().filter(visit__state=closed)
    reviews = BaitingReview.objects.filter(reviewed_on__lte=on).select_related("reviewed_by")
    (found,) = _baiting([site], laid, weighed, reviews, lambda _: on)
    return found


def open_baiting(
    sites: Collection[Site] | QuerySet[Site], now: datetime, *, overdue_only: bool = False
) -> list[SiteBaiting]:
    """Sites at which bait lies, the one whose review is due first on top. Four queries.

    One more where ``sites`` is a query that was not asked yet.
    """
    baited = (
        list(sites.filter(Exists(bait_laid().filter(visit__site=OuterRef("pk")))))
        if isinstance(sites, QuerySet)
        else list(sites)
    )
    found = _baiting(
        baited,
        bait_laid(),
        bait_weighed(),
        BaitingReview.objects.select_related("reviewed_by"),
        _today(now),
    )
    lying = [
        one
        for one in found
        if not one.state.is_lifted and (one.state.is_overdue or not overdue_only)
    ]
    return sorted(
        lying, key=lambda one: (one.state.review_due_on or one.today, one.site.name, one.site.pk)
    )


def baiting_before(
    site: Site, days: Collection[date], *, but_not: UUID
) -> dict[date, BaitingState]:
    """By day, how a site's baiting stood but for what one visit recorded. Four queries."""
    said = _laid_at([site], bait_laid().exclude(visit=but_not))
    monitors = _points({one.monitor_id for one in said if one.monitor_id})
    events = _events(monitors, said, bait_weighed().exclude(visit=but_not))
    reviews = list(BaitingReview.objects.filter(site=site))
    return {on: _state(monitors, events, reviews, on)[1] for on in days}


def bait_at_points(sites: Collection[Site], now: datetime) -> dict[UUID, SiteBaiting]:
    """By site, how its baiting stands, for several sites at once. Four queries."""
    laid, weighed = bait_laid(), bait_weighed()
    reviews = BaitingReview.objects.select_related("reviewed_by")
    return {one.site.pk: one for one in _baiting(sites, laid, weighed, reviews, _today(now))}


def _today(now: datetime) -> Callable[[Site], date]:
    return lambda site: site.day_of(now)


def _baiting(
    sites: Collection[Site],
    laid: QuerySet[Treatment],
    weighed: QuerySet[Reading],
    reviews: QuerySet[BaitingReview],
    day_at: Callable[[Site], date],
) -> list[SiteBaiting]:
    at_hand = {site.pk: site for site in sites}
    said = _laid_at(at_hand.values(), laid)
    monitors = _points({one.monitor_id for one in said if one.monitor_id})
    events = _events(monitors, said, weighed)
    of_site: dict[UUID, list[Monitor]] = defaultdict(list)
    for monitor in monitors:
        of_site[monitor.site_id].append(monitor)
    reviewed: dict[UUID, list[BaitingReview]] = defaultdict(list)
    baited = {one.site_id for one in said}
    for review in reviews.filter(site__in=baited).order_by("-reviewed_on", "-pk"):
        reviewed[review.site_id].append(review)
    unnumbered = Counter(one.site_id for one in said if one.monitor_id is None)
    found = []
    for site in sites:
        today = day_at(site)
        points, state = _state(of_site[site.pk], events, reviewed[site.pk], today)
        found.append(
            SiteBaiting(site, today, points, state, reviewed[site.pk], unnumbered[site.pk])
        )
    return found


def _state(
    monitors: Sequence[Monitor], events: Events, reviews: Sequence[BaitingReview], on: date
) -> tuple[list[BaitPoint], BaitingState]:
    points = [
        BaitPoint(monitor, point_state(_with_end(monitor, events[monitor.pk]), on=on))
        for monitor in monitors
        if monitor.pk in events
    ]
    state = baiting_state(
        {str(one.monitor.pk): one.state for one in points},
        [
            BaitReview(
                one.reviewed_on, one.cause, goes_on=one.outcome == BaitingReview.Outcome.GO_ON
            )
            for one in reviews
        ],
        on=on,
    )
    return points, state


def _with_end(monitor: Monitor, events: Sequence[BaitEvent]) -> list[BaitEvent]:
    """A monitor that was taken away ends its point: what lay in it went with it."""
    ended = [BaitEvent(monitor.removed_on, ended=True)] if monitor.removed_on else []
    return [*events, *ended]


@dataclass(frozen=True, slots=True)
class _Said:
    """What one application of bait says."""

    site_id: UUID
    monitor_id: UUID | None
    on: date
    laid: Fraction


def _laid_at(sites: Collection[Site], laid: QuerySet[Treatment]) -> list[_Said]:
    """Every application of bait at these sites. One query."""
    at_hand = {site.pk: site for site in sites}
    rows: Any = laid.filter(visit__site__in=at_hand).values_list(
        "visit__site", "monitor", "started_at", "product_amount", "amount", "unit"
    )
    return [
        _Said(
            site_id,
            monitor_id,
            at_hand[site_id].day_of(at),
            _laid(product_amount, amount, unit),
        )
        for site_id, monitor_id, at, product_amount, amount, unit in rows
    ]


def _points(ids: Collection[UUID]) -> list[Monitor]:
    """These monitors, by number. One query, none without any."""
    if not ids:
        return []
    found = Monitor.objects.filter(pk__in=ids).select_related("zone")
    return list(found.order_by("number", "pk"))


def _events(
    monitors: Sequence[Monitor], said: Sequence[_Said], weighed: QuerySet[Reading]
) -> dict[UUID, list[BaitEvent]]:
    """By monitor, what happened there. One query, none without monitors."""
    found: dict[UUID, list[BaitEvent]] = defaultdict(list)
    for one in said:
        if one.monitor_id:
            found[one.monitor_id].append(BaitEvent(one.on, laid=one.laid))
    rows: Any = weighed.filter(monitor__in=[one.pk for one in monitors]).values_list(
        "monitor", "read_on", "bait_taken_g", "bait_lifted_g"
    )
    for monitor_id, on, taken, lifted in rows:
        found[monitor_id].append(
            BaitEvent(
                on,
                taken=Fraction(taken or 0),
                lifted=None if lifted is None else Fraction(lifted),
            )
        )
    return dict(found)


def _laid(product_amount: Decimal | None, amount: Decimal, unit: str) -> Fraction:
    """What was laid, in g, a millilitre counting as a gram."""
    if product_amount is not None:
        return Fraction(product_amount)
    return convert(Fraction(amount), unit, "g" if kind_of(unit) == "mass" else "ml")
