"""A signature as pen strokes: lists of [x, y] points, fractions of the pad's width and height.

The pad is three times as wide as high, on every screen and paper. Pure.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import hypot

from accounts.refusals import Unusable

Strokes = Sequence[Sequence[Sequence[float]]]

PAD_WIDTH, PAD_HEIGHT = 300, 100
MOST_STROKES = 200
MOST_POINTS = 5000
# A third of the pad's width: less is a slip of the glove, not a name. Common practice, no source.
LEAST_INK = PAD_WIDTH / 3


def ink_of(strokes: Strokes) -> float:
    """The length of all strokes in units of the pad (300 by 100)."""
    return sum(
        hypot((x2 - x1) * PAD_WIDTH, (y2 - y1) * PAD_HEIGHT)
        for stroke in strokes
        for (x1, y1), (x2, y2) in pairwise(stroke)
    )


def path_of(strokes: Strokes) -> str:
    """The strokes as an SVG path on a pad of 300 by 100, to a tenth of a unit."""
    return "".join(
        "M" + "L".join(f"{x * PAD_WIDTH:.1f} {y * PAD_HEIGHT:.1f}" for x, y in stroke)
        for stroke in strokes
        if stroke
    )


def require_ink(strokes: Strokes) -> None:
    """Raise ``Unusable`` for what is no signature: too little ink, too much, or off the pad."""
    if len(strokes) > MOST_STROKES or sum(len(stroke) for stroke in strokes) > MOST_POINTS:
        raise Unusable("The signature has too many strokes; sign again.", code="signature_long")
    for stroke in strokes:
        for point in stroke:
            if len(point) != 2 or not all(0 <= value <= 1 for value in point):
                raise Unusable("The signature runs off its pad.", code="signature_off_pad")
    if ink_of(strokes) < LEAST_INK:
        raise Unusable(
            "There is hardly any ink in the signature. Sign again, write the name, or say why "
            "nobody signed.",
            code="signature_empty",
        )
