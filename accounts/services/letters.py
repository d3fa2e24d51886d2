"""Writing letters in the transaction that causes them, and sending them afterwards.

A mail server that is down for a day costs a day, never a letter; a letter goes out once. Only where
the process dies between the mail server's yes and our note of it can one go out twice: it then
carries the same Message-ID, by which mail programs drop the copy.
"""

import logging
from datetime import datetime, timedelta
from uuid import UUID

from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from accounts.models import Letter

logger = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
GIVE_UP_AFTER = timedelta(days=4)


def write_letter(
    key: str, *, to: str, subject: str, text: str, html: str = "", secret: bool = False
) -> None:
    """Put a letter in the queue; one with the same key is already there or gone, and stays so.

    Belongs inside the transaction of what it tells. One query.
    """
    letter = Letter(
        key=key,
        to=to,
        subject=" ".join(subject.split()),
        text=text,
        html=html,
        secret=secret,
        next_attempt_at=timezone.now(),
    )
    Letter.objects.bulk_create([letter], ignore_conflicts=True)


def letters_due(now: datetime) -> QuerySet[Letter]:
    """Letters that wait to be sent, longest first."""
    waiting = Letter.objects.filter(sent_at__isnull=True, given_up_at__isnull=True)
    return waiting.filter(next_attempt_at__lte=now).order_by("next_attempt_at", "pk")


def send_letters(limit: int = 100) -> int:
    """Send what is due, and say how many went out. Safe twice, late, or never."""
    now = timezone.now()
    due = list(letters_due(now).values_list("pk", flat=True)[:limit])
    if not due:
        return 0
    connection = get_connection()
    sent = sum(_send(letter_id, connection, now) for letter_id in due)
    connection.close()
    return sent


def _send(letter_id: UUID, connection: BaseEmailBackend, now: datetime) -> int:
    """Claim one letter, send it outside any transaction, and note what became of it."""
    with transaction.atomic():
        claimed = letters_due(now).filter(pk=letter_id).update(next_attempt_at=now + LEASE)
    if not claimed:
        return 0
    letter = Letter.objects.get(pk=letter_id)
    message = EmailMultiAlternatives(
        letter.subject,
        letter.text,
        to=[letter.to],
        connection=connection,
        headers={"Message-ID": f"<{letter.pk}@kickplate>"},
    )
    if letter.html:
        message.attach_alternative(letter.html, "text/html")
    try:
        message.send()
    except OSError as error:  # every fault of the mail server and of the line to it
        _put_off(letter, error, now)
        return 0
    letter.sent_at = timezone.now()
    letter.attempts += 1
    letter.problem = ""
    if letter.secret:
        letter.text = letter.html = ""
    letter.save(update_fields=["sent_at", "attempts", "problem", "text", "html"])
    return 1


def _put_off(letter: Letter, error: OSError, now: datetime) -> None:
    """Try again after a wait that doubles up to an hour; give up after four days."""
    letter.attempts += 1
    letter.problem = str(error)[:300]
    wait = min(FIRST_WAIT * 2 ** min(letter.attempts - 1, 10), LONGEST_WAIT)
    letter.next_attempt_at = now + wait
    if now - letter.created_at > GIVE_UP_AFTER:
        letter.given_up_at = now
        if letter.secret:
            letter.text = letter.html = ""
    letter.save()
    logger.warning("letter %s could not be sent: %s", letter.pk, letter.problem)
