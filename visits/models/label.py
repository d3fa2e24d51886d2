"""What the label of a product states, version by version, and its lines of rates."""

from collections.abc import Mapping

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from accounts.models import User
from accounts.models.base import Record
from sites.models import Document
from visits.dosing.label import BASIS_WORDS

_BASIS_WORDS: Mapping[str, str] = {str(basis): words for basis, words in BASIS_WORDS.items()}


class PlaceKind(models.TextChoices):
    """The sorts of places that labels tell apart."""

    INDOORS = "indoors", "Indoors"
    FOOD_PREMISES = "food_premises", "Food premises"
    VOIDS = "voids", "Voids and cracks"
    OUTDOORS = "outdoors", "Outdoors"
    DRAINS = "drains", "Drains"
    STATIONS = "stations", "Locked stations"


class MeasureUnit(models.TextChoices):
    """The units in which amounts and places are measured. The names go into seals."""

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
    METRE = "m", "m"
    FOOT = "ft", "ft"
    SQUARE_METRE = "m2", "m²"
    SQUARE_FOOT = "ft2", "ft²"
    SQUARE_YARD = "yd2", "yd²"
    CUBIC_METRE = "m3", "m³"
    CUBIC_FOOT = "ft3", "ft³"
    POINTS = "points", "points"


def active_words(active: Mapping[str, str]) -> str:
    """One active ingredient as people read it: “permethrin 0.5 % w/w”."""
    basis = active.get("basis", "")
    told = (active["name"], active.get("strength", ""), _BASIS_WORDS.get(basis, basis))
    return " ".join(part for part in told if part)


class ProductLabel(Record):
    """One version of a label. Once a treatment was made by it, it is never changed.

    Whatever a label states anew is a new version beside it. ``actives`` is a list of ``{"name",
    "strength", "basis"}``, the strength as text so that no digit is lost. ``pests`` holds slugs of
    pests and ``pest_groups`` of groups; where both are empty the register does not say. ``places``
    holds ``PlaceKind`` words, ``methods`` those of ``Treatment.Method``. ``density`` is in kg/l of
    the product as bought.
    """

    product = models.ForeignKey("visits.Product", on_delete=models.PROTECT, related_name="labels")
    number = models.PositiveSmallIntegerField(help_text="Counts the versions of one product.")
    issued_on = models.DateField("date of the label", null=True, blank=True)
    in_force_from = models.DateField()
    actives = models.JSONField(default=list, blank=True)
    density = models.DecimalField(
        "density, kg/l",
        max_digits=8,
        decimal_places=4,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    ready_to_use = models.BooleanField(default=False)
    pests = models.JSONField(default=list, blank=True)
    pest_groups = models.JSONField(default=list, blank=True)
    permitted_pests = models.TextField(blank=True, help_text="As the label words it.")
    places = models.JSONField(default=list, blank=True)
    permitted_places = models.TextField(blank=True, help_text="As the label words it.")
    methods = models.JSONField(default=list, blank=True)
    interval_days = models.PositiveSmallIntegerField(
        "days between applications, at least", null=True, blank=True
    )
    most_a_year = models.PositiveSmallIntegerField(
        "applications in a year, at most", null=True, blank=True
    )
    re_entry_minutes = models.PositiveIntegerField(
        null=True, blank=True, validators=[MaxValueValidator(14 * 24 * 60)]
    )
    re_entry = models.CharField(
        max_length=200, blank=True, help_text="When people may come back, as on the label."
    )
    wind_most_kmh = models.DecimalField(
        "wind at most, km/h", max_digits=5, decimal_places=1, null=True, blank=True
    )
    names_weather = models.BooleanField(
        "the label names temperature, humidity or rain", default=False
    )
    cautions = models.TextField(blank=True)
    authorised_until = models.DateField(null=True, blank=True)
    safety_data_sheet_on = models.DateField("date of the safety data sheet", null=True, blank=True)
    label_file = models.ForeignKey(
        Document, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    sheet_file = models.ForeignKey(
        Document, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    entered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["product", "number"], name="label_number_once"),
            models.CheckConstraint(
                condition=Q(density__isnull=True) | Q(density__gt=0), name="label_density_positive"
            ),
            models.CheckConstraint(
                condition=Q(most_a_year__isnull=True) | Q(most_a_year__gt=0),
                name="label_yearly_count_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"Label {self.number}"

    @property
    def actives_words(self) -> str:
        """The active ingredients with their strength, on one line."""
        return "; ".join(active_words(one) for one in self.actives)


class LabelRate(Record):
    """One line of rates: so much for so much of a place, or of finished spray.

    ``most`` and ``least`` are amounts in ``unit`` for ``per_amount`` of ``per_unit``: of the
    product as bought, or of one active ingredient. ``cover`` says how much finished spray goes over
    a place. ``methods`` and ``places`` narrow it; empty: wherever the label permits.
    """

    class Per(models.TextChoices):
        AREA = "area", "An area"
        LENGTH = "length", "A length"
        VOID = "void", "A void's volume"
        POINT = "point", "A spot, point or station"
        FINISHED = "finished", "A volume of finished spray"

    class Of(models.TextChoices):
        PRODUCT = "product", "The product"
        ACTIVE = "active", "An active ingredient"

    label = models.ForeignKey(ProductLabel, on_delete=models.PROTECT, related_name="rates")
    position = models.PositiveSmallIntegerField(default=1)
    per = models.CharField(max_length=10, choices=Per.choices)
    of = models.CharField(max_length=8, choices=Of.choices, default=Of.PRODUCT)
    active = models.CharField(max_length=80, blank=True)
    least = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    most = models.DecimalField(max_digits=14, decimal_places=6)
    unit = models.CharField(max_length=10, choices=MeasureUnit.choices)
    per_amount = models.DecimalField(max_digits=14, decimal_places=6, default=1)
    per_unit = models.CharField(max_length=10, choices=MeasureUnit.choices)
    cover_amount = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    cover_unit = models.CharField(max_length=10, choices=MeasureUnit.choices, blank=True)
    cover_per_amount = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    cover_per_unit = models.CharField(max_length=10, choices=MeasureUnit.choices, blank=True)
    methods = models.JSONField(default=list, blank=True)
    places = models.JSONField(default=list, blank=True)
    words = models.CharField(max_length=200, blank=True, help_text="As the label words it.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["label", "position"], name="rate_position_once"),
            models.CheckConstraint(condition=Q(most__gt=0), name="rate_most_positive"),
            models.CheckConstraint(
                condition=Q(least__isnull=True) | Q(least__gt=0, least__lte=F("most")),
                name="rate_least_up_to_most",
            ),
            models.CheckConstraint(condition=Q(per_amount__gt=0), name="rate_per_amount_positive"),
            models.CheckConstraint(
                condition=Q(
                    cover_amount__isnull=True,
                    cover_unit="",
                    cover_per_amount__isnull=True,
                    cover_per_unit="",
                )
                | (
                    Q(cover_amount__gt=0, cover_per_amount__gt=0)
                    & ~Q(cover_unit="")
                    & ~Q(cover_per_unit="")
                ),
                name="rate_cover_whole_or_none",
            ),
        ]

    def __str__(self) -> str:
        return self.words or f"Rate {self.position}"
