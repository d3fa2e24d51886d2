"""Under what the options of an action are weighed."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record


class MoneyTerms(Record):
    """Interest, price growth and years under which options are weighed from then on.

    Rates are fractions a year. The latest holds for what is priced next; what was priced keeps its
    own.
    """

    yearly_rate = models.DecimalField(max_digits=6, decimal_places=4)
    yearly_growth = models.DecimalField(max_digits=6, decimal_places=4)
    years = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(10)]
    )
    basis = models.CharField(max_length=200)
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name_plural = "money terms"
        constraints = [
            models.CheckConstraint(
                condition=Q(yearly_rate__gt=-1, yearly_growth__gt=-1, years__range=(1, 10)),
                name="money_terms_make_sense",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.yearly_rate:.2%} interest, {self.yearly_growth:.2%} growth"
