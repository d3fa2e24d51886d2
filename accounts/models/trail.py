"""The trail: who did what, append-only; one sealed chain per site and one for the company."""

from typing import Any, NoReturn

from django.db import models

from accounts.models.user import User
from accounts.trail_words import sentence_of


class TrailStream(models.Model):
    """The head of one chain: how many entries it has and the seal of the last one.

    The row is locked while an entry is added, so that a chain never forks.
    """

    key = models.CharField(primary_key=True, max_length=60)
    length = models.PositiveBigIntegerField(default=0)
    head = models.CharField(max_length=64)

    def __str__(self) -> str:
        return self.key


class AppendOnly(models.QuerySet["TrailEntry"]):
    def update(self, **kwargs: Any) -> NoReturn:
        raise TypeError("the trail is append-only")

    def delete(self) -> NoReturn:
        raise TypeError("the trail is append-only")


class TrailEntry(models.Model):
    """One thing that one person, or a job, did. Never changed, never deleted."""

    stream = models.ForeignKey(TrailStream, on_delete=models.PROTECT, related_name="entries")
    number = models.PositiveBigIntegerField()
    at = models.DateTimeField(help_text="When it was done, as the doer's clock had it.")
    recorded_at = models.DateTimeField(help_text="When it was written here.")
    actor = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="trail"
    )
    actor_name = models.CharField(max_length=120)
    actor_role = models.CharField(max_length=20, blank=True)
    verb = models.CharField(max_length=60, db_index=True)
    target_type = models.CharField(max_length=60)
    target_id = models.CharField(max_length=40, db_index=True)
    target_label = models.CharField(max_length=200)
    facts = models.JSONField(default=dict)
    previous = models.CharField(max_length=64)
    seal = models.CharField(max_length=64)

    objects = AppendOnly.as_manager()

    class Meta:
        verbose_name_plural = "trail entries"
        constraints = [
            models.UniqueConstraint(fields=["stream", "number"], name="trail_number_once"),
        ]
        indexes = [models.Index(fields=["stream", "at"], name="trail_stream_at")]

    def __str__(self) -> str:
        return f"{self.stream_id} {self.number}: {self.verb}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Add the entry; an existing one is never saved again."""
        if not self._state.adding:
            raise TypeError("the trail is append-only")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("the trail is append-only")

    @property
    def sentence(self) -> str:
        """What was done, in words that can follow a name."""
        return sentence_of(self.verb)

    def sealed_facts(self) -> dict[str, Any]:
        """Everything that the seal covers, apart from the seal before it."""
        return {
            "stream": self.stream_id,
            "number": self.number,
            "at": self.at,
            "recorded_at": self.recorded_at,
            "actor": self.actor_id,
            "actor_name": self.actor_name,
            "actor_role": self.actor_role,
            "verb": self.verb,
            "target_type": self.target_type,
            "target_id": self.target_id,
            "target_label": self.target_label,
            "facts": self.facts,
        }
