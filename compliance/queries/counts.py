"""The counts of the whole company as arrays, as ``compliance.trends`` wants them.

One read of integers from ``MonthCount`` and one of the series; no object is made for a count.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from uuid import UUID

import numpy as np
from django.db import connection

from compliance.models import Alarm
from compliance.trends.exposure import Columns, Ints, Month, columns_from, month_number, month_of
from compliance.trends.judge import SetAside
from sites.models import Zone

_MONTHS = """
    SELECT series_id, month, count, half_days, CASE WHEN at_least THEN 1 ELSE 0 END
    FROM compliance_monthcount WHERE month BETWEEN %s AND %s
"""
_SERIES = """
    SELECT one.id, one.monitor_id, one.zone_id, one.site_id, pest.slug
    FROM compliance_countseries one JOIN visits_pest pest ON pest.id = one.pest_id ORDER BY one.id
"""
# Past the models, which would put an object around each of a hundred thousand numbers.


def company_columns(first: Month, last: Month) -> Columns:
    """What every monitor caught from one month to another, both included. Two queries.

    Monitors, zones and sites are named by their keys, pests by their slugs. Each count is that of a
    whole month of a monitor, with its trap-days.
    """
    months = _asked(_MONTHS, month_number(first), month_number(last))
    series = _asked(_SERIES)
    counted = np.array(months, dtype=np.int64).reshape(len(months), 5)
    keys = np.array([one[0] for one in series], dtype=np.int64)
    # A series that was made between the two queries has no names yet: the next turn has them.
    row = np.searchsorted(keys, counted[:, 0])
    known = row < len(keys)
    known[known] = keys[row[known]] == counted[known, 0]
    counted, row = counted[known], row[known]
    monitors, monitor = _numbered([one[1] for one in series], _key)
    zones, zone = _numbered([one[2] for one in series], _key)
    sites, site = _numbered([one[3] for one in series], _key)
    pests, pest = _numbered([one[4] for one in series], str)
    columns = columns_from(
        monitor=monitor[row],
        zone=zone[row],
        site=site[row],
        pest=pest[row],
        month=counted[:, 1],
        count=counted[:, 2],
        exposure=counted[:, 3] / 2,
        censored=counted[:, 4] > 0,
        first=first,
        last=last,
    )
    return replace(
        columns,
        monitors=tuple(monitors[int(one)] for one in columns.monitors),
        zones=tuple(zones[int(one)] for one in columns.zones),
        sites=tuple(sites[int(one)] for one in columns.sites),
        pests=tuple(pests[int(one)] for one in columns.pests),
    )


def kind_of_zone() -> dict[str, str]:
    """What kind each zone is of, by its key. One query."""
    return {str(pk): kind for pk, kind in Zone.objects.values_list("pk", "kind")}


def set_aside() -> list[SetAside]:
    """Months that a signed review called an outbreak, by zone (or site) and pest. One query."""
    aside = Alarm.objects.filter(set_aside=True).order_by("pk")
    return [
        (str(zone_id or site_id), slug, month_of(month))
        for zone_id, site_id, slug, month in aside.values_list(
            "zone_id", "site_id", "pest__slug", "month"
        )
    ]


def _asked(sql: str, *facts: int) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, facts)
        return list(cursor.fetchall())


def _key(found: object) -> str:
    """A key as its record writes it, from what a database gives: a UUID, or its 32 digits."""
    return str(UUID(str(found)))


def _numbered(found: list[Any], name: Callable[[Any], str]) -> tuple[list[str], Ints]:
    """The different names, sorted, and for each of ``found`` the place of its name among them."""
    name_of = {one: name(one) for one in set(found)}
    names = sorted(name_of.values())
    place = {text: number for number, text in enumerate(names)}
    number_of = {one: place[text] for one, text in name_of.items()}
    return names, np.array([number_of[one] for one in found], dtype=np.int64)
