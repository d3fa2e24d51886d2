"""Secret addresses of calendars, and what calendars have said of each visit."""

from django.db import models
from django.db.models import F, Q

from accounts.models import User
from accounts.models.base import Record
from visits.models.visit import Visit


class CalendarAddress(Record):
    """Where one person's calendar is read without signing in: whoever has the address reads it.

    ``secret_hash`` is SHA-256 of the part that nobody can guess, which was shown once.
    ``last_read_at`` is right to the hour and no better.
    """

    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="calendar_addresses")
    secret_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    last_read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(ended_at__isnull=True),
                name="calendar_address_one_works",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("made_at")),
                name="calendar_address_ends_after_it_was_made",
            ),
        ]

    def __str__(self) -> str:
        return f"Calendar address of {self.person}"


class CalendarEntry(Record):
    """What calendars last said of a visit, so that a change of it can be told as one.

    ``fingerprint`` is SHA-256 of all that any calendar shows of the visit; ``sequence`` has grown
    by one, and ``changed_at`` is the instant, whenever that became different (RFC 5545, sections
    3.8.7.3 and 3.8.7.4). ``cancelled_at`` is when one that stood in calendars was found called off
    or missed; one of which no calendar had told has nothing to take back. A planned visit that is
    withdrawn takes its entry with it.
    """

    visit = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="calendar_entry")
    sequence = models.PositiveIntegerField(default=0)
    fingerprint = models.CharField(max_length=64)
    changed_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"Calendar entry of {self.visit_id}, revision {self.sequence}"
