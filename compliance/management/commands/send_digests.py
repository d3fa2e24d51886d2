"""Writes the daily summaries whose morning has come, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.digests import send_digests


class Command(BaseCommand):
    help = "Write the daily summaries whose morning has come; send_letters sends them."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{send_digests()} summaries written.")
