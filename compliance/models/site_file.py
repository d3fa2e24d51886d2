"""The paper that gives an auditor the whole record of a site for a period."""

from django.db import models
from django.db.models import Q
from django.urls import reverse

from accounts.models import User
from compliance.models.paper import BuiltPaper
from sites.models import Site


class SiteFile(BuiltPaper):
    """Days are inclusive and in the site's own zone."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="site_files")
    period_from = models.DateField()
    period_to = models.DateField()
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="site_files")
    audience = models.CharField(
        max_length=20, help_text="The role it was made for; the client's and auditor's hide notes."
    )
    file = models.FileField(upload_to="site_files/%Y/%m/", max_length=200, blank=True)

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
