"""The site file as a reader finds it: words, pages, links, tags, and nothing fetched."""

import re
import socket
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from io import BytesIO

import pypdfium2
import pytest
from django.template.loader import render_to_string
from pypdf import PdfReader

from compliance.sitefile import trending
from compliance.sitefile.build import Paper, PaperSize, build_site_file, build_visit_report
from compliance.sitefile.cautions import LABEL_FIRST, STANDING
from compliance.sitefile.content import (
    Finding,
    Made,
    Photo,
    Signature,
    SiteFile,
    Trends,
    Visit,
    VisitReport,
)
from tests.compliance.sample_file import sample_file, sample_media, sample_place, seal

SECTIONS = (
    "At a glance",
    "What is asked for",
    "Contract and scope",
    "Zones and boundary",
    "People and competences",
    "Site plan",
    "Monitor register",
    "Visits",
    "Visit reports",
    "Readings",
    "Monitors and trends",
    "Treatments",
    "Not reached",
    "Corrective actions",
    "Documents",
    "Trail",
    "How to check this file",
)
HOSTILE = '<script>alert(1)</script><img src="http://127.0.0.1:9/x.png">{{ 7|add:7 }}{% now "Y" %}'


def small(file: SiteFile) -> SiteFile:
    """The same file with one visit: enough for a test that prints a paper of its own."""
    return replace(file, visits=file.visits[:1], monitors=file.monitors[:3], trail=())


def build(file: SiteFile, **options) -> Paper:
    options = {"media": sample_media(), "render": render_to_string, **options}
    return build_site_file(file, **options)


@cache
def _pages(pdf: bytes) -> list[str]:
    reader = PdfReader(BytesIO(pdf))
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def pages_of(paper: Paper) -> list[str]:
    """The text of each page; line ends and hard spaces become plain spaces."""
    return _pages(paper.pdf)


def words_of(paper: Paper) -> str:
    return " ".join(pages_of(paper))


@pytest.fixture(scope="module")
def file() -> SiteFile:
    return sample_file()


@pytest.fixture(scope="module")
def paper(file) -> Paper:
    return build(file)


@pytest.fixture(scope="module")
def empty(file) -> Paper:
    """A site about which nothing is on record but its name."""
    bare = SiteFile(
        company=file.company,
        site=replace(file.site, contacts=()),
        period_from=file.period_from,
        period_to=file.period_to,
        made=file.made,
    )
    return build(bare)


@pytest.fixture
def no_line(monkeypatch):
    """Any attempt to open a line to anywhere fails the test."""

    def refuse(*_args: object, **_kwargs: object) -> None:
        raise AssertionError("a paper must not open a line to anywhere")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)


def test_the_printer_finds_nothing_to_complain_about(paper, empty):
    assert paper.faults == ()
    assert empty.faults == ()


@pytest.mark.parametrize("section", SECTIONS)
def test_every_section_is_there(paper, section):
    number = SECTIONS.index(section) + 1

    assert any(f"Section {number} {section}" in page for page in pages_of(paper))


@pytest.mark.parametrize(
    "words",
    [
        # cover, contract, zones
        "Saltgrain Bakeries",
        "Made Wed 1 Jul 2026, 14:05 BST by Priya Lund (auditor)",
        "Contract C-2025-07",
        "Every second week on Tuesday",
        "answered within 24 hours",
        "Outside our remit: Plant room.",
        # people, monitors, visits
        "Without a valid competence for the work on Tue 3 Feb 2026.",
        "2 of 3",
        "Nobody could let the technician in.",
        "The bakery was closed for works.",
        "In-depth survey",
        "75 minutes on site Iris Calder",
        "95 minutes on site (corrected) Iris Calder",
        # a report
        "Time on site 75 minutes",
        "Time on site 95 minutes (corrected: Waited for the key of the cellar.)",
        "Daylight under the left leaf, 12 mm over 90 cm.",
        "Recommended (Proofing): Fit a bristle strip of 25 mm to both leaves.",
        "Read, sound and nothing caught: 2–6, 8, 10–12",
        "Signature",
        "Morgan Pell, Shift leader",
        "Amendment 1: Reading of monitor 1",
        "Four cockroaches, not five.",
        # what to ask about first
        "German cockroach, February 2026: 13 this month where about 4 was to be expected",
        "No review has explained it yet.",
        "Cockroaches in a month, Bakehouse, German cockroach 1.6 per 100 trap-days",
        # monitors and trends
        "Down to about a third of what it was",
        "48 monitors, 14,880 trap-days and 576 readings in the months of the period.",
        "Bakehouse, German cockroach More than usual in February 2026",
        "the table has 1 such place",
        "Rates per 100 trap-days, July 2025 to June 2026",
        "3.9fA",
        "12 this month where about 2 was to be expected: more than chance brings.",
        "Monitor 7: 9",
        "The oven line was moved and its chase stood open.",
        "9 at one reading, agreed to act from 5.",
        "Answered Treated the same day; the chase is to be sealed. Action: 4",
        "One month of the bakehouse stands out; all others are as usual.",
        "Thu 2 Apr 2026, 11:15 BST, known by password",
        # not reached, actions, documents
        "Key with a tenant",
        "Reached on Tue 20 Jan 2026",
        "Orders the work described",
        "£1,134.00 over 3 years",
        "The bristle strip costs less than carrying on from month 8.",
        "Public liability cover",
        "closed the visit: Routine inspection, visit 3",
    ],
)
def test_what_is_on_record_is_printed(paper, words):
    if words == "Signature":
        assert b"Signature of Morgan Pell" in _tags(paper)
    else:
        assert words in words_of(paper)


def _tags(paper: Paper) -> bytes:
    """The words that a screen reader is given for pictures."""
    reader = PdfReader(BytesIO(paper.pdf))
    said = []
    for number in range(1, reader.trailer["/Size"]):
        item = reader.get_object(number)
        if isinstance(item, dict) and "/Alt" in item:
            said.append(str(item["/Alt"]))
    return "\n".join(said).encode()


def test_a_chart_is_told_to_whoever_cannot_see_it(paper):
    said = _tags(paper).decode()

    assert "German cockroach, Bakehouse. Individuals per 100 trap-days, July 2025 to" in said
    assert "Nobody could look in October 2025." in said
    assert "More than usual in February 2026 (at least 3.9)." in said
    assert "Indian meal moth" not in said


@pytest.mark.parametrize(("months", "tables"), [(12, 1), (13, 2), (30, 3)])
def test_a_dozen_months_stand_in_a_table(file, months, tables):
    places = (sample_place("Bakehouse", "German cockroach", (1,) * months),)
    long = replace(file, trends=replace(file.trends, places=places))

    found = trending.trends(long)

    assert [len(one.columns) - 2 for one in found["tables"]] == [
        min(12, months - 12 * number) for number in range(tables)
    ]


def test_places_without_a_catch_make_no_charts_and_few_pages(file):
    many = tuple(sample_place(f"Room {n}", "House mouse", (0,) * 12) for n in range(120))
    drawn = tuple(sample_place(f"Bay {n}", "House mouse", (1,) * 12) for n in range(30))
    quiet = build(replace(small(file), trends=replace(file.trends, places=many)))
    busy = build(replace(small(file), trends=replace(file.trends, places=many + drawn)))
    none = build(replace(small(file), trends=Trends()))

    assert "Nothing was caught in any month of the period" in words_of(quiet)
    assert quiet.pages - none.pages <= 8
    assert busy.pages - quiet.pages <= 4
    assert busy.faults == ()


@pytest.mark.parametrize(
    "element",
    [
        "Demo gel 0.5",
        "DEMO-0001",
        "imidacloprid 0.5 % w/w",
        "Batch: B2210",
        "German cockroach",
        "Gel placement",
        "Bait gun",
        "Hinges and pipe chase, left of oven 2",
        "Steel and tile",
        "4.5 g",
        "Ready to use, 0.1 g a point",
        "45 points",
        "Tue 6 Jan 2026",
        "09:35 to 09:55 GMT",
        "Iris Calder",
        "PM-1042",
        "Oven line stopped and cool; no food in the room.",
        "Re-entry: At once, once the surfaces are dry",
        "Saltgrain Bakeries",
        "1 Granary Square",
        "12 Harbour Lane",
        "Fennimore & Tull Site Hygiene",
        "01632 960 001",
    ],
)
def test_the_register_of_treatments_holds_every_element_of_an_application_record(paper, element):
    """The union of what the rules ask for, after 7 CFR 110.3 and NSW Pesticides Regulation 2017."""
    pages = pages_of(paper)
    start = next(n for n, page in enumerate(pages) if "Section 12 Treatments" in page)
    end = next(n for n, page in enumerate(pages) if "Section 13 Not reached" in page)

    assert element in " ".join(pages[start:end])


def test_wherever_a_product_is_shown_the_label_comes_first(file, paper):
    reports_with_treatments = sum(bool(visit.treatments) for visit in file.visits)

    words = words_of(paper)

    assert words.count(LABEL_FIRST) == reports_with_treatments + 1
    assert "Keep bait off surfaces that have been sprayed." in words
    assert "Keep out of reach of children. Do not apply to food-contact surfaces." in words
    assert "their rates must never be used" in words
    for caution in STANDING:
        assert caution in words


@pytest.mark.parametrize(
    "words",
    [
        "Nothing stands out",
        "No evidence list was made for this site.",
        "No contract was in force at this site in the period.",
        "No contact at the premises is on file.",
        "No zone is on file.",
        "Nobody attended this site in the period.",
        "No plan of this site is on file.",
        "No monitor stood at this site in the period.",
        "No visit was due in this period.",
        "No visit was closed in this period.",
        "No reading was taken in this period.",
        "No monitor was counted in this period.",
        "Nothing was counted in this period.",
        "Nothing was more than usual in this period.",
        "No threshold was reached in this period.",
        "No quarter of this period has been reviewed.",
        "No product was applied in this period.",
        "Everything that was due to be looked at in this period could be reached.",
        "No corrective action was raised or open in this period.",
        "No document is on file for this site.",
        "Nothing was put on the trail of this site in the period.",
        "No visit was sealed in this period.",
    ],
)
def test_an_empty_section_says_that_nothing_is_on_record(empty, words):
    assert words in words_of(empty)


def test_every_page_but_the_cover_says_which_it_is_of_how_many(paper):
    pages = pages_of(paper)

    assert len(pages) == paper.pages
    assert "Page 1 of" not in pages[0]
    for number, page in enumerate(pages[1:], start=2):
        assert f"Page {number} of {paper.pages}" in page


def test_every_page_but_the_cover_names_site_period_and_when_it_was_made(paper):
    for page in pages_of(paper)[1:]:
        assert "Harbour Lane Bakery · Thu 1 Jan 2026 to Tue 30 Jun 2026" in page
        assert "made Wed 1 Jul 2026, 14:05 BST" in page


def test_the_contents_name_the_page_on_which_each_section_begins(paper):
    pages = pages_of(paper)

    for number, section in enumerate(SECTIONS, start=1):
        named = re.search(rf"\b{number} {re.escape(section)} (\d+)", pages[1])
        assert named, section
        assert f"Section {number} {section}" in pages[int(named[1]) - 1]


def test_the_list_of_visits_names_the_page_of_each_report(paper):
    pages = pages_of(paper)
    listed = next(page for page in pages if "Section 8 Visits" in page)

    for day, made_on in (("Tue 6 Jan", "Tue 6 Jan"), ("Tue 20 Jan", "Mon 26 Jan")):
        named = re.search(rf"{day} 2026 \(.*?90 % (\d+)", listed)
        assert named
        assert f"Routine inspection, {made_on} 2026" in pages[int(named[1]) - 1]


def test_contents_and_bookmarks_lead_to_every_section(paper):
    reader = PdfReader(BytesIO(paper.pdf))

    titles = [item["/Title"] for item in reader.outline if not isinstance(item, list)]
    links = {note.get_object().get("/Dest") for note in reader.pages[1].get("/Annots", ())}

    assert titles == ["Contents", *(f"{n}. {one}" for n, one in enumerate(SECTIONS, start=1))]
    assert {"glance", "visits", "reports", "visit-1", "integrity"} <= links
    assert links <= set(reader.named_destinations)


def test_it_says_who_made_it_and_is_tagged_in_english(paper):
    reader = PdfReader(BytesIO(paper.pdf))
    catalogue = reader.trailer["/Root"]
    claims = catalogue["/Metadata"].get_object().get_data().decode()

    assert reader.metadata.title == (
        "Site file: Harbour Lane Bakery, Thu\xa01\xa0Jan\xa02026 to Tue\xa030\xa0Jun\xa02026"
    )
    assert reader.metadata.author == "Fennimore & Tull Site Hygiene"
    assert catalogue["/Lang"] == "en-GB"
    assert catalogue["/MarkInfo"]["/Marked"]
    assert "<pdfaid:part>3</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in claims
    assert "<pdfuaid:part>1</pdfuaid:part>" in claims


def test_heads_of_rows_and_columns_say_so_and_pictures_are_not_smoothed(paper):
    """PDF/UA-1 (7.5) asks for the scope of a head; PDF/A-3 (6.2.8) forbids interpolation."""
    reader = PdfReader(BytesIO(paper.pdf))
    scopes, smoothed = set(), 0
    for number in range(1, reader.trailer["/Size"]):
        item = reader.get_object(number)
        if isinstance(item, dict) and item.get("/S") == "/TH":
            scopes.add(item["/A"]["/Scope"])
        if isinstance(item, dict) and item.get("/Interpolate"):
            smoothed += bool(item["/Interpolate"].value)

    assert scopes == {"/Row", "/Column"}
    assert smoothed == 0


def test_the_seals_are_printed_in_full(file, paper):
    text = "".join(words_of(paper).split())

    for visit in file.visits:
        assert visit.seal in text
    assert file.made.trail_head in text
    assert paper.fingerprint in text


def test_the_same_content_gives_the_same_bytes(file, paper):
    again = build(file)

    assert again.pdf == paper.pdf
    assert again.sha256 == paper.sha256


def test_the_fingerprint_stays_while_the_record_does_and_changes_with_it(file):
    file = small(file)
    before = build(file)
    later = replace(
        file, made=Made(datetime(2026, 7, 2, tzinfo=UTC), "Ada", "Office", 400, "f" * 64)
    )
    amended = replace(file, visits=(replace(file.visits[0], summary="Other."), *file.visits[1:]))

    after = build(later)
    assert after.fingerprint == before.fingerprint
    assert after.sha256 != before.sha256
    assert build(amended).fingerprint != before.fingerprint


def test_what_people_wrote_is_printed_as_they_wrote_it_and_runs_nothing(file, no_line):
    hostile = replace(
        file.visits[0],
        summary=HOSTILE,
        findings=(Finding("Bakehouse", "Signs of pests", "Soon", HOSTILE),),
        signature=Signature(name=HOSTILE, none_because=HOSTILE),
    )

    paper = build(replace(small(file), visits=(hostile,)))

    assert words_of(paper).replace(" ", "").count(HOSTILE.replace(" ", "")) >= 3
    assert paper.faults == ()


@pytest.mark.parametrize(
    "address",
    [
        "http://127.0.0.1:9/x.png",
        "https://example.org/x.png",
        "file:///etc/passwd",
        "data:image/svg+xml,<svg/>",
        "ftp://127.0.0.1/x",
        "media:never-given.jpg",
    ],
)
def test_only_pictures_that_were_handed_over_are_printed(file, no_line, address):
    """A template that asks for anything else gets nothing, and the paper says that it tried."""

    def render(template: str, context: dict[str, object]) -> str:
        text = render_to_string(template, context)
        return text.replace("</h1>", f'</h1><img src="{address}" alt="Elsewhere">')

    paper = build(small(file), render=render)

    assert any("Failed to load image" in fault for fault in paper.faults)


def test_a_picture_that_is_lost_costs_the_picture_and_not_the_paper(file):
    media = sample_media()
    del media["gap-1.jpg"]

    paper = build(small(file), media=media)

    assert "Photo: daylight under the delivery door" in words_of(paper)
    assert any("gap-1.jpg" in fault for fault in paper.faults)


def test_what_is_no_jpeg_or_png_is_not_printed(file):
    media = {**sample_media(), "gap-1.jpg": b'<svg xmlns="http://www.w3.org/2000/svg"/>'}

    assert any("only JPEG and PNG" in fault for fault in build(small(file), media=media).faults)


@pytest.mark.parametrize("size", list(PaperSize))
def test_it_is_printed_on_the_paper_that_was_asked_for(file, size):
    pages = PdfReader(BytesIO(build(small(file), size=size).pdf)).pages
    shapes = {(round(float(p.mediabox.width)), round(float(p.mediabox.height))) for p in pages}

    upright = {PaperSize.A4: (595, 842), PaperSize.LETTER: (612, 792)}[size]
    assert shapes == {upright, upright[::-1]}


def test_words_without_end_stay_on_the_paper(file):
    endless = "Schädlingsbekämpfungsmittelzulassungsnummer" * 8
    stretched = replace(
        file,
        site=replace(file.site, name=endless, client=endless, address=endless),
        zones=tuple(replace(zone, name=endless, boundary_note=endless) for zone in file.zones),
        monitors=tuple(replace(one, place=endless, zone=endless) for one in file.monitors[:3]),
        trail=(),
        visits=tuple(
            replace(visit, summary=endless, technician=endless, state_reason=endless)
            for visit in file.visits
        ),
        actions=tuple(replace(one, title=endless, detail=endless) for one in file.actions),
    )

    pdf = pypdfium2.PdfDocument(build(stretched).pdf)

    for page in pdf:
        width, height = page.get_size()
        text = page.get_textpage()
        for index in range(text.count_chars()):
            left, bottom, right, top = text.get_charbox(index)
            if right > left:
                assert left >= 0
                assert bottom >= 0
                assert right <= width
                assert top <= height


def test_progress_counts_up_to_the_end_and_says_what_is_being_done(file):
    heard: list[tuple[int, int, str]] = []

    build(small(file), progress=lambda done, steps, what: heard.append((done, steps, what)))

    steps = heard[0][1]
    assert [done for done, _, _ in heard] == list(range(steps + 1))
    assert {total for _, total, _ in heard} == {steps}
    assert heard[0][2] == "Cover"
    assert heard[-1][2] == "Done"
    assert any(what.startswith("Report: Routine inspection") for _, _, what in heard)


def test_a_report_says_when_nobody_signed_and_why(file):
    silent = replace(file.visits[0], signature=Signature(none_because="Contact had left."))
    blank = replace(file.visits[0], signature=Signature())

    assert "No signature: Contact had left." in words_of(report_of(file, silent))
    assert "No signature was taken and no reason is on record." in words_of(report_of(file, blank))


def report_of(file: SiteFile, visit: Visit) -> Paper:
    report = VisitReport(file.company, file.site, file.made, visit, file.monitors)
    return build_visit_report(report, media=sample_media(), render=render_to_string)


def test_one_visit_makes_a_paper_of_its_own(file):
    paper = report_of(file, file.visits[0])

    words = words_of(paper)
    assert "Visit report Routine inspection, Tue 6 Jan 2026" in words
    assert f"Page 1 of {paper.pages}" in words
    assert LABEL_FIRST in words
    assert seal("visit 1") in words.replace(" ", "")
    assert paper.faults == ()


def test_a_visit_sealed_before_visits_said_how_long_they_took_does_not_say(file):
    old = replace(file.visits[0], minutes_on_site=None, minutes_reason="")
    words = words_of(build(replace(small(file), visits=(old,))))

    assert "minutes on site" not in words
    assert "Time on site" not in words


def test_a_call_out_shows_what_was_reported_and_its_deadline(file):
    called = replace(
        file.visits[0],
        kind="Call-out",
        reported_at=datetime(2026, 1, 5, 16, tzinfo=UTC),
        respond_by=datetime(2026, 1, 6, 16, tzinfo=UTC),
        reported_by="Ada Wren",
        reported_problem="A rat in the yard.",
    )

    words = words_of(report_of(file, called))

    assert "Mon 5 Jan 2026, 16:00 GMT, Ada Wren" in words
    assert "Answer due by Tue 6 Jan 2026, 16:00 GMT" in words
    assert "A rat in the yard." in words
    assert "In time" in words


def test_many_photos_are_printed_in_rows(file):
    photos = tuple(Photo("gap-1.jpg", f"gap {n}") for n in range(9))
    finding = replace(file.visits[0].findings[0], photos=photos)

    paper = report_of(file, replace(file.visits[0], findings=(finding,)))

    assert "Photo 9 of finding 1" in words_of(paper)
    assert paper.faults == ()


@pytest.mark.parametrize("size", list(PaperSize))
@pytest.mark.parametrize("shape", [(1000, 1000), (600, 1800), (3000, 400)])
def test_a_plan_of_any_shape_fills_one_page(file, size, shape):
    plan = replace(file.plans[0], width=shape[0], height=shape[1])

    pages = pages_of(build(replace(small(file), plans=(plan,)), size=size))

    assert sum("6. Site plan" in page for page in pages) == 1
