"""Photos on their way from a phone: pieces that have arrived, and whole ones without a visit."""

from django.db import models

from accounts.models import User
from accounts.models.base import Record


class PhotoPart(models.Model):
    """A piece of a photo that is being sent; the pieces go once the photo is whole.

    ``sha256`` is the hash of the whole file as the phone has it, ``start`` the place of this
    piece's first byte in it, ``total`` its length.
    """

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    sha256 = models.CharField(max_length=64)
    start = models.PositiveIntegerField()
    total = models.PositiveIntegerField()
    data = models.BinaryField()
    created_at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "sha256", "start"], name="photo_part_once_per_place"
            ),
        ]

    def __str__(self) -> str:
        return f"Part of photo {self.sha256[:8]} from {self.start}"


class ParkedPhoto(Record):
    """A photo for a visit that its sender may not write on, kept until its finding is placed.

    Upright, without hidden data, at most 1,600 pixels a side, as every photo here;
    ``given_sha256`` is the hash of the file as it was sent, by which records name it.
    """

    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    visit_named = models.CharField(max_length=40, help_text="The visit id as the phone gave it.")
    given_sha256 = models.CharField(max_length=64)
    image = models.FileField(upload_to="parked/%Y/%m/", max_length=200)
    mime = models.CharField(max_length=40)
    sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size = models.PositiveIntegerField()
    taken_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "given_sha256"], name="parked_photo_once_per_person"
            ),
        ]

    def __str__(self) -> str:
        return f"Parked photo {self.sha256[:8]}"
