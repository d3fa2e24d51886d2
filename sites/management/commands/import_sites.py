"""Imports a spreadsheet of clients, sites, zones, monitors and past readings."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from accounts.models import Role, User
from sites.importing.books import Unreadable
from sites.importing.planning import Plan
from sites.importing.sheets import Verdict
from sites.services.imports import import_file, written_rows


class Command(BaseCommand):
    help = (
        "Import a spreadsheet (XLSX or CSV). Says what every row does; writes nothing unless all "
        "rows are well."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--dry-run", action="store_true", help="Say what would happen only.")
        parser.add_argument(
            "--good-rows", action="store_true", help="Import the good rows although others fail."
        )
        parser.add_argument("--by", metavar="EMAIL", help="The office person who imports it.")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            data = options["file"].read_bytes()
            plan = import_file(
                data,
                options["file"].name,
                by=self._person(options["by"]),
                write=not options["dry_run"],
                good_rows_only=options["good_rows"],
            )
        except (OSError, Unreadable) as error:
            raise CommandError(str(error)) from error
        self._tell(plan)
        if options["dry_run"]:
            self.stdout.write("Nothing was written: this was a dry run.")
        elif plan.has_errors and not options["good_rows"]:
            raise CommandError("Nothing was written. Correct the file, or use --good-rows.")
        else:
            self.stdout.write(f"Written: {written_rows(plan)} rows.")

    def _person(self, email: str | None) -> User | None:
        if email is None:
            return None
        try:
            return User.objects.get(email__iexact=email, role=Role.OFFICE, is_active=True)
        except User.DoesNotExist:
            raise CommandError(f"{email} is no office person.") from None

    def _tell(self, plan: Plan) -> None:
        for name in plan.unknown:
            self.stderr.write(f"Sheet {name}: not one of ours, left out")
        for planned in plan.sheets:
            if planned.ignored:
                self.stderr.write(f"{planned.sheet.title}: left out {', '.join(planned.ignored)}")
            for row in planned.rows:
                where = f"{planned.sheet.title} row {row.row}"
                for problem in row.problems:
                    cell = f" {problem.cell}" if problem.cell else ""
                    self.stderr.write(f"{where}{cell}: {problem.sentence}")
                if row.verdict is not Verdict.ERROR:
                    self.stdout.write(f"{where}: {row.words}")
        counts = ", ".join(f"{plan.count(verdict)} {verdict.value}" for verdict in Verdict)
        self.stdout.write(counts)
