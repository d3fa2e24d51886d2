"""Makes the papers of decisions that have none."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.decision_papers import make_decision_papers


class Command(BaseCommand):
    help = "Make the papers of signed decisions that have none, and write to both sides."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{make_decision_papers()} papers of decisions made.")
