"""Sends the letters that wait, once."""

from typing import Any

from django.core.management.base import BaseCommand

from accounts.services.letters import send_letters


class Command(BaseCommand):
    help = "Send the e-mail that waits to go out."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{send_letters()} letters sent.")
