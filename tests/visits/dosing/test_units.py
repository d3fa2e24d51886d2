"""Units by name, exact conversions, and what people type as numbers."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visits.dosing.units import (
    KIND_WORDS,
    LONGEST_NUMBER,
    UNIT_WORDS,
    UNITS_OF,
    Quantity,
    UnitError,
    _ratio,
    convert,
    exact,
    kind_of,
    kinds_differ,
    read_number,
    through_density,
)

AMOUNTS = st.fractions(min_value=0, max_value=10**9, max_denominator=10**6)
ALIKE = st.sampled_from(sorted(UNITS_OF)).flatmap(
    lambda kind: st.tuples(*[st.sampled_from(UNITS_OF[kind])] * 3)
)


@pytest.fixture(autouse=True)
def _sizes_worked_out_anew():
    """Else only the first test of a process would see the sizes of units worked out."""
    _ratio.cache_clear()


def test_every_unit_has_one_kind_and_words():
    units = [unit for kind in UNITS_OF for unit in UNITS_OF[kind]]

    assert len(units) == len(set(units))
    assert set(UNIT_WORDS) == set(units)
    assert set(KIND_WORDS) == set(UNITS_OF)
    assert {unit: kind_of(unit) for unit in units} == {
        unit: kind for kind in UNITS_OF for unit in UNITS_OF[kind]
    }


def test_an_ounce_and_a_gallon_never_stand_without_their_system():
    """“oz” alone is read as either, and a gallon is 3.8 or 4.5 litres."""
    assert UNIT_WORDS["oz"] == "oz (weight)"
    assert {UNIT_WORDS[one] for one in ("us_fl_oz", "imp_fl_oz")} == {"US fl oz", "imperial fl oz"}
    assert {UNIT_WORDS[one] for one in ("us_gal", "imp_gal")} == {"US gal", "imperial gal"}


@pytest.mark.parametrize(
    ("amount", "unit", "to", "result"),
    [
        (1, "kg", "g", 1000),
        (1, "g", "mg", 1000),
        (1, "lb", "oz", 16),
        (1, "l", "ml", 1000),
        (1, "us_gal", "us_fl_oz", 128),
        (1, "us_gal", "us_pt", 8),
        (1, "us_fl_oz", "us_tbsp", 2),
        (1, "us_tbsp", "us_tsp", 3),
        (1, "imp_gal", "imp_fl_oz", 160),
        (1, "yd2", "ft2", 9),
        (10, "m", "m", 10),
        (1, "m", "ft", Fraction(1250, 381)),
        (1, "m3", "ft3", Fraction(1250, 381) ** 3),
        (1, "m2", "ft2", Fraction(1250, 381) ** 2),
        (7, "points", "points", 7),
        (0, "kg", "lb", 0),
    ],
)
def test_conversions_are_exact(amount, unit, to, result):
    assert convert(Fraction(amount), unit, to) == result
    assert convert(Fraction(result), to, unit) == amount


@given(AMOUNTS, ALIKE)
def test_there_and_back_over_any_third_unit_is_the_same(amount, units):
    first, second, third = units

    over = convert(convert(amount, first, second), second, third)

    assert over == convert(amount, first, third)
    assert convert(over, third, first) == amount


@given(AMOUNTS, AMOUNTS, ALIKE)
def test_conversion_keeps_order_and_sums(one, other, units):
    first, second, _ = units

    assert (one < other) == (convert(one, first, second) < convert(other, first, second))
    assert convert(one + other, first, second) == (
        convert(one, first, second) + convert(other, first, second)
    )


@pytest.mark.parametrize("unit", ["gallon", "floz", "OZ", "acre", " "])
def test_a_unit_that_is_not_ours_is_named(unit):
    with pytest.raises(UnitError) as refused:
        kind_of(unit)

    assert refused.value.field == "unit"
    assert str(refused.value) == (f"“{unit}” is no unit that is used here. Choose one of the list.")


def test_no_unit_asks_for_one():
    with pytest.raises(UnitError) as refused:
        convert(Fraction(1), "", "g")

    assert (refused.value.field, str(refused.value)) == ("unit", "Choose a unit.")


@pytest.mark.parametrize(
    ("unit", "to", "sentence"),
    [
        (
            "oz",
            "ml",
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
        (
            "us_fl_oz",
            "oz",
            "A volume was given, and this is measured by weight: an ounce is no fluid ounce. "
            "Weigh it, and give it in oz (weight).",
        ),
        ("g", "ml", "g measures a weight, ml measures a volume of liquid."),
        ("ml", "g", "ml measures a volume of liquid, g measures a weight."),
        ("m2", "m", "m² measures an area, m measures a length."),
        ("l", "m3", "l measures a volume of liquid, m³ measures the size of a void."),
        ("oz", "m2", "oz (weight) measures a weight, m² measures an area."),
        ("points", "oz", "points measures a number of points, oz (weight) measures a weight."),
    ],
)
def test_two_kinds_are_never_converted(unit, to, sentence):
    with pytest.raises(UnitError) as refused:
        convert(Fraction(1), unit, to)

    assert (refused.value.field, str(refused.value)) == ("unit", sentence)
    assert kinds_differ(unit, to) == sentence


@pytest.mark.parametrize(
    ("amount", "unit", "to", "density", "result"),
    [
        (1, "l", "kg", "0.9", "0.9"),
        (1, "kg", "l", "0.8", "1.25"),
        (250, "ml", "g", "1.2", "300"),
        (300, "g", "ml", "1.2", "250"),
        (1, "kg", "g", "0.5", "1000"),
        (1, "m", "m", "0.5", "1"),
    ],
)
def test_a_density_carries_a_weight_to_a_volume(amount, unit, to, density, result):
    assert through_density(Fraction(amount), unit, to, Fraction(density)) == Fraction(result)


def test_a_density_carries_nothing_else():
    with pytest.raises(UnitError, match="area"):
        through_density(Fraction(1), "g", "m2", Fraction(1))


@pytest.mark.parametrize("density", [0, -1])
def test_nothing_has_no_weight(density):
    with pytest.raises(UnitError) as refused:
        through_density(Fraction(1), "g", "ml", Fraction(density))

    assert (refused.value.field, str(refused.value)) == (
        "density",
        "A density must be above zero.",
    )


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("12.5", "12.5"),
        ("12,5", "12.5"),
        (" 7 ", "7"),
        ("0", "0"),
        ("007", "7"),
        ("5.", "5"),
        ("5,", "5"),
        (".5", "0.5"),
        (",5", "0.5"),
        ("0,625", "0.625"),
        ("00,625", "0.625"),
        (",625", "0.625"),
        ("1.234", "1.234"),
        ("1,23", "1.23"),
        ("1,2345", "1.2345"),
        ("0.0625", "0.0625"),
        ("12345678901234567890", "12345678901234567890"),
    ],
)
def test_numbers_are_read_with_a_point_or_a_comma(typed, number):
    assert read_number(typed) == Fraction(number)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "Type a number."),
        (" \t", "Type a number."),
        ("-5", "An amount cannot be below zero."),
        ("−5", "An amount cannot be below zero."),
        ("–0", "An amount cannot be below zero."),
        ("1" * (LONGEST_NUMBER + 1), "That is more digits than anything here is measured to."),
        ("1,234", "“1,234” can be read in more than one way. Write 1234 or 1.234."),
        ("10,000", "“10,000” can be read in more than one way. Write 10000 or 10.000."),
        *(
            (
                typed,
                f"“{typed}” can be read in more than one way. Write 1234.5, without separators.",
            )
            for typed in (
                "1,234.5",
                "1.234,5",
                "1,234,567",
                "1.2.3",
                "1 234",
                "1\u00a0234",
                "1 2,5",
            )
        ),
        *(
            (typed, f"“{typed}” is no number. Type digits; choose the unit beside it.")
            for typed in (
                "many",
                "12 ml",
                "1e3",
                "½",
                "٣",
                ".",
                ",",
                "+5",
                "1/2",
                "NaN",
                "1_0",
                "5-",
            )
        ),
    ],
)
def test_what_is_no_number_or_could_be_two_is_refused(typed, sentence):
    with pytest.raises(UnitError) as refused:
        read_number(typed)

    assert (refused.value.field, str(refused.value)) == ("amount", sentence)


@given(st.decimals(min_value=0, max_value=10**6, places=4))
def test_a_number_written_plainly_is_read_back(number):
    text = f"{number:f}"

    assert read_number(text) == Fraction(number)
    assert read_number(text.replace(".", ",")) == Fraction(number)


@pytest.mark.parametrize("number", [3, Decimal("3"), Fraction(3)])
def test_whole_numbers_decimals_and_fractions_are_exact(number):
    assert exact(number) == 3
    assert isinstance(exact(number), Fraction)


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        (0.1, "Give amounts as whole numbers, decimals or fractions."),
        (True, "Give amounts as whole numbers, decimals or fractions."),
        ("1", "Give amounts as whole numbers, decimals or fractions."),
        (None, "Give amounts as whole numbers, decimals or fractions."),
        (Decimal("NaN"), "Give a number."),
        (Decimal("Infinity"), "Give a number."),
    ],
)
def test_a_number_that_lost_digits_is_refused(number, sentence):
    with pytest.raises(UnitError) as refused:
        Quantity(number, "g")

    assert (refused.value.field, str(refused.value)) == ("amount", sentence)


def test_a_quantity_is_in_its_unit_and_in_any_other_of_its_kind():
    gallon = Quantity(1, "us_gal")

    assert gallon.to("us_fl_oz") == Quantity(Fraction(128), "us_fl_oz")
    assert gallon.kind == "volume"
    assert isinstance(gallon.amount, Fraction)


def test_a_quantity_without_a_unit_says_so_when_it_is_used():
    with pytest.raises(UnitError, match="Choose a unit"):
        Quantity(Fraction(1), "").to("g")
