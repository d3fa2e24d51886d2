"""Counts as rates with exact limits. Unit: individuals per 100 trap-days.

A rate over several monitors is the sum of what they caught over the sum of what they stood, never
the mean of their rates, which would let a trap that stood for a day speak as loudly as one that
stood for a month.

Source of the limits: Garwood F (1936) Fiducial limits for the Poisson distribution, Biometrika
28:437-442, in their chi-square form (tests/outside/test_rates.py). They take individuals to come
one by one; where they come in clumps, ``phi`` says how much wider the limits must be.
Docs: docs/algorithms/rates-and-effects.md (Rates).
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10, prod
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from compliance.trends.exposure import Bools, Columns, Floats, Ints, floats

PER = 100.0
"""Trap-days that a rate is given for, as field studies give them."""

CONFIDENCE = 0.95
"""How often limits must hold that which they are to hold: common practice, no source."""

Axis = Literal["monitor", "zone", "site", "pest", "month"]


@dataclass(frozen=True, slots=True)
class Rate:
    """What one count means, per 100 trap-days.

    ``lower`` and ``upper`` hold the true rate between them at the given confidence; ``allows`` is
    the rate that the count still allows when only "too high" is asked for, which is what a count of
    none has to say. Where nobody looked, ``per_100`` is None and anything is allowed (``inf``).
    ``at_least``: a trap was full, so that nothing limits the rate from above.
    """

    count: int
    exposure: float
    per_100: float | None
    lower: float
    upper: float
    allows: float
    at_least: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Rates:
    """The same for arrays of one shape; ``per_100`` is NaN where nobody looked."""

    count: Ints
    exposure: Floats
    per_100: Floats
    lower: Floats
    upper: Floats
    allows: Floats
    at_least: Bools


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """What was caught and how long was looked, one place for each group, in the axes' order.

    ``readings``: how many counts went in; ``full``: how many of them come from a full trap.
    """

    count: Ints
    exposure: Floats
    readings: Ints
    full: Ints


def limits(
    count: ArrayLike, *, confidence: float = CONFIDENCE, phi: ArrayLike = 1.0
) -> tuple[Floats, Floats]:
    """Between which expected counts the true one lies, exactly where ``phi`` is 1 (Garwood).

    ``phi`` is variance over mean, never below 1. Above 1 the same limits are taken at the number
    of clumps (count / phi) and multiplied back, so that a count of none keeps an upper limit: an
    approximation of ours, tried by simulation in tests/compliance/trends/test_rates.py.
    """
    from scipy.special import gammainccinv, gammaincinv

    tail = (1.0 - confidence) / 2.0
    spread = np.maximum(floats(phi), 1.0)
    clumps = floats(count) / spread
    # The gamma distribution of hardly any clumps lies at 0; that of none is not defined.
    lower = gammaincinv(np.maximum(clumps, 1e-300), tail)
    return lower * spread, gammainccinv(clumps + 1.0, tail) * spread


def at_most(count: ArrayLike, *, confidence: float = CONFIDENCE, phi: ArrayLike = 1.0) -> Floats:
    """The largest expected count that the count still allows (one-sided).

    None caught allows 3.0, which people know as the rule of three.
    """
    return limits(count, confidence=2.0 * confidence - 1.0, phi=phi)[1]


def rates(
    count: ArrayLike,
    exposure: ArrayLike,
    *,
    at_least: ArrayLike = False,
    confidence: float = CONFIDENCE,
    phi: ArrayLike = 1.0,
) -> Rates:
    """Rates with their limits for whole arrays, which are broadcast against each other.

    Raises ``ValueError`` for a count or an exposure below 0, and for a count without exposure.
    """
    counts, days = np.broadcast_arrays(np.asarray(count, dtype=np.int64), floats(exposure))
    if np.any(counts < 0) or np.any(days < 0) or np.any((counts > 0) & (days == 0)):
        raise ValueError("a count needs days that it was gathered in, and neither is below 0")
    full = np.broadcast_to(np.asarray(at_least, dtype=np.bool_), counts.shape)
    seen = days > 0
    per = np.divide(PER, days, out=np.full(counts.shape, np.nan), where=seen)
    lower, upper = limits(counts, confidence=confidence, phi=phi)
    allows = at_most(counts, confidence=confidence, phi=phi)
    open_above = full | ~seen
    return Rates(
        count=counts,
        exposure=days,
        per_100=counts * per,
        lower=np.where(seen, lower * per, 0.0),
        upper=np.where(open_above, np.inf, upper * per),
        allows=np.where(open_above, np.inf, allows * per),
        at_least=full & seen,
    )


def rate(
    count: int,
    exposure: float,
    *,
    at_least: bool = False,
    confidence: float = CONFIDENCE,
    phi: float = 1.0,
) -> Rate:
    """One rate with its limits. Raises ``ValueError`` as ``rates`` does."""
    many = rates([count], [exposure], at_least=[at_least], confidence=confidence, phi=phi)
    return rate_at(many, 0)


def rate_at(many: Rates, *place: int) -> Rate:
    """The rate that stands at one place of an array."""
    per_100 = float(many.per_100[place])
    return Rate(
        count=int(many.count[place]),
        exposure=float(many.exposure[place]),
        per_100=per_100 if isfinite(per_100) else None,
        lower=float(many.lower[place]),
        upper=float(many.upper[place]),
        allows=float(many.allows[place]),
        at_least=bool(many.at_least[place]),
    )


def sums(columns: Columns, *by: Axis | tuple[Ints, int]) -> Sums:
    """Sum over sum: what was caught and how long was looked, for each group.

    ``sums(columns, "zone", "pest", "month")`` has one axis for each word, in that order, with a
    place for everything that ``columns`` names, seen or not. For groups that the columns do not
    know (clients), give for each count the number of its group, and how many groups there are.
    Passes over the counts once for each of the four sums.
    """
    axes = [_axis(columns, one) for one in by]
    shape = tuple(size for _, size in axes)
    cells = prod(shape)
    place = np.zeros(len(columns), dtype=np.int64)
    for index, size in axes:
        place = place * size + index

    def summed(values: Floats | Ints | Bools | None) -> Floats:
        total = np.bincount(place, weights=values, minlength=cells)
        return floats(total).reshape(shape)

    return Sums(
        count=np.rint(summed(columns.count)).astype(np.int64),
        exposure=summed(columns.exposure),
        readings=summed(None).astype(np.int64),
        full=np.rint(summed(columns.censored)).astype(np.int64),
    )


def rates_of(total: Sums, *, confidence: float = CONFIDENCE, phi: ArrayLike = 1.0) -> Rates:
    """The rates of sums, group for group."""
    return rates(
        total.count, total.exposure, at_least=total.full > 0, confidence=confidence, phi=phi
    )


def rate_words(one: Rate) -> str:
    """What a rate says, in a sentence or two, limits included; never that there is no pest.

    Limits are rounded outwards, so that no sentence promises more than the sums do.
    """
    if one.per_100 is None:
        return "Not known: nobody could look."
    days = f"{short(one.exposure)} trap-{'day' if one.exposure == 1 else 'days'}"
    if one.at_least:
        return (
            f"At least {one.count:,} in {days}: {short(one.per_100, 'down')} per 100 trap-days or "
            "more, as a trap was full."
        )
    if one.count == 0:
        return f"None in {days}. That still allows about {short(one.allows)} per 100 trap-days."
    return (
        f"{one.count:,} in {days}: about {short(one.per_100)} per 100 trap-days, "
        f"between {short(one.lower, 'down')} and {short(one.upper, 'up')}."
    )


_ROUNDED: dict[str, Callable[[float], int]] = {"near": round, "down": floor, "up": ceil}


def short(number: float, towards: Literal["near", "down", "up"] = "near") -> str:
    """A number of 0 or more in two figures, or whole from 100 on: 0.082, 1.1, 14, 139."""
    if number == 0:
        return "0"
    if not isfinite(number):
        return "without limit"
    places = max(0, 1 - floor(log10(number)))
    # Where binary fractions fall a hair beside a round figure, they stand for that figure.
    steps = round(number * 10.0**places, 6)
    whole = _ROUNDED[towards](steps)
    shown = max(0, places - (whole % 10 == 0) - (whole % 100 == 0))
    return f"{whole / 10.0**places:,.{shown}f}"


def _axis(columns: Columns, one: Axis | tuple[Ints, int]) -> tuple[Ints, int]:
    if one == "monitor":
        return columns.monitor_index, len(columns.monitors)
    if one == "zone":
        return columns.zone_index, len(columns.zones)
    if one == "site":
        return columns.site_index, len(columns.sites)
    if one == "pest":
        return columns.pest_index, len(columns.pests)
    if one == "month":
        return columns.month_index, len(columns.months)
    return one
