"""E-mail that is to go out: written in the transaction that causes it, sent by a job."""

from django.db import models

from accounts.models.base import Record


class Letter(Record):
    """One e-mail to one address. The same ``key`` is never written twice.

    ``secret`` letters carry a link that opens something; their words are wiped once they are sent.
    """

    key = models.CharField(max_length=120, unique=True)
    to = models.EmailField()
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField(blank=True)
    secret = models.BooleanField(default=False)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    given_up_at = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["next_attempt_at"],
                condition=models.Q(sent_at__isnull=True, given_up_at__isnull=True),
                name="letter_queue",
            )
        ]

    def __str__(self) -> str:
        return f"{self.subject} to {self.to}"
