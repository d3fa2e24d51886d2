"""Tells people what concerns them and they have not been told, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.telling import tell_people


class Command(BaseCommand):
    help = "Tell people what concerns them; send_letters sends what goes by e-mail."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{tell_people()} notices written.")
