"""How many days each reading stands for, where no visit has settled it.

A day of a monitor is counted once. What a person saw (on a visit, by hand or by import) stands for
the days since a person last saw the monitor: whatever was caught in them lay there to be counted.
A device speaks for the days that nobody has counted yet, and each of them goes to one reading; once
a person has counted them its readings stay on file and stand for no day. So the same sums come out
in whatever order reports, entries and visits arrive, and no sealed reading is ever changed.

A monitor that was missing or could not be reached was not seen, so that the device goes on
speaking for those days. Docs: docs/trap-reports.md.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from uuid import UUID

from django.db.models import Min

from sites.importing.kept import BATCH, batches
from sites.models import Monitor
from visits.models import Reading, TrapReport

MOST_DAYS_REPORTED = 31
"""One report speaks of at most so many days (ours)."""

NOT_SEEN = (Reading.Condition.MISSING, Reading.Condition.BLOCKED)
BY_PEOPLE = Reading.BY_PEOPLE


@dataclass(frozen=True, slots=True)
class Days:
    """The days after ``after`` up to ``until``, as ordinals."""

    after: int
    until: int

    def all(self) -> range:
        return range(self.after + 1, self.until + 1)


def lock_monitors(monitor_ids: Iterable[UUID]) -> None:
    """Make whoever else works out the days of these monitors wait. One query.

    In the order of their keys, so that two never wait in a ring.
    """
    wanted = Monitor.objects.filter(pk__in=list(monitor_ids)).order_by("pk")
    list(wanted.select_for_update(no_key=True).values_list("pk", flat=True))


def own_days(readings: Iterable[tuple[UUID, date, int | None]]) -> dict[UUID, int | None]:
    """The days that each reading by a person stands for and no other one of its monitor does.

    ``readings``: key, day and ``stood_days`` of all that people read of one monitor. Where one came
    in late, dated before a visit that was sealed, the days of that visit end where it begins, as
    they would have had it come in time; what was sealed stays. So also where the late one says that
    the trap was missing: nothing is known of the days before. Of two on one day the one that says
    more days has them. Unknown days stay None.
    """
    own: dict[UUID, int | None] = {}
    last: date | None = None
    for key, read_on, stood in sorted(readings, key=lambda one: (one[1], -(one[2] or 0))):
        if stood is not None and last is not None:
            stood = min(stood, (read_on - last).days)
        own[key] = stood
        last = read_on
    return own


def restand(monitor_ids: Iterable[UUID]) -> None:
    """Set the days of imported and typed readings, and of all of the devices beside them.

    Readings of visits keep what was worked out when they were made. Six queries or so for each 500
    monitors.
    """
    for batch in batches(sorted(set(monitor_ids))):
        changed = []
        last: dict[UUID, date] = {}
        readings = Reading.objects.filter(monitor_id__in=batch, source__in=BY_PEOPLE)
        readings = readings.select_related("monitor").order_by("monitor_id", "read_on", "pk")
        for reading in readings:
            since = last.get(reading.monitor_id, reading.monitor.placed_on)
            stood = max((reading.read_on - since).days, 0)
            if reading.source != Reading.Source.VISIT and reading.stood_days != stood:
                reading.stood_days = stood
                changed.append(reading)
            last[reading.monitor_id] = reading.read_on
        Reading.objects.bulk_update(changed, ["stood_days"], batch_size=BATCH)
        restand_devices(batch)


def restand_devices(
    monitor_ids: Sequence[UUID], *, since: date | None = None, until: date | None = None
) -> None:
    """Set the days of what devices reported, where something changed from ``since`` to ``until``.

    None for no bound. One query where no device reported then, five at most otherwise.
    """
    devices = Reading.objects.filter(monitor_id__in=monitor_ids, source=Reading.Source.DEVICE)
    reach = timedelta(days=MOST_DAYS_REPORTED)
    if since:
        devices = devices.filter(read_on__gte=since - reach)
    if until:
        devices = devices.filter(read_on__lte=until + reach)
    readings = list(devices.order_by("monitor_id", "read_on"))
    if not readings:
        return
    first, latest = min(one.read_on for one in readings), max(one.read_on for one in readings)
    reported = _reported(monitor_ids, first - reach, latest)
    counted = _counted(monitor_ids, first - reach)
    taken: dict[UUID, set[int]] = defaultdict(set)
    for (monitor_id, read_on), days in reported.items():
        if read_on < first:
            # Their own days are settled; they only take them from those that come after.
            taken[monitor_id].update(days.all())
    changed = []
    for reading in readings:
        held = reported.get((reading.monitor_id, reading.read_on))
        own = set(held.all()) if held else set()
        stood = len(own - taken[reading.monitor_id])
        if own & counted[reading.monitor_id]:
            stood = 0  # part of what it caught lay there for the person: it cannot be told apart
        taken[reading.monitor_id] |= own
        if reading.stood_days != stood:
            reading.stood_days = stood
            changed.append(reading)
    Reading.objects.bulk_update(changed, ["stood_days"], batch_size=BATCH)


def _reported(
    monitor_ids: Sequence[UUID], since: date, until: date
) -> dict[tuple[UUID, date], Days]:
    """The days that the reports of each monitor and day speak of. One query."""
    reports = TrapReport.objects.filter(
        state=TrapReport.State.APPLIED,
        monitor_id__in=monitor_ids,
        read_on__gte=since,
        read_on__lte=until,
    )
    rows = reports.values_list("monitor_id", "read_on", "monitor__placed_on")
    return {
        (monitor_id, read_on): Days(max(earliest, placed_on).toordinal(), read_on.toordinal())
        for monitor_id, read_on, placed_on, earliest in rows.annotate(earliest=Min("from_on"))
        if monitor_id and read_on
    }


def _counted(monitor_ids: Sequence[UUID], since: date) -> dict[UUID, set[int]]:
    """The days that a person has counted, by monitor. One query."""
    readings = Reading.objects.filter(
        monitor_id__in=monitor_ids, source__in=BY_PEOPLE, read_on__gte=since
    ).order_by("monitor_id", "read_on", "pk")
    rows = readings.values_list("pk", "monitor_id", "read_on", "stood_days", "condition")
    counted: dict[UUID, set[int]] = defaultdict(set)
    for monitor_id, of_monitor in groupby(rows, key=lambda row: row[1]):
        read = list(of_monitor)
        own = own_days((pk, read_on, stood) for pk, _, read_on, stood, _ in read)
        for pk, _, read_on, _, condition in read:
            if condition in NOT_SEEN:
                continue
            until = read_on.toordinal()
            after = max(until - (own[pk] or 0), since.toordinal() - 1)
            counted[monitor_id].update(Days(after, until).all())
    return counted
