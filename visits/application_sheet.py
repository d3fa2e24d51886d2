"""The application register as a spreadsheet, written row by row and never held whole."""

import tempfile
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from datetime import date, datetime, time
from typing import IO, Any

import xlsxwriter

from accounts.sheets import as_cell

MOST_ROWS = 20_000
"""A workbook is sent only once its last row is written; CSV is sent as it is read."""
OPTIONS = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}


def register_workbook(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> IO[bytes]:
    """A workbook in a temporary file, which is gone once it is closed. Memory stays level."""
    with ExitStack() as unless_written:
        target = unless_written.enter_context(tempfile.TemporaryFile(suffix=".xlsx"))
        _write(target, header, rows)
        # Whoever sends the file closes it.
        unless_written.pop_all()
    target.seek(0)
    return target


def _write(target: IO[bytes], header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    with xlsxwriter.Workbook(target, OPTIONS) as book:
        bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
        page = book.add_worksheet("Applications")
        page.freeze_panes(1, 0)
        for at, name in enumerate(header):
            page.set_column(at, at, max(12, min(len(name) + 2, 40)))
        for at, name in enumerate(header):
            page.write_string(0, at, name, bold)
        for number, row in enumerate(rows, start=1):
            for at, value in enumerate(row):
                if value is None or value == "":
                    continue
                if isinstance(value, date):
                    page.write_datetime(number, at, datetime.combine(value, time()), day)
                elif isinstance(value, int):
                    page.write_number(number, at, value)
                else:
                    page.write_string(number, at, as_cell(str(value)))
