"""The pests that readings, findings and treatments name."""

from django.db import models

from accounts.models.base import Record


class Pest(Record):
    """``slug`` is what exports and seals carry; it is never renamed."""

    class Group(models.TextChoices):
        COCKROACH = "cockroach", "Cockroaches"
        RODENT = "rodent", "Rodents"
        FLY = "fly", "Flies"
        STORED_PRODUCT = "stored_product", "Stored-product insects"
        ANT = "ant", "Ants"
        BIRD = "bird", "Birds"
        OTHER = "other", "Other"

    slug = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    group = models.CharField(max_length=20, choices=Group.choices)

    def __str__(self) -> str:
        return self.name
