"""What the monitors of a site amount to in a period, as the site file prints it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Max

from accounts.models import User
from compliance.models import Alarm, Breach, MonthCount, PlaceMonth, TrendReview
from compliance.queries.effects import effects_at
from compliance.services.trend_reviews import trouble_of
from compliance.sitefile import content
from compliance.trends.exposure import month_number
from compliance.trends.rates import PER
from sites.models import Monitor, Site

LOOK_FIRST = 3
"""Monitors of an alarm that the paper names."""


def trends_of(site: Site, first: date, last: date) -> content.Trends:
    """The months that the days from ``first`` to ``last`` touch, each whole. Six queries.

    Alarms and breaches that later readings took back are left out: they never were.
    """
    begins = first.replace(day=1)
    looked = _looked(site, begins, last)
    alarms = (
        Alarm.objects.filter(site=site, month__gte=begins, month__lte=last)
        .exclude(state=Alarm.State.GONE)
        .select_related("zone", "pest", "review")
        .order_by("month", "zone__walk_order", "zone__name", "pest__name", "pk")
    )
    breaches = (
        Breach.objects.filter(site=site, on__gte=begins, on__lte=last)
        .exclude(state=Breach.State.GONE)
        .select_related("threshold", "zone", "monitor", "pest", "action")
        .order_by("on", "zone__walk_order", "zone__name", "monitor__number", "pest__name", "pk")
    )
    reviews = TrendReview.objects.filter(
        site=site, quarter__gte=_quarter(first), quarter__lte=last
    ).order_by("quarter", "number", "pk")
    found = list(alarms)
    numbers = _numbers_of(found)
    return content.Trends(
        monitors=len({monitor for monitor, _ in looked}),
        trap_days=sum(half_days for half_days, _ in looked.values()) / 2,
        readings=sum(readings for _, readings in looked.values()),
        places=tuple(_places(site, begins, last)),
        alarms=tuple(_alarm(one, numbers) for one in found),
        breaches=tuple(_breach(one) for one in breaches),
        reviews=tuple(_review(one) for one in reviews),
    )


def effects_of(
    site: Site, first: date, last: date, *, by: User, now: datetime
) -> tuple[content.WorkEffect, ...]:
    """Whether the work of the period helped, as far as whoever asks may see it, oldest first.

    What is more than two years past ``now`` is not judged. Six queries at most.
    """
    found = [one for one in effects_at(site, by, now=now) if first <= one.on <= last]
    return tuple(
        content.WorkEffect(
            first_on=one.first_on,
            on=one.on,
            zone=one.zone_name,
            pest=one.pest.name if one.pest else "",
            what=tuple(part.what for part in one.pieces),
            state=one.state_words,
            words=one.words,
            notes=one.notes,
        )
        for one in reversed(found)
    )


def _quarter(day: date) -> date:
    return day.replace(month=(day.month - 1) // 3 * 3 + 1, day=1)


def _looked(site: Site, begins: date, last: date) -> Mapping[tuple[UUID, int], tuple[int, int]]:
    """Half trap-days and readings of each monitor and month: one that watches for three pests
    stood there once. One query."""
    rows = (
        MonthCount.objects.filter(
            series__site=site,
            month__gte=month_number((begins.year, begins.month)),
            month__lte=month_number((last.year, last.month)),
        )
        .values_list("series__monitor_id", "month")
        .annotate(half_days=Max("half_days"), readings=Max("readings"))
    )
    return {(monitor, month): (half, read) for monitor, month, half, read in rows}


def _places(site: Site, begins: date, last: date) -> Iterable[content.PlaceTrend]:
    """Zones by the walk, each with its pests by name, and the whole site first. One query."""
    rows = (
        PlaceMonth.objects.filter(site=site, month__gte=begins, month__lte=last)
        .select_related("zone", "pest")
        .order_by("month", "pk")
    )
    of_place: dict[tuple[Any, ...], list[PlaceMonth]] = defaultdict(list)
    for row in rows:
        place = (
            (1, row.zone.walk_order, row.zone.name, str(row.zone_id))
            if row.zone
            else (0, 0, "", "")
        )
        of_place[(*place, row.pest.name, str(row.pest_id))].append(row)
    for key in sorted(of_place):
        months = of_place[key]
        zone = months[0].zone
        yield content.PlaceTrend(
            zone=zone.name if zone else "",
            pest=months[0].pest.name,
            months=tuple(_month(row) for row in months),
        )


def _month(row: PlaceMonth) -> content.TrendMonth:
    days = row.trap_days
    return content.TrendMonth(
        month=row.month,
        count=row.count,
        trap_days=days,
        state=row.state,
        at_least=row.at_least,
        centre=row.centre,
        limit=PER * row.alarm_at / days if row.alarm_at is not None and days else None,
        allows=row.allows,
    )


def _numbers_of(alarms: Sequence[Alarm]) -> Mapping[str, int]:
    """The numbers of the monitors that alarms point at. One query."""
    named = {
        str(pointer["monitor"])
        for alarm in alarms
        for pointer in alarm.pointers[:LOOK_FIRST]
        if "monitor" in pointer
    }
    found = Monitor.objects.filter(pk__in=named).values_list("pk", "number")
    return {str(pk): number for pk, number in found}


def _alarm(one: Alarm, numbers: Mapping[str, int]) -> content.TrendAlarm:
    return content.TrendAlarm(
        month=one.month,
        zone=one.zone.name if one.zone else "",
        pest=one.pest.name,
        state=one.get_state_display(),
        is_open=one.state == Alarm.State.OPEN,
        words=one.words,
        look_first=tuple(
            f"Monitor {numbers[str(pointer['monitor'])]}: {pointer['count']}"
            for pointer in one.pointers[:LOOK_FIRST]
            if str(pointer.get("monitor")) in numbers
        ),
        explanation=one.explanation,
    )


def _breach(one: Breach) -> content.Breach:
    return content.Breach(
        on=one.on,
        threshold=one.threshold.name,
        zone=one.zone.name,
        pest=one.pest.name,
        state=one.get_state_display(),
        is_open=one.state == Breach.State.OPEN,
        words=one.words,
        monitor=one.monitor.number if one.monitor else None,
        answer=one.answer,
        action_number=one.action.number if one.action else None,
    )


def _review(one: TrendReview) -> content.TrendReview:
    again = f", review {one.number}" if one.number > 1 else ""
    return content.TrendReview(
        title=f"{one.quarter.year}, quarter {(one.quarter.month + 2) // 3}{again}",
        seen=one.seen,
        cause=one.cause,
        plan=one.plan,
        name=one.signed_name,
        role=one.signed_role,
        competence=one.competence,
        at=one.signed_at,
        zone=one.zone,
        method=one.method.replace("_", " "),
        content_hash=one.content_hash,
        trouble=trouble_of(one),
    )
