"""Builds the review packs that wait, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.review_packs import build_review_packs


class Command(BaseCommand):
    help = "Build the review packs that somebody has asked for."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{build_review_packs()} review packs built.")
