"""What monitors showed, for the page of a monitor and that of its site."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, Max, OuterRef, Prefetch, Q, QuerySet

from accounts.models import User
from sites.models import Monitor, Site
from visits.access import readings_visible_to, visits_visible_to
from visits.models import NotReached, Reading, ReadingCount, Visit

WHOLE_DAYS = frozenset({Reading.Condition.SOUND, Reading.Condition.FULL})
SHOWN_VISITS = [Visit.State.CLOSED, Visit.State.UNDER_WAY]


@dataclass(frozen=True, slots=True)
class Shown:
    """What one monitor showed on one day, or why it could not be read.

    ``caught`` are pests by name with how many; ``stood_days`` is None where the exposure is not
    known, and a count then says nothing about a rate.
    """

    on: date
    monitor: Monitor
    caught: tuple[tuple[str, int], ...] = ()
    bait: str = ""
    condition: str = ""
    condition_words: str = ""
    stood_days: int | None = None
    renewed: bool = False
    note: str = ""
    unread: str = ""
    visit: Visit | None = None
    source_words: str = ""
    """How it came, where no visit read it."""

    @property
    def total(self) -> int:
        return sum(count for _, count in self.caught)

    @property
    def per_100(self) -> float | None:
        """Individuals per 100 trap-days; None unless it could catch on every day that it stood.

        A damaged trap, or a snap trap that caught something, could not; what its days are worth is
        left to the sums of months.
        """
        sprung = self.total and self.monitor.kind == Monitor.Kind.SNAP_TRAP
        if not self.stood_days or sprung or self.condition not in WHOLE_DAYS:
            return None
        return 100 * self.total / self.stood_days


def history_of(user: User, monitor: Monitor, limit: int) -> list[Shown]:
    """The last days on which a monitor was read or could not be, newest first. Three queries.

    Of what a device reported only days on which it caught something or was not sound.
    """
    counted = ReadingCount.objects.filter(reading=OuterRef("pk"), count__gt=0)
    quiet = Q(source=Reading.Source.DEVICE, condition=Reading.Condition.SOUND) & ~Exists(counted)
    readings = readings_visible_to(user).filter(monitor=monitor).exclude(quiet)
    unread = NotReached.objects.filter(
        monitor=monitor, visit__in=visits_visible_to(user).filter(state__in=SHOWN_VISITS)
    )
    shown = [
        *_read(_latest(readings)[:limit]),
        *_unread(unread.select_related("visit__site", "monitor").order_by("-at", "pk")[:limit]),
    ]
    return sorted(shown, key=lambda one: (one.on, bool(one.unread)), reverse=True)[:limit]


def reported_up_to(user: User, monitor: Monitor) -> date | None:
    """The last day of which a device reported; None for a monitor without one. One query."""
    reported = readings_visible_to(user).filter(monitor=monitor, source=Reading.Source.DEVICE)
    last: date | None = reported.aggregate(last=Max("read_on"))["last"]
    return last


def latest_catches(user: User, site: Site, limit: int) -> list[Shown]:
    """The last readings at a site that showed something, newest first. Two queries."""
    counted = ReadingCount.objects.filter(reading=OuterRef("pk"), count__gt=0)
    taken = Q(bait_taken__in=[Reading.Bait.PART, Reading.Bait.ALL])
    readings = readings_visible_to(user).filter(Exists(counted) | taken, monitor__site=site)
    return _read(_latest(readings)[:limit])


def _latest(readings: QuerySet[Reading]) -> QuerySet[Reading]:
    counts = ReadingCount.objects.select_related("pest").order_by("-count", "pest__name", "pk")
    return (
        readings.select_related("monitor__zone", "visit")
        .prefetch_related(Prefetch("counts", queryset=counts))
        .order_by("-read_on", "monitor__number", "pk")
    )


def _read(readings: Iterable[Reading]) -> list[Shown]:
    return [
        Shown(
            on=reading.read_on,
            monitor=reading.monitor,
            caught=tuple((row.pest.name, row.count) for row in reading.counts.all() if row.count),
            bait=reading.get_bait_taken_display(),
            condition=reading.condition,
            condition_words=reading.get_condition_display(),
            stood_days=reading.stood_days,
            renewed=reading.renewed,
            note=reading.note,
            visit=reading.visit,
            source_words="" if reading.visit else reading.get_source_display(),
        )
        for reading in readings
    ]


def _unread(rows: Iterable[NotReached]) -> list[Shown]:
    return [
        Shown(
            on=row.visit.site.day_of(row.at),
            monitor=row.monitor,
            unread=row.get_reason_display(),
            note=row.note,
            visit=row.visit,
        )
        for row in rows
        if row.monitor
    ]
