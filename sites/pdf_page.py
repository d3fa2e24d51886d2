"""Draws one page of a PDF as PNG, in a process of its own with little time and memory.

A drawing program that reads strangers' files may hang, grow or crash; here it takes nothing down
with it. Run as ``python -m sites.pdf_page PAGE LONGEST_SIDE MOST_PIXELS``: the PDF comes in on
standard input, the PNG goes out on standard output. Knows neither Django nor the database.
"""

import math
import resource
import sys

SECONDS = 20
MEMORY_BYTES = 1_500_000_000


def draw(data: bytes, *, page_number: int, longest_side: int, most_pixels: int) -> bytes:
    """The page (from 1) as PNG, its longer side ``longest_side`` pixels or less.

    Raises ``ValueError`` for a page that is not there or has no sensible size.
    """
    import io

    import pypdfium2

    document = pypdfium2.PdfDocument(data)
    if not 1 <= page_number <= len(document):
        raise ValueError(f"there is no page {page_number}")
    page = document[page_number - 1]
    width, height = page.get_size()
    if not (math.isfinite(width) and math.isfinite(height) and min(width, height) >= 1):
        raise ValueError("the page has no sensible size")
    scale = min(longest_side / max(width, height), math.sqrt(most_pixels / (width * height)))
    image = page.render(scale=scale, may_draw_forms=False).to_pil()
    out = io.BytesIO()
    image.convert("RGB").save(out, "PNG")
    return out.getvalue()


def main() -> int:
    """Exit 0 with the picture, or 3 with the reason on standard error."""
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    page_number, longest_side, most_pixels = (int(word) for word in sys.argv[1:4])
    try:
        picture = draw(
            sys.stdin.buffer.read(),
            page_number=page_number,
            longest_side=longest_side,
            most_pixels=most_pixels,
        )
    except Exception as error:
        # Whatever is wrong with a stranger's file, the answer is the same: it cannot be drawn.
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
        return 3
    sys.stdout.buffer.write(picture)
    return 0


if __name__ == "__main__":
    sys.exit(main())
