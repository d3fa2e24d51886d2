"""Bring the database and the static files up to this version of the program."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = "Migrate the database and collect the static files. May run at every start."

    def handle(self, **options: Any) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
