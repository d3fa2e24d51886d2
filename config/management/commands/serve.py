"""Start an embedded installation, pages and jobs together, and stop both cleanly."""

import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections import deque
from threading import Event, Thread
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

HOST = "127.0.0.1"
READY_WITHIN_SECONDS = 60
STOP_WITHIN_SECONDS = 15
RESTARTS_A_MINUTE = 5
PR_SET_PDEATHSIG = 1


def port_is_free(port: int) -> bool:
    """Whether nothing listens there now."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def any_free_port() -> int:
    """A port that the system says is free."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def _end_with_parent() -> None:
    """Have the kernel end this child if the parent is killed without a chance to do so."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


class Part:
    """One child process, its lines shown with its name before them."""

    def __init__(self, name: str, command: list[str], environment: dict[str, str]) -> None:
        self.name = name
        self._command = command
        self._environment = environment
        self._starts: deque[float] = deque(maxlen=RESTARTS_A_MINUTE)
        self.start()

    def start(self) -> None:
        self._starts.append(time.monotonic())
        # A session of its own: Ctrl-C reaches the supervisor alone, which then stops its parts.
        self.process = subprocess.Popen(  # noqa: S603
            self._command,
            cwd=settings.BASE_DIR,
            env=self._environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            start_new_session=True,
            preexec_fn=_end_with_parent,
        )
        Thread(target=self._show, args=[self.process], daemon=True).start()

    def _show(self, process: subprocess.Popen[str]) -> None:
        if process.stdout is not None:
            for line in process.stdout:
                sys.stdout.write(f"{self.name} | {line}")
                sys.stdout.flush()

    @property
    def has_ended(self) -> bool:
        return self.process.poll() is not None

    @property
    def ends_too_often(self) -> bool:
        full = len(self._starts) == self._starts.maxlen
        return full and time.monotonic() - self._starts[0] < 60

    def stop(self, within: float) -> bool:
        """End it and all it started; whether it went by itself in so many seconds."""
        self.process.terminate()
        try:
            self.process.wait(timeout=within)
        except subprocess.TimeoutExpired:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            return False
        return True


class Command(BaseCommand):
    help = "Start the pages and the jobs of an embedded installation; Ctrl-C stops both."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="0 takes any free one")
        parser.add_argument(
            "--run",
            metavar="COMMAND",
            default="",
            help="run this management command with --base-url against it, stop, and end as it did",
        )

    def handle(self, *, port: int, run: str, **options: Any) -> None:
        port = port or any_free_port()
        if not port_is_free(port):
            raise CommandError(
                f"Port {port} is taken; perhaps Kickplate already runs there. "
                f"To take another: --port {port + 1}"
            )
        stop = Event()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, lambda *_: stop.set())

        address = f"http://{HOST}:{port}"
        environment = {
            **os.environ,
            "KICKPLATE_BASE_URL": os.environ.get("KICKPLATE_BASE_URL") or address,
            "KICKPLATE_BIND": f"{HOST}:{port}",
            "PYTHONUNBUFFERED": "1",
        }
        gunicorn = [sys.executable, "-m", "gunicorn", "-c", "config/gunicorn.py", "config.wsgi"]
        manage = [sys.executable, "manage.py"]
        parts = [
            Part("pages", gunicorn, environment),
            Part("jobs ", [*manage, "run_jobs"], environment),
        ]
        try:
            problem = self._wait_until_ready(address, parts, stop)
            if problem or stop.is_set():
                code = 1 if problem else 0
            elif run:
                code = self._run([*manage, run, "--base-url", address], environment, stop)
            else:
                self.stdout.write(f"Kickplate is at {address} (Ctrl-C stops it)")
                self.stdout.flush()
                problem = self._watch(parts, stop)
                code = 1 if problem else 0
        finally:
            stopped = [part.stop(STOP_WITHIN_SECONDS) for part in parts if not part.has_ended]
        if problem:
            raise CommandError(problem)
        self.stdout.write("Stopped." if all(stopped) else "Stopped, not all of it by itself.")
        sys.exit(code)

    def _wait_until_ready(self, address: str, parts: list[Part], stop: Event) -> str:
        """Wait for the first page; what went wrong, or nothing."""
        end = time.monotonic() + READY_WITHIN_SECONDS
        while not stop.wait(0.1):
            for part in parts:
                if part.has_ended:
                    return f"The {part.name.strip()} ended at once; the lines above say why."
            try:
                with urllib.request.urlopen(f"{address}/health/ready", timeout=5):  # noqa: S310
                    return ""
            except urllib.error.HTTPError as answer:
                return f"Not ready: {answer.read().decode()}. Run manage.py prepare first."
            except OSError:
                if time.monotonic() > end:
                    return f"The pages did not answer within {READY_WITHIN_SECONDS} seconds."
        return ""

    def _watch(self, parts: list[Part], stop: Event) -> str:
        """Restart what ends, until told to stop or it ends too often; what went wrong, if so."""
        while not stop.wait(0.3):
            for part in parts:
                if not part.has_ended:
                    continue
                if part.ends_too_often:
                    return f"The {part.name.strip()} ended {RESTARTS_A_MINUTE} times in a minute."
                self.stdout.write(f"The {part.name.strip()} ended and are started again.")
                part.start()
        return ""

    def _run(self, command: list[str], environment: dict[str, str], stop: Event) -> int:
        """Run one command beside the parts, and end it too if told to stop; its exit code."""
        process = subprocess.Popen(  # noqa: S603
            command, cwd=settings.BASE_DIR, env=environment, stdin=subprocess.DEVNULL
        )
        while process.poll() is None:
            if stop.wait(0.2):
                process.terminate()
                process.wait()
                return 1
        return process.returncode
