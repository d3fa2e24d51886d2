"""Raises the actions of closed visits that have not raised theirs, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.actions import raise_missing_actions


class Command(BaseCommand):
    help = "Raise the actions that closed visits ask for and that are not raised yet."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{raise_missing_actions()} actions raised.")
