"""Run every sweep in its turn, in this one process; for installations without a broker."""

import fcntl
import os
import signal
from threading import Event
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import close_old_connections, connections
from django.utils import timezone

from config.models import SweepRun
from config.schedule import SWEEPS
from config.sweeps import Timetable, run_sweep

LOOK_EVERY_SECONDS = 1.0


class Command(BaseCommand):
    help = "Run every sweep in its turn until told to stop (Ctrl-C or TERM)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--once", action="store_true", help="give every sweep one turn, then stop"
        )

    def handle(self, *, once: bool, **options: Any) -> None:
        with (settings.DATA_DIR / "jobs.lock").open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise CommandError(
                    f"Another run_jobs already works on {settings.DATA_DIR}."
                ) from None
            if once:
                self._one_turn_each()
            else:
                self._until_stopped()

    def _one_turn_each(self) -> None:
        failed = [sweep.name for sweep in SWEEPS if not run_sweep(sweep)]
        if failed:
            raise CommandError(f"These sweeps failed: {', '.join(failed)}.")

    def _until_stopped(self) -> None:
        stop = Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        # Whoever started this may be killed without being able to stop it.
        starter = os.getppid()
        timetable = Timetable(SWEEPS, dict(SweepRun.objects.values_list("name", "ran_at")))
        while not stop.is_set() and os.getppid() == starter:
            for sweep in timetable.due(timezone.now()):
                if stop.is_set():
                    break
                close_old_connections()  # the database may have gone and come back
                run_sweep(sweep)
                timetable.ran(sweep, timezone.now())
            stop.wait(LOOK_EVERY_SECONDS)
        connections.close_all()
