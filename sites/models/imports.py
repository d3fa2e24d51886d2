"""A spreadsheet that came in: its rows, what each would do, and what was done."""

from django.db import models

from accounts.models import User
from accounts.models.base import Record


class ImportJob(Record):
    """``outcome`` holds, per sheet and row, what would happen and every error with its cell."""

    class State(models.TextChoices):
        CHECKED = "checked", "Checked"
        APPLIED = "applied", "Applied"
        DROPPED = "dropped", "Dropped"

    file = models.FileField(upload_to="imports/%Y/%m/", max_length=200)
    file_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=State.choices, default=State.CHECKED)
    outcome = models.JSONField(default=dict)
    uploaded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    applied_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.file_name
