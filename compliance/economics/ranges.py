"""What ways cost where the office knows no more than ranges: seeded draws, and what they show.

Each value is drawn from a triangle between its low and high that peaks at the likely one, and each
by a stream of its own, named by the way's key: the order of the ways never matters, and ways share
the draws of what they share, the rate. Source: docs/algorithms/two-ways.md.
"""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
from numpy.typing import NDArray

from compliance.economics.costs import CENT, Way, check_way
from compliance.economics.flows import require_rate
from compliance.economics.worth import Payback, Terms, require_terms, require_ways, weigh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

USUAL_DRAWS, MOST_DRAWS = 2000, 100_000
ALIKE = 0.005


@dataclass(frozen=True, slots=True)
class Range:
    """A value that is not known exactly: ``low`` ≤ ``likely`` ≤ ``high``."""

    low: Decimal
    likely: Decimal
    high: Decimal

    def __post_init__(self) -> None:
        """Raises ``ValueError`` where they are out of order."""
        if not self.low <= self.likely <= self.high:
            raise ValueError(f"{self.low}, {self.likely} and {self.high} are out of order")


def exactly(value: Decimal) -> Range:
    """A value that is known."""
    return Range(value, value, value)


@dataclass(frozen=True, slots=True)
class RangedWay:
    """A way whose sums and life are ranges. ``life_months`` is None where nothing wears out."""

    key: str
    label: str
    once: Range
    monthly: Range
    life_months: Range | None = None

    def likely(self) -> Way:
        """The way at its likely values."""
        return self._at(self.once.likely, self.monthly.likely, self.life_months, "likely")

    def lowest(self) -> Way:
        """The way at its lowest values; a life is shortest here."""
        return self._at(self.once.low, self.monthly.low, self.life_months, "low")

    def _at(self, once: Decimal, monthly: Decimal, life: Range | None, which: str) -> Way:
        months = None if life is None else int(getattr(life, which))
        return Way(self.key, self.label, once, monthly, months)


@dataclass(frozen=True, slots=True)
class WaySpread:
    """Present cost of one way: a tenth of the draws lies below ``p10``, half below ``p50``, nine
    tenths below ``p90``. ``cheapest`` is the share of draws in which no other way costs less."""

    key: str
    p10: Decimal
    p50: Decimal
    p90: Decimal
    cheapest: float


@dataclass(frozen=True, slots=True)
class PaybackSpread:
    """By which month, in today's money, the dearest start has paid for itself against the cheapest,
    counted over all draws; None where fewer draws than that pay at all. ``never`` is the share that
    does not."""

    dearer_now: str
    cheaper_now: str
    p10: int | None
    p50: int | None
    p90: int | None
    never: float


@dataclass(frozen=True, slots=True)
class Spread:
    """What the draws showed, the ways in the order given. The same seed shows the same."""

    seed: int
    draws: int
    ways: tuple[WaySpread, ...]
    payback: PaybackSpread | None


def spread(
    ways: Sequence[RangedWay],
    terms: Terms,
    *,
    rate: Range | None = None,
    seed: int,
    draws: int = USUAL_DRAWS,
) -> Spread:
    """Draw every value so often, and say what the ways cost.

    ``rate`` is a range of the yearly rate in place of that of the terms. Raises ``ValueError`` as
    ``weigh`` does, and for fewer than one or more than 100,000 draws.
    """
    if not 1 <= draws <= MOST_DRAWS:
        raise ValueError(f"draws must be 1 to {MOST_DRAWS:,}, not {draws}")
    require_terms(terms)
    require_rate((rate or exactly(terms.yearly_rate)).low)
    likely = [way.likely() for way in ways]
    require_ways(likely)
    for way in ways:
        check_way(way.lowest())
    shares = _shares_of(rate or exactly(terms.yearly_rate), terms, seed, draws)
    drawn = {way.key: _drawn(way, terms, shares, seed, draws) for way in ways}
    ends = np.array([drawn[way.key][:, -1] for way in ways])
    lowest = ends.min(axis=0)
    return Spread(
        seed=seed,
        draws=draws,
        ways=tuple(
            WaySpread(way.key, *_tenths(end), cheapest=float(np.mean(end - lowest < ALIKE)))
            for way, end in zip(ways, ends, strict=True)
        ),
        payback=_payback_of(weigh(likely, terms).payback, drawn),
    )


def _shares_of(rate: Range, terms: Terms, seed: int, draws: int) -> Floats:
    """What a unit at the end of each month is worth today: a row a draw, month 0 first."""
    yearly = _triangle(rate, _stream(seed, "", "rate"), draws)
    months = np.arange(terms.months + 1)
    return np.asarray((1.0 + yearly[:, None]) ** (-months[None, :] / 12.0), dtype=np.float64)


def _drawn(way: RangedWay, terms: Terms, shares: Floats, seed: int, draws: int) -> Floats:
    """Present cost of a way by the end of each month: a row a draw, month 0 first."""
    months = np.arange(1, terms.months + 1)
    growth = (1.0 + float(terms.yearly_growth)) ** ((months - 1) // 12)
    once = _triangle(way.once, _stream(seed, way.key, "once"), draws)
    monthly = _triangle(way.monthly, _stream(seed, way.key, "monthly"), draws)
    paid = np.empty_like(shares)
    paid[:, 0] = once
    paid[:, 1:] = monthly[:, None] * growth * shares[:, 1:]
    if way.life_months is not None:
        drawn = _triangle(way.life_months, _stream(seed, way.key, "life"), draws)
        life = np.maximum(np.rint(drawn), 1.0).astype(np.int64)
        renewed = (months - 1) % life[:, None] == 0
        renewed[:, 0] = False  # the first month's work is that of month 0
        paid[:, 1:] += once[:, None] * renewed * growth * shares[:, :-1]
    return np.cumsum(paid, axis=1)


def _payback_of(pair: Payback | None, drawn: dict[str, Floats]) -> PaybackSpread | None:
    if pair is None:
        return None
    dearer, cheaper = pair.dearer_now.key, pair.cheaper_now.key
    behind = drawn[dearer] - drawn[cheaper] > ALIKE
    length = behind.shape[1]
    # The month after the last one in which the dearer start is behind; the length itself: never.
    from_end = np.argmax(behind[:, ::-1], axis=1)
    month = np.where(behind.any(axis=1), length - from_end, 0)
    ordered = np.sort(month)
    p10, p50, p90 = (_place(ordered, part, length) for part in (0.1, 0.5, 0.9))
    return PaybackSpread(dearer, cheaper, p10, p50, p90, never=float(np.mean(month == length)))


def _place(ordered: Ints, part: float, never: int) -> int | None:
    """The lowest month by which at least so large a part of the draws has paid."""
    at = int(ordered[int(np.ceil(part * len(ordered))) - 1])
    return None if at == never else at


def _tenths(values: Floats) -> tuple[Decimal, Decimal, Decimal]:
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return _money(low), _money(middle), _money(high)


def _money(value: np.float64) -> Decimal:
    return Decimal(repr(float(value))).quantize(CENT, rounding=ROUND_HALF_UP)


def _triangle(range_: Range, stream: np.random.PCG64, draws: int) -> Floats:
    """Drawn by the inverse of the triangle's distribution, so that a signed figure can be repeated:
    NumPy promises the bits of a generator for ever, but not what its distributions make of them."""
    low, likely, high = float(range_.low), float(range_.likely), float(range_.high)
    if low == high:
        return np.full(draws, likely)
    part = (stream.random_raw(draws) >> np.uint64(11)) * 2.0**-53
    whole = high - low
    rising = low + np.sqrt(part * whole * (likely - low))
    falling = high - np.sqrt((1.0 - part) * whole * (high - likely))
    drawn = np.where(part * whole < likely - low, rising, falling)
    return np.asarray(drawn, dtype=np.float64)


def _stream(seed: int, key: str, what: str) -> np.random.PCG64:
    named = zlib.crc32(f"{key}/{what}".encode())
    return np.random.PCG64(np.random.SeedSequence([abs(seed), named]))
