"""Which single assumption would change which way is cheapest, and at what value.

One assumption moves at a time, all others stay. Source: docs/algorithms/two-ways.md.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal, localcontext

from compliance.economics.costs import CENT, LONGEST_YEARS, SHORTEST_YEARS, Way
from compliance.economics.flows import ONE, PRECISION
from compliance.economics.worth import (
    Terms,
    factors,
    least,
    present_of,
    require_terms,
    require_ways,
    weigh,
)

TENTH_OF_PERCENT = Decimal("0.001")
LOWEST_RATE, HIGHEST_RATE = Decimal("-0.1"), Decimal("0.5")
SCANNED = Decimal("0.02")


@dataclass(frozen=True, slots=True)
class Turn:
    """At which value of one assumption another way becomes cheapest.

    ``what`` is once, monthly or life_months of the way ``key``, or yearly_rate, yearly_growth or
    years of the terms, where ``key`` is None. ``now`` is its value, ``at`` the nearest one at which
    ``then_cheapest`` costs least: money to the cent, lives in whole months, rates to a tenth of a
    percent. ``share`` is how far that is, as a part of what it is now.
    """

    key: str | None
    what: str
    now: Decimal
    at: Decimal
    then_cheapest: str

    @property
    def share(self) -> Decimal:
        """How far the value has to move; a rate is measured in parts of ten percent."""
        if self.what.startswith("yearly"):
            return abs(self.at - self.now) * 10
        return abs(self.at - self.now) / max(self.now, ONE)


def turning_points(ways: Sequence[Way], terms: Terms) -> tuple[Turn, ...]:
    """Every assumption that can turn the ranking by itself, the nearest first.

    Looked at: money down to nothing and up to a hundred times, lives from a month to the years
    looked at, rates from -10 to 50 % a year, and 1 to 10 years. Where two ways tie there is nothing
    to turn. Raises ``ValueError`` as ``weigh`` does.
    """
    require_ways(ways)
    require_terms(terms)
    with localcontext(prec=PRECISION):
        weighed = weigh(ways, terms)
        if len(ways) < 2 or len(weighed.cheapest) > 1:
            return ()
        best = weighed.cheapest[0]
        presents = {one.way.key: one.present for one in weighed.worths}
        found = [*_of_money(ways, terms, presents, best), *_of_lives(ways, terms, presents, best)]
        found += [*_of_terms(ways, terms, best)]
    return tuple(sorted(found, key=lambda turn: (turn.share, turn.what, turn.key or "")))


def _of_money(
    ways: Sequence[Way], terms: Terms, presents: dict[str, Decimal], best: str
) -> Iterator[Turn]:
    """Present cost is a straight line in each sum, so the turn is where two lines cross."""
    second = min((key for key in presents if key != best), key=lambda key: (presents[key], key))
    for way in ways:
        by_once, by_month = factors(way.life_months, terms)
        aim = presents[second] if way.key == best else presents[best]
        gap = aim - presents[way.key]
        winner = second if way.key == best else way.key
        for what, now, factor in (
            ("once", way.once, by_once),
            ("monthly", way.monthly, by_month),
        ):
            at = (now + gap / factor).quantize(CENT, rounding=ROUND_HALF_UP)
            if 0 <= at <= 100 * max(now, ONE) and at != now:
                yield Turn(way.key, what, now, at, winner)


def _of_lives(
    ways: Sequence[Way], terms: Terms, presents: dict[str, Decimal], best: str
) -> Iterator[Turn]:
    for way in ways:
        if way.life_months is None:
            continue
        now = way.life_months
        # Beyond the years looked at a longer life changes nothing.
        lives = [*range(1, now), *range(now + 1, max(terms.months, now) + 1)]
        for life in sorted(lives, key=lambda one: (abs(one - now), one)):
            moved = present_of(replace(way, life_months=life), terms)
            winner = _winner({**presents, way.key: moved}, best)
            if winner:
                yield Turn(way.key, "life_months", Decimal(now), Decimal(life), winner)
                break


def _of_terms(ways: Sequence[Way], terms: Terms, best: str) -> Iterator[Turn]:
    def cheapest_under(moved: Terms) -> str | None:
        return _winner({way.key: present_of(way, moved) for way in ways}, best)

    for years in sorted(
        range(SHORTEST_YEARS, LONGEST_YEARS + 1), key=lambda one: (abs(one - terms.years), one)
    ):
        winner = cheapest_under(replace(terms, years=years))
        if winner:
            yield Turn(None, "years", Decimal(terms.years), Decimal(years), winner)
            break
    rate, growth = terms.yearly_rate, terms.yearly_growth
    yield from _of_rate(
        "yearly_rate", rate, lambda value: cheapest_under(replace(terms, yearly_rate=value))
    )
    yield from _of_rate(
        "yearly_growth", growth, lambda value: cheapest_under(replace(terms, yearly_growth=value))
    )


def _of_rate(what: str, now: Decimal, winner_at: Callable[[Decimal], str | None]) -> Iterator[Turn]:
    """Step away from the value on both sides, then halve the step in which the ranking turned."""
    turns = []
    for step in (SCANNED, -SCANNED):
        before, value = now, now + step
        while LOWEST_RATE <= value <= HIGHEST_RATE:
            if winner := winner_at(value):
                turns.append(_narrowed(before, value, winner, winner_at))
                break
            before, value = value, value + step
    if turns:
        at, winner = min(turns, key=lambda turn: abs(turn[0] - now))
        yield Turn(None, what, now, at, winner)


def _narrowed(
    before: Decimal, after: Decimal, winner: str, winner_at: Callable[[Decimal], str | None]
) -> tuple[Decimal, str]:
    """The first value to a tenth of a percent, from before to after, that has turned, and to whom.

    ``winner`` is whoever is cheapest at ``after``.
    """
    steps = int(abs(after - before) / TENTH_OF_PERCENT)
    step = (after - before) / steps
    still, turned = 0, steps
    while turned - still > 1:
        middle = (still + turned) // 2
        if found := winner_at(before + middle * step):
            turned, winner = middle, found
        else:
            still = middle
    return before + turned * step, winner


def _winner(presents: dict[str, Decimal], best: str) -> str | None:
    """The way that costs less than the best one did by more than counts as equal, if any."""
    if best in least(presents):
        return None
    return min(presents, key=lambda key: (presents[key], key))
