"""Running sweeps in this process, and remembering how each turn ended."""

import logging
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from django.db import DatabaseError
from django.db.models import F
from django.utils import timezone
from django.utils.module_loading import import_string

from config.models import SweepRun
from config.schedule import Sweep

log = logging.getLogger(__name__)

# A sweep that goes well every other second is noted at most this often.
NOTE_EVERY = timedelta(seconds=15)

_noted: dict[str, datetime] = {}


def note_success(name: str, now: datetime) -> None:
    """Remember that a sweep went well. At most one query."""
    if name in _noted and now - _noted[name] < NOTE_EVERY:
        return
    SweepRun.objects.update_or_create(
        name=name, defaults={"ran_at": now, "went_well_at": now, "failures": 0, "problem": ""}
    )
    _noted[name] = now


def note_failure(name: str, problem: str, now: datetime) -> None:
    """Remember that a sweep ended in an error, and how often in a row."""
    _noted.pop(name, None)
    SweepRun.objects.get_or_create(name=name, defaults={"ran_at": now})
    SweepRun.objects.filter(name=name).update(
        ran_at=now, failures=F("failures") + 1, problem=problem[:300]
    )


def run_sweep(sweep: Sweep, clock: Callable[[], datetime] = timezone.now) -> bool:
    """Run one sweep here and now, and say whether it went well. An error is logged, not raised."""
    try:
        import_string(sweep.task)()
        note_success(sweep.name, clock())
    except Exception as error:  # whatever it is, the other sweeps must go on
        log.exception("sweep %s failed", sweep.name)
        try:
            note_failure(sweep.name, f"{type(error).__name__}: {error}", clock())
        except DatabaseError:
            log.warning("the failure of %s could not be noted either", sweep.name)
        return False
    return True


class Timetable:
    """Which sweeps are due, by when each last ended; asked again and again by one loop.

    ``ended`` holds what the database remembers, so that a restart repeats nothing that is not due.
    """

    def __init__(self, sweeps: Sequence[Sweep], ended: dict[str, datetime]) -> None:
        self._sweeps = sweeps
        self._ended = ended

    def due(self, now: datetime) -> list[Sweep]:
        """Those whose turn it is, those that people wait for first, then in the table's order."""
        waiting = [sweep for sweep in self._sweeps if self._is_due(sweep, now)]
        return sorted(waiting, key=lambda sweep: not sweep.awaited)

    def ran(self, sweep: Sweep, now: datetime) -> None:
        """A turn of this sweep has just ended."""
        self._ended[sweep.name] = now

    def _is_due(self, sweep: Sweep, now: datetime) -> bool:
        ended = self._ended.get(sweep.name)
        # A clock that was set back must not silence a sweep until it has caught up.
        return (
            ended is None
            or ended > now
            or now - ended >= timedelta(seconds=sweep.every_without_broker)
        )
