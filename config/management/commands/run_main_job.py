"""Do the main job once against a running installation that has the demo loaded."""

import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from config.demo.main_job import MainJob
from config.demo.visitor import Unexpected


class Command(BaseCommand):
    help = "Do the main job once, from a spreadsheet to the auditor's site file, over HTTP."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--base-url", required=True, help="where it runs, without a slash")
        parser.add_argument(
            "--keep-in", default="", help="folder for the site file; else that of the data"
        )

    def handle(self, *, base_url: str, keep_in: str, **options: Any) -> None:
        job = MainJob(
            base_url=base_url.rstrip("/"),
            keep_in=Path(keep_in or settings.DATA_DIR),
            today=timezone.now().date(),
            mark=secrets.token_hex(3).upper(),
        )
        for step in job.steps():
            who, _, what = step.__name__.partition("_")
            try:
                self.stdout.write(f"{who}: {step()}")
                self.stdout.flush()
            except (Unexpected, OSError) as problem:
                raise CommandError(
                    f"{who} could not go on ({what.replace('_', ' ')}): {problem}"
                ) from problem
        self.stdout.write("The main job is done.")
