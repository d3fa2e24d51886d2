"""What electronic traps reported in a site file's period: one reading for each monitor and month.

A trap that reports daily would fill a file with days on which nothing happened.
"""

from collections import defaultdict
from datetime import date

from django.db.models import Count, Max, QuerySet, Sum
from django.db.models.functions import ExtractMonth, ExtractYear

from compliance.sitefile import content
from sites.models import Site
from visits.models import Reading, ReadingCount

SOURCE = "Electronic trap, the month"

_Key = tuple[int, tuple[int, int]]


def device_months(site: Site, first: date, last: date) -> list[content.Reading]:
    """By month and number; one query, two where any trap reported.

    Counts are those of the whole month, also of days that a person counted as well. The condition
    is what was most often wrong, the note says on how many days; ``day`` is the last of the month
    on which any trap of the site reported, the same for all.
    """
    readings: QuerySet[Reading] = Reading.objects.filter(
        source=Reading.Source.DEVICE, monitor__site=site, read_on__gte=first, read_on__lte=last
    )
    year, month = ExtractYear("read_on"), ExtractMonth("read_on")
    by_condition = (
        readings.annotate(year=year, month=month)
        .values("monitor__number", "year", "month", "condition")
        .annotate(days=Count("pk"), latest=Max("read_on"))
        .order_by()
    )
    days: dict[_Key, dict[str, int]] = defaultdict(dict)
    latest: dict[tuple[int, int], date] = {}
    for row in by_condition:
        when = (row["year"], row["month"])
        days[row["monitor__number"], when][row["condition"]] = row["days"]
        latest[when] = max(row["latest"], latest.get(when, row["latest"]))
    if not days:
        return []
    counts: dict[_Key, list[tuple[str, int]]] = defaultdict(list)
    by_pest = (
        ReadingCount.objects.filter(reading__in=readings)
        .annotate(year=ExtractYear("reading__read_on"), month=ExtractMonth("reading__read_on"))
        .values("reading__monitor__number", "year", "month", "pest__name")
        .annotate(total=Sum("count"))
        .order_by("pest__name")
    )
    for caught in by_pest:
        key = (caught["reading__monitor__number"], (caught["year"], caught["month"]))
        counts[key].append((caught["pest__name"], caught["total"]))
    return [
        _reading(number, latest[when], days[number, when], counts[number, when])
        for number, when in sorted(days, key=lambda key: (key[1], key[0]))
    ]


def _reading(
    number: int, on: date, days: dict[str, int], counts: list[tuple[str, int]]
) -> content.Reading:
    unsound = {name: many for name, many in days.items() if name != Reading.Condition.SOUND}
    code = max(sorted(unsound), key=lambda name: unsound[name], default=Reading.Condition.SOUND)
    reported = sum(days.values())
    said = [f"reported on {reported} day{'s' if reported > 1 else ''}"]
    said += [f"{Reading.Condition(name).label.lower()} on {unsound[name]}" for name in unsound]
    # A trap that was out of reach for a day was read on all others.
    read = any(name not in (Reading.Condition.MISSING, Reading.Condition.BLOCKED) for name in days)
    if read and code in (Reading.Condition.MISSING, Reading.Condition.BLOCKED):
        code = Reading.Condition.SOUND
    return content.Reading(
        monitor=number,
        day=on,
        condition=Reading.Condition(code).label,
        condition_code=str(code),
        counts=tuple(counts),
        note="; ".join(said),
        source=SOURCE,
    )
