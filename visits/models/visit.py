"""One attendance at a site, from planned to closed."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from accounts.models import User
from accounts.models.base import Record
from sites.models import ServiceLine, Site, VisitKind


class Visit(Record):
    """Days are dates in the site's own zone; instants end in ``_at`` and are UTC.

    A visit of a service line is known by the line and ``occurrence_on``, the date that the rule
    gives; ``due_on`` may differ from it where a holiday moved the day. ``version`` grows with every
    change, so that a phone can say what it saw.
    """

    Kind = VisitKind

    class State(models.TextChoices):
        PLANNED = "planned", "Planned"
        BOOKED = "booked", "Booked"
        UNDER_WAY = "under_way", "Under way"
        CLOSED = "closed", "Closed"
        CALLED_OFF = "called_off", "Called off"
        MISSED = "missed", "Missed"

    OPEN_STATES = (State.PLANNED, State.BOOKED, State.UNDER_WAY)

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    line = models.ForeignKey(
        ServiceLine, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    kind = models.CharField(max_length=20, choices=VisitKind.choices)
    state = models.CharField(max_length=12, choices=State.choices, default=State.PLANNED)
    state_reason = models.CharField(max_length=300, blank=True)
    follows = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="followed_by"
    )

    # When it is due.
    occurrence_on = models.DateField(null=True, blank=True)
    due_on = models.DateField()
    opens_on = models.DateField(help_text="First day that counts as on time.")
    closes_on = models.DateField(help_text="Last day that counts as on time.")
    moved_by_hand = models.BooleanField(
        default=False, help_text="The office set its days; the rule no longer moves them."
    )

    # A call-out.
    reported_at = models.DateTimeField(null=True, blank=True)
    respond_by = models.DateTimeField(null=True, blank=True)
    reported_problem = models.TextField(blank=True)
    reported_by = models.CharField(max_length=120, blank=True)

    # When it is booked.
    technician = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    booked_on = models.DateField(null=True, blank=True)
    booked_at_time = models.TimeField(null=True, blank=True, help_text="Local time at the site.")
    minutes = models.PositiveSmallIntegerField(
        default=45, validators=[MinValueValidator(5), MaxValueValidator(1440)]
    )
    office_note = models.TextField(
        blank=True, help_text="For the technician; never for the client."
    )

    # When it happens.
    started_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField(
        null=True, blank=True, help_text="When the closing reached the server."
    )
    minutes_on_site = models.PositiveIntegerField(
        null=True, blank=True, help_text="Between start and closing, or as corrected."
    )
    minutes_reason = models.CharField(
        max_length=300, blank=True, help_text="Why the minutes are not those between the two."
    )
    summary = models.TextField(blank=True)
    contact_name = models.CharField(max_length=120, blank=True)
    contact_job_title = models.CharField(max_length=80, blank=True)
    signature = models.JSONField(
        null=True, blank=True, help_text="Pen strokes: lists of [x, y] points from 0 to 1."
    )
    signature_typed = models.CharField(max_length=120, blank=True)
    no_signature_reason = models.CharField(max_length=300, blank=True)

    coverage = models.JSONField(
        default=dict,
        blank=True,
        editable=False,
        help_text="How many places were due and looked at, counted when it was closed.",
    )

    # What proves it. ``sealed_record`` is the exact text whose chained hash is ``seal``.
    sealed_record = models.TextField(blank=True, editable=False)
    seal = models.CharField(max_length=64, blank=True, editable=False)
    previous_seal = models.CharField(max_length=64, blank=True, editable=False)
    seal_number = models.PositiveIntegerField(null=True, blank=True, editable=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["line", "occurrence_on"], name="visit_once_per_occurrence"
            ),
            models.UniqueConstraint(fields=["site", "seal_number"], name="visit_seal_number_once"),
            models.CheckConstraint(
                condition=Q(opens_on__lte=F("due_on")) & Q(closes_on__gte=F("due_on")),
                name="visit_due_within_window",
                violation_error_message="The due day lies outside its own window.",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed")
                | (Q(closed_at__isnull=False) & ~Q(seal="") & Q(seal_number__isnull=False)),
                name="visit_closed_has_seal",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["booked", "under_way", "closed"])
                | Q(technician__isnull=False, booked_on__isnull=False),
                name="visit_booked_has_technician_and_day",
            ),
            models.CheckConstraint(
                condition=Q(minutes_reason="") | Q(minutes_on_site__isnull=False),
                name="visit_minutes_reason_has_minutes",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["called_off", "missed"]) | ~Q(state_reason=""),
                name="visit_off_has_reason",
            ),
            models.CheckConstraint(
                condition=~Q(kind="call_out")
                | Q(reported_at__isnull=False, respond_by__isnull=False),
                name="visit_call_out_has_deadline",
            ),
        ]
        indexes = [
            models.Index(fields=["site", "due_on"], name="visit_site_due"),
            models.Index(fields=["technician", "booked_on"], name="visit_technician_day"),
            models.Index(fields=["state", "closes_on"], name="visit_state_closes"),
            models.Index(fields=["due_on"], name="visit_due"),
            # The newest closed visit of a site, which several pages ask for, site by site.
            models.Index(fields=["site", "state", "closed_at"], name="visit_site_closed"),
        ]

    def __str__(self) -> str:
        day = self.booked_on or self.due_on
        return f"{self.get_kind_display()} {day:%-d %b %Y}"

    def get_absolute_url(self) -> str:
        return reverse("visits:visit", args=[self.pk])

    @property
    def is_open(self) -> bool:
        return self.state in self.OPEN_STATES

    @property
    def beside_window(self) -> str:
        """How the day booked misses the due window: early, late, or nothing."""
        if self.booked_on is None or self.opens_on <= self.booked_on <= self.closes_on:
            return ""
        return "early" if self.booked_on < self.opens_on else "late"
