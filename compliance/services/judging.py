"""Every month of the whole company judged at once, and alarms kept in step with what comes out.

What is judged is what ``counting`` summed up. A month that was judged once stays as it was until
counts change that it, or a month before it, stands on. Docs: docs/algorithms/trends.md.
"""

from collections import Counter
from dataclasses import asdict, dataclass
from datetime import date, datetime
from math import isfinite
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from accounts.models import Company
from accounts.trail import record
from compliance.models import Alarm, JudgedMonth, PlaceMonth, SiteCounted
from compliance.queries.counts import company_columns, kind_of_zone, set_aside
from compliance.trends.charts import alarm_counts, centres
from compliance.trends.exposure import Columns, month_number, month_of, numbered
from compliance.trends.judge import STATES, Finding, Judged, judge
from compliance.trends.settings import CHOSEN
from sites.models import Site
from visits.models import Pest

MONTHS_BACK = 24
"""How far back a changed count is followed."""

POINTERS = 5
"""How many monitors an alarm names to look at first."""

_MOST = 2**31 - 1
_BATCH = 500

PlaceKey = tuple[UUID, UUID | None, UUID]
"""A site, a zone or None for the whole site, and a pest."""


@dataclass(frozen=True, slots=True)
class _Stand:
    """What was counted and not yet judged, so that a run can tell whether it is still so."""

    counted: frozenset[tuple[UUID, str, int | None]]

    @property
    def changed_from(self) -> int | None:
        return min((one for _, _, one in self.counted if one is not None), default=None)


def judge_months(*, now: datetime | None = None) -> int:
    """Judge the company's months whose counts have changed, and say how many months that were.

    From the earliest month that changed, at most ``MONTHS_BACK`` ago, to the present one; at least
    the present and the one before. The present month is that of the sites, where they share one
    time zone, and of the company otherwise. Also where nothing changed: a month that has just
    begun, and one or two after a review set an outbreak aside.

    Safe twice, late, or never. Each month is one transaction. Whoever finds, before writing one,
    that counts have changed meanwhile stops: the next turn judges them. Queries grow with the
    months that are judged, not with sites or places.
    """
    now = now or timezone.now()
    stand = _stand()
    present = month_number(month_of(_today(now)))
    months = _wanted(stand, present)
    if not months:
        return 0
    first = months.start - CHOSEN.months + 1
    columns = company_columns(numbered(first), numbered(present))
    if not len(columns) and not JudgedMonth.objects.exists():
        return 0
    kinds, aside = kind_of_zone(), set_aside()
    names = _Names.of(columns)
    done = 0
    try:
        for month in months:
            judged = judge(columns, numbered(month), kind_of_zone=kinds, set_aside=aside)
            _write(_judged(judged, names, now), stand)
            done += 1
        _settle(stand)
    except _Moved:
        pass
    return done


class _Moved(Exception):
    """Counts have changed since they were read."""


@transaction.atomic
def _settle(stand: _Stand) -> None:
    """Say of all sites that they are judged. Raises ``_Moved``."""
    list(SiteCounted.objects.order_by("pk").select_for_update().values_list("pk"))
    if _stand() != stand:
        raise _Moved
    SiteCounted.objects.filter(changed_from__isnull=False).update(changed_from=None)


def _stand() -> _Stand:
    rows = SiteCounted.objects.values_list("site_id", "fingerprint", "changed_from")
    return _Stand(frozenset(rows))


def _today(now: datetime) -> date:
    """The day it is for the company: by the one zone of its sites, else by its own. Two queries."""
    zones = list(
        Site.objects.filter(closed_on__isnull=True)
        .values_list("time_zone", flat=True)
        .distinct()[:2]
    )
    company = Company.objects.first() or Company()
    return timezone.localdate(now, ZoneInfo(zones[0] if len(zones) == 1 else company.time_zone))


def _wanted(stand: _Stand, present: int) -> range:
    """Which months are to be judged. Two queries at most."""
    if not stand.counted:
        return range(0)
    latest = JudgedMonth.objects.filter(month__lte=_day(present)).order_by("-month").first()
    # Months that nobody was there to judge are made up for, read or not.
    missed = month_number(month_of(latest.month)) + 1 if latest else present
    if stand.changed_from is not None:
        start = min(stand.changed_from, missed, present - 1)
    elif latest is None or missed <= present:
        start = missed
    elif Alarm.objects.filter(set_aside=True, review__signed_at__gt=latest.judged_at).exists():
        start = present - 1
    else:
        return range(0)
    return range(max(start, present - MONTHS_BACK), present + 1)


@dataclass(frozen=True, slots=True)
class _Names:
    """From the names in the columns to keys of records."""

    zones: dict[str, UUID]
    sites: dict[str, UUID]
    site_of_zone: dict[str, UUID]
    pests: dict[str, UUID]

    @classmethod
    def of(cls, columns: Columns) -> "_Names":
        """One query."""
        pests = Pest.counted.filter(slug__in=columns.pests).values_list("slug", "pk")
        sites = {name: UUID(name) for name in columns.sites}
        return cls(
            zones={name: UUID(name) for name in columns.zones},
            sites=sites,
            site_of_zone={
                zone: sites[columns.sites[site]]
                for zone, site in zip(columns.zones, columns.site_of_zone.tolist(), strict=True)
            },
            pests=dict(pests),
        )

    def key(self, finding: Finding) -> PlaceKey:
        pest = self.pests[finding.pest]
        if finding.level == "zone":
            return self.site_of_zone[finding.place], self.zones[finding.place], pest
        return self.sites[finding.place], None, pest


@dataclass(frozen=True, slots=True)
class _Month:
    """One judged month as it is to be written."""

    month: date
    facts: dict[str, Any]
    places: list[PlaceMonth]
    alarms: dict[PlaceKey, tuple[Finding, list[dict[str, Any]]]]


def _judged(judged: Judged, names: _Names, now: datetime) -> _Month:
    """Before the transaction, as it takes longer than writing it."""
    month = date(*judged.series.asked, 1)
    alarms = judged.state == STATES.index("alarm")
    findings = judged.findings
    limits, usual = alarm_counts(judged).tolist(), centres(judged).tolist()
    return _Month(
        month=month,
        facts={
            "looked_at": judged.looked_at,
            "could_alarm": judged.could_alarm,
            "alarms": int(alarms.sum()),
            "judged_at": now,
        },
        places=[
            _place_month(finding, names.key(finding), month, judged, row, limits[row], usual[row])
            for row, finding in enumerate(findings)
        ],
        alarms={
            names.key(findings[row]): (findings[row], _pointers(judged, row))
            for row in alarms.nonzero()[0].tolist()
        },
    )


@transaction.atomic
def _write(judged: _Month, stand: _Stand) -> None:
    """Put one judged month in place of what stood there. Raises ``_Moved``.

    Ten queries or so, and one for each 500 places.
    """
    month = judged.month
    JudgedMonth.objects.get_or_create(month=month, defaults=judged.facts)
    # Two runs write a month one after the other; the second looks again whether it still may.
    one = JudgedMonth.objects.select_for_update().get(month=month)
    if _stand() != stand:
        raise _Moved
    for name, value in judged.facts.items():
        setattr(one, name, value)
    one.save(update_fields=list(judged.facts))
    PlaceMonth.objects.filter(month=month).delete()
    PlaceMonth.objects.bulk_create(judged.places, batch_size=_BATCH)
    _keep_alarms(month, judged.alarms, judged.facts["judged_at"])


def _place_month(
    finding: Finding,
    key: PlaceKey,
    month: date,
    judged: Judged,
    row: int,
    limit: int,
    usual: float,
) -> PlaceMonth:
    site_id, zone_id, pest_id = key
    return PlaceMonth(
        site_id=site_id,
        zone_id=zone_id,
        pest_id=pest_id,
        month=month,
        count=finding.count,
        half_days=round(2 * finding.exposure),
        readings=int(judged.series.readings[row, -1]),
        at_least=finding.at_least,
        state=finding.state,
        centre=_finite(usual),
        alarm_at=limit if 0 <= limit <= _MOST else None,
        allows=_finite(finding.allows),
        k=_finite(finding.k),
        chance=finding.chance,
        adjusted=finding.adjusted,
        compared=asdict(finding.comparison) if finding.comparison else None,
        words=finding.words[:500],
    )


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None


def _pointers(judged: Judged, row: int) -> list[dict[str, Any]]:
    return [asdict(one) for one in judged.pointers(row)[:POINTERS]]


def _keep_alarms(
    month: date, found: dict[PlaceKey, tuple[Finding, list[dict[str, Any]]]], now: datetime
) -> None:
    """Raise the alarms of a month that are new, and take back those that are none any more.

    One that comes again is the old one, open again. What a review explained is left as it was.
    Two queries where nothing differs, otherwise a handful.
    """
    alarms = Alarm.objects.select_for_update().filter(month=month).order_by("pk")
    standing = {(one.site_id, one.zone_id, one.pest_id): one for one in alarms}
    new, changed = [], []
    told: Counter[str] = Counter()
    for key, (finding, pointers) in found.items():
        alarm = standing.get(key) or Alarm(
            site_id=key[0], zone_id=key[1], pest_id=key[2], month=month, raised_at=now
        )
        if alarm.state == Alarm.State.EXPLAINED:
            continue
        if alarm._state.adding:
            new.append(alarm)
        elif alarm.state == Alarm.State.GONE:
            told["raised_again"] += 1
        alarm.state, alarm.gone_at = Alarm.State.OPEN, None
        alarm.words, alarm.pointers = finding.words[:500], pointers
        alarm.chance = finding.chance or 0.0
        if not alarm._state.adding:
            changed.append(alarm)
    for key, alarm in standing.items():
        if alarm.state == Alarm.State.OPEN and key not in found:
            alarm.state, alarm.gone_at = Alarm.State.GONE, now
            changed.append(alarm)
            told["gone"] += 1
    Alarm.objects.bulk_create(new, batch_size=_BATCH)
    Alarm.objects.bulk_update(
        changed, ["state", "gone_at", "words", "pointers", "chance"], batch_size=_BATCH
    )
    told["raised"] = len(new)
    if any(told.values()):
        company = Company.objects.first() or Company(name="Kickplate")
        record(
            None,
            "alarms.kept",
            company,
            month=month,
            raised=told["raised"],
            raised_again=told["raised_again"],
            gone=told["gone"],
        )


def _day(month: int) -> date:
    return date(*numbered(month), 1)
