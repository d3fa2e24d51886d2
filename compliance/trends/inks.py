"""Words in pictures: how much room they need, where they find it, and how they are written.

For SVG strings with presentation attributes only, in the ink of the text around them.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

FONT = 13
LINE_GAP = 15
"""From one line of words to the next."""


def px(value: float) -> str:
    """A length or place of the drawing, to a tenth of its units."""
    written = f"{value:.1f}".removesuffix(".0")
    return "0" if written == "-0" else written


_NOT_IN_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(words: str) -> str:
    """Words without what XML cannot hold, in one line."""
    return " ".join(_NOT_IN_XML.sub(" ", words).split())


def width_of(words: str, size: float = FONT) -> float:
    """About how wide words are in the fonts of pages and papers, rather more than they are."""
    wide = sum(1.0 if unicodedata.east_asian_width(one) in "WF" else 0.6 for one in words)
    return wide * size


def shortened(words: str, room: float, size: float = FONT) -> str:
    """As much of the words as there is room for; nothing where that would tell nobody anything."""
    if width_of(words, size) <= room:
        return words
    while words and width_of(f"{words}…", size) > room:
        words = words[:-1]
    words = words.rstrip(" ,;:.-")
    return f"{words}…" if len(words) >= 6 else ""


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "middle",
    bold: bool = False,
    size: float | None = None,
    soft: bool = False,
    turned: bool = False,
) -> str:
    """Words at a spot on their baseline; ``soft`` in a thinner ink, ``turned`` upwards."""
    if not words:
        return ""
    attributes = f'x="{px(x)}" y="{px(y)}"'
    if anchor != "start":
        attributes += f' text-anchor="{anchor}"'
    if bold:
        attributes += ' font-weight="bold"'
    if size:
        attributes += f' font-size="{px(size)}"'
    if soft:
        attributes += ' fill-opacity="0.75"'
    if turned:
        attributes += f' transform="rotate(-90 {px(x)} {px(y)})"'
    return f'<text {attributes} fill="currentColor" stroke="none">{escape(clean(words))}</text>'


def head(width: int, height: int, size: int, title: str, said: str, name: str) -> list[str]:
    """The beginning of a picture, with what it is called and what it shows."""
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f"aria-labelledby={quoteattr(f'{name}-title {name}-desc')} "
        f'fill="none" stroke="currentColor" stroke-width="1" font-size="{size}">',
        f"<title id={quoteattr(f'{name}-title')}>{escape(clean(title))}</title>",
        f"<desc id={quoteattr(f'{name}-desc')}>{escape(clean(said))}</desc>",
    ]


@dataclass(frozen=True, slots=True)
class Box:
    """A place of the drawing that something takes up."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        """Whether both want some of the same place."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


class Labels:
    """Finds words a place where they lie on no point and on no other words."""

    def __init__(self, left: float, right: float, upper: float, lower: float) -> None:
        self.within = Box(left, upper, right, lower)
        self.taken: list[Box] = []
        self.crossed: list[Box] = []

    def take(self, x: float, y: float, radius: float) -> None:
        """A point lies here: words must not."""
        self.taken.append(Box(x - radius, y - radius, x + radius, y + radius))

    def cross(self, x: float, y: float, x2: float, y2: float) -> None:
        """A line runs here: words had better not."""
        parts = max(1, round((abs(x2 - x) + abs(y2 - y)) / 6))
        for part in range(parts):
            left, right = x + (x2 - x) * part / parts, x + (x2 - x) * (part + 1) / parts
            top, bottom = sorted((y + (y2 - y) * part / parts, y + (y2 - y) * (part + 1) / parts))
            self.crossed.append(Box(left, top - 0.5, right, bottom + 0.5))

    def place(
        self, words: str, spots: Iterable[tuple[float, float, str]], size: float = FONT
    ) -> tuple[float, float, str] | None:
        """The first free spot (x, y of the baseline, anchor), best off the lines; taken from then
        on."""
        spots = list(spots)
        return self._place(words, spots, size, self.crossed) or self._place(words, spots, size, ())

    def _place(
        self,
        words: str,
        spots: Sequence[tuple[float, float, str]],
        size: float,
        crossed: Sequence[Box],
    ) -> tuple[float, float, str] | None:
        width = width_of(words, size)
        shift = {"start": 0.0, "middle": 0.5, "end": 1.0}
        for x, y, anchor in spots:
            left = x - width * shift[anchor]
            if anchor == "middle":
                moved = min(max(left, self.within.left), self.within.right - width)
                x, left = x + moved - left, moved
            box = Box(left, y - size * 0.8, left + width, y + size * 0.25)
            inside = (
                box.left >= self.within.left
                and box.right <= self.within.right
                and box.top >= self.within.top
                and box.bottom <= self.within.bottom
            )
            if inside and not any(box.meets(other) for other in (*self.taken, *crossed)):
                self.taken.append(box)
                return x, y, anchor
        return None


def apart(heights: Sequence[float], upper: float, lower: float) -> list[float]:
    """Heights in order, moved so that each is a line below the one before and none leaves."""
    placed: list[float] = []
    for height in heights:
        placed.append(max(height, placed[-1] + LINE_GAP if placed else upper))
    floor = lower
    for place in reversed(range(len(placed))):
        placed[place] = min(placed[place], floor)
        floor = placed[place] - LINE_GAP
    return placed
