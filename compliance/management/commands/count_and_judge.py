"""Sums up what monitors caught and judges the months where it changed, once."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from compliance.services.counting import count_sites
from compliance.services.judging import judge_months


class Command(BaseCommand):
    help = "Sum up what monitors caught, and judge the months where it has changed."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--everything", action="store_true", help="Count all sites, changed or not."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        sites = count_sites(everything=options["everything"])
        self.stdout.write(f"{sites} sites counted, {judge_months()} months judged.")
