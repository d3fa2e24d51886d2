"""What the monitors had shown before the contract: a year on paper, typed off and imported.

Light traps and pheromone traps of all sites, and every monitor where a story is told, so that a
summer can be compared with the summer before.
"""

import csv
import io
from datetime import date, timedelta
from random import Random

from accounts.models import User
from config.demo import history
from config.demo.desk import Desk
from sites.models import Monitor
from sites.services.imports import import_file

PAPER_DAYS = 400
ROUND_DAYS = 28
SEASONAL = frozenset({Monitor.Kind.FLY_LIGHT, Monitor.Kind.PHEROMONE})


def goes_back(kind: str, story: str) -> bool:
    """Whether there are papers of such a monitor."""
    return bool(story) or kind in SEASONAL


def type_off(desk: Desk, *, first: date, last: date, by: User) -> int:
    """Import one site's papers, a round every four weeks; says how many readings they hold.

    ``first``: the day the monitors were placed, ``last``: the day before the contract began.
    """
    rng = Random(f"papers of {desk.spec.reference}")
    rows: list[dict[str, str]] = []
    day = last - timedelta(days=3)
    while day > first:
        for room in desk.rooms.values():
            for monitor in room.monitors:
                if goes_back(monitor.kind, desk.spec.story):
                    rows += _rows(desk, monitor, room.zone.kind, day, rng)
        day -= timedelta(days=ROUND_DAYS)
    if rows:
        text = io.StringIO()
        writer = csv.DictWriter(text, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
        import_file(text.getvalue().encode(), "Past readings.csv", by=by, write=True)
    return len(rows)


def _rows(
    desk: Desk, monitor: Monitor, zone_kind: str, day: date, rng: Random
) -> list[dict[str, str]]:
    showing = history.ordinary(monitor.kind, zone_kind, day, rng)
    counts = showing.counts
    if desk.spec.story == "flies" and monitor.kind == Monitor.Kind.FLY_LIGHT and counts:
        counts = {"house-fly": history.about(2 + 46 * history.warmth(day) ** 2, rng)}
    said = {
        "site_reference": desk.site.reference,
        "monitor_number": str(monitor.number),
        "read_on": day.isoformat(),
        "condition": showing.condition,
        "bait_taken": showing.bait,
    }
    caught = [(slug, count) for slug, count in counts.items() if count]
    if not caught:
        return [{**said, "pest": "", "count": ""}]
    return [{**said, "pest": slug, "count": str(count)} for slug, count in caught]
