"""The working of a price: lines that anybody can add up, whatever their order."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.economics.ranges import Range, exactly
from compliance.economics.working import WorkLine, work_out


def line(key="mesh", quantity=1, price=0, minutes=0) -> WorkLine:
    return WorkLine(key, _range(quantity), _range(price), D(minutes))


def _range(value) -> Range:
    return Range(*map(D, value)) if isinstance(value, tuple) else exactly(D(value))


def test_the_example_by_hand():
    """docs/algorithms/two-ways.md, What the work costs."""
    working = work_out(
        [
            line("sealant", quantity=(10, 12, 15), price="2.50", minutes=6),
            line("mesh", quantity=3, price=(9, 12, 16), minutes=40),
        ],
        hour=exactly(D(45)),
        visits=1,
        visit_price=D(94),
    )

    sealant, mesh = working.lines
    assert (sealant.material, sealant.labour) == (
        _range(("25", "30", "37.5")),
        _range((45, 54, 67.5)),
    )
    assert (mesh.material, mesh.labour) == (_range((27, 36, 48)), exactly(D(90)))
    assert (working.visits, working.total) == (94, _range((281, 304, 337)))


def test_each_line_is_rounded_to_a_cent_half_up():
    working = work_out([line(quantity="0.5", price="0.25", minutes=1)], hour=exactly(D("0.30")))

    assert (working.lines[0].material, working.lines[0].labour) == (
        exactly(D("0.13")),
        exactly(D("0.00")),
    )
    assert working.total == exactly(D("0.13"))


def test_a_third_of_an_hour_is_charged_as_a_third():
    working = work_out([line(quantity=3, minutes=20)], hour=exactly(D(50)))

    assert working.total == exactly(D("50.00"))


def test_work_without_labour_needs_no_price_of_an_hour():
    assert work_out([line(price=7)]).total == exactly(D("7.00"))


MONEY = st.decimals(0, 9999, places=2)


@st.composite
def ranges(draw):
    return Range(*sorted(draw(st.tuples(MONEY, MONEY, MONEY))))


LINES = st.lists(
    st.builds(WorkLine, st.text(max_size=3), ranges(), ranges(), st.integers(0, 600).map(D)),
    min_size=1,
    max_size=6,
)


@given(LINES, ranges(), st.integers(0, 9), MONEY)
def test_the_total_is_the_sum_of_what_stands_on_the_lines(lines, hour, visits, price):
    working = work_out(lines, hour=hour, visits=visits, visit_price=price)

    for side in ("low", "likely", "high"):
        parts = [
            getattr(part, side) for one in working.lines for part in (one.material, one.labour)
        ]
        assert getattr(working.total, side) == sum(parts) + visits * price
    assert working.total.likely.as_tuple().exponent == -2


@given(LINES, ranges(), st.randoms())
def test_the_order_of_the_lines_never_matters(lines, hour, random):
    mixed = random.sample(lines, len(lines))

    assert work_out(mixed, hour=hour).total == work_out(lines, hour=hour).total


@given(LINES, ranges())
def test_more_of_a_remedy_never_costs_less(lines, hour):
    first, *rest = lines
    quantity = first.quantity
    more = Range(quantity.low + 1, quantity.likely + 1, quantity.high + 1)
    dearer = WorkLine(first.key, more, first.price, first.minutes)

    before, after = work_out(lines, hour=hour).total, work_out([dearer, *rest], hour=hour).total

    assert before.low <= after.low
    assert before.likely <= after.likely
    assert before.high <= after.high


@pytest.mark.parametrize(
    ("lines", "terms", "why"),
    [
        ([], {}, "no work"),
        ([line(quantity=-1)], {}, "mesh must not cost less"),
        ([line(price=-1)], {}, "mesh must not cost less"),
        ([line(minutes=-1)], {"hour": exactly(D(1))}, "mesh must not cost less"),
        ([line(minutes=1)], {}, "which has no price"),
        ([line()], {"hour": exactly(D(-1))}, "labour must not cost less"),
        ([line()], {"visits": -1}, "visits must not cost less"),
        ([line()], {"visits": 1, "visit_price": D(-1)}, "visits must not cost less"),
    ],
)
def test_what_makes_no_sense_is_a_mistake(lines, terms, why):
    with pytest.raises(ValueError, match=why):
        work_out(lines, **terms)
