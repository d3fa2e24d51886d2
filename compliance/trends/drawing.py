"""Counts month by month as pictures: one place at large, many places small, a plan's tints.

Strings of SVG with presentation attributes only, so that a strict content policy and a paper show
the same picture in the ink of the text around it. Inks are thinned by stroke and fill, never as a
whole: the paper's setter would clip what it groups. What a month was differs by shape and words,
never by colour: a filled dot (as usual), an open one (not yet known what is usual), a lozenge
(more than usual), an arrow upwards (a trap was full: at least so many). Where nobody looked there
is a gap, which says so. Rates per 100 trap-days, months as (year, month).
Docs: docs/algorithms/trends.md (Pictures).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby, pairwise
from math import isfinite
from typing import TYPE_CHECKING, Literal

from compliance.trends.exposure import Month, month_number, months_between
from compliance.trends.inks import (
    FONT,
    Labels,
    apart,
    clean,
    head,
    px,
    shortened,
    text,
    width_of,
)
from compliance.trends.rates import short

if TYPE_CHECKING:  # judging loads much that a picture does not need
    from compliance.trends.judge import State

Kind = Literal["treatment", "proofing", "review"]

MOST_MONTHS = 48
"""Only the last so many are drawn: a month needs some width to be seen."""

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
KINDS: dict[Kind, tuple[str, str]] = {
    "treatment": ("treatment", "treated"),
    "proofing": ("proofing", "proofed"),
    "review": ("review", "reviewed"),
}
"""How each kind of mark is called in a sentence and at its row of the picture."""

WIDTH, MARGIN, MOST_BESIDE = 400, 8, 160
TOP, PLOT = 42, 150
LANE, AXIS = 20, 36
ARROW = 17.0
"""How far the arrow of a full trap stands up from its point."""
SMALL_WIDTH, SMALL_HEIGHT, SMALL_FONT = 200, 84, 11
TICKS = 3
OFF_THE_TOP = 3.0
"""A month that towers over the next lower by more than this is cut off, with its figure in words,
so that the others can still be told apart: common practice, no source."""
ROOM = 1.04
"""The axis reaches a little above the highest point."""
TINY, LOWEST, HIGHEST = 1e-6, 1e-3, 1e9
"""Rates that are none, that are worth a scale, and that are drawn no higher."""
ONE_IN = 12
"""Of so many months one may be cut off, and at least one of all."""


@dataclass(frozen=True, slots=True)
class Point:
    """One month of one place and pest.

    ``per_100``: None where nobody looked. ``centre`` and ``limit``: what was usual and the rate
    from which the month would have been an alarm by itself, as judged then; None while not known.
    ``at_least``: a trap was full. ``allows``: the largest rate that the count still allows.
    A month that nobody judges (one monitor's) is calm without a centre: nothing is said of it.
    """

    month: Month
    count: int
    trap_days: float
    per_100: float | None
    centre: float | None
    limit: float | None
    state: "State"
    at_least: bool
    allows: float | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that was done or written, to be seen beside the counts."""

    on: date
    kind: Kind
    words: str


def place_chart(points: Sequence[Point], marks: Sequence[Mark], *, title: str, name: str) -> str:
    """The picture of one place and pest, with what was done there below the months.

    ``name`` begins the ids in it and must be unique on its page. Months that are missing between
    the first and the last were not read; marks outside them are left out. Raises ``ValueError``
    where there is no month to draw.
    """
    months = _every_month(points)
    first, last = months[0].month, months[-1].month
    kept = [
        mark
        for mark in sorted(marks, key=lambda mark: (mark.on, mark.kind, mark.words))
        if first <= (mark.on.year, mark.on.month) <= last
    ]
    lanes = [kind for kind in KINDS if any(mark.kind == kind for mark in kept)]
    top, ticks = _scale(months, TICKS)
    ends = _end_words(months)
    beside = [words for _, words, _ in ends] + [KINDS[kind][1] for kind in lanes]
    height = TOP + PLOT + AXIS + LANE * len(lanes) + 4
    frame = _Frame(
        first=first,
        months=len(months),
        left=max(width_of(_tick(top * part / ticks)) for part in range(ticks + 1)) + MARGIN,
        right=WIDTH - min(max(map(width_of, beside), default=0.0) + MARGIN + 1, MOST_BESIDE),
        upper=TOP,
        lower=TOP + PLOT,
        top=top,
        ticks=ticks,
    )
    labels = Labels(frame.left, frame.right + 6, 0, frame.lower)
    parts = [
        *head(WIDTH, height, FONT, title, described(months, kept), name),
        *_grid(frame),
        *_month_names(frame, months),
        *_lanes(frame, kept, lanes),
        *_steps(frame, months),
        *_gaps(frame, months),
        *_series(frame, months, labels, radius=min(3.2, frame.step * 0.45)),
        *_unknown(frame, months, labels),
        *_words_of_alarms(frame, months, labels),
        *_words_of_others(frame, months, labels),
        *_ends(frame, ends),
        "</svg>",
    ]
    return "".join(parts)


def small_chart(points: Sequence[Point], *, title: str, name: str) -> str:
    """The same months in little, for a grid of many; the words stand around it and in its table.

    Raises ``ValueError`` where there is no month to draw.
    """
    months = _every_month(points)
    frame = _Frame(
        first=months[0].month,
        months=len(months),
        left=4,
        right=SMALL_WIDTH - 46,
        upper=16,
        lower=SMALL_HEIGHT - 16,
        top=_scale(months, 1)[0],
    )
    labels = Labels(frame.left, SMALL_WIDTH, 0, frame.lower)
    top = short(frame.top)
    parts = [
        *head(SMALL_WIDTH, SMALL_HEIGHT, SMALL_FONT, title, described(months, ()), name),
        f'<path d="M{px(frame.left)} {px(frame.lower)}H{px(frame.right)}" stroke-opacity="0.6"/>',
        f'<path d="M{px(frame.left)} {px(frame.upper)}H{px(frame.right)}" stroke-opacity="0.15"/>',
        text(frame.left, 11, top, anchor="start", soft=True),
        *_steps(frame, months),
        *_gaps(frame, months, words=False),
        *_series(frame, months, labels, radius=min(2.2, frame.step * 0.45)),
        *_small_ends(frame, months),
        "</svg>",
    ]
    return "".join(parts)


def described(months: Sequence[Point], marks: Sequence[Mark]) -> str:
    """The picture in sentences, for whoever cannot see it."""
    read = [point for point in months if point.per_100 is not None]
    said = [f"Individuals per 100 trap-days, {_span(months[0].month, months[-1].month)}."]
    unread = [point.month for point in months if point.per_100 is None]
    if not read:
        return f"{said[0]} Nobody could look in any of these months."
    if unread:
        said.append(f"Nobody could look {_when(unread)}.")
    highest = max(read, key=lambda point: point.per_100 or 0)
    if not highest.per_100:
        days = sum(point.trap_days for point in read)
        said.append(f"None was caught in {short(days)} trap-days.")
    elif len(read) > 1:
        said.append(f"The most was {_rate(highest)} in {_named(highest.month)}.")
    latest = read[-1]
    said.append(
        f"In {_named(latest.month)}: {latest.count} in {short(latest.trap_days)} trap-days, which "
        f"is {_rate(latest)}{_against(latest)}."
    )
    if latest.allows is not None and not latest.at_least:
        said.append(f"Its count still allows a rate of up to {short(latest.allows, 'up')}.")
    alarms = [point for point in read if point.state == "alarm"]
    if alarms:
        each = [f"{_named(point.month)} ({_rate(point)})" for point in alarms]
        said.append(f"More than usual in {_listed(each)}.")
    elif any(point.state == "calm" and point.centre is not None for point in read):
        said.append("No month was more than usual.")
    full = [point.month for point in read if point.at_least]
    if full:
        said.append(f"A trap was full, so that there were at least so many, {_when(full)}.")
    unknown = [point.month for point in read if point.state == "not_yet_known"]
    if unknown:
        said.append(f"It was not yet known what is usual {_when(unknown)}.")
    for mark in marks:
        words = clean(mark.words)
        said.append(
            f"{mark.on.day} {_named((mark.on.year, mark.on.month))}: {KINDS[mark.kind][0]}"
            f"{f', {words}' if words else ''}."
        )
    return " ".join(said)


def _against(point: Point) -> str:
    said = ""
    if point.centre is not None:
        said += f"; usual was {short(point.centre)}"
    if point.limit is not None:
        said += f", an alarm by itself from {short(point.limit, 'up')}"
    return said


def _rate(point: Point) -> str:
    return f"{'at least ' if point.at_least else ''}{short(point.per_100 or 0)}"


# Months


def _every_month(points: Sequence[Point]) -> list[Point]:
    """One point for each month from the first to the last, oldest first; figures that are none
    are taken out."""
    if not points:
        raise ValueError("there is no month to draw")
    known = {point.month: point for point in points}
    last = max(known)
    first = max(min(known), _back(last, MOST_MONTHS - 1))
    return [
        _sound(known[month])
        if month in known
        else Point(month, 0, 0.0, None, None, None, "not_read", False)
        for month in months_between(first, last)
    ]


def _back(month: Month, by: int) -> Month:
    number = month_number(month) - by
    return (number // 12, number % 12 + 1)


def _sound(point: Point) -> Point:
    def figure(value: float | None) -> float | None:
        if value is None or not isfinite(value) or value < 0:
            return None
        return min(value, HIGHEST) if value > TINY else 0.0

    return replace(
        point,
        trap_days=figure(point.trap_days) or 0.0,
        per_100=None if point.state == "not_read" else figure(point.per_100),
        centre=figure(point.centre),
        limit=figure(point.limit),
        allows=figure(point.allows),
    )


def _named(month: Month) -> str:
    return f"{MONTHS[month[1] - 1]} {month[0]}"


def _span(first: Month, last: Month) -> str:
    return _named(first) if first == last else f"{_named(first)} to {_named(last)}"


def _when(months: Sequence[Month]) -> str:
    """Months in words, those that follow each other drawn together."""
    return _listed(
        [
            f"in {_named(months[start])}"
            if start == end
            else f"from {_named(months[start])} to {_named(months[end])}"
            for start, end in _stretches([month_number(month) for month in months])
        ]
    )


def _stretches(numbers: Sequence[int]) -> list[tuple[int, int]]:
    """First and last place of each stretch of numbers that follow each other."""
    found: list[tuple[int, int]] = []
    for place, number in enumerate(numbers):
        if found and number == numbers[place - 1] + 1:
            found[-1] = (found[-1][0], place)
        else:
            found.append((place, place))
    return found


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


# Scale


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where months and rates lie on the drawing."""

    first: Month
    months: int
    left: float
    right: float
    upper: float
    lower: float
    top: float
    ticks: int = 1

    @property
    def step(self) -> float:
        return (self.right - self.left) / self.months

    def x(self, place: float) -> float:
        """The middle of a month's column."""
        return self.left + self.step * (place + 0.5)

    def y(self, rate: float) -> float:
        return self.lower - (self.lower - self.upper) * min(rate / self.top, 1.0)

    def off(self, rate: float) -> bool:
        return rate > self.top


def _scale(months: Sequence[Point], ticks: int) -> tuple[float, int]:
    """A round end of the axis above all but what towers over the rest, and its parts."""
    rates = [point.per_100 for point in months if point.per_100 is not None]
    limits = [point.limit for point in months if point.limit is not None]
    centres = [point.centre for point in months if point.centre is not None]
    allowed = [point.allows for point in months if point.allows is not None]
    highest = max([*_without_towers(rates), *_without_towers(limits), *_without_towers(centres), 0])
    if not any(rates):
        highest = max([highest, *_without_towers(allowed)])
    if highest < LOWEST:
        return 1.0, 1
    wanted = highest * ROOM
    step = _round_up(wanted / ticks)
    while ticks > 1 and step * (ticks - 1) >= wanted:
        ticks -= 1
    return step * ticks, ticks


def _without_towers(values: Sequence[float]) -> list[float]:
    ordered = sorted(values)
    for _ in range(max(1, len(ordered) // ONE_IN)):
        if len(ordered) > 1 and ordered[-2] > 0 and ordered[-1] > OFF_THE_TOP * ordered[-2]:
            ordered.pop()
    return ordered


def _round_up(value: float) -> float:
    """1, 2, 2.5 or 5 times a power of ten, the next that is not smaller."""
    power = float(f"1e{f'{value:e}'.split('e')[1]}")
    return next((power * one for one in (1, 2, 2.5, 5) if power * one >= value), power * 10)


# Parts


def _grid(frame: _Frame) -> list[str]:
    parts = [text(0, FONT, "per 100 trap-days", anchor="start", soft=True)]
    for number in range(frame.ticks + 1):
        rate = frame.top * number / frame.ticks
        y = frame.y(rate)
        line = "0.6" if not number else "0.15"
        parts.append(
            f'<path d="M{px(frame.left)} {px(y)}H{px(frame.right)}" stroke-opacity="{line}"/>'
        )
        parts.append(text(frame.left - 5, y + 4.5, _tick(rate), anchor="end", soft=True))
    return parts


def _tick(rate: float) -> str:
    if rate >= 10_000:
        return f"{rate:.0e}".replace("e+0", "e") if rate >= 1_000_000 else f"{rate / 1000:g}k"
    return f"{round(rate, 6):g}"


def _month_names(frame: _Frame, months: Sequence[Point]) -> list[str]:
    """The months at their columns, as many as there is room for, and the years below."""
    room = frame.step
    every = next(one for one in (1, 2, 3, 6, 12, 24) if room * one >= 30 or one == 24)
    parts = []
    for place, point in enumerate(months):
        year, month = point.month
        x = frame.x(place)
        if (month - 1) % every == 0:
            parts.append(f'<path d="M{px(x)} {px(frame.lower)}v4" stroke-opacity="0.6"/>')
            if every <= 6:
                parts.append(text(x, frame.lower + 16, MONTHS[month - 1][:3]))
        if month == 1 and place:
            edge = x - frame.step / 2
            parts.append(f'<path d="M{px(edge)} {px(frame.lower + 21)}v12" stroke-opacity="0.4"/>')
    for year, group in groupby(enumerate(months), key=lambda pair: pair[1].month[0]):
        places = [place for place, _ in group]
        middle = (frame.x(places[0]) + frame.x(places[-1])) / 2
        if frame.step * len(places) >= width_of(str(year)) or len(places) == len(months):
            parts.append(text(middle, frame.lower + 31, str(year), soft=True))
    return parts


def _lanes(frame: _Frame, marks: Sequence[Mark], lanes: Sequence[Kind]) -> list[str]:
    """A row for each kind of mark under the months, its words where they fit, and a hairline up
    through the counts. Several marks of a kind in a month are one."""
    parts: list[str] = []
    first = month_number(frame.first)
    at: list[int] = []
    for row, kind in enumerate(lanes):
        y = frame.lower + AXIS + LANE * row + 10
        parts.append(text(frame.right + MARGIN, y + 4.5, KINDS[kind][1], anchor="start"))
        parts.append(
            f'<path d="M{px(frame.left)} {px(y)}H{px(frame.right)}" stroke-opacity="0.15"/>'
        )
        gathered: dict[int, list[str]] = {}
        for mark in marks:
            if mark.kind == kind:
                place = month_number((mark.on.year, mark.on.month)) - first
                of_month = gathered.setdefault(place, [])
                if (cleaned := clean(mark.words)) and cleaned not in of_month:
                    of_month.append(cleaned)
        places = list(gathered)
        at += places
        taken = frame.left
        for place, following in zip(places, [*places[1:], None], strict=True):
            x = frame.x(place)
            parts.append(_mark(kind, x, y))
            said = ", ".join(gathered[place])
            until = frame.right if following is None else frame.x(following) - 8
            after, before = until - x - 8, x - 8 - taken
            taken = x + 8
            if before > after and width_of(said, SMALL_FONT) > after:
                words = shortened(said, before, SMALL_FONT)
                parts.append(text(x - 8, y + 4, words, anchor="end", size=SMALL_FONT))
            elif words := shortened(said, after, SMALL_FONT):
                parts.append(text(x + 8, y + 4, words, anchor="start", size=SMALL_FONT))
                taken += width_of(words, SMALL_FONT) + 4
    lowest = frame.lower + AXIS + LANE * len(lanes)
    for place in sorted(set(at)):
        x = frame.x(place)
        until = max(
            frame.lower + AXIS + LANE * row + 5
            for row, kind in enumerate(lanes)
            if any(
                mark.kind == kind and month_number((mark.on.year, mark.on.month)) - first == place
                for mark in marks
            )
        )
        parts.append(
            f'<path d="M{px(x)} {px(frame.upper)}V{px(min(until, lowest))}" stroke-width="0.7" '
            'stroke-dasharray="1 2" stroke-opacity="0.7"/>'
        )
    return parts


def _mark(kind: Kind, x: float, y: float) -> str:
    if kind == "treatment":
        return f'<path d="M{px(x - 4)} {px(y - 4)}h8l-4 8z" fill="currentColor"/>'
    if kind == "proofing":
        return f'<rect x="{px(x - 4)}" y="{px(y - 4)}" width="8" height="8" fill="currentColor"/>'
    return f'<path d="M{px(x - 5)} {px(y)}l4 4l7 -8" stroke-width="2"/>'


def _steps(frame: _Frame, months: Sequence[Point]) -> list[str]:
    """What was usual and from where on it would have been an alarm, each as it was judged then."""

    def stepped(of: Callable[[Point], float | None]) -> str:
        path, before = "", None
        for place, point in enumerate(months):
            rate = of(point)
            if rate is None or frame.off(rate):
                before = None
                continue
            left, right = frame.left + frame.step * place, frame.left + frame.step * (place + 1)
            path += f"M{px(left)} {px(frame.y(rate))}" if before is None else ""
            path += f"V{px(frame.y(rate))}H{px(right)}"
            before = rate
        return path

    parts = []
    if path := stepped(lambda point: point.centre):
        parts.append(f'<path d="{path}" stroke-opacity="0.75"/>')
    if path := stepped(lambda point: point.limit):
        parts.append(f'<path d="{path}" stroke-width="1.4" stroke-dasharray="5 3"/>')
    return parts


def _gaps(frame: _Frame, months: Sequence[Point], *, words: bool = True) -> list[str]:
    """Hatching where nobody looked, with its words upright or turned."""
    parts = []
    unread = [place for place, point in enumerate(months) if point.per_100 is None]
    for start, end in _stretches(unread):
        left = frame.left + frame.step * unread[start]
        right = frame.left + frame.step * (unread[end] + 1)
        parts.append(_hatching(left, frame.upper, right, frame.lower))
        if not words:
            continue
        middle = (left + right) / 2
        if right - left >= width_of("not read") + 8:
            parts.append(text(middle, frame.lower - 6, "not read"))
        else:
            parts.append(
                text(
                    middle + 4,
                    frame.lower - 34,
                    "not read",
                    size=min(SMALL_FONT, max(frame.step * 1.4, 8)),
                    turned=True,
                )
            )
    return parts


def _hatching(left: float, upper: float, right: float, lower: float) -> str:
    """Slanting lines within a box, drawn out: a pattern would not be printed everywhere."""
    path = ""
    gap = 7.0
    offset = upper + gap
    while offset < lower + (right - left):
        x1, y1 = left, offset
        x2, y2 = right, offset - (right - left)
        if y1 > lower:
            x1, y1 = left + (y1 - lower), lower
        if y2 < upper:
            x2, y2 = right - (upper - y2), upper
        if x2 > x1:
            path += f"M{px(x1)} {px(y1)}L{px(x2)} {px(y2)}"
        offset += gap
    return f'<path d="{path}" stroke-width="0.7" stroke-opacity="0.3"/>' if path else ""


def _series(frame: _Frame, months: Sequence[Point], labels: Labels, *, radius: float) -> list[str]:
    """The months as points, joined where they follow each other."""
    spots = [
        (place, point, frame.x(place), frame.y(point.per_100))
        for place, point in enumerate(months)
        if point.per_100 is not None
    ]
    path = ""
    for (place, point, x, y), (following, other, x2, y2) in pairwise(spots):
        if following != place + 1:
            continue
        labels.cross(x, y, x2, y2)
        length = ((x2 - x) ** 2 + (y2 - y) ** 2) ** 0.5
        start = radius / length if point.state == "not_yet_known" else 0.0
        end = radius / length if other.state == "not_yet_known" else 0.0
        if start + end < 1:
            path += (
                f"M{px(x + (x2 - x) * start)} {px(y + (y2 - y) * start)}"
                f"L{px(x2 - (x2 - x) * end)} {px(y2 - (y2 - y) * end)}"
            )
    parts = [f'<path d="{path}" stroke-width="{radius * 0.4:.1f}"/>'] if path else []
    nothing = not any(point.per_100 for _, point, _, _ in spots)
    for _, point, x, y in spots:
        if nothing and point.allows is not None and not point.at_least:
            parts.append(_whisker(frame, x, y, point.allows, radius))
        parts.append(_dot(point, x, y, radius))
        size = radius * 2.2 if point.state == "alarm" else radius + 1
        labels.take(x, y, size)
        if point.at_least:
            parts.append(_arrow(x, y, radius))
            labels.take(x, y - radius * 4, radius * 1.6)
        if frame.off(point.per_100 or 0):
            parts.append(
                f'<path d="M{px(x - radius * 2)} {px(y + radius * 3)}l{px(radius * 4)} -3'
                f'm0 4l{px(-radius * 4)} 3" stroke-opacity="0.9"/>'
            )
    return parts


def _dot(point: Point, x: float, y: float, radius: float) -> str:
    if point.state == "alarm":
        size = radius * 2
        return (
            f'<path d="M{px(x)} {px(y - size)}L{px(x + size)} {px(y)}L{px(x)} {px(y + size)}'
            f'L{px(x - size)} {px(y)}z" fill="currentColor"/>'
        )
    if point.state == "not_yet_known":
        return f'<circle cx="{px(x)}" cy="{px(y)}" r="{px(radius)}" stroke-width="1.2"/>'
    return f'<circle cx="{px(x)}" cy="{px(y)}" r="{px(radius)}" fill="currentColor" stroke="none"/>'


def _arrow(x: float, y: float, radius: float) -> str:
    """An open arrow upwards: at least so many."""
    wing = radius * 1.3
    return (
        f'<path d="M{px(x)} {px(y - radius)}V{px(y - radius * 5)}M{px(x - wing)} '
        f"{px(y - radius * 5 + wing)}L{px(x)} {px(y - radius * 5)}L{px(x + wing)} "
        f'{px(y - radius * 5 + wing)}" stroke-width="1.4"/>'
    )


def _whisker(frame: _Frame, x: float, y: float, allows: float, radius: float) -> str:
    """Up to where a count of none still allows the rate to lie."""
    top = frame.y(allows)
    cap = "" if frame.off(allows) else f"M{px(x - radius)} {px(top)}h{px(radius * 2)}"
    return f'<path d="M{px(x)} {px(y)}V{px(top)}{cap}" stroke-opacity="0.55"/>'


def _unknown(frame: _Frame, months: Sequence[Point], labels: Labels) -> list[str]:
    """A bracket over the months of which nobody knew yet what is usual."""
    words = "not yet known what is usual"
    parts = []
    places = [place for place, point in enumerate(months) if point.state == "not_yet_known"]
    for start, end in _stretches(places):
        left = frame.left + frame.step * places[start] + 1
        right = frame.left + frame.step * (places[end] + 1) - 1
        said = next(
            (
                one
                for one in (words, "not yet known", "not known")
                if width_of(one, SMALL_FONT) <= right - left + (0 if start else 40)
            ),
            "",
        )
        y = frame.upper - 12
        parts.append(f'<path d="M{px(left)} {px(y + 4)}v-4H{px(right)}v4" stroke-opacity="0.6"/>')
        anchor = "start" if places[start] == 0 else "middle"
        x = left if places[start] == 0 else (left + right) / 2
        spot = labels.place(said, [(x, y - 4, anchor)], SMALL_FONT) if said else None
        if spot:
            parts.append(text(*spot[:2], said, anchor=spot[2], size=SMALL_FONT))
    return parts


def _around(x: float, y: float, over: float) -> list[tuple[float, float, str]]:
    """Spots for words about a point, nearest first; what stands on the point is ``over`` high."""
    beside = 11
    return [
        (x, y - over - 3, "middle"),
        (x - beside, y + 4, "end"),
        (x + beside, y + 4, "start"),
        (x, y + 20, "middle"),
        (x - beside, y - 8, "end"),
        (x + beside, y - 8, "start"),
    ]


def _words_of_alarms(frame: _Frame, months: Sequence[Point], labels: Labels) -> list[str]:
    """ "More than usual" at each run of alarms, at its highest month if there is room, with its
    figure; else above the picture with a line down to it."""
    parts = []
    places = [place for place, point in enumerate(months) if point.state == "alarm"]
    places = [place for place in places if months[place].per_100 is not None]
    for start, end in _stretches(places):
        run = places[start : end + 1]
        peak = max(run, key=lambda place: months[place].per_100 or 0)
        x, y = frame.x(peak), frame.y(months[peak].per_100 or 0)
        figure = _rate(months[peak])
        over = ARROW if months[peak].at_least else 8.0
        for words in (f"more than usual: {figure}", f"alarm: {figure}", "alarm"):
            spot = labels.place(words, _around(x, y, over))
            if spot:
                parts.append(text(*spot[:2], words, anchor=spot[2], bold=True))
                break
        else:
            spot = labels.place("alarm", [(x, frame.upper - 16, "middle")], SMALL_FONT)
            if spot:
                parts.append(
                    text(*spot[:2], "alarm", anchor=spot[2], bold=True, size=SMALL_FONT)
                    + f'<path d="M{px(x)} {px(frame.upper - 12)}V{px(y - 8)}" '
                    'stroke-opacity="0.5"/>'
                )
    return parts


def _words_of_others(frame: _Frame, months: Sequence[Point], labels: Labels) -> list[str]:
    """Figures of months that say more than their height does: full traps, and what is cut off."""
    parts = []
    for place, point in enumerate(months):
        if point.per_100 is None or point.state == "alarm":
            continue
        if not point.at_least and not frame.off(point.per_100):
            continue
        x, y = frame.x(place), frame.y(point.per_100)
        for words in (_rate(point), short(point.per_100)):
            spot = labels.place(words, _around(x, y, ARROW if point.at_least else 6.0))
            if spot:
                parts.append(text(*spot[:2], words, anchor=spot[2]))
                break
    return parts


def _end_words(months: Sequence[Point]) -> list[tuple[float, str, bool]]:
    """What the lines are called at their ends: the rate, the words, and whether bold."""
    found: list[tuple[float, str, bool]] = []
    centre = _last(months, lambda point: point.centre)
    limit = _last(months, lambda point: point.limit)
    read = [point for point in months if point.per_100 is not None]
    if limit is not None:
        found.append((limit, f"alarm from {short(limit, 'up')}", False))
    if read:
        month = "" if read[-1].at_least else f"{MONTHS[read[-1].month[1] - 1][:3]}: "
        found.append((read[-1].per_100 or 0.0, f"{month}{_rate(read[-1])}", True))
    if centre is not None:
        found.append((centre, f"usual {short(centre)}", False))
    if read and not any(point.per_100 for point in read) and read[-1].allows is not None:
        found.append((read[-1].allows, f"0 allows {short(read[-1].allows, 'up')}", False))
    return found


def _ends(frame: _Frame, wanted: Sequence[tuple[float, str, bool]]) -> list[str]:
    """The lines by name at their ends, moved apart where two would lie on each other."""
    ordered = sorted(wanted, key=lambda one: -min(one[0], frame.top))
    heights = apart([frame.y(rate) for rate, _, _ in ordered], frame.upper, frame.lower)
    return [
        text(frame.right + MARGIN, height + 4.5, words, anchor="start", bold=bold)
        for (_, words, bold), height in zip(ordered, heights, strict=True)
    ]


def _last(months: Sequence[Point], of: Callable[[Point], float | None]) -> float | None:
    return next((value for point in reversed(months) if (value := of(point)) is not None), None)


def _small_ends(frame: _Frame, months: Sequence[Point]) -> list[str]:
    first, last = months[0].month, months[-1].month
    parts = [text(frame.left, SMALL_HEIGHT - 3, _short(first), anchor="start", soft=True)]
    if len(months) > 1:
        parts.append(text(frame.right, SMALL_HEIGHT - 3, _short(last), anchor="end", soft=True))
    read = [point for point in months if point.per_100 is not None]
    if not read:
        parts.append(text((frame.left + frame.right) / 2, 46, "not read"))
        return parts
    rate = read[-1].per_100 or 0
    y = min(max(frame.y(rate) + 4, 20), frame.lower + 4)
    sign = "≥ " if read[-1].at_least else ""
    parts.append(text(frame.right + 5, y, f"{sign}{short(rate)}", anchor="start", bold=True))
    return parts


def _short(month: Month) -> str:
    return f"{MONTHS[month[1] - 1][:3]} {month[0]}"
