"""Celery workers on a real Redis: woken early, killed in mid-work, their queue lost."""

import sys

import pytest
import redis
from django.db import transaction
from django.utils import timezone

from accounts.models import Letter
from accounts.services.letters import write_letter
from accounts.tasks import send_letters
from accounts.wake import wake
from config.models import SweepRun
from tests.faults.conftest import wait_until

pytestmark = pytest.mark.services


@pytest.fixture
def queue(settings):
    """The broker that tasks of this test go to, as Redis sees it."""
    broker = redis.Redis.from_url(settings.REDIS_URL)
    yield broker
    broker.close()


@pytest.fixture
def start_worker(processes, queue):
    def start():
        command = [sys.executable, "-m", "celery", "-A", "config", "worker"]
        return processes.start(*command, "--concurrency", "1", "--without-mingle")

    return start


def ask_for_letters(person: str) -> None:
    """Write a letter and wake whoever sends them, as a service does."""
    with transaction.atomic():
        write_letter(f"to {person}", to=person, subject="Hello", text="Hello")
        wake(send_letters)


def nothing_waits() -> bool:
    return not Letter.objects.filter(sent_at__isnull=True).exists()


def test_a_commit_wakes_a_worker(start_worker, mailbox):
    start_worker()
    ask_for_letters("person@example.org")

    wait_until(nothing_waits)
    wait_until(SweepRun.objects.filter(name="send_letters", failures=0).exists)
    assert mailbox.taken == ["person@example.org"]


def test_what_a_killed_worker_had_begun_is_done_at_a_later_turn(
    start_worker, processes, mailbox, queue
):
    mailbox.holds = True
    worker = start_worker()
    ask_for_letters("begun@example.org")
    wait_until(lambda: mailbox.waiting)
    processes.kill(worker)
    mailbox.holds = False
    mailbox.taken.clear()

    start_worker()
    ask_for_letters("later@example.org")
    wait_until(lambda: mailbox.taken == ["later@example.org"])
    Letter.objects.filter(sent_at__isnull=True).update(next_attempt_at=timezone.now())
    send_letters.delay()  # beat's next turn, once the lease has run out

    wait_until(nothing_waits)
    assert mailbox.taken == ["later@example.org", "begun@example.org"]


def test_a_queue_that_is_lost_costs_a_turn_and_no_work(start_worker, mailbox, queue):
    ask_for_letters("person@example.org")
    assert queue.llen("kickplate:sweeps") == 1
    queue.flushdb()

    start_worker()
    send_letters.delay()

    wait_until(nothing_waits)
    assert mailbox.taken == ["person@example.org"]


def test_beat_asks_for_everything_when_it_starts(processes, start_worker, mailbox):
    write_letter("left", to="left@example.org", subject="Left undone", text="Hello")
    start_worker()
    processes.start(sys.executable, "-m", "celery", "-A", "config", "beat")

    wait_until(nothing_waits)
    assert mailbox.taken == ["left@example.org"]
