"""A paper that a person asks for and a job builds: what site files and review packs have alike."""

from django.db import models

from accounts.models.base import Record


class BuiltPaper(Record):
    """Its state, how far its builder is, and the file with its hash once it is ready.

    Whoever builds it holds it until ``lease_until``; ``attempts`` tells one builder from another.
    Each kind of paper says by a constraint of its own that a ready one has its file.
    """

    class State(models.TextChoices):
        REQUESTED = "requested", "Waiting"
        BUILDING = "building", "Being built"
        READY = "ready", "Ready"
        FAILED = "failed", "Could not be built"

    class PaperSize(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "letter", "Letter"

    paper_size = models.CharField(max_length=6, choices=PaperSize.choices, default=PaperSize.A4)
    state = models.CharField(max_length=10, choices=State.choices, default=State.REQUESTED)
    step = models.CharField(max_length=80, blank=True)
    steps_done = models.PositiveSmallIntegerField(default=0)
    steps_all = models.PositiveSmallIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    problem = models.CharField(max_length=300, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    pages = models.PositiveIntegerField(null=True, blank=True)
    size = models.PositiveBigIntegerField(null=True, blank=True)
    built_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True

    @property
    def is_working(self) -> bool:
        """Whether a job has it before it, or under its hands."""
        return self.state in (self.State.REQUESTED, self.State.BUILDING)
