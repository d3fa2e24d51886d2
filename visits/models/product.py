"""A pesticide on the register; what its label states stands in the versions of the label."""

from django.db import models

from accounts.models.base import Record


class Product(Record):
    """What stays the same from one version of its label to the next; ``label`` is that in force.

    ``unit`` is the product's own (g or ml): stock, sums and comparisons are kept in it. The label
    and the safety data sheet themselves come before anything that is held here.
    """

    class Formulation(models.TextChoices):
        GEL = "gel", "Gel"
        DUST = "dust", "Dust"
        LIQUID = "liquid", "Liquid spray"
        AEROSOL = "aerosol", "Aerosol"
        BAIT_BLOCK = "bait_block", "Bait block"
        BAIT_PASTE = "bait_paste", "Bait paste"
        GRANULE = "granule", "Granule"
        OTHER = "other", "Other"

    class Unit(models.TextChoices):
        GRAM = "g", "g"
        MILLILITRE = "ml", "ml"

    name = models.CharField("full label name", max_length=120)
    registration_number = models.CharField(max_length=60)
    authority = models.CharField("registered with", max_length=80, blank=True)
    formulation = models.CharField(max_length=12, choices=Formulation.choices)
    unit = models.CharField(max_length=2, choices=Unit.choices)
    label = models.ForeignKey(
        "visits.ProductLabel",
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The version in force.",
    )
    found_by = models.TextField(
        default="",
        blank=True,
        help_text="What a search looks through, in lower case: names, numbers, actives, pests.",
    )
    is_demo = models.BooleanField(
        default=False, help_text="Invented for demonstration; never to be used as dosing advice."
    )
    withdrawn_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["name", "registration_number"], name="product_registration_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name
