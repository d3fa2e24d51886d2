"""The paper that gives an auditor the whole record of a site for a period."""

from django.db import models
from django.db.models import Q
from django.urls import reverse

from accounts.models import User
from accounts.models.base import Record
from sites.models import Site


class SiteFile(Record):
    """Asked for by a person, built by a job. Days are inclusive and in the site's own zone."""

    class State(models.TextChoices):
        REQUESTED = "requested", "Waiting"
        BUILDING = "building", "Being built"
        READY = "ready", "Ready"
        FAILED = "failed", "Could not be built"

    class PaperSize(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "letter", "Letter"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="site_files")
    period_from = models.DateField()
    period_to = models.DateField()
    paper_size = models.CharField(max_length=6, choices=PaperSize.choices, default=PaperSize.A4)
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="site_files")
    audience = models.CharField(
        max_length=20, help_text="The role it was made for; the client's and auditor's hide notes."
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.REQUESTED)
    step = models.CharField(max_length=80, blank=True)
    steps_done = models.PositiveSmallIntegerField(default=0)
    steps_all = models.PositiveSmallIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=300, blank=True)
    file = models.FileField(upload_to="site_files/%Y/%m/", max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    pages = models.PositiveIntegerField(null=True, blank=True)
    size = models.PositiveBigIntegerField(null=True, blank=True)
    built_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(period_to__gte=models.F("period_from")),
                name="site_file_period_in_order",
                violation_error_message="The period's last day is before its first.",
            ),
            models.CheckConstraint(
                condition=~Q(state="ready") | (~Q(file="") & ~Q(sha256="")),
                name="site_file_ready_has_file",
            ),
        ]
        indexes = [models.Index(fields=["state", "lease_until"], name="site_file_queue")]

    def __str__(self) -> str:
        return f"Site file of {self.site}, {self.period_from} to {self.period_to}"

    def get_absolute_url(self) -> str:
        return reverse("compliance:site_file", args=[self.pk])
