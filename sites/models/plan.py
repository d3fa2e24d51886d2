"""The drawing of a site on which zones and monitors are placed."""

from django.db import models

from accounts.models.base import Record
from sites.models.site import Site


class SitePlan(Record):
    """One drawing, kept as a fresh image of ours (width and height in pixels)."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="plans")
    title = models.CharField(max_length=80)
    image = models.FileField(upload_to="plans/%Y/%m/", max_length=200)
    mime = models.CharField(max_length=40)
    sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    retired_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return self.title
