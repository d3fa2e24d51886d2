"""The service company, its branches, and the clients that hold contracts."""

from django.db import models
from django.db.models.functions import Lower
from django.urls import reverse

from accounts.models.base import Record


class Company(models.Model):
    """The service company whose installation this is: one row, printed on papers."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    name = models.CharField(max_length=120)
    address = models.TextField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    registration = models.CharField(
        max_length=120, blank=True, help_text="Licence or registration number of the company."
    )
    time_zone = models.CharField(max_length=64, default="Europe/London")
    currency = models.CharField(max_length=3, default="GBP")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(id=1), name="company_is_one_row"),
        ]

    def __str__(self) -> str:
        return self.name


class Branch(Record):
    """A depot or region of the service company; office people may be limited to some."""

    name = models.CharField(max_length=80)

    class Meta:
        constraints = [models.UniqueConstraint(Lower("name"), name="branch_name_once")]

    def __str__(self) -> str:
        return self.name


class Client(Record):
    """The organisation that holds the contract."""

    reference = models.CharField(
        max_length=40, help_text="Your own short reference; spreadsheets are matched by it."
    )
    name = models.CharField(max_length=120)
    address = models.TextField(blank=True)
    billing_email = models.EmailField(blank=True)
    internal_note = models.TextField(blank=True, help_text="Never shown to the client.")
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("reference"),
                name="client_reference_once",
                violation_error_code="reference_taken",
                violation_error_message="Another client has this reference.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("sites:client", args=[self.pk])
