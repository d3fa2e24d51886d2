"""Which rules the records of a site, or of the whole company, are held against."""

from django.db import models
from django.db.models import Q

from accounts.models.base import Record
from sites.models import Site

COMPANY = "company"


class ChosenRules(Record):
    """``rule_set`` is a slug of ``visits.dosing.rules``.

    The row without a site is the company's and holds for every site that has none of its own;
    ``scope`` (the word "company", or the site's id) lets the database keep it to one row each.
    """

    scope = models.CharField(max_length=40, unique=True)
    site = models.OneToOneField(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="record_rules"
    )
    rule_set = models.CharField(max_length=40)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(site__isnull=True, scope=COMPANY)
                | (Q(site__isnull=False) & ~Q(scope=COMPANY)),
                name="chosen_rules_scope_is_site_or_company",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rule_set} for {self.site or 'the company'}"
