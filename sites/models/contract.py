"""What was agreed for a site, and each recurring service within it."""

from uuid import UUID

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower

from accounts.models import CompetenceKind, User
from accounts.models.base import Record
from sites.models.site import Site


class VisitKind(models.TextChoices):
    ROUTINE = "routine", "Routine inspection"
    FOLLOW_UP = "follow_up", "Follow-up"
    CALL_OUT = "call_out", "Call-out"
    SURVEY = "survey", "In-depth survey"
    PROOFING = "proofing", "Proofing"


class Contract(Record):
    """Prices are in the company's currency and are never shown to other clients."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="contracts")
    number = models.CharField(max_length=40)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    scope = models.TextField(
        blank=True, help_text="Pests covered, what is within the service and what is not."
    )
    response_hours = models.PositiveSmallIntegerField(
        default=24, help_text="A call-out is answered within this many hours."
    )
    call_out_price = models.DecimalField(
        max_digits=9, decimal_places=2, default=0, validators=[MinValueValidator(0)]
    )
    internal_note = models.TextField(blank=True, help_text="Never shown to the client.")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "number"],
                name="contract_number_once",
                violation_error_code="number_taken",
                violation_error_message="This site already has a contract with this number.",
            ),
            models.CheckConstraint(
                condition=models.Q(ends_on__isnull=True)
                | models.Q(ends_on__gte=models.F("starts_on")),
                name="contract_ends_after_start",
                violation_error_message="The contract ends before it starts.",
            ),
        ]

    def __str__(self) -> str:
        return f"Contract {self.number}"


class ServiceLine(Record):
    """One recurring service: an RFC 5545 rule counted from ``first_on`` in the site's own zone.

    A changed rule never rewrites the past: the line gets a last day and a new line follows it.
    """

    contract = models.ForeignKey(Contract, on_delete=models.PROTECT, related_name="lines")
    kind = models.CharField(max_length=20, choices=VisitKind.choices, default=VisitKind.ROUTINE)
    title = models.CharField(max_length=120)
    rule = models.CharField("recurrence", max_length=200)
    first_on = models.DateField()
    last_on = models.DateField(null=True, blank=True)
    days_before = models.PositiveSmallIntegerField(
        default=3, validators=[MaxValueValidator(60)], help_text="How early counts as on time."
    )
    days_after = models.PositiveSmallIntegerField(
        default=3, validators=[MaxValueValidator(60)], help_text="How late counts as on time."
    )
    minutes = models.PositiveSmallIntegerField(
        default=45, validators=[MinValueValidator(5), MaxValueValidator(1440)]
    )
    competences = models.ManyToManyField(CompetenceKind, blank=True, related_name="lines")
    preferred_technician = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="preferred_lines"
    )
    price = models.DecimalField(
        "price of a visit",
        max_digits=9,
        decimal_places=2,
        default=0,
        validators=[MinValueValidator(0)],
    )
    follows = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="followed_by"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(last_on__isnull=True)
                | models.Q(last_on__gte=models.F("first_on")),
                name="line_ends_after_start",
                violation_error_message="The line ends before it starts.",
            ),
            # A form that is sent twice must not promise the same service twice.
            models.UniqueConstraint(
                "contract",
                Lower("title"),
                condition=models.Q(last_on__isnull=True),
                name="line_title_once_while_it_goes_on",
                violation_error_code="name_taken",
                violation_error_message="The contract has a service line of this title already.",
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def trail_site_id(self) -> UUID:
        return self.contract.site_id
