"""A mail server of the tests' own, which can be away."""

import email
import email.policy
import socket

from aiosmtpd.controller import Controller
from django.utils import timezone

from accounts.models import Letter


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Mailbox:
    """An SMTP server on the loopback address that can be down, and what it took in."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.taken: list[email.message.EmailMessage] = []
        self._controller: Controller | None = None

    async def handle_DATA(self, server, session, envelope):
        self.taken.append(email.message_from_bytes(envelope.content, policy=email.policy.default))
        return "250 taken"

    def start(self) -> None:
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self._controller.start()

    def stop(self) -> None:
        if self._controller:
            self._controller.stop()
            self._controller = None


def due_again() -> None:
    """As if the wait before the next try were over."""
    Letter.objects.update(next_attempt_at=timezone.now())
