"""Photos, re-encoded by us and named by what they contain."""

from django.db import models

from accounts.models import User
from accounts.models.base import Record
from sites.models.site import Site


class Photo(Record):
    """Upright, without hidden data, at most 1,600 pixels a side.

    ``given_sha256`` is the hash of the file as it was sent: the same photo sent twice is one row.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="photos")
    image = models.FileField(upload_to="photos/%Y/%m/", max_length=200)
    mime = models.CharField(max_length=40)
    sha256 = models.CharField(max_length=64)
    given_sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size = models.PositiveIntegerField()
    taken_at = models.DateTimeField(null=True, blank=True)
    uploaded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "given_sha256"], name="photo_once_per_site"),
        ]

    def __str__(self) -> str:
        return f"Photo {self.sha256[:8]}"
