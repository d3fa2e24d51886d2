"""Lists as files."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.http import StreamingHttpResponse

from sites.exporting import safe_text


def csv_download(
    name: str, header: Sequence[str], rows: Iterable[Sequence[Any]]
) -> StreamingHttpResponse:
    """A CSV file, sent as it is read, so that a long list costs no more memory than a short one.

    Text that a spreadsheet would take for a formula is kept as text.
    """
    answer = StreamingHttpResponse(_lines(header, rows), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def _lines(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    yield "\ufeff" + _line(header)  # the mark by which spreadsheets know UTF-8
    for row in rows:
        yield _line(row)


def _line(cells: Sequence[Any]) -> str:
    target = io.StringIO()
    csv.writer(target).writerow(["" if cell is None else safe_text(cell) for cell in cells])
    return target.getvalue()
