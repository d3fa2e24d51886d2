"""Rights that name single sites."""

from django.db import models

from accounts.models import AuditorPass, User
from accounts.models.base import Record
from sites.models.site import Site


class SiteGrant(Record):
    """Limits a client manager to listed sites; a manager without any sees all of the client's."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="site_grants")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="grants")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "site"], name="site_grant_once"),
        ]

    def __str__(self) -> str:
        return f"{self.person} at {self.site}"


class PassSite(Record):
    """A site that an auditor's pass names."""

    auditor_pass = models.ForeignKey(AuditorPass, on_delete=models.CASCADE, related_name="named")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="named_on")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["auditor_pass", "site"], name="pass_site_once"),
        ]

    def __str__(self) -> str:
        return f"{self.site} on {self.auditor_pass}"
