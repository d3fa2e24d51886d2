"""The pests that readings, findings and treatments name."""

from django.db import models

from accounts.models.base import Record

BAIT_TAKEN = "rodent-take"
"""Bait taken by rodents that nobody saw: a count of its own, one for each reading that found it."""

COUNTED_ONLY = frozenset({BAIT_TAKEN})
"""Slugs that only counts have. Nobody chooses them, and no record of a visit may name them."""


class NamedPests(models.Manager["Pest"]):
    """The pests that people and programs name."""

    def get_queryset(self) -> models.QuerySet["Pest"]:
        return super().get_queryset().exclude(slug__in=COUNTED_ONLY)


class Pest(Record):
    """``slug`` is what exports and seals carry; it is never renamed.

    ``objects`` are those to be named; ``counted`` has besides those that only counts are of.
    """

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

    objects = NamedPests()
    counted = models.Manager["Pest"]()

    def __str__(self) -> str:
        return self.name
