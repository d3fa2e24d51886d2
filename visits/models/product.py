"""A pesticide as its label states it."""

from django.db import models

from accounts.models.base import Record


class Product(Record):
    """What the label says, in short. The label and the safety data sheet themselves come first."""

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
    actives = models.CharField(
        max_length=300, help_text="Active ingredients with their strength, as on the label."
    )
    unit = models.CharField(max_length=2, choices=Unit.choices)
    permitted_places = models.TextField(blank=True)
    permitted_pests = models.TextField(blank=True)
    cautions = models.TextField(blank=True)
    re_entry = models.CharField(
        max_length=200, blank=True, help_text="When people may come back, as on the label."
    )
    safety_data_sheet_on = models.DateField(null=True, blank=True)
    authorised_until = models.DateField(null=True, blank=True)
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
