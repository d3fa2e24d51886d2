"""The whole company's alarms of a month: 1,500 monitors, each read monthly for two years.

Fills a throw-away database with readings, sums them up with the services, and measures from the
database to the alarms against the least that could be done: one raw SQL read of the same rows and
one pass of numpy over them, with limits of three roots of the mean, as a script would have it. Run
by ``bin/bench trends``; figures of a machine are ratios in the end.

The readings are written straight into the tables, as no service could write them in an evening.
"""

import argparse
import os
import time
from datetime import date
from functools import partial
from typing import Any

import django
import numpy as np

SITES, ZONES, MONITORS, MONTHS = 50, 6, 5, 24
LAST = (2026, 10)
PESTS = ("german-cockroach", "garden-ant", "indian-meal-moth")
USUAL = 0.3
"""Individuals of a pest in a trap and month; each trap clumps with k = 1."""

PLANTED = 6
"""Zones where ten times as many came in the last three months."""

BATCH = 2_000


def fill() -> None:
    """Write everything, in one transaction. The same figures make the same database."""
    from django.db import transaction

    from accounts.models import Client, Company
    from sites.models import Monitor, Site, Zone
    from visits.models import Pest, Reading, ReadingCount

    chance = np.random.default_rng(4)
    pests = [Pest.objects.get(slug=slug) for slug in PESTS]
    with transaction.atomic():
        if not Company.objects.exists():
            Company.objects.create(name="Bench Site Hygiene", address="1 Bench Row, Port Marlow")
        client = Client.objects.create(name="Client 000", reference="BENCH-000")
        sites = [
            Site(
                client=client,
                reference=f"BENCH-{n:04}",
                name=f"Premises {n:04}",
                address=f"{n} Bench Street, Port Marlow",
            )
            for n in range(SITES)
        ]
        Site.objects.bulk_create(sites)
        zones = [
            Zone(site=site, name=f"Kitchen {n}", kind="kitchen", walk_order=n)
            for site in sites
            for n in range(ZONES)
        ]
        Zone.objects.bulk_create(zones, BATCH)
        first_day = _day(-MONTHS)
        monitors = [
            Monitor(
                site=zone.site,
                zone=zone,
                number=zone.walk_order * MONITORS + n + 1,
                kind=Monitor.Kind.STICKY,
                placed_on=first_day,
            )
            for zone in zones
            for n in range(MONITORS)
        ]
        Monitor.objects.bulk_create(monitors, BATCH)
        days = [_day(month - MONTHS + 1) for month in range(MONTHS)]
        readings = [
            Reading(
                monitor=monitor,
                source=Reading.Source.IMPORT,
                read_on=day,
                stood_days=(day - (days[month - 1] if month else first_day)).days,
            )
            for monitor in monitors
            for month, day in enumerate(days)
        ]
        Reading.objects.bulk_create(readings, BATCH)
        mean = np.full((len(zones), MONITORS, MONTHS, len(PESTS)), USUAL)
        mean[:: len(zones) // PLANTED, :, -3:, 0] *= 10
        caught = chance.poisson(mean * chance.gamma(1.0, 1.0, mean.shape)).reshape(
            len(readings), -1
        )
        ReadingCount.objects.bulk_create(
            [
                ReadingCount(reading=readings[row], pest=pests[pest], count=int(caught[row, pest]))
                for row, pest in np.argwhere(caught)
            ],
            BATCH,
        )


def _day(back: int) -> date:
    """The twentieth of a month, so many after the last one, or before it below 0."""
    number = LAST[0] * 12 + LAST[1] - 1 + back
    return date(number // 12, number % 12 + 1, 20)


def measure() -> list[str]:
    """The lines of the report."""
    from compliance.models import MonthCount
    from compliance.services.counting import count_sites, fingerprints
    from config.bench import seconds

    began = time.perf_counter()
    count_sites(everything=True)
    first = time.perf_counter() - began
    again = seconds(partial(count_sites, everything=True), rounds=1)
    look = seconds(fingerprints, rounds=3)
    ours = seconds(alarms, rounds=7)
    floor = seconds(bare, rounds=7)
    judged = alarms()
    return [
        f"{SITES * ZONES * MONITORS:,} monitors, {MONTHS} months, {MonthCount.objects.count():,} "
        f"sums; {judged.looked_at:,} places and pests looked at, {len(judged.alarms)} alarms",
        "",
        f"all alarms, from SQL     {ours:8.3f} s",
        f"SQL and numpy, bare      {floor:8.3f} s",
        f"ratio                    {ours / floor:8.2f} ×   (bar: 3)",
        "",
        f"all readings summed up   {first:8.2f} s, again without a change {again:.2f} s",
        f"what has changed, asked  {look:8.3f} s",
    ]


def alarms() -> Any:
    """What the sweep does for one month, from the database to the alarms."""
    from compliance.queries.counts import company_columns, kind_of_zone, set_aside
    from compliance.trends.exposure import month_number, numbered
    from compliance.trends.judge import judge

    columns = company_columns(numbered(month_number(LAST) - MONTHS + 1), LAST)
    judged = judge(columns, LAST, kind_of_zone=kind_of_zone(), set_aside=set_aside())
    if not judged.alarms:
        raise SystemExit("no alarm, so that there is nothing to measure")
    return judged


def bare() -> int:
    """One read by the driver alone and one pass of numpy: how many zones are beyond a limit."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT id, zone_id, pest_id FROM compliance_countseries ORDER BY id")
        series, zone, pest = zip(*cursor.fetchall(), strict=True)
        cursor.execute("SELECT series_id, month, count, half_days FROM compliance_monthcount")
        of_series, month, count, half_days = np.array(cursor.fetchall()).T
    row = np.searchsorted(np.array(series), of_series)
    zones, zone_of = np.unique(zone, return_inverse=True)
    pests, pest_of = np.unique(pest, return_inverse=True)
    at = month - month.min()
    cell = (zone_of * len(pests) + pest_of)[row] * (at.max() + 1) + at
    size = len(zones) * len(pests) * (at.max() + 1)
    counts = np.bincount(cell, count, size).reshape(-1, at.max() + 1)
    days = np.bincount(cell, half_days, size).reshape(counts.shape)
    expected = days[:, -1] * counts[:, :-1].sum(axis=1) / days[:, :-1].sum(axis=1)
    return int((counts[:, -1] > expected + 3 * np.sqrt(expected)).sum())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("step", choices=("fill", "measure"))
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    if asked.step == "fill":
        fill()
    else:
        print("\n".join(measure()))


if __name__ == "__main__":
    main()
