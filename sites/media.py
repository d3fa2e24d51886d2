"""Uploads, believed for nothing: decoded within limits and written afresh, or refused.

Pictures become new files of ours without any hidden data. PDFs are kept as they came, since a
signature would not survive rewriting, but only if nothing in them can act. This is a filter, no
proof of harmlessness, so stored PDFs are only ever handed out as downloads.
Pure of the database; slow (up to a second for a large photo), so call it before a transaction.
"""

import io
import subprocess
import sys
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError
from pypdf import PdfReader
from pypdf.errors import PyPdfError
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, NameObject

from accounts.refusals import Unusable
from accounts.sealing import digest
from sites import pdf_page

MEGABYTE = 1_000_000
MOST_PHOTO_BYTES = 15 * MEGABYTE
MOST_PLAN_BYTES = 25 * MEGABYTE
MOST_DOCUMENT_BYTES = 25 * MEGABYTE
MOST_PIXELS = 60_000_000
PHOTO_SIDE = 1600
PLAN_SIDE = 3000
MOST_PLAN_PNG_BYTES = 4 * MEGABYTE
MOST_PDF_PAGES = 300
MOST_PDF_OBJECTS = 60_000
PICTURE_FORMATS = ("JPEG", "PNG", "WEBP")
PICTURE_ENDINGS = {"image/jpeg": ".jpg", "image/png": ".png", "application/pdf": ".pdf"}

# What makes a PDF more than a paper, by where it stands in the file.
# Source: ISO 32000-2, 12.6.4 (actions), 7.11.4 (embedded files), 12.7.8 (XFA), 13 (media).
ACTIVE_KEYS = {
    "/JS": "a script",
    "/JavaScript": "a script",
    "/XFA": "a form that runs",
    "/EmbeddedFiles": "files within the file",
    "/EF": "files within the file",
    "/RichMedia": "media",
}
ACTIVE_KINDS = {
    "/JavaScript": "a script",
    "/Launch": "a command to start a program",
    "/SubmitForm": "a form that sends data",
    "/ImportData": "a command to read files",
    "/Rendition": "media",
    "/Movie": "media",
    "/Sound": "media",
    "/EmbeddedFile": "files within the file",
    "/FileAttachment": "files within the file",
    "/RichMedia": "media",
    "/3D": "media",
}


@dataclass(frozen=True, slots=True)
class CleanFile:
    """A file that may be stored: what it is, and the hash of its bytes."""

    data: bytes
    mime: str

    @property
    def sha256(self) -> str:
        return digest(self.data)

    @property
    def ending(self) -> str:
        return PICTURE_ENDINGS[self.mime]


@dataclass(frozen=True, slots=True)
class CleanImage(CleanFile):
    """A picture of ours; sides in pixels."""

    width: int
    height: int


def clean_image(data: bytes) -> CleanImage:
    """A photo as JPEG: upright, nothing hidden, at most 1,600 pixels a side.

    Raises ``Unusable`` with a sentence for what is not a whole JPEG, PNG or WebP picture.
    """
    _require_size(data, MOST_PHOTO_BYTES)
    picture = _decoded(data, PHOTO_SIDE)
    return _as_jpeg(picture)


def clean_plan(data: bytes, *, page_number: int = 1) -> CleanImage:
    """A site plan as PNG or JPEG of at most 3,000 pixels a side, from a picture or a PDF's page.

    Line drawings stay sharp as PNG unless that would be large. Raises ``Unusable``.
    """
    _require_size(data, MOST_PLAN_BYTES)
    if _is_pdf(data):
        clean_pdf(data)
        data = _drawn_page(data, page_number)
    picture = _decoded(data, PLAN_SIDE)
    if picture.format == "PNG":
        flat = _flattened(picture)
        out = io.BytesIO()
        flat.save(out, "PNG", optimize=True)
        if out.tell() <= MOST_PLAN_PNG_BYTES:
            return CleanImage(out.getvalue(), "image/png", flat.width, flat.height)
    return _as_jpeg(picture)


def clean_document(data: bytes) -> CleanFile:
    """A document: a PDF that cannot act, or a picture of a paper. Raises ``Unusable``."""
    _require_size(data, MOST_DOCUMENT_BYTES)
    if _is_pdf(data):
        return clean_pdf(data)
    return _as_jpeg(_decoded(data, PLAN_SIDE))


def clean_pdf(data: bytes) -> CleanFile:
    """The same PDF, if it opens, has a sensible length and nothing in it can act.

    Raises ``Unusable`` for an encrypted or broken one, and for scripts, files within the file,
    forms that run, media and commands.
    """
    _require_size(data, MOST_DOCUMENT_BYTES)
    if not _is_pdf(data):
        raise Unusable("This is not a PDF.", code="not_a_pdf")
    try:
        reader = PdfReader(io.BytesIO(data), strict=False)
        if reader.is_encrypted:
            raise Unusable(
                "This PDF is locked with a password; save it without one.", code="pdf_encrypted"
            )
        pages = len(reader.pages)
        active = _what_acts(reader)
    except (PyPdfError, KeyError, ValueError, TypeError, AttributeError, OSError) as error:
        raise _broken_pdf() from error
    except (RecursionError, IndexError, MemoryError, OverflowError) as error:
        raise _broken_pdf() from error
    if active:
        raise Unusable(
            f"This PDF contains {active}. Print it to a new PDF and send that.", code="pdf_active"
        )
    if not 1 <= pages <= MOST_PDF_PAGES:
        raise Unusable(
            f"This PDF has {pages} pages; 1 to {MOST_PDF_PAGES} can be kept.", code="pdf_pages"
        )
    return CleanFile(data, "application/pdf")


def _broken_pdf() -> Unusable:
    return Unusable("This PDF is damaged and cannot be opened.", code="pdf_damaged")


def _is_pdf(data: bytes) -> bool:
    return data.startswith(b"%PDF-")


def _require_size(data: bytes, most: int) -> None:
    if not data:
        raise Unusable("The file is empty.", code="file_empty")
    if len(data) > most:
        raise Unusable(
            f"The file has {len(data) / MEGABYTE:.1f} MB; at most {most // MEGABYTE} MB can be "
            "sent.",
            code="file_too_large",
            size=len(data),
            most=most,
        )


def _decoded(data: bytes, side: int) -> Image.Image:
    """The picture decoded, upright and at most ``side`` pixels long; ``format`` as it came."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # our limit is stricter
            picture: Image.Image = Image.open(io.BytesIO(data), formats=PICTURE_FORMATS)
            _require_pixels(picture)
            came_as = picture.format
            if came_as == "JPEG":
                picture.draft("RGB", (side, side))  # decode no more than is kept
            # WeasyPrint lets the whole process accept half pictures; those kept here are whole.
            ImageFile.LOAD_TRUNCATED_IMAGES = False
            picture.load()
            picture = ImageOps.exif_transpose(picture)
    except UnidentifiedImageError as error:
        raise Unusable(
            "This is not a picture that can be read; send a JPEG, PNG or WebP.",
            code="not_a_picture",
        ) from error
    except Image.DecompressionBombError as error:
        raise _too_many_pixels() from error
    except (OSError, ValueError, SyntaxError, TypeError, EOFError, MemoryError) as error:
        raise Unusable(
            "This picture is damaged or not whole; take or save it again.", code="picture_damaged"
        ) from error
    picture.thumbnail((side, side))
    picture.format = came_as
    return picture


def _require_pixels(picture: Image.Image) -> None:
    width, height = picture.size
    if width * height > MOST_PIXELS:
        raise _too_many_pixels()
    if min(width, height) < 8:
        raise Unusable("This picture is too small to show anything.", code="picture_too_small")


def _too_many_pixels() -> Unusable:
    return Unusable(
        f"This picture is larger than {MOST_PIXELS // 1_000_000} million pixels; "
        "save it smaller and send it again.",
        code="picture_too_large",
    )


def _flattened(picture: Image.Image) -> Image.Image:
    """The picture in plain colours, what was clear shown on white; nothing else comes along."""
    if "A" in picture.getbands() or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        white = Image.new("RGBA", clear.size, "white")
        white.alpha_composite(clear)
        picture = white
    plain = picture.convert("RGB")
    fresh = Image.new("RGB", plain.size)
    fresh.paste(plain)
    return fresh


def _as_jpeg(picture: Image.Image) -> CleanImage:
    flat = _flattened(picture)
    out = io.BytesIO()
    flat.save(out, "JPEG", quality=85, optimize=True)
    return CleanImage(out.getvalue(), "image/jpeg", flat.width, flat.height)


def _drawn_page(data: bytes, page_number: int) -> bytes:
    """One page of a PDF as PNG, drawn by ``sites.pdf_page`` in its own process."""
    words = [str(page_number), str(PLAN_SIDE), str(PLAN_SIDE * PLAN_SIDE)]
    try:
        done = subprocess.run(  # noqa: S603  (our own module, numbers only)
            [sys.executable, "-m", pdf_page.__name__, *words],
            input=data,
            capture_output=True,
            timeout=pdf_page.SECONDS + 10,
            cwd=Path(pdf_page.__file__).resolve().parent.parent,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise _undrawable() from error
    if done.returncode != 0:
        raise _undrawable()
    return done.stdout


def _undrawable() -> Unusable:
    return Unusable(
        "This page of the PDF cannot be drawn; save it as a picture and send that.",
        code="page_undrawable",
    )


def _what_acts(reader: PdfReader) -> str:
    """The first thing found in any object of the file that makes it more than a paper."""
    numbers = {
        (number, generation) for generation, entries in reader.xref.items() for number in entries
    } | {(number, 0) for number in reader.xref_objStm}
    if len(numbers) > MOST_PDF_OBJECTS:
        raise Unusable("This PDF is too intricate to be checked.", code="pdf_too_intricate")
    waiting: list[Any] = [reader.trailer]
    for number, generation in sorted(numbers):
        waiting.append(reader.get_object(IndirectObject(number, generation, reader)))
    while waiting:
        here = waiting.pop()
        parts: Iterable[Any] = ()
        if isinstance(here, DictionaryObject):
            found = _named_active(here)
            if found:
                return found
            parts = here.values()
        elif isinstance(here, ArrayObject):
            parts = here
        # Indirect objects are visited by number, so that no loop in the file is followed.
        waiting.extend(one for one in parts if isinstance(one, DictionaryObject | ArrayObject))
    return ""


def _named_active(here: DictionaryObject) -> str:
    """What a dictionary of the file would do, or nothing."""
    for key, name in ACTIVE_KEYS.items():
        if key in here:
            return name
    for key in ("/S", "/Subtype", "/Type"):
        kind = here.raw_get(key) if key in here else None
        if isinstance(kind, NameObject) and kind in ACTIVE_KINDS:
            return ACTIVE_KINDS[kind]
    return ""
