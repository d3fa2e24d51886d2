"""The daily summary for a person: one row a person and day, so that none is written twice."""

from django.db import models

from accounts.models import User
from accounts.models.base import Record


class Digest(Record):
    """``day`` is in the person's own zone. An empty body means that there was nothing to say.

    The row and the letter that carries it are written together; sending is the letter queue's work.
    """

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="digests")
    day = models.DateField()
    subject = models.CharField(max_length=200, blank=True)
    body = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "day"], name="digest_once_per_day"),
        ]

    def __str__(self) -> str:
        return f"Summary for {self.person}, {self.day:%-d %b %Y}"
