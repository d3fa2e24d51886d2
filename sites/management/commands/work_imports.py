"""Checks and imports the spreadsheets that wait, once."""

from typing import Any

from django.core.management.base import BaseCommand

from sites.services.imports import work_imports


class Command(BaseCommand):
    help = "Check and import the spreadsheets that wait."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{work_imports()} spreadsheets moved on.")
