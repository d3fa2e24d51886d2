"""One application of a product: what regulations ask a record of it to say."""

from uuid import UUID

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from accounts.models.base import Record
from sites.models import Checkpoint, Monitor, Zone
from visits.models.pest import Pest
from visits.models.product import Product
from visits.models.visit import Visit


class Treatment(Record):
    """``amount`` is the amount of product itself, in the product's unit, never of what was mixed.

    Product, applicator and licence are also kept as words as they stood on the day.
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
    amount = models.DecimalField(max_digits=9, decimal_places=2, validators=[MinValueValidator(0)])
    unit = models.CharField(max_length=2, choices=Product.Unit.choices)
    dilution = models.CharField("rate or dilution", max_length=120, blank=True)
    area = models.DecimalField(
        max_digits=9, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(0)]
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
    applicator_name = models.CharField(max_length=120)
    applicator_licence = models.CharField(max_length=120, blank=True)
    supervised_person = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="treatment_amount_positive"),
            models.CheckConstraint(
                condition=Q(area__isnull=True) | ~Q(area_unit=""),
                name="treatment_area_has_unit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product_name} in {self.zone}"

    @property
    def trail_site_id(self) -> UUID:
        return self.visit.site_id
