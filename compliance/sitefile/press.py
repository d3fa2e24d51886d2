"""The printing itself, by WeasyPrint: lays out parts, joins them, numbers the pages, tags the file.

Importing this loads native libraries (Pango), so only what prints imports it. Pages are joined by
WeasyPrint's own ``Document.copy``, which keeps tags, links and bookmarks; the page numbers are laid
out last, when their total is known, and put on as margin boxes.
"""

import gc
import logging
from collections.abc import Mapping, Sequence
from functools import partial
from importlib.resources import files
from io import BytesIO
from types import TracebackType
from xml.sax.saxutils import escape

import pydyf
import weasyprint
from weasyprint import CSS, HTML
from weasyprint.document import Document, Page
from weasyprint.formatting_structure.boxes import MarginBox
from weasyprint.pdf.metadata import DocumentMetadata
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher, URLFetcherResponse

SCHEME = "media:"
VARIANT = "pdf/a-3a"
_SIZES = {
    "A4": """@page { size: A4 } @page wide { size: A4 landscape }
        @page numbers-wide { size: A4 landscape } .cover { height: 297mm }""",
    "letter": """@page { size: letter } @page wide { size: letter landscape }
        @page numbers-wide { size: letter landscape } .cover { height: 279.4mm }""",
}
_LOGGER = logging.getLogger("weasyprint")
_KINDS = ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"))


class NotServed(ValueError):
    """The paper asked for something that was not given to it."""


class OnlyGiven(URLFetcher):  # type: ignore[misc]  # WeasyPrint has no types
    """Serves the pictures that were handed over, and nothing from any other place."""

    def __init__(self, media: Mapping[str, bytes]) -> None:
        super().__init__(allowed_protocols=(SCHEME.rstrip(":"),), allow_redirects=False)
        self._media = media

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
        if not url.startswith(SCHEME):
            raise NotServed("only pictures that were handed over are printed")
        data = self._media[url.removeprefix(SCHEME)]
        for start, mime in _KINDS:
            if data.startswith(start):
                return URLFetcherResponse(url, BytesIO(data), {"Content-Type": mime})
        raise NotServed("only JPEG and PNG pictures are printed")


class Press:
    """One paper's worth of printing. To be used in a ``with`` block."""

    def __init__(self, media: Mapping[str, bytes], size: str) -> None:
        self._fetcher = OnlyGiven(media)
        self._fonts = FontConfiguration()
        sheet = files("compliance.sitefile").joinpath("site_file.css").read_text("utf-8")
        sheet += _SIZES[size]
        self._css = CSS(string=sheet, font_config=self._fonts, url_fetcher=self._fetcher)
        self._pictures: dict[str, object] = {}
        self._listener = _Listener()

    @property
    def faults(self) -> tuple[str, ...]:
        """What WeasyPrint called an error, each once."""
        return tuple(dict.fromkeys(self._listener.heard))

    def __enter__(self) -> "Press":
        _LOGGER.addHandler(self._listener)
        gc.disable()  # a layout makes no garbage worth looking for, and looking takes a fifth of it
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        gc.enable()
        gc.collect()
        _LOGGER.removeHandler(self._listener)

    def lay_out(self, html: str) -> Document:
        """The pages of one part. All parts share styles, fonts and decoded pictures."""
        return HTML(string=html, url_fetcher=self._fetcher, base_url=SCHEME).render(
            stylesheets=[self._css],
            font_config=self._fonts,
            cache=self._pictures,
            pdf_variant=VARIANT,
        )

    def anchors(self, parts: Sequence[Document]) -> dict[str, int]:
        """On which page, counted from 1, each anchor stands first."""
        found: dict[str, int] = {}
        pages = (page for part in parts for page in part.pages)
        for number, page in enumerate(pages, start=1):
            for anchor in page.anchors:
                found.setdefault(anchor, number)
        return found

    def bind(self, parts: Sequence[Document], *, has_cover: bool) -> tuple[bytes, int]:
        """One PDF of all parts and the number of its pages; a cover gets no page number."""
        pages = [page for part in parts for page in part.pages]
        self._number(pages, start=int(has_cover))
        pdf: bytes = (
            parts[0]
            .copy(pages)
            .write_pdf(pdf_variant=VARIANT, finisher=partial(_finish, anchors=self.anchors(parts)))
        )
        return pdf, len(pages)

    def _number(self, pages: Sequence[Page], *, start: int) -> None:
        """Puts "Page 12 of 57" on the pages, taken from blank sheets of the same shapes.

        ``_page_box`` is a private name of WeasyPrint: the version is pinned, and a test reads the
        numbers back from the finished paper.
        """
        blanks = "".join(
            f'<div class="blank{" wide" if page.width > page.height else ""}"></div>'
            for page in pages
        )
        numbers = self.lay_out(f'<html lang="en-GB"><body class="numbers">{blanks}</body></html>')
        for page, number in zip(pages[start:], numbers.pages[start:], strict=True):
            boxes = [
                box
                for box in number._page_box.children
                if isinstance(box, MarginBox) and box.at_keyword == "@bottom-right"
            ]
            page._page_box.children = (*page._page_box.children, *boxes)


class _Listener(logging.Handler):
    """Keeps what WeasyPrint complains about."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.heard: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.heard.append(record.getMessage())


def _finish(document: Document, pdf: pydyf.PDF, *, anchors: Mapping[str, int]) -> None:
    """What PDF/A-3a and PDF/UA-1 ask for together beyond what WeasyPrint writes for either."""
    for item in pdf.objects:
        if isinstance(item, pydyf.Stream) and item.extra.get("Subtype") == "/Image":
            item.extra["Interpolate"] = "false"
        elif isinstance(item, pydyf.Dictionary) and item.get("Subtype") == "/Link":
            _name_link(item, anchors)
    for page in document.pages:
        for box in page._page_box.descendants():
            mark = getattr(box, "mark", None)
            if mark is not None:
                _scope(mark, is_row=box.element is not None and box.element.get("scope") == "row")
    number = int(pdf.catalog["Metadata"].split()[0])
    pdf.objects[number] = _metadata(document.metadata, number)


def _name_link(link: pydyf.Dictionary, anchors: Mapping[str, int]) -> None:
    """A link is read out by what it leads to, not by the bare name of its target."""
    target = link.get("Dest")
    if isinstance(target, pydyf.String) and target.string in anchors:
        link["Contents"] = pydyf.String(f"To page {anchors[target.string]}")


def _scope(mark: pydyf.Dictionary, *, is_row: bool) -> None:
    """Says what a header cell heads, in place of a list of headers in every cell."""
    attributes = mark.get("A")
    if mark["S"] == "/TH":
        mark.pop("ID", None)
        attributes["Scope"] = "/Row" if is_row else "/Column"
    elif attributes is not None:
        attributes.pop("Headers", None)
        if len(attributes) == 1:
            mark.pop("A")


def _metadata(about: DocumentMetadata, number: int) -> pydyf.Stream:
    """XMP that claims both standards; PDF/A wants the PDF/UA claim's schema spelt out."""
    text = _XMP.format(
        title=escape(about.title or ""),
        author=escape(", ".join(about.authors)),
        subject=escape(about.description or ""),
        language=escape(about.lang or ""),
        tool=escape(about.generator or ""),
        producer=escape(f"WeasyPrint {weasyprint.VERSION}"),
        created=escape(about.created or ""),
    )
    stream = pydyf.Stream([text.encode()], {"Type": "/Metadata", "Subtype": "/XML"})
    stream.number = number
    return stream


_XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
<pdfaid:part>3</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance></rdf:Description>
<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">
<pdfuaid:part>1</pdfuaid:part></rdf:Description>
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:pdf="http://ns.adobe.com/pdf/1.3/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
<dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>
<pdf:Producer>{producer}</pdf:Producer><xmp:CreatorTool>{tool}</xmp:CreatorTool>
<xmp:CreateDate>{created}</xmp:CreateDate><xmp:ModifyDate>{created}</xmp:ModifyDate>
</rdf:Description>
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name><pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property></rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="w"?>"""
