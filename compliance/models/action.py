"""What must change, whose move it is, by when, and the ways to do it."""

from decimal import Decimal
from uuid import UUID

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from accounts.models import User
from accounts.models.base import Record
from sites.models import Photo, Site, Zone
from visits.models import Finding, NotReached, RemedyKind, Visit, WhoseMove


class CorrectiveAction(Record):
    """``number`` counts within the site. Days are in the site's own zone.

    ``revision`` grows whenever what is to be decided changes, so that a decision names what it saw.
    """

    Kind = RemedyKind

    class State(models.TextChoices):
        RAISED = "raised", "Raised"
        PRICED = "priced", "Priced"
        DECIDED = "decided", "Decided"
        DONE = "done", "Done"
        CHECKED = "checked", "Checked"
        WITHDRAWN = "withdrawn", "Withdrawn"

    OPEN_STATES = (State.RAISED, State.PRICED, State.DECIDED, State.DONE)

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="actions")
    number = models.PositiveIntegerField()
    zone = models.ForeignKey(
        Zone, null=True, blank=True, on_delete=models.PROTECT, related_name="actions"
    )
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="raised_actions"
    )
    finding = models.OneToOneField(
        Finding, null=True, blank=True, on_delete=models.PROTECT, related_name="action"
    )
    not_reached = models.OneToOneField(
        NotReached, null=True, blank=True, on_delete=models.PROTECT, related_name="action"
    )
    kind = models.CharField(max_length=20, choices=RemedyKind.choices)
    title = models.CharField(max_length=160)
    detail = models.TextField(blank=True)
    whose_move = models.CharField(max_length=12, choices=WhoseMove.choices)
    state = models.CharField(max_length=10, choices=State.choices, default=State.RAISED)
    declined = models.BooleanField(
        default=False, help_text="Decided: the client turned it down and carries the risk."
    )
    due_on = models.DateField()
    revision = models.PositiveIntegerField(default=1)
    horizon_years = models.PositiveSmallIntegerField(
        default=5, validators=[MinValueValidator(1), MaxValueValidator(10)]
    )
    yearly_rate = models.DecimalField(
        "interest a year",
        max_digits=6,
        decimal_places=4,
        default=Decimal(0),
        help_text="As a fraction, as it held when the options were priced.",
    )
    yearly_growth = models.DecimalField(
        "price growth a year",
        max_digits=6,
        decimal_places=4,
        default=Decimal(0),
        help_text="As a fraction, as it held when the options were priced.",
    )
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    priced_at = models.DateTimeField(null=True, blank=True)
    priced_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    asked = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="actions_asked",
        help_text="The client's manager who is asked to decide; any manager of the site still may.",
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    done_note = models.TextField(blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The client's manager who accepted the work as it was reported done.",
    )
    checked_at = models.DateTimeField(null=True, blank=True)
    checked_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    check_note = models.TextField(blank=True)
    attempt = models.PositiveSmallIntegerField(
        default=1, help_text="Grows each time that work reported done is sent back."
    )
    reopened_at = models.DateTimeField(null=True, blank=True)
    reopened_reason = models.TextField(blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True)
    work_visit = models.OneToOneField(
        Visit,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="does_action",
        help_text="The visit that does the ordered work, the last that was planned for it.",
    )
    internal_note = models.TextField(blank=True, help_text="Never shown to the client.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "number"], name="action_number_once_per_site"),
            models.CheckConstraint(
                condition=~Q(state="withdrawn")
                | (~Q(withdrawn_reason="") & Q(withdrawn_at__isnull=False)),
                name="action_withdrawn_has_reason",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["done", "checked"]) | Q(done_at__isnull=False),
                name="action_done_has_instant",
            ),
            models.CheckConstraint(
                condition=Q(accepted_at=None, accepted_by=None)
                | (
                    Q(accepted_at__isnull=False)
                    & Q(accepted_by__isnull=False)
                    & Q(state__in=["done", "checked", "withdrawn"])
                ),
                name="action_accepted_is_done",
            ),
            models.CheckConstraint(
                condition=~Q(declined=True) | Q(state__in=["decided", "withdrawn"]),
                name="action_declined_is_decided",
            ),
            models.CheckConstraint(
                condition=Q(horizon_years__range=(1, 10))
                & Q(yearly_rate__gt=-1)
                & Q(yearly_growth__gt=-1),
                name="action_money_terms_make_sense",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "due_on"], name="action_state_due"),
            models.Index(fields=["site", "state"], name="action_site_state"),
        ]

    def __str__(self) -> str:
        return f"Action {self.number}: {self.title}"

    def get_absolute_url(self) -> str:
        return reverse("compliance:action", args=[self.pk])


class ActionOption(Record):
    """One way to answer an action. Money is in the company's currency.

    Low and high are given where the office knows no more than a range.
    """

    class Kind(models.TextChoices):
        LASTING = "lasting", "Lasting work"
        INTERIM = "interim", "Interim fix"
        CARRY_ON = "carry_on", "Carry on treating"
        NOTHING = "nothing", "Do nothing, knowingly"

    class Basis(models.TextChoices):
        """What an expected effect stands on."""

        OWN_HISTORY = "own_history", "Measured at sites of ours"
        ASSUMPTION = "assumption", "An assumption of the office"

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="options")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    description = models.TextField()
    cost_once = models.DecimalField(
        "cost now", max_digits=10, decimal_places=2, validators=[MinValueValidator(0)]
    )
    cost_monthly = models.DecimalField(
        "cost each month", max_digits=10, decimal_places=2, validators=[MinValueValidator(0)]
    )
    cost_once_low = models.DecimalField(null=True, blank=True, max_digits=10, decimal_places=2)
    cost_once_high = models.DecimalField(null=True, blank=True, max_digits=10, decimal_places=2)
    cost_monthly_low = models.DecimalField(null=True, blank=True, max_digits=10, decimal_places=2)
    cost_monthly_high = models.DecimalField(null=True, blank=True, max_digits=10, decimal_places=2)
    life_years = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How long it is expected to last."
    )
    life_years_low = models.PositiveSmallIntegerField(null=True, blank=True)
    life_years_high = models.PositiveSmallIntegerField(null=True, blank=True)
    effect_percent = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MaxValueValidator(100)],
        help_text="Share of the extra visits, treatments and call-outs that it is to save.",
    )
    effect_basis = models.CharField(max_length=12, choices=Basis.choices, blank=True)
    effect_words = models.TextField(blank=True, help_text="Why so much is expected.")
    remaining_risk = models.TextField(blank=True, help_text="What stays at risk.")
    working = models.JSONField(
        default=dict,
        blank=True,
        help_text="How its sums came about, line by line, as prices and counts stood that day.",
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["action", "position"],
                condition=Q(withdrawn_at__isnull=True),
                name="option_position_once",
            ),
            models.CheckConstraint(
                condition=Q(cost_once__gte=0) & Q(cost_monthly__gte=0),
                name="option_cost_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(cost_once_low=None, cost_once_high=None)
                | Q(
                    cost_once_low__isnull=False,
                    cost_once_high__isnull=False,
                    cost_once_low__gte=0,
                    cost_once_low__lte=F("cost_once"),
                    cost_once_high__gte=F("cost_once"),
                ),
                name="option_cost_once_within_range",
            ),
            models.CheckConstraint(
                condition=Q(cost_monthly_low=None, cost_monthly_high=None)
                | Q(
                    cost_monthly_low__isnull=False,
                    cost_monthly_high__isnull=False,
                    cost_monthly_low__gte=0,
                    cost_monthly_low__lte=F("cost_monthly"),
                    cost_monthly_high__gte=F("cost_monthly"),
                ),
                name="option_cost_monthly_within_range",
            ),
            models.CheckConstraint(
                condition=Q(life_years_low=None, life_years_high=None)
                | Q(
                    life_years_low__isnull=False,
                    life_years_high__isnull=False,
                    life_years__isnull=False,
                    life_years_low__gte=1,
                    life_years_low__lte=F("life_years"),
                    life_years_high__gte=F("life_years"),
                ),
                name="option_life_within_range",
            ),
            models.CheckConstraint(
                condition=Q(effect_percent=None, effect_basis="")
                | (Q(effect_percent__isnull=False, effect_percent__lte=100) & ~Q(effect_basis="")),
                name="option_effect_has_basis",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.description[:60]}"

    @property
    def trail_site_id(self) -> UUID:
        return self.action.site_id


class ActionPhoto(models.Model):
    """A photo that shows an action before or after the work.

    ``BEFORE`` is what was put to the client; ``START`` is what those who did the work found.
    ``attempt`` is the action's when the photo was put there.
    """

    class Moment(models.TextChoices):
        BEFORE = "before", "Before"
        START = "start", "At the start of"
        AFTER = "after", "After"

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="shown_by")
    photo = models.ForeignKey(Photo, on_delete=models.PROTECT, related_name="+")
    moment = models.CharField(max_length=6, choices=Moment.choices)
    attempt = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["action", "photo"], name="action_photo_once"),
        ]

    def __str__(self) -> str:
        return f"{self.get_moment_display()}: {self.photo}"


class ActionMessage(Record):
    """A question about an action, or the answer to one, between the client and the office."""

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="messages")
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    text = models.TextField()
    revision = models.PositiveIntegerField(help_text="What was before the client at that time.")
    asks = models.ForeignKey(
        User,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The manager whom this asks to decide: it waits for them, not for the office.",
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(text=""), name="action_message_has_text"),
        ]
        indexes = [models.Index(fields=["at"], name="action_message_at")]

    def __str__(self) -> str:
        return f"{self.by}: {self.text[:60]}"

    @property
    def trail_site_id(self) -> UUID:
        return self.action.site_id
