"""The daily letter to a person: one row a person and day, so that none goes out twice."""

from django.db import models

from accounts.models import User
from accounts.models.base import Record


class Digest(Record):
    """``day`` is in the person's own zone; ``sent_at`` is set once the mail server took it."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="digests")
    day = models.DateField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "day"], name="digest_once_per_day"),
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.day}"
