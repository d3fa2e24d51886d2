"""Giving back what import takes: the same sheets with the same columns, as XLSX or CSV."""

import io
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import xlsxwriter
from django.db.models import QuerySet

from accounts.sheets import as_cell, csv_lines
from sites.importing.sheets import Sheet, known_sheets
from sites.models import Site


def export_xlsx(sites: QuerySet[Site]) -> bytes:
    """One workbook with a sheet of each kind. A few queries for each sheet, whatever the rows."""
    target = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(target, options) as book:
        bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "yyyy-mm-dd"})
        for sheet in known_sheets():
            page = book.add_worksheet(sheet.key)
            page.freeze_panes(1, 0)
            for at, column in enumerate(sheet.columns):
                page.write_string(0, at, column.name, bold)
                page.set_column(at, at, max(12, len(column.name) + 2))
            for number, row in enumerate(sheet.export(sites), start=1):
                for at, column in enumerate(sheet.columns):
                    value = row.get(column.name)
                    if value is None or value == "":
                        continue
                    if isinstance(value, bool):
                        page.write_string(number, at, "yes" if value else "no")
                    elif isinstance(value, date):
                        page.write_datetime(number, at, value, day)
                    elif isinstance(value, int | float | Decimal):
                        page.write_number(number, at, value)
                    else:
                        page.write_string(number, at, as_cell(str(value)))
    return target.getvalue()


def export_csv(sheet: Sheet, sites: QuerySet[Site]) -> Iterator[str]:
    """One sheet as lines of CSV. A few queries, whatever the rows."""
    names = [column.name for column in sheet.columns]
    rows = ([_said(row.get(name)) for name in names] for row in sheet.export(sites))
    return csv_lines(names, rows)


def _said(value: Any) -> Any:
    """Yes and no in the words that import reads."""
    return ("yes" if value else "no") if isinstance(value, bool) else value
