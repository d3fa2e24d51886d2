"""How days, instants, amounts and money are said on paper."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from compliance.sitefile.content import Point

NO_BREAK = "\N{NO-BREAK SPACE}"
DASH = "\N{EN DASH}"

_CURRENCY_SIGNS = {"GBP": "£", "EUR": "€", "USD": "$"}
_SIGNATURE_WIDTH = 300
_SIGNATURE_HEIGHT = 100
_MOST_POINTS = 5000


def day(value: date) -> str:
    """Tue 3 Feb 2026, kept on one line."""
    return f"{value:%a} {value.day} {value:%b} {value.year}".replace(" ", NO_BREAK)


def day_or(value: date | None, otherwise: str) -> str:
    """The day, or other words where there is none."""
    return day(value) if value else otherwise


def short_day(value: date) -> str:
    """3 Feb, for the head of a narrow column."""
    return f"{value.day}{NO_BREAK}{value:%b}"


def days(first: date, last: date | None) -> str:
    """From the first day to the last, both included; without a last it goes on."""
    if last is None:
        return f"from {day(first)}"
    return day(first) if first == last else f"{day(first)} to {day(last)}"


def month(value: date) -> str:
    """February 2026, kept on one line."""
    return f"{value:%B}{NO_BREAK}{value.year}"


def clock(at: datetime, zone: str) -> str:
    """14:05 in that zone."""
    return f"{at.astimezone(ZoneInfo(zone)):%H:%M}"


def zone_at(at: datetime, zone: str) -> str:
    """What that zone is called at an instant, such as GMT, BST or +03."""
    return f"{at.astimezone(ZoneInfo(zone)):%Z}"


def moment(at: datetime, zone: str) -> str:
    """Tue 3 Feb 2026, 14:05 GMT."""
    local = at.astimezone(ZoneInfo(zone))
    return f"{day(local.date())}, {local:%H:%M}{NO_BREAK}{local:%Z}"


def local_day(at: datetime, zone: str) -> date:
    """The day in that zone at an instant."""
    return at.astimezone(ZoneInfo(zone)).date()


def amount(value: Decimal, unit: str) -> str:
    """2.5 g: without the zeros that only the column has."""
    text = f"{value:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text}{NO_BREAK}{unit}" if unit else text


def money(value: Decimal, currency: str) -> str:
    """£1,250.00; a currency without a sign of its own is written out."""
    sign = _CURRENCY_SIGNS.get(currency)
    return f"{sign}{value:,.2f}" if sign else f"{currency}{NO_BREAK}{value:,.2f}"


def counted(number: int, one: str, many: str = "") -> str:
    """3 visits, 1 visit."""
    return f"{number}{NO_BREAK}{one if number == 1 else many or one + 's'}"


def share(part: int, whole: int) -> str:
    """97 %, rounded down so that 100 % is never said of less; a dash where nothing was due."""
    return f"{part * 100 // whole}{NO_BREAK}%" if whole else DASH


def listed(words: Iterable[str]) -> str:
    """One, two and three."""
    items = [word for word in words if word]
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)


def ranges(numbers: Iterable[int]) -> str:
    """1–4, 7, 9–10: whole numbers in order, runs of three or more drawn together."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    said = []
    for run in runs:
        if len(run) > 2:
            said.append(f"{run[0]}{DASH}{run[-1]}")
        else:
            said.extend(str(number) for number in run)
    return ", ".join(said)


def lines(*parts: str) -> str:
    """Those parts that say something, one below the other."""
    return "\n".join(part for part in parts if part.strip())


def named(label: str, value: str) -> str:
    """``Batch: A7``, or nothing at all without a value."""
    return f"{label}: {value}" if value.strip() else ""


def pen_path(strokes: Sequence[Sequence[Point]]) -> str:
    """Strokes (points from 0 to 1) as SVG path data in a box of 300 by 100.

    Points beyond the box are drawn at its edge; beyond five thousand the rest is left out.
    """
    drawn: list[str] = []
    points_left = _MOST_POINTS
    for stroke in strokes:
        points = stroke[:points_left]
        points_left -= len(points)
        for index, (x, y) in enumerate(points):
            across = min(max(x, 0.0), 1.0) * _SIGNATURE_WIDTH
            down = min(max(y, 0.0), 1.0) * _SIGNATURE_HEIGHT
            drawn.append(f"{'L' if index else 'M'}{across:.1f} {down:.1f}")
        if len(points) == 1:
            drawn.append("h0.1")
    return "".join(drawn)
