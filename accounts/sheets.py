"""Lists as CSV, safe to open in a spreadsheet."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.http import StreamingHttpResponse
from django.utils.http import content_disposition_header

from accounts.files import safe_name

# A spreadsheet takes text that begins like this for a formula, also behind blanks and quotes.
# Source: OWASP ASVS 5.0, 1.2.10 (formula injection).
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
BYTE_ORDER_MARK = "\ufeff"


class _Line:
    """A file that hands back what is written to it, which is all that ``csv`` asks for."""

    def write(self, text: str) -> str:
        return text


def as_cell(value: Any) -> Any:
    """A value for a cell: text that would run as a formula gets an apostrophe, numbers stay."""
    if isinstance(value, str) and value.lstrip("\ufeff \"'").startswith(FORMULA_STARTS):
        return f"'{value}"
    return "" if value is None else value


def csv_lines(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """The lines of a CSV file in UTF-8 with a mark at its head, by which spreadsheets know it."""
    writer = csv.writer(_Line())
    yield BYTE_ORDER_MARK + writer.writerow(header)
    for row in rows:
        yield writer.writerow([as_cell(value) for value in row])


def csv_answer(
    name: str, header: Sequence[str], rows: Iterable[Sequence[Any]]
) -> StreamingHttpResponse:
    """The answer that carries a list, called ``name`` (without ending) on the other side."""
    answer = StreamingHttpResponse(csv_lines(header, rows), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = content_disposition_header(True, safe_name(f"{name}.csv"))
    return answer
