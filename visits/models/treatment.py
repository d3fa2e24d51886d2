"""One application of a product: what regulations ask a record of it to say."""

from datetime import datetime, timedelta
from uuid import UUID

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from accounts.models.base import Record
from sites.models import Checkpoint, Monitor, Zone
from visits.models.label import LabelRate, ProductLabel
from visits.models.pest import Pest
from visits.models.product import Product
from visits.models.visit import Visit


class Treatment(Record):
    """``amount`` is the amount of product itself, in ``unit``, never of what was mixed.

    ``product_amount`` is the same in the product's own unit (g or ml), for sums, and
    ``finished_amount`` what was mixed from it. Product, label version, applicator and licence are
    kept as they stood on the day. ``against_label`` holds what the record shows against the label
    or the rules, as it was judged when the visit closed: a list of
    ``{"code", "forbidden", "words"}``. ``rule_set`` to ``keep_until`` are what was made of the
    record that day; ``unsaid`` holds keys of ``visits.application_record``. The sealed words say
    the same.
    """

    class Method(models.TextChoices):
        GEL = "gel", "Gel placement"
        CRACK_AND_CREVICE = "crack_and_crevice", "Crack and crevice"
        SPOT = "spot", "Spot"
        DUST_BY_HAND = "dust_by_hand", "Dust by hand"
        DUST_HIGH_VOLUME = "dust_high_volume", "Dust, high volume"
        SPRAY = "spray", "Residual spray"
        EDGE_SPRAY = "edge_spray", "Residual edge spray"
        SPACE = "space", "Space treatment"
        BAIT_STATION = "bait_station", "Bait in stations"

    class AreaUnit(models.TextChoices):
        SQUARE_METRE = "m2", "m²"
        METRE = "m", "m"
        POINT = "points", "points"
        CUBIC_METRE = "m3", "m³"
        SQUARE_FOOT = "ft2", "ft²"
        SQUARE_YARD = "yd2", "yd²"
        FOOT = "ft", "ft"
        CUBIC_FOOT = "ft3", "ft³"

    class AmountUnit(models.TextChoices):
        MILLIGRAM = "mg", "mg"
        GRAM = "g", "g"
        KILOGRAM = "kg", "kg"
        OUNCE = "oz", "oz (weight)"
        POUND = "lb", "lb"
        MILLILITRE = "ml", "ml"
        LITRE = "l", "l"
        US_FLUID_OUNCE = "us_fl_oz", "US fl oz"
        US_GALLON = "us_gal", "US gal"
        IMPERIAL_FLUID_OUNCE = "imp_fl_oz", "imperial fl oz"
        IMPERIAL_GALLON = "imp_gal", "imperial gal"

    class Surface(models.TextChoices):
        OPEN_SURFACE = "open_surface", "Open surface"
        CRACK = "crack", "Crack or crevice"
        BEHIND_PLATE = "behind_plate", "Behind a wall-fixed plate"
        SHELF_GAP = "shelf_gap", "Gap at a shelf"
        EQUIPMENT = "equipment", "In or under equipment"
        VOID = "void", "Void"
        FLOOR_EDGE = "floor_edge", "Edge of the floor"
        THRESHOLD = "threshold", "Door threshold"
        DRAIN = "drain", "Drain"
        OUTSIDE_WALL = "outside_wall", "Outside wall"
        LIGHTS = "lights", "Outside lights"
        STATION = "station", "Locked station"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="treatments")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="treatments")
    checkpoint = models.ForeignKey(
        Checkpoint, null=True, blank=True, on_delete=models.PROTECT, related_name="treatments"
    )
    monitor = models.ForeignKey(
        Monitor,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="treatments",
        help_text="The numbered point at which bait was laid.",
    )
    position = models.PositiveSmallIntegerField(
        default=1, help_text="The order in which places were treated on this visit."
    )
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="treatments")
    label = models.ForeignKey(
        ProductLabel,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="treatments",
        help_text="The version in force that day.",
    )
    rate = models.ForeignKey(
        LabelRate,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="treatments",
        help_text="The line of the label that the amount was worked out by.",
    )
    product_name = models.CharField(max_length=120)
    registration_number = models.CharField(max_length=60)
    actives = models.CharField(max_length=300)
    batch_number = models.CharField(max_length=60, blank=True)
    target = models.ForeignKey(Pest, on_delete=models.PROTECT, related_name="+")
    method = models.CharField(max_length=20, choices=Method.choices)
    equipment = models.CharField(max_length=120, blank=True)
    place = models.CharField(max_length=200, help_text="The place treated, in words.")
    situation = models.CharField(
        max_length=120, blank=True, help_text="What kind of surface or commodity it is."
    )
    surface = models.CharField(max_length=14, choices=Surface.choices, blank=True)
    amount = models.DecimalField(max_digits=12, decimal_places=4, validators=[MinValueValidator(0)])
    unit = models.CharField(max_length=10, choices=AmountUnit.choices)
    product_amount = models.DecimalField(
        max_digits=16,
        decimal_places=6,
        null=True,
        blank=True,
        help_text="The same in the product's own unit; nothing if that cannot be worked out.",
    )
    finished_amount = models.DecimalField(
        "finished spray", max_digits=12, decimal_places=4, null=True, blank=True
    )
    finished_unit = models.CharField(max_length=10, choices=AmountUnit.choices, blank=True)
    dilution = models.CharField("rate or dilution", max_length=120, blank=True)
    area = models.DecimalField(
        max_digits=12, decimal_places=4, null=True, blank=True, validators=[MinValueValidator(0)]
    )
    area_unit = models.CharField(max_length=6, choices=AreaUnit.choices, blank=True)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    outdoors = models.BooleanField(default=False)
    wind_speed = models.DecimalField(
        "wind speed, km/h", max_digits=5, decimal_places=1, null=True, blank=True
    )
    wind_direction = models.CharField(max_length=20, blank=True)
    weather = models.CharField(max_length=120, blank=True)
    precautions = models.TextField(blank=True, help_text="What people at the site were told.")
    cautions_confirmed = models.JSONField(default=list, blank=True)
    re_entry = models.CharField(max_length=200, blank=True)
    explanation = models.TextField(
        blank=True, help_text="Why it was done although the label does not allow it."
    )
    against_label = models.JSONField(default=list, blank=True)
    was_forbidden = models.BooleanField(
        default=False,
        help_text="Whether any of what the record shows was forbidden; so that it is found fast.",
    )
    applicator_name = models.CharField(max_length=120)
    applicator_licence = models.CharField(max_length=120, blank=True)
    supervised_person = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)
    received_at = models.DateTimeField(
        null=True, blank=True, help_text="When the record first reached us."
    )
    rule_set = models.CharField(
        max_length=40, blank=True, help_text="The rules by which the record was judged at closing."
    )
    unsaid = models.JSONField(
        default=list, blank=True, help_text="What those rules ask for and it leaves out."
    )
    is_incomplete = models.BooleanField(
        default=False, help_text="Whether anything is unsaid; so that it is found fast."
    )
    made_late = models.BooleanField(
        default=False, help_text="Whether it reached us after the deadline of those rules."
    )
    keep_until = models.DateField(
        null=True, blank=True, help_text="The last day on which those rules ask to have it."
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="treatment_amount_positive"),
            models.CheckConstraint(
                condition=Q(area__isnull=True) | ~Q(area_unit=""),
                name="treatment_area_has_unit",
            ),
            models.CheckConstraint(
                condition=Q(finished_amount__isnull=True)
                | (Q(finished_amount__gt=0) & ~Q(finished_unit="")),
                name="treatment_finished_has_unit",
            ),
            models.CheckConstraint(
                condition=Q(product_amount__isnull=True) | Q(product_amount__gt=0),
                name="treatment_product_amount_positive",
            ),
        ]
        indexes = [
            models.Index(fields=["started_at", "id"], name="treatment_by_instant"),
            models.Index(fields=["product", "batch_number"], name="treatment_of_batch"),
            models.Index(
                fields=["visit"], condition=Q(was_forbidden=True), name="treatment_forbidden"
            ),
            models.Index(fields=["product", "started_at", "id"], name="treatment_of_product"),
            models.Index(fields=["target", "started_at", "id"], name="treatment_of_pest"),
            models.Index(
                fields=["started_at", "id"],
                condition=Q(is_incomplete=True),
                name="treatment_incomplete",
            ),
            models.Index(
                fields=["started_at", "id"],
                condition=Q(was_forbidden=True),
                name="treatment_forbidden_at",
            ),
            models.Index(
                fields=["started_at", "id"],
                condition=Q(made_late=True),
                name="treatment_made_late",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product_name} in {self.zone}"

    @property
    def re_entry_at(self) -> datetime | None:
        """From when people may come back by the label's minutes; needs the label at hand."""
        if self.label is None or self.label.re_entry_minutes is None:
            return None
        done = self.finished_at or self.started_at
        return done + timedelta(minutes=self.label.re_entry_minutes)

    @property
    def trail_site_id(self) -> UUID:
        return self.visit.site_id
