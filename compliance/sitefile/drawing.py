"""A site plan with its monitors as numbered pins, in millimetres on the paper.

The shape of a pin, which the template draws, tells the kind of monitor. Pins that would cover each
other are moved apart and tied to their true place by a line, so that every number can be read.
"""

import math
from collections import defaultdict
from dataclasses import dataclass

from compliance.sitefile.content import Plan, Point

PIN = 2.3
"""Half the width of a pin."""

_APART = 2 * PIN + 0.5
_ROUNDS = 80
_GOLDEN_ANGLE = math.pi * (3 - math.sqrt(5))


@dataclass(frozen=True, slots=True)
class PlacedPin:
    """Where a pin is drawn, and the line to where the monitor stands, if that is elsewhere."""

    number: int
    kind_code: str
    x: str
    y: str
    leader: str


@dataclass(frozen=True, slots=True)
class PlacedOutline:
    """A zone's outline and the middle of it, where its name goes."""

    zone: str
    path: str
    x: str
    y: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """Sides in millimetres; every coordinate is text, ready for an SVG attribute."""

    width: str
    height: str
    pins: tuple[PlacedPin, ...]
    outlines: tuple[PlacedOutline, ...]


def draw(plan: Plan, *, most_wide: float, most_high: float) -> Drawing:
    """The plan as large as it fits, with its pins and outlines."""
    scale = min(most_wide / max(plan.width, 1), most_high / max(plan.height, 1))
    wide, high = plan.width * scale, plan.height * scale
    homes = [(_within(pin.x) * wide, _within(pin.y) * high) for pin in plan.pins]
    pins = tuple(
        PlacedPin(
            number=pin.number,
            kind_code=pin.kind_code,
            x=_mm(x),
            y=_mm(y),
            leader=_leader(home, (x, y)),
        )
        for pin, home, (x, y) in zip(plan.pins, homes, _spread(homes, wide, high), strict=True)
    )
    outlines = tuple(
        _placed_outline(outline.zone, [(_within(x) * wide, _within(y) * high) for x, y in corners])
        for outline in plan.outlines
        if len(corners := outline.corners) > 2
    )
    return Drawing(_mm(wide), _mm(high), pins, outlines)


def _spread(homes: list[Point], wide: float, high: float) -> list[Point]:
    """Moves points apart until none lies nearer than a pin's width, as near home as that allows."""
    places = list(homes)
    for _ in range(_ROUNDS):
        moved = False
        near: dict[tuple[int, int], list[int]] = defaultdict(list)
        for index, (x, y) in enumerate(places):
            near[int(x // _APART), int(y // _APART)].append(index)
        for index in range(len(places)):
            across, down = int(places[index][0] // _APART), int(places[index][1] // _APART)
            for other in (
                other
                for dx in (-1, 0, 1)
                for dy in (-1, 0, 1)
                for other in near.get((across + dx, down + dy), ())
                if other > index
            ):
                (x, y), (ox, oy) = places[index], places[other]
                gap = math.hypot(ox - x, oy - y)
                if gap >= _APART:
                    continue
                angle = math.atan2(oy - y, ox - x) if gap > 0.01 else other * _GOLDEN_ANGLE
                push = (_APART - gap) / 2 + 0.01
                places[index] = _inside(
                    x - push * math.cos(angle), y - push * math.sin(angle), wide, high
                )
                places[other] = _inside(
                    ox + push * math.cos(angle), oy + push * math.sin(angle), wide, high
                )
                moved = True
        if not moved:
            break
    return places


def _inside(x: float, y: float, wide: float, high: float) -> Point:
    return min(max(x, PIN), wide - PIN), min(max(y, PIN), high - PIN)


def _within(fraction: float) -> float:
    return min(max(fraction, 0.0), 1.0)


def _leader(home: Point, place: Point) -> str:
    moved = math.hypot(place[0] - home[0], place[1] - home[1]) > PIN / 2
    return f"M{_mm(home[0])} {_mm(home[1])}L{_mm(place[0])} {_mm(place[1])}" if moved else ""


def _placed_outline(zone: str, corners: list[Point]) -> PlacedOutline:
    x = sum(corner[0] for corner in corners) / len(corners)
    y = sum(corner[1] for corner in corners) / len(corners)
    return PlacedOutline(zone, _path(corners), _mm(x), _mm(y))


def _path(corners: list[Point]) -> str:
    return "M" + "L".join(f"{_mm(x)} {_mm(y)}" for x, y in corners) + "Z"


def _mm(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
