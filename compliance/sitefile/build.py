"""From content to a PDF: the same content gives the same bytes.

The caller says how a template becomes text and hands over the pictures; nothing is fetched from
anywhere else. Costs about 0.15 s of CPU a page.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from enum import Enum
from typing import Any

from compliance.sitefile.content import (
    ApplicationRegister,
    Company,
    Made,
    SiteFile,
    VisitReport,
)
from compliance.sitefile.decided import DecisionPaper, paper_title
from compliance.sitefile.parts import (
    Room,
    parts_of_application_register,
    parts_of_decision_paper,
    parts_of_review,
    parts_of_site_file,
    parts_of_visit_report,
)
from compliance.sitefile.review import Review
from compliance.sitefile.tables import Pages, Part
from compliance.sitefile.visiting import visit_title
from compliance.sitefile.words import days, moment

Media = Mapping[str, bytes]
"""Pictures (JPEG or PNG) by name; read one at a time, so it may open a store behind the scenes."""

Render = Callable[[str, Mapping[str, object]], str]
Progress = Callable[[int, int, str], None]

TEMPLATES = "print/site_file"
_MOST_ROUNDS = 4


class PaperSize(Enum):
    """What it is printed on."""

    A4 = "A4"
    LETTER = "letter"


_PLAN_ROOM: dict[PaperSize, Room] = {PaperSize.A4: (196, 118), PaperSize.LETTER: (180, 124)}


@dataclass(frozen=True, slots=True)
class Paper:
    """``sha256`` is of the PDF itself; ``fingerprint`` of the content without when it was made.

    ``faults`` are what the printer complained about, such as a picture that could not be read.
    """

    pdf: bytes
    pages: int
    sha256: str
    fingerprint: str
    faults: tuple[str, ...] = ()


def build_site_file(
    file: SiteFile,
    *,
    media: Media,
    render: Render,
    size: PaperSize = PaperSize.A4,
    progress: Progress | None = None,
) -> Paper:
    """The site file. ``progress`` is told before each step how many of how many are done."""
    fingerprint = fingerprint_of(file)
    paper = _Sheets(
        title=f"Site file: {file.site.name}, {days(file.period_from, file.period_to)}",
        subject=f"The record of {file.site.name} for {days(file.period_from, file.period_to)}",
        head=(file.site.name, days(file.period_from, file.period_to)),
        company=file.company,
        zone=file.site.zone,
        made=file.made,
        fingerprint=fingerprint,
        has_cover=True,
    )
    parts = parts_of_site_file(file, fingerprint, plan_room=_PLAN_ROOM[size])
    return _print(paper, parts, media, render, size, progress or _no_progress)


def build_visit_report(
    report: VisitReport,
    *,
    media: Media,
    render: Render,
    size: PaperSize = PaperSize.A4,
) -> Paper:
    """The report of one closed visit."""
    title = visit_title(report.visit, report.site.zone)
    paper = _Sheets(
        title=f"Visit report: {report.site.name}, {title}",
        subject=f"What was seen and done at {report.site.name}: {title}",
        head=(report.site.name, title),
        company=report.company,
        zone=report.site.zone,
        made=report.made,
        fingerprint=fingerprint_of(report),
        has_cover=False,
    )
    return _print(paper, parts_of_visit_report(report), media, render, size, _no_progress)


def build_application_register(
    register: ApplicationRegister, *, render: Render, size: PaperSize = PaperSize.A4
) -> Paper:
    """The application register: every element of every application, a few to a page."""
    paper = _Sheets(
        title=f"Application register: {register.title}",
        subject=f"Applications of products: {register.title}, {register.narrowed}",
        head=("Application register", register.title),
        company=register.company,
        zone=register.time_zone,
        made=register.made,
        fingerprint=fingerprint_of(register),
        has_cover=False,
    )
    return _print(paper, parts_of_application_register(register), {}, render, size, _no_progress)


def build_decision_paper(
    paper: DecisionPaper, *, media: Media, render: Render, size: PaperSize = PaperSize.A4
) -> Paper:
    """The paper of a decision. It is dated by its signature, and so the same whenever it is made;
    its fingerprint is the hash of the text that was signed."""
    signed = paper.signed
    sheets = _Sheets(
        title=paper_title(paper),
        subject=f"What was put to {paper.client} at {paper.site}, and what was decided",
        head=(paper.site, paper.client),
        company=paper.company,
        zone=signed.zone,
        made=Made(signed.at, signed.name, signed.role, 0, ""),
        fingerprint=signed.content_hash,
        has_cover=False,
        dated="signed",
    )
    return _print(sheets, parts_of_decision_paper(paper), media, render, size, _no_progress)


def build_review(
    review: Review,
    *,
    render: Render,
    size: PaperSize = PaperSize.A4,
    progress: Progress | None = None,
) -> Paper:
    """A client's quarter over all its sites. ``progress`` is told as for a site file."""
    title = f"Review of {review.quarter}"
    paper = _Sheets(
        title=f"{title}: {review.client}",
        subject=f"What {review.quarter} amounts to for {review.client}",
        head=(review.client, title),
        company=review.company,
        zone=review.time_zone,
        made=review.made,
        fingerprint=fingerprint_of(review),
        has_cover=False,
    )
    return _print(paper, parts_of_review(review), {}, render, size, progress or _no_progress)


def fingerprint_of(content: SiteFile | VisitReport | ApplicationRegister | Review) -> str:
    """SHA-256 of the record as JSON: two papers of the same record have the same fingerprint.

    Left out is what changes without the record: when and for whom the paper was made, the trail,
    which grows by every paper, and the evidence list, which is judged by the day.
    """
    record = replace(content, made=Made(datetime.fromtimestamp(0, UTC), "", "", 0, ""))
    if isinstance(record, SiteFile):
        record = replace(record, trail=(), evidence=())
    text = json.dumps(asdict(record), default=_plain, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> str:
    return str(value.value) if isinstance(value, Enum) else str(value)


@dataclass(frozen=True, slots=True)
class _Sheets:
    """What every page of a paper has in common. ``dated`` says what happened at ``made.at``."""

    title: str
    subject: str
    head: tuple[str, str]
    company: Company
    zone: str
    made: Made
    fingerprint: str
    has_cover: bool
    dated: str = "made"

    def as_context(self) -> dict[str, object]:
        return {
            "title": self.title,
            "subject": self.subject,
            "author": self.company.name,
            "created": self.made.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "head": f"{self.head[0]} · {self.head[1]}",
            "foot": (
                f"{self.company.name} · {self.dated} {moment(self.made.at, self.zone)} · "
                f"fingerprint {self.fingerprint[:12]}"
            ),
        }


def _print(
    sheets: _Sheets,
    parts: list[Part],
    media: Media,
    render: Render,
    size: PaperSize,
    progress: Progress,
) -> Paper:
    from compliance.sitefile.press import Press  # loads the native libraries

    steps = len(parts) + 2
    common = sheets.as_context()

    def text_of(part: Part, pages: Pages) -> str:
        context = {**part.context(pages), "part": part, "sheets": common}
        return render(f"{TEMPLATES}/{part.template}.html", context)

    with Press(media, size.value) as press:
        laid_out = []
        for done, part in enumerate(parts):
            progress(done, steps, part.says)
            laid_out.append(press.lay_out(text_of(part, {})))
        progress(len(parts), steps, "Page numbers")
        pages: Pages = {}
        for _ in range(_MOST_ROUNDS):
            found = press.anchors(laid_out)
            if found == pages:
                break
            pages = found
            for index, part in enumerate(parts):
                if part.prints_pages:
                    laid_out[index] = press.lay_out(text_of(part, pages))
        progress(len(parts) + 1, steps, "Binding")
        pdf, count = press.bind(laid_out, has_cover=sheets.has_cover)
        faults = press.faults
    progress(steps, steps, "Done")
    return Paper(pdf, count, hashlib.sha256(pdf).hexdigest(), sheets.fingerprint, faults)


def _no_progress(_done: int, _steps: int, _what: str) -> None:
    """Nobody is watching."""
