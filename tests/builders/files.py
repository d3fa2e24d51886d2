"""Files as people and strangers send them."""

import io
import struct
import zlib
from collections.abc import Mapping
from typing import Any

from PIL import Image
from pypdf import PdfWriter
from pypdf.generic import DictionaryObject, NameObject, TextStringObject

SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


def picture_bytes(
    kind: str = "JPEG", size: tuple[int, int] = (64, 48), mode: str = "RGB", **options: Any
) -> bytes:
    """A small whole picture, reddish on the left and blue on the right."""
    image = Image.new("RGB", size, (200, 30, 30))
    image.paste((20, 20, 220), (size[0] // 2, 0, size[0], size[1]))
    out = io.BytesIO()
    image.convert(mode).save(out, kind, **options)
    return out.getvalue()


def png_claiming(width: int, height: int) -> bytes:
    """A few bytes of PNG that claim to be a picture of that size."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = zlib.compress(b"\0" * 100_000)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")
    )


def pdf_bytes(
    pages: int = 1,
    *,
    catalogue: Mapping[str, Any] | None = None,
    on_page: Mapping[str, Any] | None = None,
    attach: bool = False,
    password: str = "",
) -> bytes:
    """A PDF with so many blank pages and, where asked for, what should not be in it."""
    writer = PdfWriter()
    for _ in range(pages):
        writer.add_blank_page(width=200, height=100)
    for key, value in (catalogue or {}).items():
        writer.root_object[NameObject(key)] = value
    for key, value in (on_page or {}).items():
        writer.pages[0][NameObject(key)] = value
    if attach:
        writer.add_attachment("inner.exe", b"MZ")
    if password:
        writer.encrypt(password, algorithm="RC4-128")
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def action(kind: str, **more: str) -> DictionaryObject:
    """A PDF action of a kind, such as /JavaScript."""
    return DictionaryObject(
        {
            NameObject("/S"): NameObject(kind),
            **{NameObject(f"/{key}"): TextStringObject(value) for key, value in more.items()},
        }
    )
