"""The jobs of an installation without a broker, killed in mid-work and started twice."""

import signal

import pytest
from django.utils import timezone

from accounts.models import Letter
from accounts.services.letters import write_letter
from config.models import SweepRun
from tests.faults.conftest import wait_until


@pytest.fixture
def three_letters(transactional_db) -> list[str]:
    people = [f"person{n}@example.org" for n in range(3)]
    for person in people:
        write_letter(f"to {person}", to=person, subject="Hello", text="Hello")
    return people


def test_a_second_runner_on_the_same_data_is_refused(processes):
    first = processes.manage("run_jobs")
    wait_until(SweepRun.objects.exists)

    second = processes.manage("run_jobs")

    assert second.wait(timeout=30) == 1
    assert "Another run_jobs already works on" in processes.said(second)
    assert first.poll() is None


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT], ids=["TERM", "Ctrl-C"])
def test_it_stops_when_told_to(processes, number):
    runner = processes.manage("run_jobs")
    wait_until(SweepRun.objects.exists)

    runner.send_signal(number)

    assert runner.wait(timeout=10) == 0


def test_what_a_killed_runner_had_begun_is_done_by_the_next(processes, mailbox, three_letters):
    mailbox.holds = True
    runner = processes.manage("run_jobs")
    wait_until(lambda: mailbox.waiting)
    processes.kill(runner)
    mailbox.holds = False
    begun = Letter.objects.get(next_attempt_at__gt=timezone.now())
    mailbox.taken.clear()  # the mail server dropped what was cut off, or took it: both are tried

    processes.manage("run_jobs")
    others = sorted(set(three_letters) - {begun.to})
    wait_until(lambda: sorted(mailbox.taken) == others)
    Letter.objects.filter(pk=begun.pk).update(next_attempt_at=timezone.now())  # the lease runs out

    wait_until(lambda: not Letter.objects.filter(sent_at__isnull=True).exists())
    assert sorted(mailbox.taken) == three_letters
