"""Builds the site files that wait, once."""

from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.site_files import build_site_files


class Command(BaseCommand):
    help = "Build the site files that somebody has asked for."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{build_site_files()} site files built.")
