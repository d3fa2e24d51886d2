"""What was agreed for a site, and each recurring service within it."""

from uuid import UUID

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower

from accounts.models import CompetenceKind, User
from accounts.models.base import Record
from sites.models.site import Site

MOST_RULE_DAYS = 365
RULE_DAYS = [MinValueValidator(1), MaxValueValidator(MOST_RULE_DAYS)]


class VisitKind(models.TextChoices):
    ROUTINE = "routine", "Routine inspection"
    FOLLOW_UP = "follow_up", "Follow-up"
    CALL_OUT = "call_out", "Call-out"
    SURVEY = "survey", "In-depth survey"
    PROOFING = "proofing", "Proofing"


class Contract(Record):
    """Prices are in the company's currency and are never shown to other clients.

    Days of reminders and escalation are counted on the site's own calendar, from the day on which
    somebody was asked to decide. Without them nobody is reminded.
    """

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
    remind_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=RULE_DAYS,
        help_text="Whoever is asked to decide is reminded after so many days; empty for never.",
    )
    remind_every_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=RULE_DAYS,
        help_text="And then every so many days until it is decided; empty for once only.",
    )
    escalate_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=RULE_DAYS,
        help_text="After so many days without a decision one more person is told.",
    )
    escalate_to = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="A manager of the client, or a person of the office, who sees the site.",
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
            models.CheckConstraint(
                condition=(
                    models.Q(remind_days=None) | models.Q(remind_days__range=(1, MOST_RULE_DAYS))
                )
                & (
                    models.Q(remind_every_days=None)
                    | models.Q(remind_every_days__range=(1, MOST_RULE_DAYS))
                )
                & (
                    models.Q(escalate_days=None)
                    | models.Q(escalate_days__range=(1, MOST_RULE_DAYS))
                ),
                name="contract_rule_days_within_a_year",
                violation_error_message="Days of reminders and escalation go from 1 to 365.",
            ),
            models.CheckConstraint(
                condition=models.Q(remind_every_days=None) | models.Q(remind_days__isnull=False),
                name="contract_first_reminder_comes_first",
                violation_error_code="first_reminder_missing",
                violation_error_message="Say first after how many days the first reminder goes.",
            ),
            models.CheckConstraint(
                condition=models.Q(escalate_days=None, escalate_to=None)
                | models.Q(escalate_days__isnull=False, escalate_to__isnull=False),
                name="contract_escalates_to_somebody",
                violation_error_code="escalation_half_said",
                violation_error_message=(
                    "Say both after how many days without a decision somebody is told, and who."
                ),
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
