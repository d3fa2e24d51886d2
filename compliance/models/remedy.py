"""The company's price list: what it does about findings, and what one unit of that costs."""

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from accounts.models.base import Record
from visits.models import Finding


class Remedy(Record):
    """Prices are of one unit in the company's currency; without one it cannot be used in a draft.

    Low and high are given where no more than a range is known. ``slug`` never changes, so that one
    of the usual remedies is known again. ``finding_kinds`` and ``remedy_kinds`` say what it
    answers; empty: anything. It is changed in place: what was worked out keeps its lines as they
    were.
    """

    class Unit(models.TextChoices):
        METRE = "metre", "metre"
        SQUARE_METRE = "square_metre", "m²"
        HOLE = "hole", "hole"
        DOOR = "door", "door"
        TILE = "tile", "tile"
        PIECE = "piece", "piece"
        HOUR = "hour", "hour"

    class Holds(models.TextChoices):
        LASTING = "lasting", "Lasting work"
        INTERIM = "interim", "For the time being"
        LABOUR = "labour", "Labour, within any work"

    slug = models.SlugField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    unit = models.CharField(max_length=12, choices=Unit.choices)
    holds = models.CharField(max_length=7, choices=Holds.choices)
    price = models.DecimalField(
        null=True, blank=True, max_digits=9, decimal_places=2, validators=[MinValueValidator(0)]
    )
    price_low = models.DecimalField(null=True, blank=True, max_digits=9, decimal_places=2)
    price_high = models.DecimalField(null=True, blank=True, max_digits=9, decimal_places=2)
    minutes = models.PositiveSmallIntegerField(
        default=0, help_text="Labour for one unit; nothing for labour itself."
    )
    life_years = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How long it is expected to last; empty: as the building."
    )
    life_years_low = models.PositiveSmallIntegerField(null=True, blank=True)
    life_years_high = models.PositiveSmallIntegerField(null=True, blank=True)
    basis = models.CharField(
        max_length=300, help_text="Where the way of working and its life are from."
    )
    finding_kinds = models.JSONField(default=list, blank=True)
    remedy_kinds = models.JSONField(default=list, blank=True)
    cautions = models.TextField(blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "remedies"
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                condition=Q(ended_at__isnull=True),
                name="remedy_name_once_while_offered",
                violation_error_code="name_taken",
                violation_error_message="The price list has a remedy of this name already.",
            ),
            models.UniqueConstraint(
                fields=["holds"],
                condition=Q(holds="labour", ended_at__isnull=True),
                name="remedy_labour_once_while_offered",
                violation_error_code="name_taken",
                violation_error_message="The price list has a price of labour already; change it.",
            ),
            models.CheckConstraint(
                condition=Q(price__isnull=True, price_low=None, price_high=None)
                | Q(price__gte=0, price_low=None, price_high=None)
                | Q(
                    # A comparison with what is not there is no "no" to a database.
                    price__isnull=False,
                    price_low__isnull=False,
                    price_high__isnull=False,
                    price_low__gte=0,
                    price_low__lte=F("price"),
                    price_high__gte=F("price"),
                ),
                name="remedy_price_within_range",
                violation_error_message="Give the price as its lowest, likely and highest, in "
                "this order, or leave lowest and highest out.",
            ),
            models.CheckConstraint(
                condition=Q(life_years=None, life_years_low=None, life_years_high=None)
                | Q(life_years__gte=1, life_years_low=None, life_years_high=None)
                | Q(
                    life_years__isnull=False,
                    life_years_low__isnull=False,
                    life_years_high__isnull=False,
                    life_years_low__gte=1,
                    life_years_low__lte=F("life_years"),
                    life_years_high__gte=F("life_years"),
                ),
                name="remedy_life_within_range",
                violation_error_message="Give the life as its shortest, likely and longest, in "
                "this order, or leave shortest and longest out.",
            ),
            models.CheckConstraint(
                condition=~Q(holds="labour") | Q(unit="hour", minutes=0, life_years=None),
                name="remedy_labour_is_hours",
                violation_error_message="Labour is priced by the hour; it has no life of its own "
                "and takes no labour.",
            ),
            models.CheckConstraint(
                condition=~Q(basis="") & ~Q(name=""), name="remedy_has_name_and_basis"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def answers_words(self) -> str:
        """Which kinds of findings it answers."""
        kinds = [str(Finding.Kind(kind).label) for kind in self.finding_kinds]
        return ", ".join(kinds) or "Any finding"
