"""An invitation to join, sent by e-mail; only the hash of its secret is kept."""

from django.db import models

from accounts.models.base import Record
from accounts.models.user import User


class Invitation(Record):
    """Lets one person set a password. The person's account exists, but cannot sign in before."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="invitations")
    invited_by = models.ForeignKey(
        User, null=True, on_delete=models.SET_NULL, related_name="invitations_sent"
    )
    secret_hash = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"Invitation for {self.person}"
