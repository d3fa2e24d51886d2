"""What the installation remembers about itself: when each sweep last ran, and how it ended."""

from django.db import models


class SweepRun(models.Model):
    """The last turns of one sweep, whoever ran it. Instants are UTC."""

    name = models.CharField(primary_key=True, max_length=100)
    ran_at = models.DateTimeField(help_text="When a turn last ended, well or badly.")
    went_well_at = models.DateTimeField(null=True, blank=True)
    failures = models.PositiveIntegerField(
        default=0, help_text="Turns in a row that ended in an error."
    )
    problem = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return self.name
