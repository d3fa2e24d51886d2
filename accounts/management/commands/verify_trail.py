"""Checks every chain of the trail."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from accounts.models import TrailEntry, TrailStream
from accounts.verification import all_breaks


class Command(BaseCommand):
    help = "Recompute every chain of the trail; ends with an error if one does not hold."

    def handle(self, *args: Any, **options: Any) -> None:
        breaks = list(all_breaks())
        for found in breaks:
            self.stderr.write(f"{found.stream} entry {found.number}: {found.what}")
        entries, chains = TrailEntry.objects.count(), TrailStream.objects.count()
        if breaks:
            raise CommandError(
                f"The trail does not hold: {len(breaks)} breaks in {entries} entries."
            )
        self.stdout.write(f"The trail holds: {entries} entries in {chains} chains.")
