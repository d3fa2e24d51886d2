"""Checks everything that was signed about actions."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from compliance.models import SignOff
from compliance.queries.sign_offs import broken_sign_offs


class Command(BaseCommand):
    help = (
        "Compare every signature about an action with the text that was signed, with the decision "
        "and with the trail; ends with an error if one does not stand."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        broken = list(broken_sign_offs())
        for one in broken:
            self.stderr.write(f"action {one.action_id} ({one.signed}): {one.trouble}")
        if broken:
            many = "1 signature does" if len(broken) == 1 else f"{len(broken)} signatures do"
            raise CommandError(f"{many} not stand.")
        self.stdout.write(f"All {SignOff.objects.count()} signatures about actions stand.")
