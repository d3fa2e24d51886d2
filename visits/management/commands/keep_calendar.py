"""Brings up to date what calendars say of visits, once."""

from typing import Any

from django.core.management.base import BaseCommand

from visits.services.calendar import keep_calendar


class Command(BaseCommand):
    help = "Bring up to date what calendars say of the visits they have told of."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"Calendars say something else of {keep_calendar()} visits.")
