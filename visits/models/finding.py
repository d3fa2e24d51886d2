"""Something seen on a walk, and what is recommended about it."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from accounts.models.base import Record
from sites.models import Checkpoint, Height, Photo, Zone
from visits.models.pest import Pest
from visits.models.visit import Visit


class RemedyKind(models.TextChoices):
    """The kinds of corrective action."""

    PROOFING = "proofing", "Proofing"
    HOUSEKEEPING = "housekeeping", "Housekeeping"
    ACCESS = "access", "Access"
    REPAIR = "repair", "Repair"
    TREATMENT_FOLLOW_UP = "treatment_follow_up", "Treatment follow-up"
    ADVICE = "advice", "Advice"


class WhoseMove(models.TextChoices):
    CLIENT = "client", "The client"
    US = "us", "Us"
    THIRD_PARTY = "third_party", "Somebody else"


class Finding(Record):
    """``x`` and ``y`` are fractions (0 to 1) on the zone's plan, from the top left."""

    class Kind(models.TextChoices):
        LIVE_PESTS = "live_pests", "Live pests"
        SIGNS = "signs", "Signs of pests"
        HARBOURAGE = "harbourage", "Harbourage"
        ENTRY_POINT = "entry_point", "Entry point"
        CONDUCIVE = "conducive", "Conducive condition"

    class Urgency(models.TextChoices):
        LOW = "low", "When convenient"
        SOON = "soon", "Soon"
        NOW = "now", "At once"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="findings")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="findings")
    checkpoint = models.ForeignKey(
        Checkpoint, null=True, blank=True, on_delete=models.PROTECT, related_name="findings"
    )
    height = models.CharField(max_length=10, choices=Height.choices, blank=True)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    pest = models.ForeignKey(
        Pest, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    count = models.PositiveIntegerField(null=True, blank=True)
    urgency = models.CharField(max_length=6, choices=Urgency.choices, default=Urgency.SOON)
    note = models.TextField(blank=True)
    place = models.CharField(max_length=160, blank=True)
    remedy_kind = models.CharField(max_length=20, choices=RemedyKind.choices, blank=True)
    remedy = models.TextField(blank=True, help_text="What is recommended.")
    whose_move = models.CharField(max_length=12, choices=WhoseMove.choices, blank=True)
    x = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1)]
    )
    y = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1)]
    )
    awaits = models.JSONField(
        default=list,
        blank=True,
        help_text="Hashes (SHA-256, as sent) of photos that were taken and have not arrived.",
    )
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(remedy_kind="") | ~models.Q(whose_move=""),
                name="finding_remedy_has_owner",
                violation_error_message="Say whose move the remedy is.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} in {self.zone}"


class FindingPhoto(models.Model):
    """A photo that shows a finding."""

    finding = models.ForeignKey(Finding, on_delete=models.CASCADE, related_name="shown_by")
    photo = models.ForeignKey(Photo, on_delete=models.PROTECT, related_name="shows")
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["finding", "photo"], name="finding_photo_once"),
        ]

    def __str__(self) -> str:
        return f"{self.photo} of {self.finding}"
