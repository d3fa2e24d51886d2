"""From a file to a plan: what every row would do, and every error with its cell."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from accounts.models import User
from sites.importing.books import Table, read_book
from sites.importing.sheets import (
    Draft,
    Planned,
    Problem,
    Progress,
    Sheet,
    Verdict,
    known_sheets,
    parse,
    sheet_of,
)

STEP = 1000


@dataclass(slots=True)
class PlannedSheet:
    """The rows of one kind of sheet, and headings of the file that were not known."""

    sheet: Sheet
    rows: list[Planned] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Plan:
    """What a file would do. ``unknown`` names sheets that are none of ours."""

    draft: Draft
    sheets: list[PlannedSheet] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)

    def count(self, verdict: Verdict) -> int:
        return sum(row.verdict is verdict for sheet in self.sheets for row in sheet.rows)

    @property
    def has_errors(self) -> bool:
        return self.count(Verdict.ERROR) > 0

    def as_outcome(self) -> dict[str, Any]:
        """The plan as it is kept: counts, and per row what it would do and what is wrong."""
        return {
            "counts": {verdict.value: self.count(verdict) for verdict in Verdict},
            "unknown": self.unknown,
            "sheets": [
                {
                    "key": planned.sheet.key,
                    "title": planned.sheet.title,
                    "ignored": planned.ignored,
                    "rows": [list(_kept(row)) for row in planned.rows],
                }
                for planned in self.sheets
            ],
        }


def _kept(row: Planned) -> Iterator[Any]:
    yield row.row
    yield row.verdict.value
    yield row.words
    yield [[problem.cell, problem.sentence] for problem in row.problems]


def plan_file(
    data: bytes, file_name: str, *, user: User | None = None, progress: Progress | None = None
) -> Plan:
    """Say what a file would do, and write nothing.

    Sheets are taken in the order clients, sites, zones, monitors, readings, whatever their order in
    the file. Raises ``Unreadable`` for a file that is no spreadsheet. Some queries for each
    sheet and for each 500 sites; none for a row.
    """
    tables = read_book(data, file_name)
    plan = Plan(Draft(user))
    by_key: dict[str, list[Table]] = {}
    for table in tables:
        sheet = sheet_of(table)
        if sheet is None:
            plan.unknown.append(table.name)
        else:
            by_key.setdefault(sheet.key, []).append(table)
    total = sum(len(table.rows) for found in by_key.values() for table in found)
    done = 0
    for sheet in known_sheets():
        for table in by_key.get(sheet.key, ()):
            done = _plan_table(plan, sheet, table, done, total, progress)
    return plan


def _plan_table(
    plan: Plan, sheet: Sheet, table: Table, done: int, total: int, progress: Progress | None
) -> int:
    names = {column.name for column in sheet.columns}
    planned = PlannedSheet(sheet, ignored=sorted(set(table.letters) - names))
    plan.sheets.append(planned)
    missing = [c.name for c in sheet.columns if c.required and c.name not in table.letters]
    if missing:
        sentence = f"The sheet has no column {', '.join(missing)}."
        planned.rows.append(Planned(1, Verdict.ERROR, "", [Problem("", sentence)]))
        return done + len(table.rows)
    parsed = list(parse(table.rows, sheet, table.letters))
    sheet.load([row for row in parsed if not row.problems], plan.draft)
    for row in parsed:
        if row.problems:
            planned.rows.append(Planned(row.row.number, Verdict.ERROR, "", row.problems))
        else:
            planned.rows.append(sheet.plan(row, plan.draft))
        done += 1
        if progress and done % STEP == 0:
            progress(done, total)
    return done


def write_plan(plan: Plan, *, progress: Progress | None = None) -> dict[Any, dict[str, int]]:
    """Write the good rows of a plan; returns, for each site's id, how many rows of each sheet.

    Belongs in a transaction that also holds the plan's own reading.
    """
    touched: dict[Any, dict[str, int]] = {}
    total, done = sum(len(planned.rows) for planned in plan.sheets), 0
    for planned in plan.sheets:
        good = [row for row in planned.rows if row.verdict in (Verdict.NEW, Verdict.CHANGED)]
        for site_id, count in planned.sheet.write(good, plan.draft).items():
            counts = touched.setdefault(site_id, {})
            counts[planned.sheet.key] = counts.get(planned.sheet.key, 0) + count
        done += len(planned.rows)
        if progress:
            progress(done, total)
    return touched
