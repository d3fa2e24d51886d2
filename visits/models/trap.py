"""Senders of electronic traps, and every report that came from one."""

from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record
from sites.models import Monitor, Site
from visits.models.reading import Reading


class TrapSender(Record):
    """What reports for the electronic traps of one site. It is nobody: it may report and no more.

    ``token_hash`` is SHA-256 of a token that was shown once; ``token_start`` is how it begins, by
    which people know it. ``heard_at`` is when it last reported anything.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="trap_senders")
    name = models.CharField(max_length=80)
    token_hash = models.CharField(max_length=64, unique=True)
    token_start = models.CharField(max_length=12)
    token_made_at = models.DateTimeField()
    added_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    heard_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "name"],
                condition=Q(ended_at__isnull=True),
                name="trap_sender_name_once",
                violation_error_code="name_taken",
                violation_error_message="This site has a sender of this name.",
            ),
        ]

    def __str__(self) -> str:
        return f"Trap sender {self.name}"


class TrapReport(Record):
    """One report, kept for ever once applied: it is the receipt by which it is never applied twice.

    ``key`` is the sender's own id for it, or ``sha256:`` and the hash of a refused report that
    cannot be kept under its id. It speaks of the time after ``period_from`` up to ``at``; as days
    of the site these are those after ``from_on`` up to ``read_on``, and midnight belongs to the
    day that it ends. A refused report has no such fields, but ``sent``, what came, as text.
    """

    class State(models.TextChoices):
        APPLIED = "applied", "Applied"
        REFUSED = "refused", "Refused"

    sender = models.ForeignKey(TrapSender, on_delete=models.PROTECT, related_name="reports")
    key = models.CharField(max_length=80)
    content_hash = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=State.choices)
    received_at = models.DateTimeField()
    monitor = models.ForeignKey(
        Monitor, null=True, blank=True, on_delete=models.PROTECT, related_name="trap_reports"
    )
    period_from = models.DateTimeField(null=True, blank=True)
    at = models.DateTimeField(null=True, blank=True)
    from_on = models.DateField(null=True, blank=True)
    read_on = models.DateField(null=True, blank=True)
    counts = models.JSONField(default=dict, blank=True)
    condition = models.CharField(max_length=10, choices=Reading.Condition.choices, blank=True)
    battery = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MaxValueValidator(100)], help_text="Per cent."
    )
    note = models.CharField(max_length=500, blank=True)
    sent = models.TextField(blank=True)
    code = models.CharField(max_length=40, blank=True)
    message = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sender", "key"], name="trap_report_once"),
            models.CheckConstraint(
                condition=Q(state="refused")
                | Q(
                    state="applied",
                    monitor__isnull=False,
                    at__isnull=False,
                    from_on__isnull=False,
                    read_on__isnull=False,
                ),
                name="trap_report_applied_is_whole",
            ),
        ]
        indexes = [
            models.Index(fields=["monitor", "read_on"], name="trap_report_monitor_day"),
            models.Index(fields=["sender", "state", "received_at"], name="trap_report_kept"),
        ]

    def __str__(self) -> str:
        return f"Report {self.key}"
