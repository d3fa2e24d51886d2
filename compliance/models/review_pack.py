"""The paper that tells a client what a quarter amounts to, over all its sites."""

from django.db import models
from django.db.models import Q
from django.urls import reverse

from accounts.models import Client, User
from compliance.models.paper import BuiltPaper


class ReviewPack(BuiltPaper):
    """``quarter`` is its first day. Always of every site of the client that was open in it."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="review_packs")
    quarter = models.DateField(help_text="The first day of the quarter.")
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="review_packs")
    file = models.FileField(upload_to="review_packs/%Y/%m/", max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quarter__day=1, quarter__month__in=[1, 4, 7, 10]),
                name="review_pack_of_a_quarter",
            ),
            models.CheckConstraint(
                condition=~Q(state="ready") | (~Q(file="") & ~Q(sha256="")),
                name="review_pack_ready_has_file",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "lease_until"], name="review_pack_queue"),
            models.Index(fields=["client", "quarter"], name="review_pack_client"),
        ]

    def __str__(self) -> str:
        return f"Review pack of {self.client}, quarter from {self.quarter}"

    def get_absolute_url(self) -> str:
        return reverse("compliance:review_pack", args=[self.pk])
