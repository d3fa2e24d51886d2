"""What phones sent: the operations, their answers, and what the office has to place."""

from uuid import UUID

from django.db import models

from accounts.models import User
from accounts.models.base import Record
from visits.models.visit import Visit


class Operation(models.Model):
    """One operation as a phone made it, with the answer it got. Kept for ever.

    ``id`` is made by the phone (UUID version 7). The same id with the same content gets the same
    answer again; with other content it is a conflict and is parked.
    """

    class Verdict(models.TextChoices):
        APPLIED = "applied", "Applied"
        PARKED = "parked", "Kept for the office to place"

    id = models.UUIDField(primary_key=True, editable=False)
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="operations")
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="operations"
    )
    visit_named = models.CharField(max_length=40, help_text="The visit id as the phone gave it.")
    device = models.CharField(max_length=40)
    seq = models.PositiveBigIntegerField()
    kind = models.CharField(max_length=40)
    body = models.JSONField()
    base_version = models.PositiveIntegerField(null=True, blank=True)
    made_at = models.DateTimeField(help_text="The phone's clock.")
    offset_minutes = models.SmallIntegerField(default=0, help_text="The phone's zone, from UTC.")
    clock_ahead_seconds = models.BigIntegerField(
        null=True,
        blank=True,
        help_text="How far the phone's clock was ahead of ours when they last met.",
    )
    content_hash = models.CharField(max_length=64)
    received_at = models.DateTimeField(auto_now_add=True)
    verdict = models.CharField(max_length=10, choices=Verdict.choices)
    answer = models.JSONField(default=dict)
    touches = models.JSONField(
        default=dict, help_text="What it writes and erases: a later word must stand."
    )
    version = models.PositiveIntegerField(
        null=True, blank=True, help_text="The visit's version after it."
    )

    class Meta:
        indexes = [
            models.Index(fields=["visit", "received_at"], name="operation_visit"),
            models.Index(fields=["visit", "device", "seq"], name="operation_visit_seq"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.id}"


class ParkedOperation(Record):
    """Content that could not be applied, whole, until the office has placed it."""

    operation_id = models.UUIDField(db_index=True)
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="parked"
    )
    sent = models.JSONField(help_text="The operation exactly as it was sent.")
    content_hash = models.CharField(max_length=64)
    reason = models.CharField(max_length=300)
    code = models.CharField(max_length=40)
    by_operation = models.UUIDField(
        null=True, blank=True, help_text="The operation of another phone that it clashes with."
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settlement = models.CharField(max_length=300, blank=True)
    placed_on = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Where its photos belong that come later.",
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["operation_id", "content_hash"], name="parked_once_per_content"
            ),
            models.CheckConstraint(
                condition=models.Q(placed_on=None) | models.Q(settled_at__isnull=False),
                name="parked_placed_is_settled",
            ),
        ]

    def __str__(self) -> str:
        return f"To place: {self.reason}"

    @property
    def trail_site_id(self) -> UUID | None:
        return self.visit.site_id if self.visit else None
