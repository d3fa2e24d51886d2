"""How places stand over the months, for pages: what was judged, in the words that people read.

Everything comes from the months that were judged (``PlaceMonth``), never from readings, so that a
site is read in two queries. A month is its first day, oldest first; rates are per 100 trap-days.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, cast
from uuid import UUID

from django.db.models import Count, F, Max, Q, QuerySet, Sum
from django.urls import reverse

from accounts.models import Role, User
from compliance.access import (
    actions_visible_to,
    alarms_visible_to,
    place_months_visible_to,
    trend_reviews_visible_to,
)
from compliance.models import Alarm, CorrectiveAction, JudgedMonth, MonthCount, PlaceMonth
from compliance.trends.drawing import MONTHS, Mark, Point
from compliance.trends.exposure import Month, month_number, numbered
from compliance.trends.judge import State
from compliance.trends.rates import PER, Rate, rate, rate_words
from compliance.trends.trend import YEAR, Trend, trend_of
from sites.access import monitors_visible_to, valid_pass_sites
from sites.models import Monitor, Site, Zone
from visits.access import treatments_visible_to
from visits.models import Pest, RemedyKind, Visit

TREND_MONTHS = 2 * YEAR
"""Two years, so that each month is asked against the same month of the year before."""

MOST_MONTHS = 3 * YEAR
LEAST_RATE = 0.001
"""Per 100 trap-days. A lower limit below one in 100,000 trap-days is told as none at all."""

WHOLE_SITE = "Whole site"

Key = tuple[UUID | None, UUID]
"""A zone (None: the whole site) and a pest."""


def month_words(day: date) -> str:
    """A month as people write it: "March 2026"."""
    return f"{MONTHS[day.month - 1]} {day.year}"


def month_key(day: date) -> str:
    """A month as addresses write it: "2026-03" (ISO 8601)."""
    return f"{day.year:04d}-{day.month:02d}"


def first_of(day: date) -> date:
    """The first day of the month that a day lies in."""
    return day.replace(day=1)


def moved(month: date, by: int) -> date:
    """The first day of the month that lies so many months later, or earlier below 0."""
    return _day(numbered(month_number((month.year, month.month)) + by))


def _day(month: Month) -> date:
    return date(*month, 1)


@dataclass(frozen=True, slots=True)
class Seen:
    """One place and pest in one month. The fields are those of ``PlaceMonth``.

    ``usual_days``: the trap-days of a mean month of this place, which ``k`` is meant for.
    """

    month: date
    count: int
    half_days: int
    readings: int
    at_least: bool
    state: str
    centre: float | None
    alarm_at: int | None
    allows: float | None
    k: float | None
    words: str
    usual_days: float = 0.0

    @property
    def trap_days(self) -> float:
        return self.half_days / 2

    @property
    def per_100(self) -> float | None:
        """Individuals per 100 trap-days, None where nobody could look."""
        return PER * self.count / self.trap_days if self.half_days else None

    @property
    def limit(self) -> float | None:
        """The rate from which this month would have been an alarm by itself."""
        if self.alarm_at is None or not self.half_days:
            return None
        return PER * self.alarm_at / self.trap_days

    @property
    def only_with_others(self) -> bool:
        """Whether it is an alarm only together with the months before it."""
        by_itself = self.alarm_at is not None and self.count >= self.alarm_at
        return self.state == PlaceMonth.State.ALARM and not by_itself

    @property
    def state_words(self) -> str:
        return str(PlaceMonth.State(self.state).label)

    @property
    def month_words(self) -> str:
        return month_words(self.month)

    @property
    def rate(self) -> Rate:
        """The month's rate with its limits, as wide as the clumping of like places makes them.

        What a count of none allows is what the judging found, so that one page never says two
        figures for it.
        """
        phi = 1.0
        if self.k and self.centre:
            # A month of more trap-days has as much more clumps, so that its days do not matter.
            phi += self.centre * (self.usual_days or self.trap_days) / PER / self.k
        one = rate(self.count, self.trap_days, at_least=self.at_least, phi=phi)
        lower = one.lower if one.lower >= LEAST_RATE else 0.0
        return replace(one, lower=lower, allows=one.allows if self.allows is None else self.allows)

    @property
    def rate_words(self) -> str:
        return rate_words(self.rate)

    @property
    def point(self) -> Point:
        """The month as a chart draws it."""
        return point_of(self)


def point_of(one: "Seen | PlaceMonth") -> Point:
    """A judged month as a chart draws it."""
    return Point(
        month=(one.month.year, one.month.month),
        count=one.count,
        trap_days=one.trap_days,
        per_100=one.per_100,
        centre=one.centre,
        limit=one.limit,
        state=cast(State, one.state),
        at_least=one.at_least,
        allows=one.allows,
    )


FIELDS = (
    "month",
    "count",
    "half_days",
    "readings",
    "at_least",
    "state",
    "centre",
    "alarm_at",
    "allows",
    "k",
)


def _unread(month: date) -> Seen:
    return Seen(
        month=month,
        count=0,
        half_days=0,
        readings=0,
        at_least=False,
        state=PlaceMonth.State.NOT_READ,
        centre=None,
        alarm_at=None,
        allows=None,
        k=None,
        words="Not read this month.",
    )


@dataclass(frozen=True, slots=True)
class PestNamed:
    """A pest as pages name it."""

    id: UUID
    slug: str
    name: str
    group: str


@dataclass(frozen=True, slots=True)
class Place:
    """A zone, or the whole site (``zone_id`` None), and a pest, with its months without a gap."""

    zone_id: UUID | None
    zone_name: str
    pest: PestNamed
    months: tuple[Seen, ...]
    alarms_open: int

    @property
    def title(self) -> str:
        return f"{self.zone_name}, {self.pest.name}"

    @property
    def latest(self) -> Seen:
        return self.months[-1]

    @property
    def last_read(self) -> Seen | None:
        """The last month in which somebody could look."""
        return next((one for one in reversed(self.months) if one.half_days), None)

    @property
    def points(self) -> list[Point]:
        return [one.point for one in self.months]

    @property
    def small_points(self) -> list[Point]:
        """The same without the alarm limit, which lies far above calm months and would leave no
        room in a small chart to tell them apart."""
        return [replace(one, limit=None) for one in self.points]


@dataclass(frozen=True, slots=True)
class PestPicture:
    """One pest over a whole site, in words first.

    ``now``: the last month in which anybody looked for it, None where nobody ever did.
    ``alarmed``: places with an alarm that nobody has explained. ``watched``: zones that were read
    for it; ``unread``: those of them that were not read in the last month.
    """

    pest: PestNamed
    trend: Trend
    now: Seen | None
    alarmed: int
    watched: int
    unread: tuple[str, ...]

    @property
    def way(self) -> str:
        """Rising, falling, or not known, whatever the reason."""
        return way_of(self.trend)

    @property
    def way_words(self) -> str:
        """What it is told against, where that is the year before: it may be falling by now."""
        return (YEAR_WAYS if self.trend.seasonal else WAYS)[self.way]


@dataclass(frozen=True, slots=True)
class SitePicture:
    """All that a site's page of trends shows. Without ``pests`` nothing has been judged yet."""

    first: date
    last: date
    begins: date | None
    pests: tuple[PestPicture, ...]
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class PlacePicture:
    """One place and pest: its months, its trend over the last two years, and its neighbours."""

    place: Place
    trend: Trend
    before: tuple[str, str] | None
    after: tuple[str, str] | None


@dataclass(frozen=True, slots=True)
class MonitorRate:
    """What one monitor of a place caught in a period."""

    monitor: Monitor
    rate: Rate
    readings: int

    @property
    def words(self) -> str:
        return rate_words(self.rate)


WAYS = {"rising": "Rising", "falling": "Falling", "not_known": "Trend not known"}
YEAR_WAYS = {**WAYS, "rising": "Above last year", "falling": "Below last year"}


def way_of(trend: Trend) -> str:
    """The direction of a trend as one of ``WAYS``: what cannot be tested is not known."""
    return trend.direction if trend.direction in WAYS else "not_known"


def latest_month(site: Site, user: User, now: datetime) -> date:
    """The month up to which a person may look: this one, or the last of an auditor's passes.

    No query, one for an auditor. A site that was closed ends with the month it was closed in.
    """
    last = site.day_of(now)
    if site.closed_on:
        last = min(last, site.closed_on)
    if user.role == Role.AUDITOR:
        passes = valid_pass_sites(user).filter(site=site)
        ends = passes.aggregate(last=Max("auditor_pass__period_to"))["last"]
        last = min(last, ends or last)
    return first_of(last)


def site_picture(site: Site, user: User, *, months: int, now: datetime) -> SitePicture:
    """How a site stands: each pest in words, then each place month by month.

    ``places`` come in walking order, the whole site first. The month under way counts once
    something was read in it. Two queries, three for an auditor.
    """
    last = latest_month(site, user, now)
    rows = _rows(site, user, last)
    last = _as_read(rows, last)
    first = moved(last, 1 - months)
    alarms = _alarms_open(site, user)
    begins = min((row["month"] for row in rows), default=None)
    starts = max(first, begins) if begins else first
    by_key = _by_key(rows)
    places = tuple(_place(key, named, starts, last, alarms) for key, named in by_key.items())
    return SitePicture(
        first=starts,
        last=last,
        begins=begins,
        pests=_pests(by_key, last, alarms),
        places=tuple(one for one in places if any(month.half_days for month in one.months)),
    )


@dataclass(frozen=True, slots=True)
class _Named:
    """The rows of one place and pest with its names."""

    zone_name: str
    pest: PestNamed
    seen: Mapping[date, Seen]


def _rows(site: Site, user: User, last: date, *more: str, **only: Any) -> list[dict[str, Any]]:
    """The judged months of a site, of three years at most, in walking order. One query.

    ``more``: further fields than ``FIELDS``; ``only``: what to look for.
    """
    months = place_months_visible_to(user).filter(
        site=site, month__gt=moved(last, -MOST_MONTHS), month__lte=last, **only
    )
    return list(
        months.order_by(
            F("zone__walk_order").asc(nulls_first=True), "zone__name", "pest__name", "month", "pk"
        ).values(
            *FIELDS,
            *more,
            "zone_id",
            "pest_id",
            zone_name=F("zone__name"),
            pest_slug=F("pest__slug"),
            pest_name=F("pest__name"),
            pest_group=F("pest__group"),
        )
    )


def _by_key(rows: Iterable[Mapping[str, Any]]) -> dict[Key, _Named]:
    """Rows by place and pest, in the order given."""
    of_key: dict[Key, list[Mapping[str, Any]]] = defaultdict(list)
    for row in rows:
        of_key[row["zone_id"], row["pest_id"]].append(row)
    found = {}
    for key, some in of_key.items():
        days = [row["half_days"] / 2 for row in some if row["half_days"]]
        usual = sum(days) / len(days) if days else 0.0
        named = some[0]
        found[key] = _Named(
            named["zone_name"] or WHOLE_SITE,
            PestNamed(key[1], named["pest_slug"], named["pest_name"], named["pest_group"]),
            {
                row["month"]: Seen(
                    **{field: row[field] for field in FIELDS},
                    words=row.get("words", ""),
                    usual_days=usual,
                )
                for row in some
            },
        )
    return found


def _as_read(rows: Iterable[Mapping[str, Any]], last: date) -> date:
    """The last month to show: the one under way only once something was read in it."""
    read = any(row["month"] == last and row["half_days"] for row in rows)
    return last if read else moved(last, -1)


def _alarms_open(site: Site, user: User) -> dict[Key, int]:
    """How many alarms of each place and pest nobody has explained. One query."""
    opened = alarms_visible_to(user).filter(site=site, state=Alarm.State.OPEN)
    found = opened.order_by().values("zone_id", "pest_id").annotate(number=Count("pk"))
    return {(row["zone_id"], row["pest_id"]): row["number"] for row in found}


def _place(key: Key, named: _Named, first: date, last: date, alarms: Mapping[Key, int]) -> Place:
    return Place(
        zone_id=key[0],
        zone_name=named.zone_name,
        pest=named.pest,
        months=_without_gaps(named.seen, first, last),
        alarms_open=alarms.get(key, 0),
    )


def _without_gaps(seen: Mapping[date, Seen], first: date, last: date) -> tuple[Seen, ...]:
    """One for each month from the first to the last; those that are missing were not read."""
    months = [_day(numbered(number)) for number in range(_number(first), _number(last) + 1)]
    return tuple(seen.get(month) or _unread(month) for month in months)


def _pests(
    by_key: Mapping[Key, _Named], last: date, alarms: Mapping[Key, int]
) -> tuple[PestPicture, ...]:
    """Each pest over the site, those with an alarm first, then what rises, then by name."""
    of_pest: dict[UUID, dict[UUID | None, _Named]] = defaultdict(dict)
    for (zone_id, pest_id), named in by_key.items():
        of_pest[pest_id][zone_id] = named
    found = []
    for pest_id, places in of_pest.items():
        zones = {zone_id: named for zone_id, named in places.items() if zone_id}
        # A site of one zone is judged as that zone; else the whole site has its own row.
        whole = places.get(None) or next(iter(zones.values()))
        sums = _sums(zones.values()) if zones else _sums([whole])
        alarmed = sum((zone_id, pest_id) in alarms for zone_id in places)
        found.append(
            PestPicture(
                pest=whole.pest,
                trend=trend_of(trend_rates(sums, last)),
                now=_now(whole.seen, last),
                alarmed=alarmed,
                watched=len(zones),
                unread=tuple(
                    named.zone_name
                    for named in zones.values()
                    if last not in named.seen or not named.seen[last].half_days
                ),
            )
        )
    rank = {"rising": 0, "not_known": 1, "falling": 2}
    return tuple(sorted(found, key=lambda one: (not one.alarmed, rank[one.way], one.pest.name)))


def _sums(places: Iterable[_Named]) -> dict[date, tuple[int, int]]:
    """Count and half trap-days of each month over some places."""
    sums: dict[date, tuple[int, int]] = {}
    for named in places:
        for month, one in named.seen.items():
            count, half_days = sums.get(month, (0, 0))
            sums[month] = count + one.count, half_days + one.half_days
    return sums


def trend_rates(sums: Mapping[date, tuple[int, int]], last: date) -> list[float | None]:
    """Rates of up to two years before the end of ``last``, from the first month that has one on."""
    months = [moved(last, back) for back in range(1 - TREND_MONTHS, 1)]
    rates: list[float | None] = []
    for month in months:
        count, half_days = sums.get(month, (0, 0))
        if half_days or rates:
            rates.append(PER * count / (half_days / 2) if half_days else None)
    return rates


def _now(seen: Mapping[date, Seen], last: date) -> Seen | None:
    read = [month for month, one in seen.items() if one.half_days and month <= last]
    return seen[max(read)] if read else None


# --- one place ----------------------------------------------------------------------------------


def place_picture(
    site: Site, zone: Zone | None, pest: Pest, user: User, *, months: int, now: datetime
) -> PlacePicture | None:
    """One zone, or the whole site, and pest; None where nothing was judged of it.

    A site of one zone has no row of its own: it is judged as that zone. Three queries, four for an
    auditor.
    """
    last = latest_month(site, user, now)
    order = _order(site, user, last)
    key: Key = (zone.pk if zone else None, pest.pk)
    rows = _rows(site, user, last, "words", zone=zone, pest=pest)
    if not rows:
        return None
    last = _as_read(rows, last)
    named = _by_key(rows)[key]
    alarms = _alarms_open(site, user)
    starts = max(moved(last, 1 - months), min(named.seen))
    keys = [one for one, _ in order]
    at = keys.index(key)
    return PlacePicture(
        place=_place(key, named, starts, last, alarms),
        trend=trend_of(trend_rates(_sums([named]), last)),
        before=_neighbour(site, order[at - 1]) if at else None,
        after=_neighbour(site, order[at + 1]) if at + 1 < len(order) else None,
    )


def _order(site: Site, user: User, last: date) -> list[tuple[Key, tuple[str, str, str]]]:
    """Every place and pest of a site in the order of its page, with what names them. One query."""
    months = place_months_visible_to(user).filter(
        site=site, month__gt=moved(last, -MOST_MONTHS), month__lte=last
    )
    found = (
        months.order_by(
            F("zone__walk_order").asc(nulls_first=True), "zone__name", "pest__name", "pest_id"
        )
        .values_list(
            "zone_id", "pest_id", "zone__name", "pest__name", "pest__slug", "zone__walk_order"
        )
        .distinct()
    )
    return [
        ((zone_id, pest_id), (zone_name or WHOLE_SITE, pest_name, slug))
        for zone_id, pest_id, zone_name, pest_name, slug, _ in found
    ]


def _neighbour(site: Site, one: tuple[Key, tuple[str, str, str]]) -> tuple[str, str]:
    (zone_id, _), (zone_name, pest_name, slug) = one
    return place_address(site.pk, slug, zone_id), f"{zone_name}, {pest_name}"


def place_address(site_id: UUID, pest_slug: str, zone_id: UUID | None) -> str:
    """The page of a place and pest."""
    if zone_id is None:
        return reverse("compliance:place_trend", args=[site_id, pest_slug])
    return reverse("compliance:zone_trend", args=[site_id, pest_slug, zone_id])


def marks_of(
    site: Site, zone: Zone | None, pest: Pest, user: User, *, first: date, last: date
) -> list[Mark]:
    """What was done there against that group of pests, and what was written about it, by day.

    Treatments of closed visits, proofing that was checked and sound, and reviews, as far as the
    person may see them. Three queries.
    """
    end = moved(last, 1)
    treated = treatments_visible_to(user).filter(
        visit__site=site, visit__state=Visit.State.CLOSED, target__group=pest.group
    )
    proofed = actions_visible_to(user).filter(
        site=site, kind=RemedyKind.PROOFING, state=CorrectiveAction.State.CHECKED
    )
    if zone is not None:
        treated, proofed = treated.filter(zone=zone), proofed.filter(zone=zone)
    marks = [
        Mark(on, "treatment", ", ".join(words))
        for on, words in _by_day(
            (
                site.day_of(row.started_at),
                f"{row.product_name} ({row.get_method_display().lower()})",
            )
            for row in treated.order_by("started_at", "pk")
        ).items()
    ]
    marks += [
        Mark(site.day_of(row.checked_at), "proofing", row.title)
        for row in proofed.exclude(checked_at=None).order_by("checked_at", "pk")
        if row.checked_at
    ]
    marks += [
        Mark(site.day_of(row.signed_at), "review", f"by {row.signed_name}")
        for row in trend_reviews_visible_to(user).filter(site=site).order_by("signed_at", "pk")
    ]
    return sorted(
        (one for one in marks if first <= one.on < end), key=lambda one: (one.on, one.kind)
    )


def _by_day(said: Iterable[tuple[date, str]]) -> dict[date, list[str]]:
    """Words by day, each once a day."""
    found: dict[date, list[str]] = defaultdict(list)
    for on, words in said:
        if words not in found[on]:
            found[on].append(words)
    return found


def monitor_rates(
    site: Site, zone: Zone | None, pest: Pest, *, months: Sequence[Seen]
) -> list[MonitorRate]:
    """What each monitor caught in these months, the highest rate first. One query.

    Limits take individuals to come one by one, as one monitor is too little to tell its clumping.
    Only months that the person was shown are summed, so that an auditor gets those of the pass.
    """
    numbers = [_number(one.month) for one in months if one.half_days]
    counts = MonthCount.objects.filter(series__site=site, series__pest=pest, month__in=numbers)
    if zone is not None:
        counts = counts.filter(series__zone=zone)
    sums = (
        counts.order_by()
        .values("series__monitor_id")
        .annotate(
            caught=Sum("count"),
            days=Sum("half_days"),
            read=Sum("readings"),
            full=Count("pk", filter=Q(at_least=True)),
        )
    )
    by_monitor = {row["series__monitor_id"]: row for row in sums}
    monitors = Monitor.objects.filter(pk__in=by_monitor).select_related("zone")
    found = []
    for monitor in monitors:
        row = by_monitor[monitor.pk]
        one = rate(row["caught"], row["days"] / 2, at_least=bool(row["full"]))
        found.append(MonitorRate(monitor, one, row["read"]))
    return sorted(found, key=lambda one: (-(one.rate.per_100 or 0.0), one.monitor.number))


def alarms_at(site: Site, zone: Zone | None, pest: Pest, user: User) -> list[Alarm]:
    """The alarms of one place and pest, latest first. One query."""
    found = alarms_visible_to(user).filter(site=site, zone=zone, pest=pest)
    return list(found.select_related("review").order_by("-month", "pk"))


# --- one monitor --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MonitorMonths:
    """One pest in one monitor, month by month without a gap; single monitors are not judged."""

    pest: PestNamed
    months: tuple[Seen, ...]

    @property
    def points(self) -> list[Point]:
        return [one.point for one in self.months]

    @property
    def words(self) -> str:
        """All its months together, as a rate with its limits."""
        one = rate(
            sum(month.count for month in self.months),
            sum(month.half_days for month in self.months) / 2,
            at_least=any(month.at_least for month in self.months),
        )
        return rate_words(one)

    @property
    def unread(self) -> tuple[str, ...]:
        return tuple(one.month_words for one in self.months if not one.half_days)


def monitor_months(monitor: Monitor, user: User, *, now: datetime) -> list[MonitorMonths]:
    """What one monitor caught in the last two years, each pest by name, those caught first.

    One query; two more for an auditor, who is shown the months of the pass.
    """
    last = latest_month(monitor.site, user, now)
    if monitor.removed_on:
        last = min(last, first_of(monitor.removed_on))
    first = moved(last, 1 - TREND_MONTHS)
    counts = MonthCount.objects.filter(
        _months_open_to(user, monitor.site),
        series__monitor=monitor,
        month__range=(_number(first), _number(last)),
    )
    rows = counts.order_by("series__pest__name", "series__pest_id", "month").values(
        "month",
        "count",
        "half_days",
        "readings",
        "at_least",
        pest_id=F("series__pest_id"),
        pest_slug=F("series__pest__slug"),
        pest_name=F("series__pest__name"),
        pest_group=F("series__pest__group"),
    )
    seen: dict[PestNamed, dict[date, Seen]] = defaultdict(dict)
    for row in rows:
        pest = PestNamed(row["pest_id"], row["pest_slug"], row["pest_name"], row["pest_group"])
        month = _day(numbered(row["month"]))
        seen[pest][month] = replace(
            _unread(month),
            count=row["count"],
            half_days=row["half_days"],
            readings=row["readings"],
            at_least=row["at_least"],
            state=PlaceMonth.State.CALM,
            words="",
        )
    read = [month for months in seen.values() for month in months]
    if not read:
        return []
    end = last if last in read else max(max(read), moved(last, -1))
    found = [
        MonitorMonths(pest, _without_gaps(months, min(read), end)) for pest, months in seen.items()
    ]
    return sorted(found, key=lambda one: not any(month.count for month in one.months))


def _number(month: date) -> int:
    return month_number((month.year, month.month))


def _months_open_to(user: User, site: Site) -> Q:
    """Which numbered months a person may see: for an auditor those of the passes for the site.

    One query for an auditor, else none.
    """
    if user.role != Role.AUDITOR:
        return Q()
    passes = valid_pass_sites(user).filter(site=site)
    allowed = Q(pk__in=[])
    for begins, ends in passes.values_list("auditor_pass__period_from", "auditor_pass__period_to"):
        allowed |= Q(month__range=(_number(begins), _number(ends)))
    return allowed


# --- the company --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pointed:
    """A monitor to look at first: what it caught, and what was to be expected of it alone."""

    monitor: Monitor
    count: int
    expected: float


def judged_months() -> list[JudgedMonth]:
    """The months that were judged, latest first, of four years at most. One query."""
    return list(JudgedMonth.objects.order_by("-month")[:48])


def alarms_listed(
    alarms: QuerySet[Alarm],
    *,
    month: date | None = None,
    state: str = "",
    site: Site | None = None,
    pest: Pest | None = None,
) -> QuerySet[Alarm]:
    """Alarms as the office reads them: least likely by chance first. One query."""
    wanted: dict[str, Any] = {"month": month, "state": state, "site": site, "pest": pest}
    alarms = alarms.filter(**{name: value for name, value in wanted.items() if value})
    return alarms.select_related("site__client", "zone", "pest", "review").order_by("chance", "pk")


def pointed_at(alarms: Sequence[Alarm], user: User, *, most: int = 3) -> dict[UUID, list[Pointed]]:
    """Where to look first for each alarm: its monitors that caught more than was to be expected,
    the first few of them. One query."""
    named = {
        alarm.pk: [one for one in alarm.pointers if one["count"] > one["expected"]][:most]
        for alarm in alarms
    }
    ids = {UUID(str(one["monitor"])) for some in named.values() for one in some}
    monitors = monitors_visible_to(user).select_related("zone").in_bulk(ids) if ids else {}
    return {
        pk: [
            Pointed(monitors[monitor_id], one["count"], one["expected"])
            for one in some
            if (monitor_id := UUID(str(one["monitor"]))) in monitors
        ]
        for pk, some in named.items()
    }


# --- many sites at once -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SiteStanding:
    """One site in a line: pests by what is to be said of them, each named once, worst first.

    ``more``: more than usual somewhere in the last month that was read; ``calm``: neither rises
    nor falls, and as usual wherever it could be judged; ``unknown``: could be judged nowhere.
    ``alarmed``: places and pests with an alarm that nobody has explained.
    """

    more: tuple[str, ...] = ()
    rising: tuple[str, ...] = ()
    falling: tuple[str, ...] = ()
    calm: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    alarmed: int = 0

    @property
    def counted(self) -> bool:
        return bool(self.more or self.rising or self.falling or self.calm or self.unknown)


def standings_of(sites: Sequence[Site], user: User, *, now: datetime) -> dict[UUID, SiteStanding]:
    """How each of some sites stands, over all its zones. Two queries, however many sites.

    Counts are summed over zones; an alarm of the whole site counts as well as one of a zone. With
    less than two years nothing is said to rise or fall, as a line has no room for the sentence that
    it may be the season: the site's own page has.
    """
    since = moved(first_of(now.date()), -TREND_MONTHS)
    months = place_months_visible_to(user).filter(
        site__in=[site.pk for site in sites], month__gte=since
    )
    calm, alarm = PlaceMonth.State.CALM, PlaceMonth.State.ALARM
    in_zones = Q(zone__isnull=False)
    rows = (
        months.order_by()
        .values("site_id", "pest_id", "month", name=F("pest__name"))
        .annotate(
            caught=Sum("count", filter=in_zones),
            days=Sum("half_days", filter=in_zones),
            calm=Count("pk", filter=Q(state=calm)),
            alarm=Count("pk", filter=Q(state=alarm)),
        )
    )
    series: dict[UUID, dict[tuple[str, UUID], dict[date, Any]]] = defaultdict(
        lambda: defaultdict(dict)
    )
    for row in rows:
        series[row["site_id"]][row["name"], row["pest_id"]][row["month"]] = row
    opened = alarms_visible_to(user).filter(
        site__in=[site.pk for site in sites], state=Alarm.State.OPEN
    )
    places = opened.order_by().values_list("site_id", "zone_id", "pest_id").distinct()
    alarms = Counter(site_id for site_id, _, _ in places)
    return {site.pk: _standing(series.get(site.pk, {}), alarms.get(site.pk, 0)) for site in sites}


def _standing(series: Mapping[tuple[str, UUID], Mapping[date, Any]], alarmed: int) -> SiteStanding:
    found: dict[str, list[str]] = {
        "more": [],
        "rising": [],
        "falling": [],
        "calm": [],
        "unknown": [],
    }
    for (name, _), months in sorted(series.items(), key=lambda one: one[0][0]):
        read = [month for month, row in months.items() if row["days"]]
        if not read:
            found["unknown"].append(name)
            continue
        sums = {month: (row["caught"] or 0, row["days"] or 0) for month, row in months.items()}
        last = max(read)
        trend = trend_of(trend_rates(sums, last))
        way = way_of(trend)
        if months[last]["alarm"]:
            found["more"].append(name)
        elif trend.seasonal and way in found:
            found[way].append(name)
        else:
            found["calm" if months[last]["calm"] else "unknown"].append(name)
    told = {key: tuple(names) for key, names in found.items()}
    return SiteStanding(**told, alarmed=alarmed)
