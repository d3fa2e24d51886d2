"""What a client manager decided, and what anybody signed."""

from django.db import models
from django.db.models import Q

from accounts.models import User
from accounts.models.base import Record
from compliance.models.action import ActionOption, CorrectiveAction
from sites.models import Site


class SignOff(Record):
    """A person's named, dated, reasoned acceptance, bound to the exact text accepted.

    ``content`` is canonical JSON built by the server from what was shown; ``content_hash`` is its
    SHA-256. Style of 21 CFR 11.50: printed name, instant with zone, meaning.
    """

    class Meaning(models.TextChoices):
        GO_AHEAD = "go_ahead", "Orders the work described"
        DECLINES = "declines", "Declines the work and carries the risk described"
        CONFIRMS_DONE = "confirms_done", "Confirms that the work described was done"
        ACCEPTS = "accepts", "Accepts the work described as finished"
        CHECKED = "checked", "Has checked the work described and found it sound"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="sign_offs")
    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="sign_offs")
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="sign_offs")
    person_name = models.CharField(max_length=120)
    person_role = models.CharField(max_length=120)
    meaning = models.CharField(max_length=14, choices=Meaning.choices)
    at = models.DateTimeField()
    zone = models.CharField(max_length=64, help_text="The site's zone, in which the time is shown.")
    content = models.TextField()
    content_hash = models.CharField(max_length=64)
    method = models.CharField(
        max_length=20, help_text="How the person was known: password, passkey, signed_in."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["action", "meaning", "content_hash"], name="sign_off_once_per_content"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_name}: {self.get_meaning_display()}"


class Decision(Record):
    """The answer to one revision of an action. A new revision asks again; the old answer stays."""

    class Outcome(models.TextChoices):
        GO_AHEAD = "go_ahead", "Go ahead"
        DECLINED = "declined", "Turned down"

    action = models.ForeignKey(CorrectiveAction, on_delete=models.PROTECT, related_name="decisions")
    revision = models.PositiveIntegerField()
    outcome = models.CharField(max_length=10, choices=Outcome.choices)
    option = models.ForeignKey(
        ActionOption, null=True, blank=True, on_delete=models.PROTECT, related_name="decisions"
    )
    reason = models.TextField(blank=True)
    sign_off = models.OneToOneField(SignOff, on_delete=models.PROTECT, related_name="decision")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["action", "revision"], name="decision_once_per_revision"
            ),
            models.CheckConstraint(
                condition=Q(outcome="go_ahead", option__isnull=False)
                | (Q(outcome="declined") & ~Q(reason="")),
                name="decision_has_option_or_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_outcome_display()}: {self.action}"
