"""Letters go out once, and survive a mail server that is down. A real SMTP server answers here."""

import smtplib
import socket
from collections.abc import Iterator
from datetime import timedelta

import pytest
from aiosmtpd.controller import Controller
from django.utils import timezone

from accounts.models import Letter
from accounts.services import letters
from accounts.services.letters import GIVE_UP_AFTER, send_letters, write_letter


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Mailbox:
    """What an SMTP server took in."""

    def __init__(self) -> None:
        self.taken: list[str] = []

    async def handle_DATA(self, server, session, envelope):
        self.taken.append(envelope.content.decode())
        return "250 taken"


@pytest.fixture
def mailbox(settings) -> Iterator[Mailbox]:
    box = Mailbox()
    controller = Controller(box, hostname="127.0.0.1", port=free_port())
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_USE_TLS = "127.0.0.1", False
    settings.EMAIL_PORT = controller.port
    yield box
    controller.stop()


@pytest.fixture
def letter(db) -> Letter:
    write_letter(
        "k1", to="a@example.org", subject="Line\nbroken", text="Hello", html="<p>Hello</p>"
    )
    return Letter.objects.get()


def due_again() -> None:
    Letter.objects.update(next_attempt_at=timezone.now())


def test_a_letter_goes_out_once(letter, mailbox):
    assert send_letters() == 1
    assert send_letters() == 0

    [taken] = mailbox.taken
    assert "Subject: Line broken" in taken
    assert f"<{letter.pk}@kickplate>" in taken
    letter.refresh_from_db()
    assert letter.sent_at


def test_the_same_key_is_written_once(letter):
    write_letter("k1", to="b@example.org", subject="Other", text="Other")

    assert Letter.objects.get().to == "a@example.org"


def test_a_server_that_is_down_costs_time_and_no_letter(letter, mailbox, settings):
    good_port, settings.EMAIL_PORT = settings.EMAIL_PORT, 9  # nothing listens there

    for _ in range(5):
        due_again()
        assert send_letters() == 0

    letter.refresh_from_db()
    assert (letter.attempts, letter.sent_at) == (5, None)
    assert letter.problem
    assert letter.next_attempt_at > timezone.now() + timedelta(minutes=15)

    settings.EMAIL_PORT = good_port
    due_again()
    assert send_letters() == 1
    assert len(mailbox.taken) == 1


def test_one_refused_letter_does_not_hold_up_the_next(letter, mailbox, monkeypatch):
    write_letter("k2", to="b@example.org", subject="Second", text="Second")
    real = smtplib.SMTP.sendmail

    def picky(self, sender, to, *args, **kwargs):
        if to == ["a@example.org"]:
            raise smtplib.SMTPRecipientsRefused({"a@example.org": (550, b"no such box")})
        return real(self, sender, to, *args, **kwargs)

    monkeypatch.setattr(smtplib.SMTP, "sendmail", picky)

    assert send_letters() == 1
    assert "Second" in mailbox.taken[0]


def test_a_process_that_dies_while_sending_leaves_the_letter_to_the_next(letter, monkeypatch):
    def die(self):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("django.core.mail.EmailMultiAlternatives.send", die)
        with pytest.raises(KeyboardInterrupt):
            send_letters()

    assert send_letters() == 0  # the dead one's lease still runs
    Letter.objects.update(next_attempt_at=timezone.now() - letters.LEASE)
    assert send_letters() == 1


def test_the_words_of_a_secret_letter_are_wiped_once_sent(db, mailbox):
    write_letter("k3", to="a@example.org", subject="Your link", text="secret", secret=True)

    send_letters()

    assert Letter.objects.get().text == ""


def test_after_four_days_it_gives_up_and_says_so(letter, settings, mailbox):
    settings.EMAIL_PORT = 9
    Letter.objects.update(created_at=timezone.now() - GIVE_UP_AFTER - timedelta(hours=1))

    send_letters()

    letter.refresh_from_db()
    assert letter.given_up_at
    due_again()
    assert send_letters() == 0


def test_a_password_reset_is_a_letter_too_and_looks_the_same_for_strangers(client, technician):
    known = client.post("/accounts/password/reset/", {"email": technician.email})
    unknown = client.post("/accounts/password/reset/", {"email": "nobody@example.org"})

    assert (known.status_code, known.url) == (unknown.status_code, unknown.url)
    assert Letter.objects.filter(to=technician.email, secret=True).count() == 1
