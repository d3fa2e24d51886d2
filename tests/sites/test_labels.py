"""Labels: codes that survive typing, and sheets that a reader of codes can read back."""

import socket
from io import BytesIO

import pypdfium2
import pytest
import zxingcpp
from pypdf import PdfReader

from sites.labels.codes import ALPHABET, check_character, spelt, typed
from sites.labels.sheets import A4_21, LETTER_10, Label, label_sheet, trial_sheet
from sites.models.monitor import LABEL_ALPHABET, label_code

CODE = "7K3M9PQR2TVW4HJD"
MILLIMETRE = 72 / 25.4


def make_labels(number: int, **words: str) -> list[Label]:
    """Labels whose payloads differ, as codes do."""
    codes = [CODE[n % 16 :] + CODE[: n % 16] for n in range(number)]
    given = {"zone": "Bakehouse", "kind": "Fly light trap", "site": "Harbour Lane Bakery", **words}
    return [
        Label(code, n, payload=f"https://kickplate.example/sites/label/{code}", **given)
        for n, code in enumerate(codes, start=1)
    ]


def read_back(pdf: bytes) -> list[str]:
    """What a reader of codes finds on the printed pages, in no order."""
    found = []
    for page in pypdfium2.PdfDocument(pdf):
        image = page.render(scale=200 / 72).to_pil().convert("L")
        found += [code.text for code in zxingcpp.read_barcodes(image)]
    return sorted(found)


def test_every_code_on_a_sheet_reads_back_as_its_address():
    labels = make_labels(16)

    assert read_back(label_sheet(labels)) == sorted(label.payload for label in labels)


@pytest.mark.parametrize("sheet", [A4_21, LETTER_10], ids=["A4", "Letter"])
def test_a_sheet_has_the_size_of_its_paper(sheet):
    page = PdfReader(BytesIO(label_sheet(make_labels(1), sheet=sheet))).pages[0]

    width, height = float(page.mediabox.width), float(page.mediabox.height)
    assert width == pytest.approx(sheet.paper_width * MILLIMETRE, abs=0.5)
    assert height == pytest.approx(sheet.paper_height * MILLIMETRE, abs=0.5)


@pytest.mark.parametrize("sheet", [A4_21, LETTER_10], ids=["A4", "Letter"])
def test_all_places_of_a_sheet_lie_on_the_paper(sheet):
    left, top = sheet.corner(sheet.places - 1)

    assert left + sheet.width <= sheet.paper_width
    assert top + sheet.height <= sheet.paper_height
    assert sheet.step_across >= sheet.width
    assert sheet.step_down >= sheet.height


@pytest.mark.parametrize(
    ("labels", "skip", "pages"), [(21, 0, 1), (21, 1, 2), (22, 0, 2), (1, 20, 1), (0, 0, 1)]
)
def test_places_that_are_used_up_are_left_free(labels, skip, pages):
    pdf = label_sheet(make_labels(labels), skip=skip)

    assert len(PdfReader(BytesIO(pdf)).pages) == pages


@pytest.mark.parametrize("skip", [-1, 21])
def test_more_places_than_a_sheet_has_cannot_be_skipped(skip):
    with pytest.raises(ValueError, match="21 places"):
        label_sheet(make_labels(1), skip=skip)


def test_a_person_can_read_number_zone_and_code_without_a_phone():
    text = PdfReader(BytesIO(label_sheet(make_labels(2)))).pages[0].extract_text()

    for words in ("1", "2", "Bakehouse", "Fly light trap", "7K3M 9PQR 2TVW 4HJD"):
        assert words in text


def test_words_of_the_site_are_printed_as_they_stand_and_fetch_nothing(monkeypatch):
    """What looks like markup is text; no picture is fetched, wherever it is said to lie."""
    monkeypatch.setattr(socket, "socket", _no_line)
    zone = '<img src="http://127.0.0.1:9/x.png"><b>Bar</b>'

    text = PdfReader(BytesIO(label_sheet(make_labels(1, zone=zone)))).pages[0].extract_text()

    assert "<b>Bar" in text.replace("\n", "")


def _no_line(*_args: object, **_kwargs: object) -> None:
    raise AssertionError("a paper must not open a line to anywhere")


def test_the_same_labels_give_the_same_bytes():
    assert label_sheet(make_labels(3)) == label_sheet(make_labels(3))


def test_the_trial_sheet_has_two_rulers_and_a_box_for_each_label():
    text = PdfReader(BytesIO(trial_sheet())).pages[0].extract_text()

    assert text.count("100 mm") == 2
    assert "21" in text


def test_new_codes_use_the_alphabet_that_the_check_is_for():
    assert LABEL_ALPHABET == ALPHABET
    assert set(label_code()) <= set(ALPHABET)


def test_a_typed_code_is_known_in_any_spelling():
    printed = spelt(CODE)

    assert typed(printed) == CODE
    assert typed(printed.lower().replace(" ", "")) == CODE


@pytest.mark.parametrize("at", range(17))
def test_every_single_wrong_character_is_noticed(at):
    right = CODE + check_character(CODE)

    for other in ALPHABET.replace(right[at], ""):
        assert typed(right[:at] + other + right[at + 1 :]) is None


def test_nearly_every_swap_of_neighbours_is_noticed():
    """The scheme misses the swap of the first and the last character of the alphabet only."""
    missed = [
        one + other
        for one in ALPHABET
        for other in ALPHABET
        if one != other and typed(other + one + check_character(one + other)) is not None
    ]

    assert sorted(missed) == ["2Z", "Z2"]


@pytest.mark.parametrize("text", ["", "7", "O0I1", "7K3M 9PQR", "ü" * 17])
def test_what_is_no_code_is_not_taken_for_one(text):
    assert typed(text) is None
