"""Writes the sites on file as a spreadsheet that import takes back."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from sites.exporting import export_xlsx
from sites.models import Site


class Command(BaseCommand):
    help = "Write clients, sites, zones, monitors and readings to an XLSX file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--client", metavar="REFERENCE", help="Only this client's sites.")

    def handle(self, *args: Any, **options: Any) -> None:
        sites = Site.objects.all()
        if options["client"]:
            sites = sites.filter(client__reference__iexact=options["client"])
        options["file"].write_bytes(export_xlsx(sites))
        self.stdout.write(f"Wrote {sites.count()} sites to {options['file']}.")
