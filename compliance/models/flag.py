"""Something that a job or a rule found wrong or late, until it is cleared."""

from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record
from sites.models import Site


class Flag(Record):
    """One uncleared flag per kind and subject; it clears itself when its cause is gone."""

    class Kind(models.TextChoices):
        VISIT_OVERDUE = "visit_overdue", "Visit overdue"
        VISIT_UNBOOKED = "visit_unbooked", "Visit due and not booked"
        CALL_OUT_LATE = "call_out_late", "Call-out past its deadline"
        ACTION_OVERDUE = "action_overdue", "Action past its day"
        DECISION_STALE = "decision_stale", "Decision long awaited"
        QUESTION_OPEN = "question_open", "Question not answered"
        CHECK_MISSED = "check_missed", "Finished work not checked"
        MONITOR_UNREAD = "monitor_unread", "Monitor not read"
        TRAP_SILENT = "trap_silent", "Electronic traps silent"
        COMPETENCE_EXPIRING = "competence_expiring", "Competence about to lapse"
        DOCUMENT_EXPIRING = "document_expiring", "Document about to expire"
        NOT_REACHED_AGAIN = "not_reached_again", "Not reached again and again"
        TO_PLACE = "to_place", "Record to place"
        AGAINST_LABEL = "against_label", "Treatment against the label"
        BAIT_REVIEW = "bait_review", "Bait past its review day"
        FOLLOW_UP_OPEN = "follow_up_open", "Follow-up not answered"
        TREND_ALARM = "trend_alarm", "More caught than usual"
        THRESHOLD_BREACHED = "threshold_breached", "Action threshold reached"
        TREND_REVIEW_DUE = "trend_review_due", "Trend review due"
        RECORD_LATE = "record_late", "Record incomplete or late"
        JOB_FAILED = "job_failed", "Job gave up"

    class State(models.TextChoices):
        OPEN = "open", "Open"
        ACKNOWLEDGED = "acknowledged", "Acknowledged"
        CLEARED = "cleared", "Cleared"

    kind = models.CharField(max_length=24, choices=Kind.choices)
    subject = models.CharField(max_length=80, help_text="What it is about: type and id.")
    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="flags"
    )
    state = models.CharField(max_length=14, choices=State.choices, default=State.OPEN)
    sentence = models.CharField(max_length=300)
    link = models.CharField(max_length=200, blank=True)
    late_since = models.DateField(null=True, blank=True)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.CharField(max_length=300, blank=True)
    cleared_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject"],
                condition=~Q(state="cleared"),
                name="flag_once_while_uncleared",
            ),
            models.CheckConstraint(
                condition=(Q(state="cleared") & Q(cleared_at__isnull=False))
                | (~Q(state="cleared") & Q(cleared_at__isnull=True)),
                name="flag_cleared_has_instant",
            ),
        ]
        indexes = [models.Index(fields=["state", "kind"], name="flag_state_kind")]

    def __str__(self) -> str:
        return self.sentence
