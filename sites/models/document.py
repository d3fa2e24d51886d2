"""Papers that belong to a site, a client or the company, with their expiry."""

from django.db import models

from accounts.models import Client, User
from accounts.models.base import Record
from sites.models.site import Site


class Document(Record):
    """No site and no client means it belongs to the company and is shown with every site."""

    class Kind(models.TextChoices):
        CONTRACT = "contract", "Signed contract"
        INSURANCE = "insurance", "Insurance"
        LICENCE = "licence", "Licence or certificate"
        LABEL = "label", "Product label"
        SAFETY_DATA_SHEET = "safety_data_sheet", "Safety data sheet"
        RISK_ASSESSMENT = "risk_assessment", "Risk assessment"
        SURVEY = "survey", "Survey report"
        OTHER = "other", "Other"

    site = models.ForeignKey(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="documents"
    )
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.PROTECT, related_name="documents"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    title = models.CharField(max_length=160)
    file = models.FileField(upload_to="documents/%Y/%m/", max_length=200)
    mime = models.CharField(max_length=60)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    issued_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    uploaded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(site__isnull=True) | models.Q(client__isnull=True),
                name="document_has_one_home",
            ),
            models.CheckConstraint(
                condition=models.Q(issued_on__isnull=True)
                | models.Q(expires_on__isnull=True)
                | models.Q(expires_on__gte=models.F("issued_on")),
                name="document_expires_after_issue",
                violation_error_message="It expires before it was issued.",
            ),
        ]

    def __str__(self) -> str:
        return self.title
