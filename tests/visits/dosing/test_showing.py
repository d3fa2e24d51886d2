"""Figures as people read them, and never on the wrong side of the label."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visits.dosing.showing import (
    as_typed,
    figure,
    measured_out,
    readable,
    rounded,
    shown,
    shown_least,
    shown_most,
    shown_range,
    shown_share,
    typed_quantity,
)
from visits.dosing.units import UNITS_OF, Quantity

SIZES = st.fractions(min_value=Fraction(1, 10**6), max_value=10**6, max_denominator=10**6)
PRODUCT = st.sampled_from(UNITS_OF["mass"] + UNITS_OF["volume"])


def q(amount, unit):
    return Quantity(Fraction(str(amount)), unit)


@pytest.mark.parametrize(
    ("amount", "nearest", "down", "up"),
    [
        ("0", "0", "0", "0"),
        ("1", "1", "1", "1"),
        ("12.5", "12.5", "12.5", "12.5"),
        ("66.6666", "66.7", "66.6", "66.7"),
        ("533.3333", "533", "533", "534"),
        ("0.0625", "0.0625", "0.0625", "0.0625"),
        ("0.00062549", "0.000625", "0.000625", "0.000626"),
        ("2.345", "2.35", "2.34", "2.35"),
        ("2.344", "2.34", "2.34", "2.35"),
        ("99.95", "100", "99.9", "100"),
        ("999.5", "1000", "999", "1000"),
        ("12345", "12300", "12300", "12400"),
        ("12350", "12400", "12300", "12400"),
        ("100", "100", "100", "100"),
        ("0.1", "0.1", "0.1", "0.1"),
        ("1000", "1000", "1000", "1000"),
        ("10", "10", "10", "10"),
        ("-2.345", "−2.35", "−2.34", "−2.35"),
        ("-0.5", "−0.5", "−0.5", "−0.5"),
    ],
)
def test_three_figures(amount, nearest, down, up):
    number = Fraction(amount)

    assert figure(number) == nearest
    assert figure(number, way="down") == down
    assert figure(number, way="up") == up


def test_a_third_is_shown_in_figures_and_not_as_a_fraction():
    assert figure(Fraction(1, 3)) == "0.333"
    assert figure(Fraction(2, 3)) == "0.667"
    assert figure(Fraction(2, 3), figures=1) == "0.7"
    assert figure(Fraction(1, 7000)) == "0.000143"


def test_fewer_than_one_figure_is_none():
    with pytest.raises(ValueError, match=r"^0 significant figures are none$"):
        rounded(Fraction(1), figures=0)


@pytest.mark.parametrize("way", ["UP", None, ""])
def test_another_way_to_round_is_refused_and_not_taken_for_one(way):
    with pytest.raises(ValueError, match=f"^{way} is no way to round$"):
        rounded(Fraction(1), way=way)


@given(SIZES, st.integers(1, 6))
def test_down_nearest_and_up_stay_in_order_and_close(amount, figures):
    down = rounded(amount, figures=figures, way="down")
    near = rounded(amount, figures=figures)
    up = rounded(amount, figures=figures, way="up")

    assert 0 < down <= amount <= up
    assert near in (down, up)
    assert abs(near - amount) <= min(amount - down, up - amount)
    assert up - down <= amount * Fraction(10) ** (1 - figures)
    assert rounded(-amount, figures=figures, way="up") == -up
    assert rounded(down, figures=figures, way="up") == down


@given(SIZES, st.integers(1, 6), st.sampled_from(["nearest", "down", "up"]))
def test_a_figure_says_what_was_rounded(amount, figures, way):
    text = figure(amount, figures=figures, way=way)

    assert Fraction(text) == rounded(amount, figures=figures, way=way)
    assert "." not in text or text[-1] not in "0."


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (q("0.009", "g"), "9 mg"),
        (q("0.0001", "g"), "0.1 mg"),
        (q("1.5", "g"), "1.5 g"),
        (q("999", "mg"), "999 mg"),
        (q("1000", "mg"), "1 g"),
        (q("2500", "g"), "2.5 kg"),
        (q("0.25", "kg"), "250 g"),
        (q("0.25", "l"), "250 ml"),
        (q("0.25", "ml"), "0.25 ml"),
        (q("1500", "ml"), "1.5 l"),
        (q("1000000", "mg"), "1 kg"),
        (q("-0.009", "g"), "−9 mg"),
        (q("-1500", "ml"), "−1.5 l"),
        (q("0", "g"), "0 g"),
        (q("0", "l"), "0 l"),
        (q("0", "us_gal"), "0 US gal"),
        (q("0.4", "lb"), "6.4 oz (weight)"),
        (q("20", "oz"), "20 oz (weight)"),
        (q("1", "lb"), "1 lb"),
        (q("0.5", "us_gal"), "64 US fl oz"),
        (q("-0.5", "us_gal"), "−64 US fl oz"),
        (q("0.5", "imp_gal"), "80 imperial fl oz"),
        (q("1.25", "us_gal"), "1.25 US gal"),
        (q("0.5", "us_tsp"), "0.5 US tsp"),
        (q("340.3125", "ft2"), "340 ft²"),
        (q("0.5", "m2"), "0.5 m²"),
        (q("1", "points"), "1 point"),
        (q("12345", "points"), "12345 points"),
        (q("0", "points"), "0 points"),
    ],
)
def test_amounts_are_shown_in_the_unit_they_are_measured_in(quantity, text):
    assert shown(quantity) == text


def test_typed_amounts_keep_their_unit_and_their_digits():
    assert typed_quantity(q("1234.5678", "ft2")) == "1234.5678 ft²"
    assert typed_quantity(q("0.25", "us_gal")) == "0.25 US gal"
    assert typed_quantity(q("1", "points")) == "1 point"
    assert as_typed(Fraction(123456789)) == "123456789"
    assert as_typed(Fraction(1, 3)) == "0.333333333"


@given(SIZES, PRODUCT)
def test_what_is_readable_is_the_same_amount(amount, unit):
    quantity = Quantity(amount, unit)

    assert readable(quantity).to(unit) == quantity


@given(SIZES, PRODUCT)
def test_the_most_as_shown_is_never_over_and_the_least_never_under(amount, unit):
    """A technician who measures out what was shown is not told to have been over the label."""
    quantity = Quantity(amount, unit)
    best = readable(quantity)

    most, least = shown_most(quantity), shown_least(quantity)

    assert Fraction(most.split(" ")[0]) <= best.amount <= Fraction(least.split(" ")[0])
    out = measured_out(quantity)
    assert out.unit == best.unit
    assert quantity.amount * Fraction(99, 100) <= out.to(unit).amount <= quantity.amount
    assert figure(out.amount, figures=12) == most.split(" ")[0]


@pytest.mark.parametrize(
    ("least", "most", "text"),
    [
        (q(20, "ml"), q(25, "ml"), "20 ml to 25 ml"),
        (None, q("66.66667", "g"), "66.6 g"),
        (q("66.66667", "g"), q("66.66667", "g"), "66.6 g"),
        (q("0.0666666", "kg"), q("66.6666", "g"), "66.6 g"),
        # With three figures the least would be shown above the most.
        (q("66.65", "g"), q("66.68", "g"), "66.65 g to 66.68 g"),
        (q("66.651", "g"), q("66.6899", "g"), "66.66 g to 66.68 g"),
        (q("66.62", "g"), q("66.75", "g"), "66.62 g to 66.75 g"),
        (q("66.6501", "g"), q("66.6599", "g"), "66.651 g to 66.659 g"),
        (q(900, "mg"), q("1.5", "g"), "900 mg to 1.5 g"),
        (q(30, "g"), q(25, "g"), "25 g"),
        (q("66.6", "g"), q("66.68", "g"), "66.6 g to 66.68 g"),
        (q(8, "oz"), q(1, "lb"), "8 oz (weight) to 1 lb"),
    ],
)
def test_a_range_never_says_its_ends_the_wrong_way_round(least, most, text):
    assert shown_range(least, most) == text


@pytest.mark.parametrize(
    ("share", "text"),
    [
        ("0", "0 %"),
        ("0.96", "96 %"),
        ("1", "100 %"),
        ("1.004", "100.4 %"),
        ("1.0044", "100.4 %"),
        ("1.00000005", "100.00001 %"),
        ("0.9996", "99.96 %"),
        ("1.3125", "131 %"),
        ("0.33333", "33.3 %"),
        ("2.5", "250 %"),
    ],
)
def test_only_the_whole_is_shown_as_a_hundred_percent(share, text):
    assert shown_share(Fraction(share)) == text
