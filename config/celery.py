"""The Celery application. Work is remembered in the database; Celery only does it sooner."""

import os
from typing import Any

from celery import Celery, Task
from celery.signals import beat_init, setup_logging, task_failure, task_success
from django.utils import timezone

from config.schedule import SWEEPS

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("kickplate")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


def keep_our_logging(**_: Any) -> None:
    """Being connected is enough: Celery then leaves the log as the settings have it."""


def ask_for_all(**_: Any) -> None:
    """Beat waits a whole turn before the first one; what was left undone should not wait a day."""
    for sweep in SWEEPS:
        app.send_task(sweep.task, expires=sweep.every)


def note_that_it_went_well(sender: Task, **_: Any) -> None:
    """Tell the database, for those who ask after the health of the jobs."""
    from config.sweeps import note_success

    note_success(short_name(sender), timezone.now())


def note_that_it_failed(sender: Task, exception: BaseException, **_: Any) -> None:
    """Tell the database what went wrong; the log has the rest."""
    from config.sweeps import note_failure

    note_failure(short_name(sender), f"{type(exception).__name__}: {exception}", timezone.now())


def short_name(task: Task) -> str:
    """The name of a sweep without the module that holds it."""
    return str(task.name).rpartition(".")[2]


setup_logging.connect(keep_our_logging)
beat_init.connect(ask_for_all)
task_success.connect(note_that_it_went_well)
task_failure.connect(note_that_it_failed)
