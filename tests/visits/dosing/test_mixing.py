"""Mixing by strength, by parts and by rate; tanks; and what can be measured."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visits.dosing.label import Strength
from visits.dosing.mixing import (
    WATER,
    Fill,
    Measured,
    MixError,
    active_in,
    density_of,
    dilute,
    finished_strength,
    in_finished,
    mix_parts,
    product_for,
    share_of_parts,
    share_when_added,
    tank_fills,
    to_step,
    total,
)
from visits.dosing.units import Quantity, UnitError

AMOUNTS = st.fractions(min_value=Fraction(1, 1000), max_value=10_000, max_denominator=1000)
PERCENT = st.fractions(min_value=Fraction(1, 100), max_value=100, max_denominator=100)


def q(amount, unit):
    return Quantity(Fraction(str(amount)), unit)


def s(amount, basis):
    return Strength(Fraction(str(amount)), basis)


def refused_by(sum_, *arguments, **facts):
    with pytest.raises(MixError) as refused:
        sum_(*arguments, **facts)
    return refused.value.field, str(refused.value)


@pytest.mark.parametrize(
    ("product", "strength", "density", "held"),
    [
        (q(200, "g"), s(5, "w/w"), None, q(10, "g")),
        (q(200, "g"), s(50, "g/kg"), None, q(10, "g")),
        (q(200, "ml"), s(5, "w/v"), None, q(10, "g")),
        (q(200, "ml"), s(50, "g/l"), None, q(10, "g")),
        (q(200, "ml"), s(5, "v/v"), None, q(10, "ml")),
        (q(200, "ml"), s(5, "w/w"), "0.8", q(8, "g")),
        (q(200, "g"), s(50, "g/l"), "0.8", q("12.5", "g")),
        (q(200, "g"), s(5, "v/v"), "0.8", q("12.5", "ml")),
        (q(1, "us_gal"), s(1, "lb/us_gal"), None, q("453.59237", "g")),
        (q(0, "g"), s(5, "w/w"), None, q(0, "g")),
    ],
)
def test_what_a_product_holds_and_how_much_holds_it(product, strength, density, held):
    density = density and Fraction(density)
    kind = product.kind

    assert active_in(product, strength, density=density) == held
    if held.amount:
        back = product_for(held, strength, kind=kind, density=density)
        assert back == product.to("g" if kind == "mass" else "ml")


@pytest.mark.parametrize(
    ("product", "strength", "sentence"),
    [
        (
            q(1, "ml"),
            s("2.5", "w/w"),
            "The strength (2.5 % w/w) is by weight, the product is measured the other way: "
            "give its density in kg/l, as on the safety data sheet.",
        ),
        (
            q(1, "g"),
            s(480, "g/l"),
            "The strength (480 g/l) is by volume, the product is measured the other way: "
            "give its density in kg/l, as on the safety data sheet.",
        ),
    ],
)
def test_a_density_is_asked_for_and_never_guessed(product, strength, sentence):
    assert refused_by(active_in, product, strength) == ("density", sentence)
    assert refused_by(product_for, q(1, "g"), strength, kind=product.kind) == ("density", sentence)


@pytest.mark.parametrize(("active", "basis"), [(q(1, "ml"), "w/w"), (q(1, "g"), "v/v")])
def test_a_strength_tells_the_weight_or_the_volume_of_an_active(active, basis):
    assert refused_by(product_for, active, s(1, basis), kind="mass") == (
        "active",
        "A strength v/v tells the volume of the active ingredient, any other its weight.",
    )


def test_no_active_ingredient_needs_no_product():
    assert refused_by(product_for, q(0, "g"), s(1, "w/w"), kind="mass") == (
        "active",
        "The amount must be above zero.",
    )


@given(
    AMOUNTS,
    st.sampled_from(["g", "kg", "lb", "ml", "l", "us_gal"]),
    PERCENT,
    st.sampled_from(["w/w", "w/v", "v/v", "g/l", "g/kg", "lb/us_gal"]),
    AMOUNTS,
)
def test_the_product_for_what_a_product_holds_is_that_product(
    amount, unit, percent, basis, density
):
    product, strength = Quantity(amount, unit), Strength(percent, basis)

    held = active_in(product, strength, density=density)
    back = product_for(held, strength, kind=product.kind, density=density)

    assert back.to(unit) == product
    assert held.amount > 0


def test_the_density_of_a_weight_for_a_volume():
    assert density_of(q(960, "g"), q("1.2", "l")) == Fraction("0.8")
    assert density_of(q(1, "kg"), q(1, "l")) == WATER
    assert refused_by(density_of, q(1, "l"), q(1, "l")) == (
        "density",
        "l measures a volume of liquid, g measures a weight.",
    )
    assert refused_by(density_of, q(1, "kg"), q(0, "l")) == (
        "density",
        "The amount must be above zero.",
    )
    assert refused_by(density_of, q(1, "kg"), q(1, "kg")) == (
        "density",
        "kg measures a weight, l measures a volume of liquid.",
    )


@pytest.mark.parametrize(
    ("finished", "wanted", "concentrate", "density", "product", "diluent"),
    [
        (q(10, "l"), s(1, "v/v"), s(40, "v/v"), 1, q("0.25", "l"), q("9.75", "l")),
        (q(10, "kg"), s(5, "w/w"), s(80, "w/w"), 1, q("0.625", "kg"), q("9.375", "kg")),
        (q(10, "l"), s(1, "w/v"), s(250, "g/l"), 1, q("0.4", "l"), q("9.6", "l")),
        (q(10, "l"), s(5, "g/l"), s(50, "w/w"), 1, q(100, "g"), None),
        (q(10, "l"), s(2, "w/w"), s(80, "w/w"), "0.8", q(200, "g"), None),
        (q(10, "kg"), s(1, "w/v"), s(50, "w/v"), "0.8", q(250, "ml"), None),
        (q(10, "l"), s(20, "w/w"), s(20, "w/w"), 1, q(2000 * 5, "g"), None),
        (q(2, "l"), s(20, "v/v"), s(20, "v/v"), 1, q(2, "l"), q(0, "l")),
    ],
)
def test_a_concentrate_is_diluted(finished, wanted, concentrate, density, product, diluent):
    mix = dilute(finished, wanted, concentrate, diluent_density=Fraction(density))

    assert (mix.product, mix.diluent, mix.finished) == (product, diluent, finished)


def test_a_dilution_says_how_it_was_worked_out():
    assert dilute(q(10, "l"), s(1, "v/v"), s(40, "v/v")).working == (
        "10 l at 1 % v/v hold 100 ml of active.",
        "100 ml from 40 % v/v: 250 ml, 9.75 l of diluent.",
    )
    assert dilute(q(10, "l"), s("0.5", "w/v"), s(50, "w/w")).working == (
        "10 l at 0.5 % w/v hold 50 g of active.",
        "50 g from 50 % w/w: 100 g, filled up to 10 l.",
    )


@pytest.mark.parametrize(
    ("finished", "wanted", "concentrate", "density", "field", "sentence"),
    [
        (q(0, "l"), s(1, "v/v"), s(40, "v/v"), 1, "finished", "The amount must be above zero."),
        (q(-1, "l"), s(1, "v/v"), s(40, "v/v"), 1, "finished", "The amount must be above zero."),
        (q(1, ""), s(1, "v/v"), s(40, "v/v"), 1, "finished", "Choose a unit."),
        (
            q(1, "m2"),
            s(1, "v/v"),
            s(40, "v/v"),
            1,
            "finished",
            "m² measures an area, g measures a weight.",
        ),
        (
            q(10, "l"),
            s("40.01", "v/v"),
            s(40, "v/v"),
            1,
            "wanted",
            "The mixture cannot be stronger than the concentrate.",
        ),
        (
            q(10, "l"),
            s(2, "w/w"),
            s(1, "w/w"),
            1,
            "wanted",
            "The mixture cannot be stronger than the concentrate.",
        ),
        (
            q(10, "l"),
            s(1, "v/v"),
            s(480, "g/l"),
            1,
            "wanted",
            "A strength v/v can only be had from a concentrate that is stated v/v.",
        ),
        (
            q(10, "l"),
            s(1, "w/w"),
            s(48, "v/v"),
            1,
            "wanted",
            "A strength v/v can only be had from a concentrate that is stated v/v.",
        ),
        (q(1, "l"), s(1, "w/w"), s(2, "w/w"), 0, "density", "The density must be above zero."),
        (q(1, "l"), s(1, "w/w"), s(2, "w/w"), -1, "density", "The density must be above zero."),
    ],
)
def test_a_dilution_that_cannot_be_is_told_why(
    finished, wanted, concentrate, density, field, sentence
):
    assert refused_by(dilute, finished, wanted, concentrate, diluent_density=density) == (
        field,
        sentence,
    )


@given(AMOUNTS, PERCENT, PERCENT, st.sampled_from(["w/w", "w/v", "v/v"]))
def test_what_was_diluted_has_the_strength_that_was_wanted(amount, one, other, basis):
    weak, strong = sorted([one, other])
    finished = Quantity(amount, "kg" if basis == "w/w" else "l")

    mix = dilute(finished, Strength(weak, basis), Strength(strong, basis))

    assert mix.product.amount + mix.diluent.amount == amount
    assert mix.product.amount * strong == amount * weak
    assert mix.diluent.amount >= 0


def test_one_to_nine_is_one_in_ten():
    mix = mix_parts(q(5, "l"), Fraction(1), Fraction(9))

    assert (mix.product, mix.diluent, mix.finished) == (q("0.5", "l"), q("4.5", "l"), q(5, "l"))
    assert mix.working == ("1 to 9 is 1 in 10: 500 ml and 4.5 l.",)
    assert share_of_parts(Fraction(2), Fraction(3)) == Fraction(2, 5)
    assert share_of_parts(Fraction(1), Fraction(0)) == 1


@pytest.mark.parametrize(("product", "diluent"), [(0, 9), (-1, 9), (1, -1)])
def test_parts_are_counted_from_one(product, diluent):
    expected = ("parts", "Parts are counted from one: 1 to 9, say.")

    assert refused_by(share_of_parts, product, diluent) == expected
    assert refused_by(mix_parts, q(1, "l"), product, diluent) == expected


def test_parts_are_of_a_weight_or_a_volume():
    assert refused_by(mix_parts, q(0, "l"), 1, 9) == ("finished", "The amount must be above zero.")
    assert refused_by(mix_parts, q(1, "points"), 1, 9)[0] == "finished"


def test_what_is_added_comes_on_top():
    assert share_when_added(q(1, "l"), q(9000, "ml")) == Fraction(1, 10)
    assert share_when_added(q(1, "kg"), q(1, "kg")) == Fraction(1, 2)
    assert refused_by(share_when_added, q(1, "l"), q(1, "kg")) == (
        "diluent",
        "kg measures a weight, l measures a volume of liquid.",
    )
    assert refused_by(share_when_added, q(0, "l"), q(1, "l"))[0] == "product"
    assert refused_by(share_when_added, q(1, "l"), q(0, "l"))[0] == "diluent"


def test_a_rate_for_so_much_finished_spray():
    assert in_finished(q(3, "oz"), q(2, "us_gal"), q(512, "us_fl_oz")) == q(6, "oz")
    assert refused_by(in_finished, q(0, "oz"), q(1, "l"), q(1, "l"))[0] == "rate"
    assert refused_by(in_finished, q(1, "oz"), q(1, "kg"), q(1, "l"))[0] == "per"
    assert refused_by(in_finished, q(1, "oz"), q(1, "l"), q(1, "oz")) == (
        "finished",
        "An ounce is a weight, and this is measured as a volume. "
        "Choose US fl oz or imperial fl oz.",
    )


def test_the_strength_of_a_finished_spray():
    assert finished_strength(q(2, "g"), q(40, "ml")) == s(50, "g/l")
    assert finished_strength(q(2, "kg"), q(40, "l")) == s(50, "g/l")
    assert refused_by(finished_strength, q(1, "ml"), q(1, "l"))[0] == "active"
    assert refused_by(finished_strength, q(1, "g"), q(1, "g"))[0] == "spray"


@pytest.mark.parametrize(
    ("finished", "tank", "fills"),
    [
        ("20", "8", ((2, "8", "40"), (1, "4", "20"))),
        ("16", "8", ((2, "8", "40"),)),
        ("5", "8", ((1, "5", "25"),)),
        ("8", "8", ((1, "8", "40"),)),
        ("8.5", "8", ((1, "8", "40"), (1, "0.5", "2.5"))),
    ],
)
def test_a_job_is_split_into_full_tanks_and_a_rest(finished, tank, fills):
    product = q(Fraction(finished) * 5, "g")

    assert tank_fills(product, q(finished, "l"), q(tank, "l")) == tuple(
        Fill(count, q(spray, "l"), q(grams, "g")) for count, spray, grams in fills
    )


def test_a_tank_may_be_in_another_unit_than_the_spray():
    (fill,) = tank_fills(q(10, "g"), q(2, "us_gal"), q(128, "us_fl_oz"))

    assert fill == Fill(2, q(1, "us_gal"), q(5, "g"))


@pytest.mark.parametrize(
    ("product", "finished", "tank", "field"),
    [
        (q(0, "g"), q(1, "l"), q(1, "l"), "product"),
        (q(1, "g"), q(0, "l"), q(1, "l"), "finished"),
        (q(1, "g"), q(1, "kg"), q(1, "l"), "finished"),
        (q(1, "g"), q(1, "l"), q(0, "l"), "tank"),
        (q(1, "g"), q(1, "l"), q(1, "kg"), "tank"),
    ],
)
def test_a_tank_that_holds_nothing_is_refused(product, finished, tank, field):
    assert refused_by(tank_fills, product, finished, tank)[0] == field


@given(AMOUNTS, AMOUNTS, st.fractions(Fraction(1, 2), 500))
def test_all_fills_together_are_the_job(product, finished, tank):
    job = tank_fills(Quantity(product, "g"), Quantity(finished, "l"), Quantity(tank, "l"))

    assert sum(one.tanks * one.finished.amount for one in job) == finished
    assert sum(one.tanks * one.product.amount for one in job) == product
    assert all(0 < one.finished.amount <= tank for one in job)


@pytest.mark.parametrize(
    ("wanted", "step", "most", "amount"),
    [
        ("12.4", "1", None, "12"),
        ("12.6", "1", None, "13"),
        # A half goes down.
        ("12.5", "1", None, "12"),
        ("12.6", "1", "12.9", "12"),
        ("12.6", "1", "13", "13"),
        ("12.6", "0.25", None, "12.5"),
        ("13", "1", None, "13"),
        ("0.6", "1", None, "1"),
    ],
)
def test_product_is_measured_in_steps_and_never_over_the_most(wanted, step, most, amount):
    most = most and q(most, "ml")

    measured = to_step(q(wanted, "ml"), q(step, "ml"), most=most)

    assert measured.amount == q(amount, "ml")
    assert measured.share == Fraction(amount) / Fraction(wanted)


def test_a_step_may_be_in_another_unit_and_the_strength_is_what_results():
    measured = to_step(q("0.0126", "l"), q(1, "ml"), most=q("12.9", "ml"))

    assert measured == Measured(
        q("0.012", "l"),
        Fraction(120, 126),
        "12 ml measured for 12.6 ml: 95.2 % of the strength.",
    )
    assert measured.strength(s("2.1", "w/w")) == s(2, "w/w")


@pytest.mark.parametrize(("wanted", "most"), [("0.5", None), ("0.4", None), ("0.9", "0.95")])
def test_a_measure_that_is_too_coarse_is_refused(wanted, most):
    most = most and q(most, "ml")

    field, sentence = refused_by(to_step, q(wanted, "ml"), q(1, "ml"), most=most)

    assert field == "step"
    assert sentence == (
        f"{wanted} ml cannot be measured in steps of 1 ml. Take a finer measure, or mix more at "
        "once."
    )


@pytest.mark.parametrize(
    ("wanted", "step", "most", "field"),
    [
        (q(0, "ml"), q(1, "ml"), None, "product"),
        (q(1, "ml"), q(0, "ml"), None, "step"),
        (q(1, "ml"), q(1, "g"), None, "step"),
        (q(1, "ml"), q(1, "ml"), q(0, "ml"), "most"),
        (q(1, "ml"), q(1, "ml"), q(1, "g"), "most"),
    ],
)
def test_a_step_is_of_the_kind_of_the_product(wanted, step, most, field):
    assert refused_by(to_step, wanted, step, most=most)[0] == field


@given(AMOUNTS, AMOUNTS)
def test_what_is_measured_is_within_half_a_step_and_under_the_most(wanted, step):
    wanted, step = Quantity(wanted, "g"), Quantity(step, "g")
    try:
        measured = to_step(wanted, step, most=wanted)
    except MixError:
        assert wanted.amount < step.amount
        return

    assert wanted.amount - step.amount < measured.amount.amount <= wanted.amount
    assert (measured.amount.amount / step.amount).denominator == 1


def test_amounts_are_added_in_one_unit():
    assert total([q(1, "kg"), q(250, "g")], "g") == q(1250, "g")
    assert total([], "ml") == q(0, "ml")
    with pytest.raises(UnitError, match="Choose a unit"):
        total([], "")
    with pytest.raises(UnitError, match="weight"):
        total([q(1, "l")], "g")
