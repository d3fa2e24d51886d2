"""Addresses of calendars, and keeping what calendars have said of each visit.

An address lets its holder read one person's calendar and do nothing else. Its secret part is 256
random bits, shown once and kept as a hash, so that looking for it takes as long for a guess that
begins right as for any other.
"""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.models import User
from accounts.refusals import WrongState
from accounts.sealing import digest
from accounts.trail import record
from visits.access import require_may_have_calendar
from visits.calendar_file import Event, Status
from visits.models import CalendarAddress, CalendarEntry, Visit
from visits.queries.calendar import (
    drawn,
    events_of,
    is_behind,
    shown_of,
    visits_of_calendar,
    visits_told,
)

ROWS_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Made:
    """An address and its secret part, which is told this once and kept only as a hash."""

    address: CalendarAddress
    secret: str


def working_address(person: User) -> CalendarAddress | None:
    """The address at which a person's calendar is read now, if there is one. One query."""
    return CalendarAddress.objects.filter(person=person, ended_at=None).first()


@transaction.atomic
def make_calendar_address(*, by: User, at: datetime) -> Made:
    """Make an address for one's own calendar.

    Raises ``NotAllowed`` for auditors, and ``WrongState`` where there is one: it may be in use.
    """
    require_may_have_calendar(by)
    if _locked_address(by):
        raise WrongState("Your calendar has an address. Renew it if you no longer have it.")
    made = _make(by, at)
    record(by, "calendar.address_made", made.address)
    return made


@transaction.atomic
def renew_calendar_address(*, by: User, at: datetime) -> Made:
    """Give one's own calendar another address; the one before stops at once.

    Raises ``WrongState`` where there is none.
    """
    before = _locked_address(by)
    if before is None:
        raise WrongState("Your calendar has no address. Make one first.")
    _end(before, at)
    made = _make(by, at)
    record(by, "calendar.address_renewed", made.address, instead_of=before.made_at)
    return made


@transaction.atomic
def end_calendar_address(*, by: User, at: datetime) -> None:
    """Have one's own calendar read no more. Ending it twice is harmless."""
    address = _locked_address(by)
    if address:
        _end(address, at)
        record(by, "calendar.address_ended", address)


def address_of(secret: str) -> CalendarAddress | None:
    """The address with this secret part, if it works and its person may sign in. One query."""
    found = CalendarAddress.objects.filter(
        secret_hash=digest(secret), ended_at=None, person__is_active=True
    )
    return found.select_related("person").first()


def note_reading(address: CalendarAddress, *, at: datetime) -> None:
    """Remember the hour in which a calendar was last read. One query an hour."""
    hour = at.replace(minute=0, second=0, microsecond=0)
    if address.last_read_at is None or address.last_read_at < hour:
        CalendarAddress.objects.filter(pk=address.pk).update(last_read_at=hour)


def events_on_calendar(person: User, *, now: datetime) -> list[Event]:
    """A person's calendar as it is now, having brought up to date what calendars say.

    One query, and those of the person's rights; six more where something is new, and one for every
    hundred changes.
    """
    visits = visits_of_calendar(person, now=now)
    behind = [visit.pk for visit in visits if is_behind(visit)]
    if behind:
        keep_entries(behind, now=now)
        visits = visits_of_calendar(person, now=now)
    return events_of(person, visits, now=now)


def keep_calendar(*, now: datetime | None = None) -> int:
    """Bring up to date what calendars say of visits they told of, and say of how many they changed.

    Ends the addresses of people who may not sign in any more, so that none comes back with them.
    Safe twice, late, or never, as reading a calendar brings its own visits up to date; this counts
    changes that nobody read. Needs no trail: it follows what the trail tells already.
    """
    now = now or timezone.now()
    _end_addresses_of_those_gone(now)
    rows = visits_told(now=now).iterator(chunk_size=ROWS_AT_ONCE)
    return keep_entries([visit.pk for visit in rows if is_behind(visit)], now=now)


def keep_entries(visit_ids: Sequence[UUID], *, now: datetime) -> int:
    """Write down what calendars say of these visits from now on, and of how many that is new."""
    return sum(
        _keep_entries(visit_ids[start : start + ROWS_AT_ONCE], now)
        for start in range(0, len(visit_ids), ROWS_AT_ONCE)
    )


@transaction.atomic
def _keep_entries(visit_ids: Sequence[UUID], now: datetime) -> int:
    # A lock on the visit: two readers at once count a change once, and what is counted is what the
    # visit is now, whatever either of them had read. Planning locks what it withdraws, too.
    wanted = Visit.objects.filter(pk__in=visit_ids).order_by("pk")
    list(wanted.select_for_update(no_key=True).values_list("pk", flat=True))
    new, changed = [], []
    for visit in drawn(wanted):
        entry = getattr(visit, "calendar_entry", None)
        if entry is None:
            new.append(_first_entry(visit, now))
        elif is_behind(visit):
            _follow(entry, visit, now)
            changed.append(entry)
    CalendarEntry.objects.bulk_create(new)
    CalendarEntry.objects.bulk_update(
        changed, ["sequence", "fingerprint", "changed_at", "cancelled_at"], batch_size=100
    )
    return len(new) + len(changed)


def _first_entry(visit: Visit, now: datetime) -> CalendarEntry:
    return CalendarEntry(
        visit=visit, fingerprint=shown_of(visit).fingerprint, changed_at=_whole(now)
    )


def _follow(entry: CalendarEntry, visit: Visit, now: datetime) -> None:
    shown = shown_of(visit)
    entry.sequence += 1
    entry.fingerprint, entry.changed_at = shown.fingerprint, max(_whole(now), entry.changed_at)
    if shown.status == Status.CANCELLED:
        entry.cancelled_at = entry.cancelled_at or entry.changed_at
    else:
        entry.cancelled_at = None


def _whole(at: datetime) -> datetime:
    """Without its fraction of a second, which calendars cannot say (RFC 5545, section 3.3.12)."""
    return at.replace(microsecond=0)


def _end_addresses_of_those_gone(now: datetime) -> None:
    gone = CalendarAddress.objects.filter(ended_at=None, person__is_active=False)
    for person_id in gone.order_by("person_id").values_list("person_id", flat=True):
        with transaction.atomic():
            person = User.objects.select_for_update(no_key=True).get(pk=person_id)
            address = working_address(person)
            if address and not person.is_active:
                _end(address, now)
                record(None, "calendar.address_ended", address, because="may not sign in")


def _locked_address(person: User) -> CalendarAddress | None:
    """The working address, with the person locked: two clicks at once see each other."""
    User.objects.select_for_update(no_key=True).get(pk=person.pk)
    return working_address(person)


def _make(person: User, at: datetime) -> Made:
    secret = secrets.token_urlsafe(32)
    address = CalendarAddress.objects.create(person=person, secret_hash=digest(secret), made_at=at)
    return Made(address, secret)


def _end(address: CalendarAddress, at: datetime) -> None:
    address.ended_at = max(at, address.made_at)
    address.save(update_fields=["ended_at"])
