"""Reading a spreadsheet file, CSV or XLSX, into rows of raw cells. Pure: bytes in, rows out.

Raises ``Unreadable`` with a sentence for whatever is wrong with the file as a whole.
"""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException

from sites.importing.cells import Formula

MOST_ROWS = 50_000
MOST_COLUMNS = 100
MOST_BYTES = 15_000_000
MOST_UNPACKED_BYTES = 300_000_000


class Unreadable(ValueError):
    """Why a file as a whole cannot be read; ``str(error)`` is a sentence."""


@dataclass(frozen=True, slots=True)
class Row:
    """``number`` is the row's own number in the file, counted from 1 with the heading."""

    number: int
    cells: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Table:
    """One sheet: its name, its headings with their column letters, and its rows."""

    name: str
    letters: Mapping[str, str]
    rows: list[Row] = field(default_factory=list)


def read_book(data: bytes, file_name: str) -> list[Table]:
    """The tables of a file that have a heading row. Empty rows are left out."""
    if len(data) > MOST_BYTES:
        raise Unreadable(
            f"The file has {len(data) / 1e6:.0f} MB; the most is {MOST_BYTES // 1_000_000} MB. "
            "Split it."
        )
    if not data:
        raise Unreadable("The file is empty.")
    if data.startswith(b"PK\x03\x04"):
        tables = list(_read_xlsx(data))
    elif data.startswith(b"\xd0\xcf\x11\xe0"):
        raise Unreadable("This is an old .xls file or one with a password. Save it as .xlsx.")
    else:
        tables = [_table(file_name.rsplit(".", 1)[0], _csv_rows(data))]
    tables = [table for table in tables if table.letters]
    if not tables:
        raise Unreadable("The file holds no table: its first row must name the columns.")
    rows = sum(len(table.rows) for table in tables)
    if rows > MOST_ROWS:
        raise Unreadable(f"The file has {rows:,} rows; the most is {MOST_ROWS:,}. Split it.")
    return tables


def _csv_rows(data: bytes) -> Iterator[list[Any]]:
    text = _decode(data)
    if "\x00" in text:
        raise Unreadable("This is neither a CSV nor an XLSX file.")
    heading = text.partition("\n")[0]
    delimiter = max(",;\t", key=heading.count)
    try:
        yield from csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    except csv.Error as error:
        raise Unreadable(f"The file is not proper CSV: {error}.") from error


def _decode(data: bytes) -> str:
    encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise Unreadable(
            f"The file is not UTF-8 text: row {line} holds a byte that is none. Save it as "
            "“CSV UTF-8”, or as .xlsx."
        ) from error


def _read_xlsx(data: bytes) -> Iterator[Table]:
    _refuse_bombs(data)
    try:
        # Not the values that another program left behind, so that formulas are seen as such.
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        for sheet in book.worksheets:
            yield _table(sheet.title, _sheet_rows(sheet))
    except Unreadable:
        raise
    except (InvalidFileException, KeyError, ValueError, OSError, zipfile.BadZipFile) as error:
        raise Unreadable("The XLSX file is damaged and cannot be read.") from error
    except Exception as error:  # the XML parser has errors of its own
        if error.__class__.__module__.startswith(("xml", "lxml", "defusedxml", "openpyxl")):
            raise Unreadable("The XLSX file is damaged and cannot be read.") from error
        raise


def _refuse_bombs(data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            if sum(part.file_size for part in parts.infolist()) > MOST_UNPACKED_BYTES:
                raise Unreadable("The XLSX file unpacks to more than can be read. Split it.")
    except zipfile.BadZipFile as error:
        raise Unreadable("The XLSX file is damaged and cannot be read.") from error


def _sheet_rows(sheet: Any) -> Iterator[list[Any]]:
    for row in sheet.iter_rows(max_col=MOST_COLUMNS):
        yield [
            Formula(cell.value)
            if getattr(cell, "data_type", "") == "f"
            else (f"Error {cell.value}" if getattr(cell, "data_type", "") == "e" else cell.value)
            for cell in row
        ]


def _table(name: str, rows: Iterable[list[Any]]) -> Table:
    """Headings are read without capitals and with ``_`` for spaces; empty rows are dropped."""
    numbered = enumerate(rows, start=1)
    letters: dict[str, str] = {}
    columns: list[tuple[int, str]] = []
    table = Table(name, letters)
    for number, cells in numbered:
        filled = [cell for cell in cells if cell not in (None, "") and str(cell).strip()]
        if not filled:
            continue
        if not columns:
            _headings(name, cells, letters, columns)
            continue
        if len(table.rows) > MOST_ROWS:
            raise Unreadable(f"The file has more than {MOST_ROWS:,} rows. Split it.")
        table.rows.append(
            Row(
                number,
                {
                    column: cells[at]
                    for at, column in columns
                    if at < len(cells) and cells[at] is not None and str(cells[at]).strip()
                },
            )
        )
    return table


def _headings(
    name: str, cells: list[Any], letters: dict[str, str], columns: list[tuple[int, str]]
) -> None:
    for at, cell in enumerate(cells[:MOST_COLUMNS]):
        if cell is None or not str(cell).strip():
            continue
        column = "_".join(str(cell).strip().casefold().replace("-", " ").split())
        if column in letters:
            raise Unreadable(f"Sheet “{name}” has two columns named {column}.")
        letters[column] = get_column_letter(at + 1)
        columns.append((at, column))
