"""Packs of a product by batch, what was counted of them, and what each technician carries."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from accounts.models import User
from accounts.models.base import Record
from visits.models.product import Product


class Batch(Record):
    """What was received of one batch; ``amount`` is in the product's own unit (g or ml)."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="batches")
    number = models.CharField(max_length=60)
    received_on = models.DateField()
    amount = models.DecimalField(max_digits=12, decimal_places=2)
    expires_on = models.DateField(null=True, blank=True)
    used_up_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "product",
                Lower("number"),
                name="batch_once_per_product",
                violation_error_code="number_taken",
                violation_error_message="This batch of the product is on file.",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="batch_amount_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.product}, batch {self.number}"


class BatchCount(Record):
    """What was left of a batch when somebody looked, in the product's own unit."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="counts")
    counted_on = models.DateField()
    amount = models.DecimalField(max_digits=12, decimal_places=2)
    counted_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(amount__gte=0), name="batch_count_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.batch} on {self.counted_on}"


class Carried(Record):
    """A product that a technician has in the van, and which batch of it."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="carries")
    product = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="carried")
    batch = models.ForeignKey(
        Batch, null=True, blank=True, on_delete=models.SET_NULL, related_name="carried"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "product"], name="carried_once_per_person"),
        ]

    def __str__(self) -> str:
        return f"{self.product} with {self.person}"
