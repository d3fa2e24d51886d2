"""The cost of each way over the years as a picture: one line a way, the meeting point marked.

A string of SVG with presentation attributes only, so that a strict content policy and a paper show
the same picture. Ways differ by the pattern and the words of their line, never by colour alone;
the ink is that of the text around it.
"""

from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal
from xml.sax.saxutils import escape, quoteattr

from compliance.economics.costs import Comparison, Line

WIDTH, HEIGHT = 430, 290
LEFT, RIGHT, TOP, BOTTOM = 56, 134, 18, 44
LINE_GAP = 17
PATTERNS = (("2.5", ""), ("2", "7 4"), ("1.6", "2 3"), ("1.6", "10 3 2 3"))
TICKS = 4


def cost_chart(
    comparison: Comparison, *, currency: str, name: str, in_todays_money: bool = False
) -> str:
    """The picture. ``name`` begins the ids in it and must be unique on its page.

    ``in_todays_money`` says of the sums that they are discounted; the comparison holds them so.
    Raises ``ValueError`` where there is no way to draw.
    """
    if not comparison.lines:
        raise ValueError("there is no way to draw")
    money = "in today's money" if in_todays_money else ""
    step, top = _scale(max(max(line.by_month) for line in comparison.lines))
    frame = _Frame(months=comparison.months, top=top)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f"aria-labelledby={quoteattr(f'{name}-title {name}-desc')} "
        'fill="none" stroke="currentColor" font-size="13">',
        f"<title id={quoteattr(f'{name}-title')}>{escape(_title(comparison, money))}</title>",
        f"<desc id={quoteattr(f'{name}-desc')}>{escape(_description(comparison, currency))}</desc>",
        *_axes(
            frame, comparison.years, step, f"{currency} spent so far{', ' if money else ''}{money}"
        ),
    ]
    for line, pattern in zip(comparison.lines, PATTERNS, strict=False):
        parts.append(_path(frame, line, *pattern))
    parts += _labels(frame, comparison.lines)
    parts += _meeting(frame, comparison)
    parts.append("</svg>")
    return "".join(parts)


class _Frame:
    """Where months and money lie on the drawing."""

    def __init__(self, *, months: int, top: Decimal) -> None:
        self.months = months
        self.top = top
        self.right = WIDTH - RIGHT
        self.bottom = HEIGHT - BOTTOM

    def x(self, month: int) -> str:
        return _number(LEFT + (self.right - LEFT) * month / self.months)

    def y(self, money: Decimal) -> str:
        return _number(self.height_of(money))

    def height_of(self, money: Decimal) -> float:
        return self.bottom - (self.bottom - TOP) * float(money / self.top)


def _number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _scale(highest: Decimal) -> tuple[Decimal, Decimal]:
    """A round step for the money axis (1, 2 or 5 times a power of ten) and the axis' end."""
    wanted = max(highest, Decimal(1)) / TICKS
    power = Decimal(10) ** wanted.adjusted()
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= wanted)
    steps = (highest / step).to_integral_value(rounding=ROUND_CEILING)
    return step, step * max(steps, Decimal(1))


def _money(value: Decimal) -> str:
    """The sum without cents where it has none."""
    return f"{value:,.0f}" if value == value.to_integral_value() else f"{value:,.2f}"


def _years(years: int) -> str:
    return "1 year" if years == 1 else f"{years} years"


def _title(comparison: Comparison, money: str) -> str:
    over = f"over {_years(comparison.years)}{', ' if money else ''}{money}"
    return f"What each way has cost by the end of each month, {over}"


def _description(comparison: Comparison, currency: str) -> str:
    sentences = [
        f"{line.way.label}: {currency} {_money(line.by_month[0])} at the start, "
        f"{currency} {_money(line.total)} after {_years(comparison.years)}."
        for line in comparison.lines
    ]
    meeting = comparison.break_even
    if meeting and meeting.month is None:
        sentences.append(
            f"{meeting.dearer_now.label} does not cost less than {meeting.cheaper_now.label} "
            f"within {_years(comparison.years)}."
        )
    elif meeting:
        sentences.append(
            f"From month {meeting.month} on, {meeting.dearer_now.label} has cost no more than "
            f"{meeting.cheaper_now.label}."
        )
    return " ".join(sentences)


def _axes(frame: _Frame, years: int, step: Decimal, what: str) -> list[str]:
    parts = [
        f'<path d="M{LEFT} {TOP}V{frame.bottom}H{frame.right}" stroke-width="1" opacity="0.6"/>'
    ]
    money = Decimal(0)
    while money <= frame.top:
        parts.append(
            f'<path d="M{LEFT} {frame.y(money)}H{frame.right}" stroke-width="1" opacity="0.15"/>'
            f'<text x="{LEFT - 6}" y="{frame.y(money)}" dy="4" text-anchor="end" '
            f'fill="currentColor" stroke="none">{_money(money)}</text>'
        )
        money += step
    every = 1 if years <= 5 else 2
    for year in range(0, years + 1, every):
        parts.append(
            f'<text x="{frame.x(year * 12)}" y="{frame.bottom + 17}" text-anchor="middle" '
            f'fill="currentColor" stroke="none">{year}</text>'
        )
    parts.append(
        f'<text x="{_number((LEFT + frame.right) / 2)}" y="{HEIGHT - 8}" text-anchor="middle" '
        f'fill="currentColor" stroke="none">years; {escape(what)}</text>'
    )
    return parts


def _path(frame: _Frame, line: Line, width: str, dashes: str) -> str:
    points = " ".join(
        f"{frame.x(month)},{frame.y(money)}" for month, money in enumerate(line.by_month)
    )
    pattern = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<polyline points="{points}" stroke-width="{width}" stroke-linejoin="round"{pattern}/>'


def _labels(frame: _Frame, lines: Sequence[Line]) -> list[str]:
    """The name of each line at its end, moved apart where two would lie on each other."""
    heights = sorted(
        ((frame.height_of(line.total), line) for line in lines), key=lambda pair: pair[0]
    )
    placed: list[tuple[float, Line]] = []
    for height, line in heights:
        lowest = placed[-1][0] + LINE_GAP if placed else float(TOP)
        placed.append((max(height, lowest), line))
    return [
        f'<text x="{frame.right + 8}" y="{_number(height)}" dy="4" fill="currentColor" '
        f'stroke="none">{escape(line.way.label)}</text>'
        for height, line in placed
    ]


def _meeting(frame: _Frame, comparison: Comparison) -> list[str]:
    meeting = comparison.break_even
    if meeting is None or not meeting.month:
        return []
    line = next(one for one in comparison.lines if one.way is meeting.dearer_now)
    x, y = frame.x(meeting.month), frame.y(line.by_month[meeting.month])
    to_the_left = meeting.month > comparison.months / 2
    anchor, shift = ("end", -10) if to_the_left else ("start", 10)
    dy = -8 if to_the_left else 18
    return [
        f'<circle cx="{x}" cy="{y}" r="6" stroke-width="2"/>'
        f'<circle cx="{x}" cy="{y}" r="2" fill="currentColor" stroke="none"/>'
        f'<text x="{x}" y="{y}" dx="{shift}" dy="{dy}" text-anchor="{anchor}" font-weight="bold" '
        f'fill="currentColor" stroke="none">month {meeting.month}</text>'
    ]
