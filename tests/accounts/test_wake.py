"""Waking a sweep makes it sooner and never fails a request."""

import pytest
from django.db import transaction
from kombu.exceptions import OperationalError

from accounts import wake as wake_module
from accounts.wake import PAUSE_SECONDS, wake


class Bell:
    """Stands for a Celery task: remembers how often it was rung, or is out of reach."""

    name = "a.sweep"

    def __init__(self) -> None:
        self.rung = 0
        self.is_away = False
        self.is_broken = False

    def apply_async(self, **options) -> None:
        self.rung += 1
        if self.is_away:
            raise OperationalError("connection refused")
        if self.is_broken:
            raise RuntimeError("a fault of ours")


@pytest.fixture
def bell(settings, monkeypatch) -> Bell:
    settings.WAKE_WORKERS = True
    monkeypatch.setattr(wake_module, "_silent_until", 0.0)
    return Bell()


@pytest.fixture
def clock(monkeypatch):
    class Clock:
        now = 1000.0

    monkeypatch.setattr(wake_module.time, "monotonic", lambda: Clock.now)
    return Clock


def test_it_is_rung_after_the_commit_and_not_before(bell, django_capture_on_commit_callbacks, db):
    with django_capture_on_commit_callbacks(execute=True):
        wake(bell)
        assert bell.rung == 0
    assert bell.rung == 1


def test_what_is_rolled_back_wakes_nobody(bell, transactional_db):
    with transaction.atomic():
        wake(bell)
        transaction.set_rollback(True)
    assert bell.rung == 0


def test_nobody_is_woken_where_there_is_no_broker(bell, settings, transactional_db):
    settings.WAKE_WORKERS = False
    wake(bell)
    assert bell.rung == 0


def test_a_broker_that_is_away_fails_nothing_and_is_left_alone_for_a_while(
    bell, clock, transactional_db
):
    bell.is_away = True
    wake(bell)
    wake(bell)
    assert bell.rung == 1

    bell.is_away = False
    clock.now += PAUSE_SECONDS
    wake(bell)
    assert bell.rung == 2


def test_a_fault_in_waking_does_not_fail_what_was_committed(bell, caplog, transactional_db):
    bell.is_broken = True
    wake(bell)
    assert "a fault of ours" in caplog.text
