"""What a sheet is: its columns, what each of its rows would do, and how they are written.

Every sheet plans against one ``Draft``: what is on file already and what earlier rows of the same
file would add, so that a zone may name a site that stands two sheets before it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Protocol

from django.db.models import Model, QuerySet

from accounts.models import User
from sites.importing.books import Row, Table
from sites.importing.cells import CellProblem, Convert
from sites.models import Site


class Verdict(StrEnum):
    """What a row would do."""

    NEW = "new"
    CHANGED = "changed"
    SAME = "same"
    ERROR = "error"


@dataclass(frozen=True, slots=True)
class Column:
    """A ``required`` one must be filled; any other that is empty leaves what is on file."""

    name: str
    convert: Convert
    about: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with one cell (``cell`` as B7) or, without a cell, with the row."""

    cell: str
    sentence: str


@dataclass(slots=True)
class Planned:
    """One row: what it would do, in words, and the record it would add or change."""

    row: int
    verdict: Verdict
    words: str
    problems: list[Problem] = field(default_factory=list)
    record: Model | None = None
    fields: tuple[str, ...] = ()
    extra: Any = None


@dataclass(slots=True)
class Draft:
    """What is on file and what the file adds, by the key that people write in cells.

    Keys are lower case. ``records`` has one dictionary for each kind of record.
    """

    user: User | None
    records: dict[str, dict[Any, Any]] = field(default_factory=dict)

    def of(self, kind: str) -> dict[Any, Any]:
        return self.records.setdefault(kind, {})


@dataclass(frozen=True, slots=True)
class Parsed:
    """A row whose cells have been converted; what could not be is in ``problems``."""

    row: Row
    values: Mapping[str, Any]
    problems: list[Problem]
    letters: Mapping[str, str]

    def cell(self, column: str) -> str:
        """The name of a cell, as B7; empty where the file has no such column."""
        letter = self.letters.get(column, "")
        return f"{letter}{self.row.number}" if letter else ""

    def problem(self, column: str, sentence: str) -> Problem:
        return Problem(self.cell(column), sentence)


class Sheet(Protocol):
    """A kind of sheet. ``plan`` and ``write`` are called with all rows of the file at once."""

    @property
    def key(self) -> str:
        """How the sheet is named in a workbook."""

    @property
    def title(self) -> str:
        """How people call it."""

    @property
    def columns(self) -> Sequence[Column]:
        """What it may hold, in the order in which exports write it."""

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        """Fetch into the draft what is on file of these rows. A few queries, whatever the rows."""

    def plan(self, row: Parsed, draft: Draft) -> Planned:
        """What one row without cell problems would do. No query."""

    def write(self, rows: Sequence[Planned], draft: Draft) -> dict[Any, int]:
        """Add and change; returns how many rows each site had (key: the site's id)."""

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        """What is on file, as rows that the same sheet would take in."""


_sheets: dict[str, Sheet] = {}


def register(sheet: Sheet) -> None:
    """Make a sheet known. Order of registration is the order in which sheets are taken."""
    if sheet.key in _sheets:
        raise ValueError(f"sheet {sheet.key} is registered twice")
    _sheets[sheet.key] = sheet


def known_sheets() -> list[Sheet]:
    """All sheets, in the order in which they are taken."""
    return list(_sheets.values())


def sheet_of(table: Table) -> Sheet | None:
    """The kind of sheet that a table is: by its name, else by its required columns."""
    name = table.name.strip().casefold()
    if name in _sheets:
        return _sheets[name]
    having = [
        sheet
        for sheet in _sheets.values()
        if all(column.name in table.letters for column in sheet.columns if column.required)
    ]
    # The sheet that asks for most is meant: monitors too have all that a zone needs.
    return max(
        having, key=lambda sheet: sum(column.required for column in sheet.columns), default=None
    )


def parse(rows: Iterable[Row], sheet: Sheet, letters: Mapping[str, str]) -> Iterator[Parsed]:
    """Convert the cells of each row."""
    for row in rows:
        values: dict[str, Any] = {}
        problems: list[Problem] = []
        parsed = Parsed(row, values, problems, letters)
        for column in sheet.columns:
            if column.name not in row.cells:
                if column.required:
                    problems.append(parsed.problem(column.name, f"{column.name} is empty."))
                continue
            try:
                values[column.name] = column.convert(row.cells[column.name])
            except CellProblem as problem:
                problems.append(parsed.problem(column.name, str(problem)))
        yield parsed


def differences(record: Model, values: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    """The fields of a record that would change, old and new."""
    return {
        name: (getattr(record, name), value)
        for name, value in values.items()
        if getattr(record, name) != value
    }


def in_words(changes: Mapping[str, tuple[Any, Any]]) -> str:
    """Changes as a person reads them."""

    def one(value: Any) -> str:
        return "nothing" if value in (None, "") else f"“{value}”"

    return "; ".join(
        f"{name.replace('_', ' ')}: {one(old)} becomes {one(new)}"
        for name, (old, new) in changes.items()
    )


Progress = Callable[[int, int], None]
