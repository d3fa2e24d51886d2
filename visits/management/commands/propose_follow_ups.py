"""Proposes the follow-ups that closed visits ask for, once."""

from typing import Any

from django.core.management.base import BaseCommand

from visits.services.follow_ups_proposed import pass_over_overtaken, propose_follow_ups


class Command(BaseCommand):
    help = "Propose when to look again after treatments of the last 60 days that have no answer."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{propose_follow_ups()} follow-ups proposed.")
        self.stdout.write(f"{pass_over_overtaken()} overtaken by a later visit.")
