"""Ways and terms that the tests of the cost comparison share: three by hand, and any by chance."""

from decimal import Decimal

from hypothesis import strategies as st

from compliance.economics.costs import Way
from compliance.economics.ranges import Range, RangedWay, exactly
from compliance.economics.worth import Terms

ZERO = Decimal(0)
PROOF = Way("proof", "Lasting work", Decimal(4800), Decimal(60))
TREAT = Way("treat", "Carry on treating", ZERO, Decimal(180))
PATCH = Way("patch", "Interim fix", Decimal(900), Decimal(120), 24)
SIX = Terms(5, Decimal("0.06"))

money = st.decimals(0, 20_000, places=2)
rates = st.decimals("-0.05", "0.3", places=3)
lives = st.none() | st.integers(1, 130)
terms = st.builds(Terms, st.integers(1, 10), rates, rates)


@st.composite
def some_ways(draw, least=1):
    number = draw(st.integers(least, 4))
    return [
        Way(str(at), f"way {at}", draw(money), draw(money), draw(lives)) for at in range(number)
    ]


def ranged(way: Way, spread_by: str = "0") -> RangedWay:
    def around(value: Decimal) -> Range:
        by = value * Decimal(spread_by)
        return Range(value - by, value, value + by)

    life = None if way.life_months is None else exactly(Decimal(way.life_months))
    return RangedWay(way.key, way.label, around(way.once), around(way.monthly), life)
