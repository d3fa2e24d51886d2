"""The daily summary by e-mail: written once a person and day, in the morning of their own zone.

The summary and the letter that carries it are written in one transaction; the letter queue sends
it, tries again while the mail server is down, and never writes a second one under the same key.
Notices that are to come daily go with it, and are marked as told in the same transaction.
"""

from datetime import datetime, time
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from accounts.models import Notice, Role, User
from accounts.services.letters import write_letter
from accounts.trail import record
from compliance.models import Digest
from compliance.queries.digests import DigestText, digest_for

MORNING = time(6, 30)
WRITTEN_TO = [Role.OFFICE, Role.TECHNICIAN, Role.CLIENT_MANAGER]


def send_digests(*, now: datetime | None = None, limit: int = 200) -> int:
    """Write the summary of everybody whose morning has come, and say how many letters that made.

    Safe twice, late, or never: whoever has a row for the day is done, also where there was nothing
    to say. Somebody missed at half past six is written to when the job next runs that day.
    """
    now = now or timezone.now()
    waiting = list(_waiting_at(now).order_by("pk").values_list("pk", flat=True)[:limit])
    return sum(_write(person_id, now) for person_id in waiting)


def _waiting_at(now: datetime) -> QuerySet[User]:
    """Those who want a summary, whose half past six is past, and who have none for today.

    Two queries with the first use: the zones in use, and the people.
    """
    zones = User.objects.order_by("time_zone").values_list("time_zone", flat=True).distinct()
    due = Q(pk__in=[])
    for zone in zones:
        local = now.astimezone(ZoneInfo(zone))
        if local.time() >= MORNING:
            had = Digest.objects.filter(person=OuterRef("pk"), day=local.date())
            due |= Q(~Exists(had), time_zone=zone)
    # Whoever has not taken up the invitation has no usable password and reads nothing yet.
    return User.objects.filter(due, is_active=True, wants_digest=True, role__in=WRITTEN_TO).exclude(
        password__startswith=UNUSABLE_PASSWORD_PREFIX
    )


@transaction.atomic
def _write(person_id: UUID, now: datetime) -> int:
    """Write one person's summary and its letter; 0 where somebody else did or all is quiet."""
    person = User.objects.get(pk=person_id)
    day = now.astimezone(ZoneInfo(person.time_zone)).date()
    found = digest_for(person, day=day, now=now)
    row = Digest(person=person, day=day)
    if found:
        row.subject, row.body = found.subject[:200], _text(person, found)
    Digest.objects.bulk_create([row], ignore_conflicts=True)
    if not Digest.objects.filter(pk=row.pk).exists():
        return 0
    if found is None:
        return 0
    write_letter(
        f"digest:{person.pk}:{day}",
        to=person.email,
        subject=row.subject,
        text=row.body,
        html=render_to_string("compliance/mail/digest.html", _context(person, found)),
    )
    Notice.objects.filter(pk__in=found.notice_ids, mailed_at=None).update(mailed_at=now)
    record(None, "digest.written", row, person=person.name, day=day, subject=row.subject)
    return 1


def _text(person: User, found: DigestText) -> str:
    return render_to_string("compliance/mail/digest.txt", _context(person, found))


def _context(person: User, found: DigestText) -> dict[str, object]:
    stop = f"{settings.BASE_URL}{reverse('compliance:summary')}"
    return {"person": person, "digest": found, "settings_url": stop}
