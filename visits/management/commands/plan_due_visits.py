"""Plans the visits that come due, once."""

from typing import Any

from django.core.management.base import BaseCommand

from visits.services.planning import plan_due_visits


class Command(BaseCommand):
    help = "Plan the visits that come due in the next 400 days."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{plan_due_visits()} service lines changed.")
