"""Plans, photos and papers of the demo, drawn by program: nothing here was ever photographed."""

import io
from collections.abc import Callable, Sequence
from html import escape
from random import Random

from PIL import Image, ImageDraw, ImageFont
from weasyprint import HTML

from sites.models import Zone

Box = tuple[float, float, float, float]
Ink = ImageDraw.ImageDraw

PLAN_SIZE = (1500, 1000)
PHOTO_SIZE = (800, 600)
OUTSIDE = {Zone.Kind.PERIMETER, Zone.Kind.WASTE, Zone.Kind.OUTDOOR_DINING}
COLUMNS = 3


def rooms(zones: Sequence[tuple[str, str]]) -> dict[str, Box]:
    """Where each zone (name and kind) lies on the plan, as left, top, right, bottom from 0 to 1.

    Rooms stand in rows of three; what is outside lies along the foot of the plan.
    """
    inside = [name for name, kind in zones if kind not in OUTSIDE]
    outside = [name for name, kind in zones if kind in OUTSIDE]
    found: dict[str, Box] = {}
    lines = [inside[at : at + COLUMNS] for at in range(0, len(inside), COLUMNS)]
    height = 0.70 / max(len(lines), 1)
    for row, names in enumerate(lines):
        width = 0.9 / len(names)
        for column, name in enumerate(names):
            left, top = 0.05 + column * width, 0.06 + row * height
            found[name] = (left, top, left + width, top + height)
    for column, name in enumerate(outside):
        width = 0.9 / len(outside)
        found[name] = (0.05 + column * width, 0.80, 0.05 + (column + 1) * width, 0.95)
    return found


def floor_plan(title: str, zones: Sequence[tuple[str, str]]) -> bytes:
    """The drawing of a site as PNG: walls and door openings; outlines bring the names of zones."""
    image = Image.new("RGB", PLAN_SIZE, "#ffffff")
    ink = ImageDraw.Draw(image)
    kinds = dict(zones)
    wide, high = PLAN_SIZE
    for number, (name, box) in enumerate(rooms(zones).items()):
        left, top, right, bottom = box[0] * wide, box[1] * high, box[2] * wide, box[3] * high
        if kinds[name] in OUTSIDE:
            for at in range(int(left), int(right), 26):
                ink.line([(at, bottom), (min(at + 40, right), top)], fill="#e3e6e2", width=2)
            ink.rectangle([left, top, right, bottom], outline="#9aa39b", width=3)
        else:
            ink.rectangle([left, top, right, bottom], fill="#f7f7f3", outline="#3b423d", width=8)
            door = left + (0.25 + 0.1 * (number % 4)) * (right - left)
            ink.line([(door, bottom), (door + 70, bottom)], fill="#f7f7f3", width=10)
            ink.arc([door - 70, bottom - 70, door + 70, bottom + 70], 270, 360, fill="#8d958e")
            ink.rectangle([left + 30, top + 70, left + 150, top + 110], outline="#c3c9c3", width=3)
    ink.text((wide * 0.05, 14), f"{title} (demo drawing)", fill="#5b635d", font=_letters(26))
    return _png(image)


def outline(box: Box) -> list[tuple[float, float]]:
    """The corners of a zone on the plan, a little within its walls."""
    left, top, right, bottom = box
    inset = 0.006
    return [
        (left + inset, top + inset),
        (right - inset, top + inset),
        (right - inset, bottom - inset),
        (left + inset, bottom - inset),
    ]


def place_in(box: Box, number: int, of: int) -> tuple[float, float]:
    """Where the nth of so many monitors of a zone stands: along its walls, clear of its name."""
    left, top, right, bottom = box
    share = (number + 0.5) / of
    along = left + 0.03 + share * (right - left - 0.06)
    return along, (bottom - 0.035) if number % 2 else top + 0.55 * (bottom - top)


# --- photos ---------------------------------------------------------------------------------------


def photo(motif: str, rng: Random) -> bytes:
    """A drawing in place of a photo, as JPEG; no two are alike."""
    image = Image.new("RGB", PHOTO_SIZE, "#b9b4a8")
    ink = ImageDraw.Draw(image)
    _wall(ink, rng)
    MOTIFS[motif](ink, rng)
    ink.text((14, PHOTO_SIZE[1] - 34), "Demo drawing, no photograph", fill="#ffffff")
    out = io.BytesIO()
    image.save(out, "JPEG", quality=82)
    return out.getvalue()


def _wall(ink: Ink, rng: Random) -> None:
    """Tiles above a floor, each of a slightly different grey."""
    for top in range(0, 420, 70):
        for left in range(0, 800, 100):
            shade = 196 + rng.randrange(-12, 13)
            ink.rectangle(
                [left, top, left + 97, top + 67], fill=(shade, shade, shade - 8), outline="#a8a396"
            )
    ink.rectangle([0, 420, 800, 600], fill="#7f7a70")
    for _ in range(160):
        x, y = rng.randrange(800), rng.randrange(425, 600)
        ink.ellipse([x, y, x + 3, y + 2], fill="#6b665d")


def _chase(ink: Ink, rng: Random) -> None:
    ink.rectangle([470, 120, 790, 470], fill="#55585a", outline="#2c2e2f", width=6)
    ink.rectangle([510, 180, 750, 320], fill="#202224", outline="#8d9294", width=5)
    ink.ellipse([150, 180, 330, 380], fill="#17130f", outline="#6d6152", width=8)
    for left in (190, 230, 270):
        ink.rectangle([left, 0, left + 22, 300], fill="#b06a3b", outline="#6f4123")
    for _ in range(26):
        x, y = rng.randrange(140, 340), rng.randrange(360, 430)
        ink.ellipse([x, y, x + 7, y + 4], fill="#3a2313")


def _sealed(ink: Ink, rng: Random) -> None:
    ink.ellipse([140, 170, 340, 390], fill="#c9c5bb", outline="#8f8a7e", width=6)
    for _ in range(60):
        x, y = rng.randrange(165, 315), rng.randrange(200, 360)
        ink.line([(x, y), (x + 10, y + 6)], fill="#7d8284", width=2)
    for left in (190, 230, 270):
        ink.rectangle([left, 0, left + 22, 290], fill="#b06a3b", outline="#6f4123")


def _gap(ink: Ink, rng: Random) -> None:
    ink.rectangle([190, 30, 610, 440], fill="#5d6f63", outline="#39463e", width=8)
    ink.polygon([(190, 440), (610, 440), (610, 470), (190, 452)], fill="#0d0d0c")
    for _ in range(14):
        x = rng.randrange(300, 600)
        ink.ellipse([x, 474, x + 14, 482], fill="#2a2018")


def _bristles(ink: Ink, rng: Random) -> None:
    ink.rectangle([190, 30, 610, 440], fill="#5d6f63", outline="#39463e", width=8)
    ink.rectangle([190, 436, 610, 448], fill="#b9bdbf")
    for x in range(190, 610, 3):
        ink.line([(x, 448), (x + rng.randrange(-3, 4), 476)], fill="#26241f", width=2)


def _sacks(ink: Ink, rng: Random) -> None:
    for left, top in ((90, 300), (290, 310), (490, 296), (190, 190), (400, 186)):
        ink.rounded_rectangle(
            [left, top, left + 190, top + 120], 30, fill="#d8c9a6", outline="#9c8a62", width=4
        )
    for _ in range(18):
        x, y = rng.randrange(100, 660), rng.randrange(180, 400)
        ink.line([(x, y), (x + 9, y + 4)], fill="#6b5536", width=3)


def _bins(ink: Ink, rng: Random) -> None:
    for left in (90, 310, 530):
        ink.rectangle([left, 210, left + 170, 470], fill="#3e5a4a", outline="#22332a", width=5)
        ink.polygon(
            [
                (left - 10, 210),
                (left + 180, 210),
                (left + 170, 180 - rng.randrange(30)),
                (left, 190),
            ],
            fill="#2d4437",
        )
    for _ in range(30):
        x, y = rng.randrange(90, 700), rng.randrange(110, 210)
        ink.ellipse([x, y, x + 5, y + 4], fill="#161616")


def _clean(ink: Ink, rng: Random) -> None:
    ink.rectangle([120, 120, 680, 150], fill="#b4b9bb", outline="#7d8284")
    ink.rectangle([120, 290, 680, 320], fill="#b4b9bb", outline="#7d8284")
    for left in range(150, 640, 120):
        tall = 70 + rng.randrange(40)
        ink.rounded_rectangle(
            [left, 290 - tall, left + 80, 290], 10, fill="#e9e4d6", outline="#9a927d", width=3
        )


MOTIFS: dict[str, Callable[[Ink, Random], None]] = {
    "chase": _chase,
    "sealed": _sealed,
    "gap": _gap,
    "bristles": _bristles,
    "sacks": _sacks,
    "bins": _bins,
    "clean": _clean,
}


# --- papers ---------------------------------------------------------------------------------------


def paper(title: str, lines: Sequence[str]) -> bytes:
    """A one-page PDF with a heading and some lines."""
    body = "".join(f"<p>{escape(line)}</p>" for line in lines)
    return bytes(
        HTML(string=f"<h1>{escape(title)}</h1>{body}<p>Invented for demonstration.</p>").write_pdf()
    )


def _letters(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _png(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()
