"""Raises and clears flags, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.flags import reconcile_flags


class Command(BaseCommand):
    help = "Keep flags in step with what is late or wrong."

    def handle(self, *args: Any, **options: Any) -> None:
        outcome = reconcile_flags()
        self.stdout.write(f"{outcome.raised} flags raised, {outcome.cleared} cleared.")
