"""A spreadsheet that came in: its rows, what each would do, and what was done."""

from django.db import models
from django.urls import reverse

from accounts.models import User
from accounts.models.base import Record


class ImportJob(Record):
    """``outcome`` holds, per sheet and row, what would happen and every error with its cell.

    Checking and importing are jobs: the state says what is to be done next; the lease, until when
    somebody is at it.
    """

    class State(models.TextChoices):
        RECEIVED = "received", "Waiting to be checked"
        UNREADABLE = "unreadable", "Could not be read"
        CHECKED = "checked", "Checked"
        ACCEPTED = "accepted", "Waiting to be imported"
        APPLIED = "applied", "Imported"
        DROPPED = "dropped", "Dropped"

    file = models.FileField(upload_to="imports/%Y/%m/", max_length=200)
    file_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=State.choices, default=State.RECEIVED)
    problem = models.CharField(max_length=500, blank=True)
    outcome = models.JSONField(default=dict)
    good_rows_only = models.BooleanField(default=False)
    steps_done = models.PositiveIntegerField(default=0)
    steps_all = models.PositiveIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    uploaded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    applied_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["created_at"],
                condition=models.Q(state__in=["received", "accepted"]),
                name="import_queue",
            )
        ]

    def __str__(self) -> str:
        return self.file_name

    def get_absolute_url(self) -> str:
        return reverse("sites:import_job", args=[self.pk])
