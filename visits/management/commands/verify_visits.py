"""Checks the seals of every closed visit."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from visits.models import Visit
from visits.verification import all_breaks


class Command(BaseCommand):
    help = (
        "Recompute the seals of all closed visits and amendments from what is stored; ends with "
        "an error if one does not hold."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        breaks = list(all_breaks())
        for found in breaks:
            number = f"seal {found.seal_number}" if found.seal_number else "sealed once"
            self.stderr.write(f"visit {found.visit_id} ({number}): {found.what}")
        if breaks:
            raise CommandError(f"The seals do not hold: {len(breaks)} breaks.")
        count = Visit.objects.filter(seal_number__isnull=False).count()
        self.stdout.write(f"The seals hold: {count} closed visits.")
