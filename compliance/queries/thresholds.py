"""What has reached a threshold by now, worked out from readings; and thresholds for lists."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import chain
from typing import cast
from uuid import UUID

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from compliance.models import ActionThreshold, Breach, MonthCount
from compliance.trends.exposure import (
    NOT_SEEN,
    STOPS_WHEN_SPRUNG,
    Condition,
    month_number,
    month_of,
    numbered,
    share_of_days,
)
from compliance.trends.rates import PER
from compliance.trends.thresholds import Caught, Per, Threshold, breaches
from sites.models import Site
from visits.models import Pest, Reading, ReadingCount, Visit

# How far back readings are looked at, in days: what is older is history. Ours; no source.
LOOK_BACK_DAYS = 62

Key = tuple[UUID, UUID, UUID, date]
"""Threshold, monitor (or the zone, of its month), pest, day: what a breach is one of."""

_READING = ActionThreshold.Per.READING
_MONTH = ActionThreshold.Per.ZONE_MONTH


@dataclass(frozen=True, slots=True)
class Reached:
    """Breaches as the figures stand now, not saved; and from which day on all were looked at.

    Of older days only those under open breaches were, so that nothing older may become a new one.
    """

    found: dict[Key, Breach]
    looked_from: date

    def is_new_enough(self, one: Breach) -> bool:
        """Whether it may become a breach that was not there before."""
        from_day = self.looked_from if one.monitor_id else self.looked_from.replace(day=1)
        return one.on >= from_day

    def standing(self) -> QuerySet[Breach]:
        """The saved breaches that these figures confirm, correct or take back."""
        first = self.looked_from.replace(day=1)
        return Breach.objects.filter(Q(on__gte=first) | Q(state=Breach.State.OPEN))

    def takes_back(self, one: Breach) -> bool:
        """Whether an open breach has nothing left to stand upon."""
        was_looked_at = one.state == Breach.State.OPEN
        return was_looked_at and key_of(one) not in self.found


@dataclass(frozen=True, slots=True)
class _Known:
    """Groups of pests and kinds of zones, by identifier, of those that were caught somewhere."""

    groups: dict[str, str] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)


def key_of(one: Breach) -> Key:
    """What the database holds a breach to be one of."""
    return (one.threshold_id, one.monitor_id or one.zone_id, one.pest_id, one.on)


def reached_by(today: date) -> Reached:
    """Everything that readings have reached: of the last 62 days, or under an open breach.

    Readings without a visit count, and those of closed visits. A month counts once it is over, and
    as far as its site has been counted. Five queries at most, whatever the number of readings.
    """
    looked_from = today - timedelta(days=LOOK_BACK_DAYS)
    rows = {str(row.pk): row for row in _asked_of(looked_from)}
    known = _Known()
    caught = [
        *_readings([row for row in rows.values() if row.per == _READING], looked_from, known),
        *_months([row for row in rows.values() if row.per == _MONTH], looked_from, today, known),
    ]
    rules = tuple(_rule_of(row) for row in rows.values())
    found: dict[Key, Breach] = {}
    for breach in breaches(caught, rules, group_of_pest=known.groups, kind_of_zone=known.kinds):
        one = _breach_of(rows[breach.threshold.key], breach.caught, breach.words)
        same = found.get(key_of(one))
        # Two readings of one monitor on one day are one breach, with the larger count.
        if same is None or same.count < one.count:
            found[key_of(one)] = one
    return Reached(found, looked_from)


def _asked_of(looked_from: date) -> QuerySet[ActionThreshold]:
    """Thresholds that held on one of those days, or that have an open breach."""
    open_breach = Breach.objects.filter(threshold=OuterRef("pk"), state=Breach.State.OPEN)
    return (
        ActionThreshold.objects.filter(
            Q(ended_on=None) | Q(ended_on__gt=looked_from) | Exists(open_breach)
        )
        .select_related("contract")
        .order_by("begins_on", "pk")
    )


def _rule_of(row: ActionThreshold) -> Threshold:
    """The row as the pure rules take it; names are identifiers."""
    return Threshold(
        name=row.name,
        per=cast(Per, row.per),
        least=float(row.least),
        pests=_names(row.pest_id),
        groups=_names(row.group),
        sites=_names(row.site_id),
        zones=_names(row.zone_id),
        zone_kinds=frozenset(row.zone_kinds),
        agreed_in=f"contract {row.contract.number}" if row.contract else "",
        begins_on=row.begins_on,
        ended_on=row.ended_on,
        key=str(row.pk),
    )


def _names(name: UUID | str | None) -> frozenset[str]:
    return frozenset({str(name)} if name else ())


def _breach_of(row: ActionThreshold, caught: Caught, words: str) -> Breach:
    return Breach(
        threshold=row,
        site_id=UUID(caught.site),
        zone_id=UUID(caught.zone),
        monitor_id=UUID(caught.monitor) if caught.monitor else None,
        pest_id=UUID(caught.pest),
        on=caught.on,
        count=caught.count,
        half_days=round(2 * caught.exposure),
        at_least=caught.at_least,
        words=words,
    )


def _pests(rows: Sequence[ActionThreshold], path: str) -> Q:
    """The pests that at least one of the thresholds is about, however ``path`` leads to them."""
    if any(row.pest_id is None and not row.group for row in rows):
        return Q()
    pests = {row.pest_id for row in rows if row.pest_id}
    groups = {row.group for row in rows if row.group}
    return Q(**{f"{path}__in": pests}) | Q(**{f"{path}__group__in": groups})


def _readings(
    rows: Sequence[ActionThreshold], looked_from: date, known: _Known
) -> Iterator[Caught]:
    """Single counts that the lowest of the thresholds could be reached by. Two queries.

    Asked for in one, with "or" between them, databases read every count there ever was.
    """
    if not rows:
        return
    counted = (
        ReadingCount.objects.filter(
            _pests(rows, "pest"),
            Q(reading__visit=None) | Q(reading__visit__state=Visit.State.CLOSED),
            count__gte=min(row.least for row in rows),
        )
        .exclude(reading__condition__in=NOT_SEEN)
        .order_by("reading__read_on", "pk")
        .values_list(
            "reading__monitor__site",
            "reading__monitor__zone",
            "reading__monitor__zone__kind",
            "reading__monitor",
            "reading__monitor__kind",
            "pest",
            "pest__group",
            "reading__read_on",
            "reading__stood_days",
            "reading__condition",
            "count",
        )
    )
    under_breach = Reading.objects.filter(
        monitor__breaches__state=Breach.State.OPEN,
        monitor__breaches__on=F("read_on"),
        read_on__lt=looked_from,
    )
    older = counted.filter(reading__in=under_breach)
    recent = counted.filter(reading__read_on__gte=looked_from)
    for site, zone, zone_kind, monitor, kind, pest, group, on, stood, condition, count in chain(
        older, recent
    ):
        known.kinds[str(zone)], known.groups[str(pest)] = zone_kind, group
        share = share_of_days(cast(Condition, condition), sprung=kind in STOPS_WHEN_SPRUNG)
        yield Caught(
            site=str(site),
            zone=str(zone),
            monitor=str(monitor),
            pest=str(pest),
            on=on,
            count=count,
            exposure=(stood or 0) * share,
            at_least=condition == Reading.Condition.FULL,
        )


def _months(
    rows: Sequence[ActionThreshold], looked_from: date, today: date, known: _Known
) -> Iterator[Caught]:
    """Months of zones whose rate reaches the lowest of the thresholds, or nearly. One query."""
    if not rows:
        return
    under_breach = _months_under_breach(rows)
    lowest = float(min(row.least for row in rows)) / 2 / PER
    counted = (
        MonthCount.objects.filter(
            _pests(rows, "series__pest"),
            Q(month__gte=_number(looked_from)) | Q(month__in=under_breach),
            month__lt=_number(today),
        )
        .order_by()
        .values(
            "series__site",
            "series__zone",
            "series__zone__kind",
            "series__pest",
            "series__pest__group",
            "month",
        )
        .annotate(
            caught=Sum("count"),
            half=Sum("half_days"),
            full=Count("pk", filter=Q(at_least=True)),
        )
        # A hair below, so that no rounding here is stricter than the rule itself.
        .filter(caught__gte=F("half") * lowest * 0.999)
        .order_by("month", "series__zone", "series__pest")
        .values_list(
            "series__site",
            "series__zone",
            "series__zone__kind",
            "series__pest",
            "series__pest__group",
            "month",
            "caught",
            "half",
            "full",
        )
    )
    for site, zone, zone_kind, pest, group, month, caught, half, full in counted:
        known.kinds[str(zone)], known.groups[str(pest)] = zone_kind, group
        yield Caught(
            site=str(site),
            zone=str(zone),
            monitor="",
            pest=str(pest),
            on=date(*numbered(month), 1),
            count=caught,
            exposure=half / 2,
            at_least=bool(full),
        )


def _months_under_breach(rows: Sequence[ActionThreshold]) -> set[int]:
    days = (
        Breach.objects.filter(
            state=Breach.State.OPEN, monitor=None, threshold__in=[row.pk for row in rows]
        )
        .order_by()
        .values_list("on", flat=True)
        .distinct()
    )
    return {_number(day) for day in days}


def _number(day: date) -> int:
    return month_number(month_of(day))


# --- for lists ----------------------------------------------------------------------------------


def thresholds_listed(
    thresholds: QuerySet[ActionThreshold],
    caught: QuerySet[Breach],
    *,
    where: str = "",
    state: str = "",
) -> QuerySet[ActionThreshold]:
    """Thresholds for a list, those that hold first, with ``reached`` and ``waiting``: how many of
    the breaches ``caught`` each has, without those that are gone, and how many of them are open.

    ``where``: "company" or "sites"; ``state``: "ended", "all", else what is not ended.
    """
    if where:
        thresholds = thresholds.filter(site__isnull=where == "company")
    if state != "all":
        thresholds = thresholds.filter(ended_on__isnull=state != "ended")
    # Ordered by the group alone, so that the count is that of the threshold.
    of_it = caught.filter(threshold=OuterRef("pk")).exclude(state=Breach.State.GONE).order_by()
    counted = of_it.values("threshold").annotate(number=Count("pk", distinct=True))
    waiting = counted.filter(state=Breach.State.OPEN)
    return (
        thresholds.annotate(
            reached=Coalesce(Subquery(counted.values("number")), 0),
            waiting=Coalesce(Subquery(waiting.values("number")), 0),
        )
        .select_related("site__client", "zone", "pest", "contract", "set_by")
        .order_by(
            F("ended_on").desc(nulls_first=True), F("site").asc(nulls_first=True), "name", "pk"
        )
    )


def breaches_listed(
    breaches: QuerySet[Breach],
    *,
    state: str = "",
    site: Site | None = None,
    pest: Pest | None = None,
) -> QuerySet[Breach]:
    """Breaches for a list, the latest first; of whatever state unless one is named."""
    if state:
        breaches = breaches.filter(state=state)
    if site:
        breaches = breaches.filter(site=site)
    if pest:
        breaches = breaches.filter(pest=pest)
    return breaches.select_related(
        "site__client", "zone", "monitor", "pest", "threshold", "action", "answered_by"
    ).order_by("-on", "site", "zone", "pest", "pk")


def open_beside(breach: Breach) -> int:
    """How many other open breaches of this pest there are in this zone. One query."""
    return (
        Breach.objects.filter(zone=breach.zone_id, pest=breach.pest_id, state=Breach.State.OPEN)
        .exclude(pk=breach.pk)
        .count()
    )
