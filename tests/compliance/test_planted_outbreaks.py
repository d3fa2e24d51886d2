"""From a spreadsheet, or a trap's own reports, to alarms: planted rises are found where and when
they were planted, and where nothing was planted hardly any alarm comes.

Series are simulated with a fixed seed: each trap's month has a k of its own. The promise is that of
docs/algorithms/trends.md: at most one place in 200 a month alarms where nothing has changed.
"""

import csv
from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import time_machine

from compliance.models import Alarm, PlaceMonth
from compliance.services.counting import count_sites
from compliance.services.judging import judge_months
from sites.models import Monitor, Zone
from tests.builders.accounts import make_office
from tests.builders.compliance import make_counts
from tests.builders.sites import make_monitor, make_site, make_zone
from visits.services.trap_senders import add_trap_sender

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
LAST = date(2026, 11, 20)
MONTHS = 30
RISE_MONTHS = 3
PEST = "german-cockroach"
DATA = Path(__file__).parents[1] / "outside/data"


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


Draw = Callable[[np.random.Generator, np.ndarray], np.ndarray]
"""Counts of traps and months, of the means that are asked for."""


def clumped(k: float) -> Draw:
    return lambda chance, mean: chance.poisson(mean * chance.gamma(k, 1 / k, mean.shape))


def drawn_from(counts: list[int]) -> Draw:
    """Each month of a trap is one of the counts that people once counted, times the rise."""

    def draw(chance: np.random.Generator, mean: np.ndarray) -> np.ndarray:
        return chance.choice(counts, mean.shape) * np.rint(mean / mean.min()).astype(int)

    return draw


def published(name: str, field: str, times: str = "", **where: str) -> list[int]:
    """One column of a published table, each row as often as the table says."""
    with (DATA / name).open() as lines:
        rows = [row for row in csv.DictReader(lines) if where.items() <= row.items()]
    return [
        round(float(row[field])) for row in rows for _ in range(int(row[times]) if times else 1)
    ]


def month_day(back: int) -> date:
    number = LAST.year * 12 + LAST.month - 1 - back
    return date(number // 12, number % 12 + 1, LAST.day)


BEGAN = month_day(RISE_MONTHS - 1).replace(day=1)
"""The first month of the rises."""


def company(draw: Draw, *, rise: float, planted: int, sites: int = 10, seed: int = 4) -> set[Zone]:
    """Sites of three zones with three traps each, judged; in the first zone of some of the sites
    so many times as many were caught in the last three months. Answers these zones."""
    chance = np.random.default_rng(seed)
    days = [month_day(back) for back in reversed(range(MONTHS))]
    found = set()
    for number in range(sites):
        site = make_site()
        zones = [make_zone(site, checkpoints=False) for _ in range(3)]
        traps = [
            make_monitor(zone, placed_on=month_day(MONTHS)) for zone in zones for _ in range(3)
        ]
        mean = np.full((len(traps), MONTHS), 0.4)
        if number < planted:
            mean[:3, -RISE_MONTHS:] *= rise
            found.add(zones[0])
        caught = draw(chance, mean)
        make_counts(
            site,
            {
                trap: {
                    day: {PEST: int(one)} if one else {}
                    for day, one in zip(days, caught[row], strict=True)
                }
                for row, trap in enumerate(traps)
            },
        )
    judge_months(now=NOW)
    return found


def false_share(planted: set[Zone]) -> float:
    """Of all that was known where nothing was planted, how much was an alarm. Houses whose zone
    was planted rise too, so that these count only before."""
    places = PlaceMonth.objects.filter(state__in=["calm", "alarm"])
    risen, touched = {zone.pk for zone in planted}, {zone.site_id for zone in planted}
    tally = Counter(
        row.state
        for row in places
        if row.month < BEGAN
        or (row.zone_id not in risen if row.zone_id else row.site_id not in touched)
    )
    assert tally.total() > 500
    return tally["alarm"] / tally.total()


def seen(planted: set[Zone]) -> set[Zone]:
    """The zones that were alarmed in the months of their rise."""
    alarms = Alarm.objects.filter(month__gte=BEGAN, zone__in=planted)
    return {alarm.zone for alarm in alarms.select_related("zone") if alarm.zone}


@pytest.mark.parametrize("k", [1.0, 4.0])
def test_tenfold_rises_are_seen_in_their_zones_within_three_months(k):
    planted = company(clumped(k), rise=10, planted=5)
    assert len(seen(planted)) >= 0.8 * len(planted)
    assert false_share(planted) <= 1 / 200


# What people counted, trap by trap or plot by plot: European corn borers (Bliss CI, Fisher RA 1953,
# Biometrics 9:176-200, by R package agridat), sod webworms (Beall G 1940, Ecology 21:460-474, by
# agridat) and cockroaches in flats before any treatment (Gelman A, Hill J 2007, section 6.2, by R
# package rstanarm). Counts are facts. A trap's months are drawn from them.
REAL = {
    "corn borers": published("corn-borers.csv", "borers", "freq", treat="T1"),
    "webworms": published("webworms.csv", "worms", "plots", treatment="T4"),
    "cockroaches": published("roaches.csv", "roach1"),
}


@pytest.mark.parametrize("name", REAL)
def test_real_counts_in_no_order_hardly_ever_alarm(name):
    company(drawn_from(REAL[name]), rise=1, planted=0)
    assert false_share(set()) <= 1 / 200


@pytest.mark.parametrize("name", ["corn borers", "webworms"])
def test_real_counts_tenfold_are_seen(name):
    planted = company(drawn_from(REAL[name]), rise=10, planted=5)
    assert len(seen(planted)) >= 0.8 * len(planted)
    assert false_share(planted) <= 1 / 200


def test_a_rise_that_electronic_traps_report_is_seen_where_they_stand(client):
    site = make_site(time_zone="Europe/London")
    zones = [make_zone(site, checkpoints=False) for _ in range(2)]
    traps = [
        make_monitor(zone, kind="live_trap", placed_on=month_day(14))
        for zone in zones
        for _ in range(3)
    ]
    sender = add_trap_sender(site.pk, by=make_office(), name="Attic gateway")
    reports = [
        report(trap, month_day(back), 3 if trap.zone == zones[0] and back == 0 else 0)
        for back in range(14)
        for trap in traps
    ]
    answer = client.post(
        "/api/trap-reports/",
        {"reports": reports},
        content_type="application/json",
        headers={"authorization": f"Trap {sender.token}"},
    )
    assert {one["verdict"] for one in answer.json()["answers"]} == {"applied"}
    count_sites()
    judge_months(now=NOW)
    alarm = Alarm.objects.get(zone__isnull=False)
    assert (alarm.zone, alarm.month) == (zones[0], date(2026, 11, 1))
    assert {one["monitor"] for one in alarm.pointers} == {str(trap.pk) for trap in traps[:3]}


def report(trap: Monitor, day: date, mice: int) -> dict[str, object]:
    """What a trap says of the four weeks up to a day."""
    begin = day - timedelta(days=28)
    return {
        "id": f"{trap.number}-{day}",
        "monitor": str(trap.pk),
        "from": f"{begin}T00:00:00+00:00",
        "at": f"{day}T00:00:00+00:00",
        "counts": {"house-mouse": mice} if mice else {},
    }
