"""Real processes of ours on the tests' own database, with a real mail server, to be killed."""

import asyncio
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from aiosmtpd.controller import Controller
from django.conf import settings as django_settings
from django.db import connection, connections


def wait_until(holds: Callable[[], object], seconds: float = 30) -> None:
    """Return as soon as it holds; fail if it does not within so many seconds."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, f"still not so after {seconds} s: {holds.__doc__ or holds}"
        time.sleep(0.05)


def is_running(pid: int) -> bool:
    """Whether a process is there and is no corpse that waits for its parent."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


def children_of(pid: int) -> list[int]:
    """The processes that it started and that still run, its grandchildren among them."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and is_running(int(entry.name)):
            try:
                parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            except (FileNotFoundError, ProcessLookupError):
                continue
            if parent == pid:
                found += [int(entry.name), *children_of(int(entry.name))]
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def database_url() -> str:
    """The address of the database that this test uses."""
    entry = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{quote(str(entry['NAME']))}"
    name, user, password = (quote(str(entry[key]), safe="") for key in ("NAME", "USER", "PASSWORD"))
    return f"postgres://{user}:{password}@{entry['HOST']}:{entry['PORT']}/{name}"


class Processes:
    """Starts processes of ours; whatever still runs at the end of the test is killed."""

    def __init__(self, data_dir: Path, environment: dict[str, str]) -> None:
        self.data_dir = data_dir
        self.environment = environment
        self._started: list[tuple[subprocess.Popen[bytes], Path]] = []

    def manage(self, *arguments: str, **environment: str) -> subprocess.Popen[bytes]:
        return self.start(sys.executable, "manage.py", *arguments, **environment)

    def start(self, *command: str, **environment: str) -> subprocess.Popen[bytes]:
        log = self.data_dir / f"process-{len(self._started)}.log"
        with log.open("wb") as output:
            process = subprocess.Popen(
                command,
                cwd=django_settings.BASE_DIR,
                env={**self.environment, **environment},
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self._started.append((process, log))
        return process

    def said(self, process: subprocess.Popen[bytes]) -> str:
        """Everything that a process has printed so far."""
        return next(log for started, log in self._started if started is process).read_text()

    def kill(self, process: subprocess.Popen[bytes]) -> None:
        """Pull the plug on a process and on all that it started in its own session."""
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def end_all(self) -> None:
        for process, log in self._started:
            for pid in [*children_of(process.pid), process.pid]:
                if is_running(pid):
                    os.kill(pid, signal.SIGKILL)
            process.wait()
            sys.stdout.write(f"--- {process.args}\n{log.read_text()}\n")  # shown when a test fails


class Mailbox:
    """What a mail server took in. While ``holds`` is set it keeps callers waiting in mid-letter."""

    def __init__(self) -> None:
        self.taken: list[str] = []
        self.holds = False
        self.waiting = 0

    async def handle_DATA(self, server, session, envelope) -> str:
        self.waiting += 1
        while self.holds:
            await asyncio.sleep(0.02)
        self.taken.append(envelope.rcpt_tos[0])
        return "250 taken"


@pytest.fixture
def mailbox() -> Iterator[Mailbox]:
    box = Mailbox()
    controller = Controller(box, hostname="127.0.0.1", port=free_port())
    controller.start()
    box.port = controller.port
    yield box
    box.holds = False
    controller.stop()


@pytest.fixture
def processes(transactional_db, tmp_path, settings, mailbox) -> Iterator[Processes]:
    """Processes that work on this test's database, with a data folder of their own."""
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith("KICKPLATE_")
    }
    started = Processes(
        tmp_path,
        {
            **environment,
            "KICKPLATE_DATA_DIR": str(tmp_path),
            "KICKPLATE_SMTP_HOST": "127.0.0.1",
            "KICKPLATE_SMTP_PORT": str(mailbox.port),
            "KICKPLATE_SMTP_SECURITY": "none",
            "DATABASE_URL": database_url(),
            "REDIS_URL": settings.REDIS_URL,
        },
    )
    yield started
    started.end_all()
    connections.close_all()
