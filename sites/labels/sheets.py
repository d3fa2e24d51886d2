"""Sheets of labels as PDF, in millimetres, and a sheet with rulers to try the printer with.

A QR code after ISO/IEC 18004: error correction level M, four modules of quiet zone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files

import segno

from sites.labels.codes import spelt

QUIET_MODULES = 4
_PADDING = 2.0


@dataclass(frozen=True, slots=True)
class Label:
    """One monitor. ``payload`` is what a reader of the code gets, such as an address."""

    code: str
    number: int
    zone: str
    payload: str
    kind: str = ""
    site: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """How labels lie on the paper; every measure in millimetres.

    ``step_across`` and ``step_down`` lead from one label's edge to the same edge of the next.
    """

    name: str
    paper: str
    paper_width: float
    paper_height: float
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    step_across: float
    step_down: float

    @property
    def places(self) -> int:
        return self.columns * self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """The left and the top edge of a place, counted across and then down from 0."""
        row, column = divmod(place, self.columns)
        return self.left + column * self.step_across, self.top + row * self.step_down


A4_21 = Sheet(
    "A4, 21 labels of 63.5 × 38.1 mm", "A4", 210, 297, 3, 7, 63.5, 38.1, 7.2, 15.1, 66, 38.1
)
LETTER_10 = Sheet(
    "Letter, 10 labels of 101.6 × 50.8 mm",
    "letter",
    215.9,
    279.4,
    2,
    5,
    101.6,
    50.8,
    4,
    12.7,
    106.3,
    50.8,
)


def label_sheet(
    labels: Sequence[Label], *, sheet: Sheet = A4_21, skip: int = 0, title: str = "Labels"
) -> bytes:
    """The labels in their order, beginning after ``skip`` places that are used up already.

    The same labels give the same bytes. Raises ``ValueError`` for a code that is none.
    """
    if not 0 <= skip < sheet.places:
        raise ValueError(f"a sheet has {sheet.places} places, {skip} of them cannot be skipped")
    pages = []
    for start in range(-skip, len(labels), sheet.places):
        on_page = range(max(start, 0), min(start + sheet.places, len(labels)))
        drawn = "".join(_drawn(labels[index], index - start, sheet) for index in on_page)
        pages.append(f'<section class="sheet">{drawn}</section>')
    if not labels:
        pages = ['<section class="sheet"><p class="none">No monitor was chosen.</p></section>']
    return _pdf(title, "".join(pages), sheet)


def trial_sheet(*, sheet: Sheet = A4_21) -> bytes:
    """Outlines of every label and two rulers of 100 mm: printed at full size, they fit."""
    outlines = "".join(
        f'<div class="label outline at-{place}"><p>{place + 1}</p></div>'
        for place in range(sheet.places)
    )
    rulers = (
        '<div class="ruler across"><p>100 mm</p></div><div class="ruler down"><p>100 mm</p></div>'
    )
    words = (
        '<p class="words">Print at full size, “actual size” or 100 %. Measure both rulers and lay '
        "this sheet on a sheet of labels before you use any.</p>"
    )
    body = f'<section class="sheet">{outlines}{rulers}{words}</section>'
    return _pdf(f"Trial sheet: {sheet.name}", body, sheet)


def _drawn(label: Label, place: int, sheet: Sheet) -> str:
    code = segno.make(label.payload, error="m", boost_error=False, micro=False)
    side = code.symbol_size(scale=1, border=QUIET_MODULES)[0]
    path = _path(code)
    return (
        f'<div class="label at-{place}">'
        f'<svg xmlns="http://www.w3.org/2000/svg" class="code" viewBox="0 0 {side} {side}">'
        f"<title>Code of monitor {label.number}</title>"
        f'<path d="{path}" fill="#000000"/></svg>'
        f'<div class="words"><p class="number">{label.number}</p>'
        f'<p class="zone">{escape(label.zone)}</p>'
        f'<p class="small">{escape(label.kind)}</p>'
        f'<p class="small">{escape(label.site)}</p></div>'
        f'<p class="spelt">{spelt(label.code)}</p></div>'
    )


def _path(code: segno.QRCode) -> str:
    """Runs of dark modules as strokes of one path, in modules, inside the quiet zone."""
    drawn = []
    for down, row in enumerate(code.matrix, start=QUIET_MODULES):
        across = 0
        while across < len(row):
            run = 0
            while across + run < len(row) and row[across + run]:
                run += 1
            if run:
                drawn.append(f"M{across + QUIET_MODULES} {down}h{run}v1h-{run}z")
            across += run or 1
    return "".join(drawn)


def _pdf(title: str, body: str, sheet: Sheet) -> bytes:
    from weasyprint import HTML  # loads the native libraries
    from weasyprint.urls import URLFetcher

    places = "".join(
        f".at-{place} {{ left: {left:g}mm; top: {top:g}mm }}"
        for place in range(sheet.places)
        for left, top in (sheet.corner(place),)
    )
    style = files("sites.labels").joinpath("labels.css").read_text("utf-8")
    code_side = sheet.height - 2 * _PADDING - 4
    html = (
        f'<!doctype html><html lang="en-GB"><head><title>{escape(title)}</title>'
        f"<style>@page {{ size: {sheet.paper}; margin: 0 }}{style}{places}"
        f".sheet {{ height: {sheet.paper_height:g}mm }}"
        f".label {{ width: {sheet.width:g}mm; height: {sheet.height:g}mm }}"
        f".code {{ width: {code_side:g}mm; height: {code_side:g}mm }}"
        f".label .words {{ left: {code_side + _PADDING + 1:g}mm }}"
        f"</style></head><body>{body}</body></html>"
    )
    nothing = URLFetcher(allowed_protocols=(), allow_redirects=False)
    pdf: bytes = HTML(string=html, url_fetcher=nothing).write_pdf(pdf_variant="pdf/ua-1")
    return pdf
