"""Asking for a sweep to run now rather than at its next turn.

Work is remembered by rows in the database and found by sweeps. Waking only makes it sooner, so
nothing here may fail a request: a lost call costs the time until the sweep's next turn.
"""

import logging
import time

from celery import Task
from django.conf import settings
from django.db import transaction
from kombu.exceptions import OperationalError

log = logging.getLogger(__name__)

# With the broker away every call waits for a connection; once one has failed, none is tried for
# so many seconds, so that an outage costs one slow answer and not all of them.
PAUSE_SECONDS = 5.0

_silent_until = 0.0


def wake(task: Task) -> None:
    """Ask the workers to run a sweep as soon as the current transaction is committed.

    Does nothing where there is no broker: there ``run_jobs`` looks for work every other second.
    """
    if settings.WAKE_WORKERS:
        # Not a partial: Django asks a failed callback for its __qualname__, which a partial lacks.
        transaction.on_commit(lambda: _ring(task), robust=True)


def _ring(task: Task) -> None:
    global _silent_until
    if time.monotonic() < _silent_until:
        return
    try:
        task.apply_async(retry=False)
    except OperationalError as error:
        _silent_until = time.monotonic() + PAUSE_SECONDS
        log.warning("no worker could be woken for %s: %s", task.name, error)
