"""Finds what has reached an action threshold, and follows it up, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.thresholds import find_breaches


class Command(BaseCommand):
    help = "Find readings and months that have reached an action threshold, and follow them up."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{find_breaches()} thresholds newly reached.")
