"""Parts of a site that are inspected as one, and the places in them that are looked at."""

from uuid import UUID

from django.db import models
from django.db.models.functions import Lower

from accounts.models.base import Record
from sites.models.plan import SitePlan
from sites.models.site import Site


class Boundary(models.TextChoices):
    WITHIN = "within", "Within our remit"
    SHARED = "shared", "Shared"
    OUTSIDE = "outside", "Outside our remit"


class Height(models.TextChoices):
    LOW = "low", "Low"
    REACH = "reach", "Reach"
    OVERHEAD = "overhead", "Overhead"


class Zone(Record):
    """``outline`` is a list of [x, y] corners, fractions (0 to 1) of the plan's sides."""

    class Kind(models.TextChoices):
        KITCHEN = "kitchen", "Kitchen"
        WASH_UP = "wash_up", "Wash-up"
        BAR = "bar", "Bar"
        DINING = "dining", "Dining room"
        OUTDOOR_DINING = "outdoor_dining", "Outdoor dining"
        DRY_STORE = "dry_store", "Dry store"
        COLD_STORE = "cold_store", "Cold store"
        CELLAR = "cellar", "Cellar"
        PRODUCTION = "production", "Production area"
        SHOP_FLOOR = "shop_floor", "Shop floor"
        DELIVERY = "delivery", "Delivery door"
        WASTE = "waste", "Waste area"
        PLANT_ROOM = "plant_room", "Plant room"
        ROOF_VOID = "roof_void", "Roof void"
        PERIMETER = "perimeter", "Perimeter"
        STAFF = "staff", "Staff rooms"
        TOILETS = "toilets", "Toilets"
        OTHER = "other", "Other"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="zones")
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    walk_order = models.PositiveSmallIntegerField(default=0)
    boundary = models.CharField(max_length=10, choices=Boundary.choices, default=Boundary.WITHIN)
    boundary_note = models.CharField(
        max_length=300, blank=True, help_text="What part is shared or outside, and whose it is."
    )
    plan = models.ForeignKey(
        SitePlan, null=True, blank=True, on_delete=models.SET_NULL, related_name="zones"
    )
    outline = models.JSONField(default=list, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "site",
                Lower("name"),
                name="zone_name_once_per_site",
                violation_error_code="name_taken",
                violation_error_message="This site has, or had, a zone with this name.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Checkpoint(Record):
    """A place in a zone that is looked at on every walk, at one of three heights."""

    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="checkpoints")
    height = models.CharField(max_length=10, choices=Height.choices)
    label = models.CharField(max_length=120)
    walk_order = models.PositiveSmallIntegerField(default=0)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "zone",
                Lower("label"),
                name="checkpoint_once_per_zone",
                violation_error_code="label_taken",
                violation_error_message="This zone has a checkpoint with these words.",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def trail_site_id(self) -> UUID:
        return self.zone.site_id
