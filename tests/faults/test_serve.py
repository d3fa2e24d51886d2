"""The supervisor of an embedded installation: what it starts it also stops, however it ends."""

import os
import signal
import socket
import urllib.request
from pathlib import Path

import pytest

from config.models import SweepRun
from tests.faults.conftest import children_of, free_port, is_running, wait_until


@pytest.fixture
def served(processes):
    """A started installation: its supervisor and its address."""
    port = free_port()
    supervisor = processes.manage("serve", "--port", str(port))
    wait_until(lambda: "Ctrl-C stops it" in processes.said(supervisor))
    return supervisor, f"http://127.0.0.1:{port}"


def jobs_of(supervisor) -> int:
    """The process that runs the jobs; 0 while there is none."""
    for pid in children_of(supervisor.pid):
        if b"run_jobs" in Path(f"/proc/{pid}/cmdline").read_bytes():
            return pid
    return 0


def test_pages_and_jobs_are_there(served):
    _, address = served
    with urllib.request.urlopen(f"{address}/accounts/login/") as page:
        assert page.status == 200
    wait_until(SweepRun.objects.exists)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "TERM"])
def test_nothing_is_left_when_it_is_stopped(served, processes, number):
    supervisor, _ = served
    parts = children_of(supervisor.pid)

    supervisor.send_signal(number)

    assert supervisor.wait(timeout=20) == 0
    assert len(parts) >= 3
    assert [pid for pid in parts if is_running(pid)] == []
    assert processes.said(supervisor).endswith("Stopped.\n")


def test_nothing_is_left_when_it_is_killed(served):
    supervisor, _ = served
    parts = children_of(supervisor.pid)

    supervisor.kill()
    supervisor.wait()

    wait_until(lambda: not any(is_running(pid) for pid in parts))


def test_jobs_that_die_are_started_again(served):
    supervisor, _ = served
    before = jobs_of(supervisor)

    os.kill(before, signal.SIGKILL)

    wait_until(lambda: jobs_of(supervisor) not in (0, before))


def test_a_taken_port_is_said(processes):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        supervisor = processes.manage("serve", "--port", str(port))

        assert supervisor.wait(timeout=30) == 1
    assert f"Port {port} is taken" in processes.said(supervisor)


def test_a_command_run_against_it_that_fails_is_how_it_ends(processes):
    supervisor = processes.manage("serve", "--port", "0", "--run", "no_such_command")

    assert supervisor.wait(timeout=60) == 1
    assert "Unknown command: 'no_such_command'" in processes.said(supervisor)
    assert processes.said(supervisor).endswith("Stopped.\n")
