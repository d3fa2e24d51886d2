"""Checks every signed trend review."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from compliance.models import TrendReview
from compliance.services.trend_reviews import broken_reviews


class Command(BaseCommand):
    help = (
        "Compare every signed trend review with the text that was signed; ends with an error if "
        "one does not stand."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        broken = list(broken_reviews())
        for review, trouble in broken:
            self.stderr.write(f"review {review.pk} ({review}): {trouble}")
        if broken:
            many = (
                "1 signed review does" if len(broken) == 1 else f"{len(broken)} signed reviews do"
            )
            raise CommandError(f"{many} not stand.")
        self.stdout.write(f"All {TrendReview.objects.count()} signed reviews stand.")
