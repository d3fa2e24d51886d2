"""What every record of ours has."""

from django.db import models

from accounts.ids import uuid7


class Record(models.Model):
    """A record with an identifier that may stand in an address and a creation instant (UTC)."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        abstract = True
