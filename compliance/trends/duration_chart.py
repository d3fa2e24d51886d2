"""The share of things that is open still, day by day, as a picture: steps with what holds them.

A string of SVG with presentation attributes only, so that a strict content policy shows it too. The
limits are drawn by thin broken lines, never by colour alone; the ink is that of the text around it.
"""

from collections.abc import Sequence
from xml.sax.saxutils import quoteattr

from compliance.trends.duration import HALF, StillOpen
from compliance.trends.exposure import Floats
from compliance.trends.inks import px, text

WIDTH, HEIGHT = 400, 240
LEFT, RIGHT, TOP, BOTTOM = 48, 16, 26, 42
QUARTERS = (0, 25, 50, 75, 100)
MOST_TICKS = 6


def open_chart(curve: StillOpen, *, longest: int, title: str, name: str) -> str:
    """The picture. ``longest`` is for how many days the thing that was seen longest was seen open.

    ``name`` begins the ids in it and must be unique on its page. ``title`` is plain text.
    """
    frame = _Frame(max(longest, 1))
    half = curve.within()
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f"aria-labelledby={quoteattr(f'{name}-title {name}-desc')} "
        'fill="none" stroke="currentColor" font-size="13">',
        f"<title id={quoteattr(f'{name}-title')}>{_escaped(title)}</title>",
        f"<desc id={quoteattr(f'{name}-desc')}>{_escaped(described(curve))}</desc>",
        *_axes(frame),
        _steps(frame, curve.days.tolist(), curve.lower, width="1", dashes="3 3"),
        _steps(frame, curve.days.tolist(), curve.upper, width="1", dashes="3 3"),
        _steps(frame, curve.days.tolist(), curve.share, width="2.5"),
    ]
    if half is not None:
        parts += _half(frame, half)
    parts.append("</svg>")
    return "".join(parts)


def described(curve: StillOpen) -> str:
    """The picture in a sentence."""
    half = curve.within()
    if not len(curve.days):
        return "Nothing is closed so far; all of it is open still."
    last = f"After {_days(int(curve.days[-1]))} {100 * float(curve.share[-1]):.0f} % are open still"
    if half is None:
        return f"{last}. Within how many days half are closed is not yet known."
    return f"Half are closed within {_days(half)}. {last}."


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def _escaped(words: str) -> str:
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


class _Frame:
    """Where days and shares lie on the drawing."""

    def __init__(self, longest: int) -> None:
        self.longest = longest
        self.right = WIDTH - RIGHT
        self.bottom = HEIGHT - BOTTOM

    def x(self, days: float) -> float:
        return LEFT + (self.right - LEFT) * days / self.longest

    def y(self, share: float) -> float:
        return self.bottom - (self.bottom - TOP) * share


def _axes(frame: _Frame) -> list[str]:
    parts = [text(0, 13, "open still", anchor="start", soft=True)]
    for percent in QUARTERS:
        y = frame.y(percent / 100)
        line = "0.6" if not percent else "0.15"
        parts.append(f'<path d="M{px(LEFT)} {px(y)}H{px(frame.right)}" stroke-opacity="{line}"/>')
        parts.append(text(LEFT - 5, y + 4.5, f"{percent} %", anchor="end", soft=True))
    step = _round_step(frame.longest)
    for days in range(0, frame.longest + 1, step):
        parts.append(
            f'<path d="M{px(frame.x(days))} {px(frame.bottom)}v4" stroke-opacity="0.6"/>'
            + text(frame.x(days), frame.bottom + 18, str(days))
        )
    middle = (LEFT + frame.right) / 2
    parts.append(text(middle, HEIGHT - 6, "days since it was raised", soft=True))
    return parts


def _round_step(longest: int) -> int:
    """A round number of days between two marks: 1, 2 or 5 times a power of ten."""
    power = 1
    while True:
        for factor in (1, 2, 5):
            if longest <= MOST_TICKS * factor * power:
                return factor * power
        power *= 10


def _steps(
    frame: _Frame, days: Sequence[int], shares: Floats, *, width: str, dashes: str = ""
) -> str:
    path = f"M{px(frame.x(0))} {px(frame.y(1.0))}"
    for day, share in zip(days, shares.tolist(), strict=True):
        path += f"H{px(frame.x(day))}V{px(frame.y(share))}"
    path += f"H{px(frame.right)}"
    broken = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="{path}" stroke-width="{width}"{broken}/>'


def _half(frame: _Frame, days: int) -> list[str]:
    x, y = frame.x(days), frame.y(HALF)
    to_the_left = days > frame.longest / 2
    return [
        f'<circle cx="{px(x)}" cy="{px(y)}" r="5" stroke-width="2"/>',
        text(
            x + (-10 if to_the_left else 10),
            y - 8,
            f"half within {_days(days)}",
            anchor="end" if to_the_left else "start",
            bold=True,
        ),
    ]
