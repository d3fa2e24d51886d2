"""Lets the pieces go of photos that phones never finished sending, once."""

from typing import Any

from django.core.management.base import BaseCommand

from visits.services.photo_parts import sweep_photo_parts


class Command(BaseCommand):
    help = "Let the pieces go of photos of which nothing has come for thirty days."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{sweep_photo_parts()} unfinished photos let go.")
