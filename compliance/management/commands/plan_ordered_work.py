"""Plans a visit for every ordered job that has none, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.ordered_work import plan_ordered_work


class Command(BaseCommand):
    help = "Plan the visits that do the work clients have ordered."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{plan_ordered_work()} visits planned.")
