"""The daily letter to a person: one row a person and day, so that none goes out twice."""

from django.db import models

from accounts.models import User
from accounts.models.base import Record


class Digest(Record):
    """``day`` is in the person's own zone; an empty body means that there was nothing to say.

    ``handed_at`` is set just before the letter is handed over and taken back when the mail server
    says no; ``sent_at`` is set once it took it. A row with the first and not the second was cut off
    in between: nobody can know whether it went out, so it is never sent again.
    """

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="digests")
    day = models.DateField()
    subject = models.CharField(max_length=200, blank=True)
    body = models.TextField(blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField()
    handed_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "day"], name="digest_once_per_day"),
        ]
        indexes = [models.Index(fields=["sent_at", "next_attempt_at"], name="digest_queue")]

    def __str__(self) -> str:
        return f"{self.person} {self.day}"
