"""Spots along a length and over an area."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visits.dosing.spots import (
    SpotError,
    product_for_spots,
    spots_along,
    spots_from,
    spots_over,
)
from visits.dosing.units import Quantity

AMOUNTS = st.fractions(min_value=Fraction(1, 100), max_value=1000, max_denominator=100)


def q(amount, unit):
    return Quantity(Fraction(str(amount)), unit)


def refused_by(sum_, *arguments):
    with pytest.raises(SpotError) as refused:
        sum_(*arguments)
    return refused.value.field, str(refused.value)


@pytest.mark.parametrize(
    ("length", "spacing", "open_", "closed"),
    [
        (q(24, "ft"), q(1, "ft"), 25, 24),
        (q(24, "ft"), q(3, "ft"), 9, 8),
        (q(10, "m"), q(3, "m"), 4, 3),
        (q("8.99", "m"), q(3, "m"), 3, 2),
        (q(1, "m"), q(3, "m"), 1, 1),
        (q(3, "m"), q(3, "m"), 2, 1),
        (q(10, "ft"), q("0.3048", "m"), 11, 10),
        (q(10, "m"), q(3, "ft"), 11, 10),
    ],
)
def test_both_ends_count_unless_the_line_is_closed(length, spacing, open_, closed):
    """The fence-post rule is decided here; see docs/algorithms/dosing.md."""
    assert spots_along(length, spacing) == open_
    assert spots_along(length, spacing, closed=True) == closed


@given(AMOUNTS, AMOUNTS)
def test_spots_never_come_closer_than_their_spacing(length, spacing):
    spots = spots_along(Quantity(length, "m"), Quantity(spacing, "m"))

    assert (spots - 1) * spacing <= length < spots * spacing


@pytest.mark.parametrize(
    ("area", "spots", "per", "count"),
    [
        (q(25, "m2"), 2, q(1, "m2"), 50),
        (q("2.4", "m2"), 2, q(1, "m2"), 4),
        (q("0.4", "m2"), 2, q(1, "m2"), 0),
        (q("0.5", "m2"), 2, q(1, "m2"), 1),
        (q(1000, "ft2"), 3, q(100, "ft2"), 30),
        (q(1, "yd2"), 1, q(3, "ft2"), 3),
    ],
)
def test_spots_over_an_area_are_never_denser_than_the_label(area, spots, per, count):
    assert spots_over(area, spots, per) == count


def test_spots_take_so_much_product_and_product_is_enough_for_so_many():
    assert product_for_spots(50, q("0.03", "g")) == q("1.5", "g")
    assert product_for_spots(0, q("0.03", "g")) == q(0, "g")
    assert product_for_spots(4, q("0.5", "ml")) == q(2, "ml")
    assert spots_from(q("1.5", "g"), q(30, "mg")) == 50
    assert spots_from(q("1.49", "g"), q(30, "mg")) == 49


@given(st.integers(0, 1000), AMOUNTS)
def test_spots_and_their_product_round_trip(spots, each):
    product = product_for_spots(spots, Quantity(each, "mg"))

    if spots:
        assert spots_from(product, Quantity(each, "mg")) == spots


ABOVE = "The amount must be above zero."


@pytest.mark.parametrize(
    ("sum_", "arguments", "field", "sentence"),
    [
        (spots_along, (q(0, "m"), q(1, "m")), "length", ABOVE),
        (spots_along, (q(1, "m"), q(0, "m")), "spacing", ABOVE),
        (spots_along, (q(-1, "m"), q(1, "m")), "length", ABOVE),
        (spots_along, (q(1, ""), q(1, "m")), "length", "Choose a unit."),
        (
            spots_along,
            (q(1, "m2"), q(1, "m")),
            "length",
            "m² measures an area, m measures a length.",
        ),
        (
            spots_along,
            (q(1, "m"), q(1, "m2")),
            "spacing",
            "m² measures an area, m measures a length.",
        ),
        (spots_over, (q(0, "m2"), 1, q(1, "m2")), "area", ABOVE),
        (
            spots_over,
            (q(1, "m"), 1, q(1, "m2")),
            "area",
            "m measures a length, m² measures an area.",
        ),
        (spots_over, (q(1, "m2"), 1, q(0, "m2")), "density", ABOVE),
        (
            spots_over,
            (q(1, "m2"), 1, q(1, "m")),
            "density",
            "m measures a length, m² measures an area.",
        ),
        (
            spots_over,
            (q(1, "m2"), 0, q(1, "m2")),
            "density",
            "Give at least one spot for an area.",
        ),
        (
            spots_over,
            (q(1, "m2"), Fraction(3, 2), q(1, "m2")),
            "density",
            "Spots are counted: give a whole number.",
        ),
        (product_for_spots, (1, q(0, "g")), "each", ABOVE),
        (
            product_for_spots,
            (1, q(1, "m")),
            "each",
            "m measures a length, g measures a weight.",
        ),
        (
            product_for_spots,
            (-1, q(1, "g")),
            "spots",
            "There cannot be fewer spots than none.",
        ),
        (
            product_for_spots,
            (Fraction(1, 2), q(1, "g")),
            "spots",
            "Spots are counted: give a whole number.",
        ),
        (spots_from, (q(0, "g"), q(1, "g")), "product", ABOVE),
        (spots_from, (q(1, "g"), q(0, "g")), "each", ABOVE),
        (
            spots_from,
            (q(1, "g"), q(1, "m")),
            "each",
            "m measures a length, g measures a weight.",
        ),
        (
            spots_from,
            (q(1, "oz"), q(1, "ml")),
            "product",
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
    ],
)
def test_what_cannot_be_counted_is_told_why(sum_, arguments, field, sentence):
    assert refused_by(sum_, *arguments) == (field, sentence)
