"""What a label allows for a place, and what was used against it."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from visits.dosing.doses import NO_RATE, DoseError, dose, rates_for, use, words_of
from visits.dosing.label import Active, Cover, Label, RateLine
from visits.dosing.units import UNITS_OF, Quantity

COVER = Cover(40, "ml", 1, "m2")
AMOUNTS = st.fractions(min_value=Fraction(1, 1000), max_value=10_000, max_denominator=1000)


def q(amount, unit):
    return Quantity(Fraction(str(amount)), unit)


def label_of(line, *actives, formulation="other", **facts):
    return Label("Demo product", formulation, actives, (line,), **facts)


def refused_by(sum_, *arguments):
    with pytest.raises(DoseError) as refused:
        sum_(*arguments)
    return refused.value.field, str(refused.value)


@pytest.mark.parametrize(
    ("line", "measure", "least", "most"),
    [
        (RateLine("area", 2, "g", 1, "m2", least=1), q("12.5", "m2"), "12.5 g", "25 g"),
        (RateLine("area", 9, "g", 10, "m2", least=3), q(5, "m2"), "1.5 g", "4.5 g"),
        (RateLine("length", 5, "ml", 10, "m"), q(24, "m"), None, "12 ml"),
        (RateLine("void", 50, "g", 100, "m3"), q(30, "m3"), None, "15 g"),
        (RateLine("point", Fraction("0.2"), "g", 1, "points"), q(40, "points"), None, "8 g"),
        (RateLine("point", 100, "g", 2, "points"), q(5, "points"), None, "250 g"),
        (RateLine("finished", 10, "ml", 5, "l"), q(8, "l"), None, "16 ml"),
        (RateLine("finished", 1, "us_fl_oz", 1, "us_gal"), q(3, "us_gal"), None, "3 us_fl_oz"),
        # A measure in another system than the label's.
        (RateLine("area", 1, "oz", 9, "ft2"), q(7, "yd2"), None, "7 oz"),
        (RateLine("finished", 1, "lb", 16, "us_fl_oz"), q(1, "us_pt"), None, "1 lb"),
        (RateLine("length", Fraction("0.3048"), "g", 1, "m"), q(10, "ft"), None, "0.9290304 g"),
        (RateLine("void", 1, "g", 1, "ft3"), q("0.028316846592", "m3"), None, "1 g"),
    ],
)
def test_a_rate_is_multiplied_by_the_place(line, measure, least, most):
    allowed = dose(line, label_of(line), measure)

    def of(text):
        return text and q(*text.split())

    assert (allowed.product_least, allowed.product_most) == (of(least), of(most))


def test_without_a_cover_nothing_is_said_about_finished_spray():
    line = RateLine("area", 2, "g", 1, "m2")

    allowed = dose(line, label_of(line), q(10, "m2"))

    assert (allowed.finished, allowed.per_litre, allowed.product_least) == (None, None, None)
    assert allowed.working == (
        "The label allows 2 g of product for each 1 m²; here 10 times that.",
        "20 g of the product at most.",
    )


def test_a_place_is_covered_with_finished_spray():
    line = RateLine("area", 2, "g", 1, "m2", least=1, cover=COVER, of="active", active="a")
    powder = label_of(line, Active("a", 75, "w/w"))

    allowed = dose(line, powder, q(200, "m2"))

    assert allowed.finished == q(8000, "ml")
    assert allowed.product_most == Quantity(Fraction(1600, 3), "g")
    assert allowed.product_least == Quantity(Fraction(800, 3), "g")
    assert allowed.per_litre == Quantity(Fraction(200, 3), "g")
    assert allowed.actives_most == (("a", q(400, "g")),)
    assert allowed.working == (
        "200 m² at 40 ml for each 1 m²: 8 l of finished spray.",
        "The label allows 2 g of a for each 1 m²; here 200 times that.",
        "200 g of a at least.",
        "The product has 75 % w/w: 267 g of the product at least.",
        "400 g of a at most.",
        "The product has 75 % w/w: 533 g of the product at most.",
        "In each litre: 66.6 g at most.",
        "The most holds 400 g of a.",
    )
    assert words_of(allowed.working[:2]) == (
        "200 m² at 40 ml for each 1 m²: 8 l of finished spray. "
        "The label allows 2 g of a for each 1 m²; here 200 times that."
    )


def test_a_tank_of_finished_spray_covers_a_place():
    line = RateLine("area", 10, "ml", 5, "m2", cover=Cover(1, "l", 20, "m2"))
    emulsion = label_of(line, Active("a", 100, "g/l"), formulation="liquid")

    tank = dose(line, emulsion, q(5, "l"))

    assert tank.product_most == q(200, "ml")
    assert tank.finished == q(5, "l")
    assert tank.per_litre == q(40, "ml")
    assert tank.working == (
        "100 m² at 1 l for each 20 m²: 5 l of finished spray.",
        "The label allows 10 ml of product for each 5 m²; here 20 times that.",
        "200 ml of the product at most.",
        "In each litre: 40 ml at most.",
        "The most holds 20 g of a.",
    )
    assert replace(dose(line, emulsion, q(100, "m2")), working=()) == replace(tank, working=())


def test_a_tank_and_a_cover_in_other_units():
    """40 ml on a square metre with a rate for square feet and a tank in gallons."""
    line = RateLine("area", 1, "g", 1000, "ft2", cover=Cover(1, "us_gal", 1000, "ft2"))
    in_metres = replace(line, cover=Cover(Fraction("3.785411784"), "l", Fraction("92.90304"), "m2"))

    for one in (line, in_metres):
        tank = dose(one, label_of(one), q("3.785411784", "l"))
        assert tank.product_most == q(1, "g")
        assert tank.finished.to("us_gal") == q(1, "us_gal")


@pytest.mark.parametrize(
    ("unit", "measure", "most"),
    [("m2", q(100, "m2"), 25), ("points", q(100, "points"), 25), ("m", q(100, "m"), 25)],
)
def test_a_rate_of_finished_spray_over_what_a_cover_says(unit, measure, most):
    line = RateLine("finished", 10, "ml", 5, "l", cover=Cover(5, "l", 40, unit))

    allowed = dose(line, label_of(line), measure)

    assert allowed.product_most == q(most, "ml")
    assert allowed.finished == q("12.5", "l")
    assert allowed.per_litre == q(2, "ml")
    tank = dose(line, label_of(line), q("12.5", "l"))
    assert (tank.product_most, tank.finished, tank.per_litre) == (
        allowed.product_most,
        allowed.finished,
        allowed.per_litre,
    )


@pytest.mark.parametrize(
    ("strength", "basis", "formulation", "density", "most"),
    [
        (50, "w/w", "dust", None, q(20, "g")),
        (500, "g/kg", "granule", None, q(20, "g")),
        (50, "w/v", "liquid", None, q(20, "ml")),
        (500, "g/l", "liquid", None, q(20, "ml")),
        (50, "w/w", "liquid", "0.8", q(25, "ml")),
        (500, "g/l", "dust", "0.8", q(16, "g")),
        (50, "w/w", "other", None, q(20, "g")),
        (500, "g/l", "other", None, q(20, "ml")),
    ],
)
def test_a_rate_of_the_active_ingredient_goes_through_its_strength(
    strength, basis, formulation, density, most
):
    line = RateLine("area", 1, "g", 1, "m2", of="active")
    density = density and Fraction(density)
    product = label_of(line, Active("a", strength, basis), formulation=formulation, density=density)

    allowed = dose(line, product, q(10, "m2"))

    assert allowed.product_most == most
    assert allowed.actives_most == (("a", q(10, "g")),)
    assert allowed.working[0] == "The label allows 1 g of a for each 1 m²; here 10 times that."


def test_a_strength_by_volume_gives_the_volume_of_the_active_ingredient():
    line = RateLine("area", 1, "ml", 1, "m2", of="active")
    product = label_of(line, Active("a", 50, "v/v"), formulation="liquid")

    allowed = dose(line, product, q(10, "m2"))

    assert allowed.product_most == q(20, "ml")
    assert allowed.actives_most == (("a", q(10, "ml")),)


def test_a_rate_of_one_of_two_active_ingredients():
    line = RateLine("area", 1, "g", 1, "m2", of="active", active="B")
    product = label_of(line, Active("a", 10, "w/w"), Active("b", 40, "w/w"))

    allowed = dose(line, product, q(10, "m2"))

    assert allowed.product_most == q(25, "g")
    assert allowed.actives_most == (("a", q("2.5", "g")), ("b", q(10, "g")))


@pytest.mark.parametrize(
    ("strength", "formulation", "by"),
    [(Active("a", 50, "w/w"), "liquid", "weight"), (Active("a", 50, "g/l"), "dust", "volume")],
)
def test_a_density_that_is_missing_is_asked_for(strength, formulation, by):
    line = RateLine("area", 1, "g", 1, "m2", of="active")
    product = label_of(line, strength, formulation=formulation)

    field, sentence = refused_by(dose, line, product, q(1, "m2"))

    assert field == "rate"
    assert f"is by {by}" in sentence
    assert "give its density in kg/l" in sentence


def test_a_density_that_is_missing_does_not_hide_a_rate_of_the_product():
    line = RateLine("area", 1, "ml", 1, "m2")
    product = label_of(line, Active("a", 50, "w/w"), Active("b", 5, "w/v"), formulation="liquid")

    allowed = dose(line, product, q(100, "m2"))

    assert allowed.product_most == q(100, "ml")
    assert allowed.actives_most == (("b", q(5, "g")),)
    assert allowed.working[-2:] == (
        "a cannot be worked out. The strength (50 % w/w) is by weight, the product is measured the "
        "other way: give its density in kg/l, as on the safety data sheet.",
        "The most holds 5 g of b.",
    )


def test_an_active_ingredient_that_the_label_lacks_is_named():
    """A line of one label tried on another."""
    line = RateLine("area", 1, "g", 1, "m2", of="active", active="b")
    other = Label("Demo product", "dust", (Active("a", 1, "w/w"),))

    assert refused_by(dose, line, other, q(1, "m2")) == (
        "rate",
        "“b” is not among the label's active ingredients.",
    )


def test_a_ready_to_use_liquid_is_its_own_finished_spray():
    line = RateLine("area", 50, "ml", 1, "m2")
    ready = label_of(line, formulation="liquid", ready_to_use=True)

    allowed = dose(line, ready, q(10, "m2"))

    assert (allowed.product_most, allowed.finished) == (q(500, "ml"), q(500, "ml"))
    assert allowed.per_litre is None
    assert use(line, ready, q(10, "m2"), q(300, "ml")).finished == q(300, "ml")


def test_a_ready_to_use_gel_is_no_spray():
    line = RateLine("point", Fraction("0.2"), "g", 1, "points")
    ready = label_of(line, formulation="gel", ready_to_use=True)

    assert dose(line, ready, q(10, "points")).finished is None
    assert use(line, ready, q(10, "points"), q(1, "g")).finished is None


def test_more_product_than_spray_is_a_fault_of_the_label():
    line = RateLine("area", 25, "g", 1, "m2", of="active", cover=COVER)

    full = label_of(line, Active("a", 625, "g/l"), formulation="liquid")
    assert dose(line, full, q(1, "m2")).per_litre == q(1000, "ml")

    thin = label_of(line, Active("a", 624, "g/l"), formulation="liquid")
    field, sentence = refused_by(dose, line, thin, q(1, "m2"))
    assert field == "rate"
    assert sentence == (
        "That would be more product than finished spray. The office has to look at the label's "
        "rate, strength and cover."
    )


AREA = RateLine("area", 2, "g", 1, "m2", least=1)


@pytest.mark.parametrize(
    ("line", "measure", "field", "sentence"),
    [
        (None, q(1, "m2"), "rate", NO_RATE),
        (AREA, q(0, "m2"), "measure", "The measure must be above zero."),
        (AREA, q(-1, "m2"), "measure", "The measure must be above zero."),
        (AREA, q(1, ""), "unit", "Choose a unit."),
        (
            AREA,
            q(1, "acre"),
            "unit",
            "“acre” is no unit that is used here. Choose one of the list.",
        ),
        (AREA, q(1, "m"), "measure", "The rate is for an area; a length was given."),
        (
            AREA,
            q(1, "points"),
            "measure",
            "The rate is for an area; a number of points was given.",
        ),
        (
            AREA,
            q(1, "l"),
            "measure",
            "The rate is for an area, and the register does not say how much of it spray covers. "
            "Give an area.",
        ),
        (
            AREA,
            q(1, "kg"),
            "measure",
            "A place is measured as an area, a length, a void, points or finished spray.",
        ),
        (
            AREA,
            q(1, "oz"),
            "measure",
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
        (
            RateLine("point", 1, "g", 1, "points"),
            q("2.5", "points"),
            "measure",
            "Points are counted: give a whole number.",
        ),
        (
            RateLine("finished", 1, "g", 1, "l"),
            q(1, "m2"),
            "measure",
            "The rate is for finished spray, and the register does not say how much goes over a "
            "place. Give the volume of finished spray.",
        ),
        (
            RateLine("finished", 1, "g", 1, "l", cover=COVER),
            q(1, "m3"),
            "measure",
            "The rate is for finished spray. Give its volume, or an area that it goes over.",
        ),
        (
            replace(AREA, cover=COVER),
            q(1, "m"),
            "measure",
            "The rate is for an area; a length was given.",
        ),
    ],
)
def test_a_measure_that_does_not_do_is_told_why(line, measure, field, sentence):
    product = Label("Demo product", "dust")

    assert refused_by(dose, line, product, measure) == (field, sentence)
    assert refused_by(use, line, product, measure, q(1, "g")) == (field, sentence)


@pytest.mark.parametrize(
    ("grams", "share", "over", "under"),
    [
        ("20", 1, False, False),
        ("20.000001", Fraction("1.00000005"), True, False),
        ("10", Fraction(1, 2), False, False),
        ("9.999999", Fraction("0.49999995"), False, True),
        ("15", Fraction(3, 4), False, False),
    ],
)
def test_what_was_used_is_held_against_the_most_and_the_least(grams, share, over, under):
    used = use(AREA, label_of(AREA), q(10, "m2"), q(grams, "g"))

    assert (used.share_of_most, used.over, used.under) == (share, over, under)


def test_what_was_used_without_a_least_is_never_under():
    line = RateLine("area", 2, "g", 1, "m2")

    used = use(line, label_of(line), q(10, "m2"), q("0.001", "g"))

    assert (used.over, used.under) == (False, False)


def test_what_was_used_says_so_in_words():
    line = replace(AREA, cover=COVER)
    powder = label_of(line, Active("a", 50, "w/w"))

    def words(grams):
        return use(line, powder, q(10, "m2"), q(grams, "g")).working

    assert words(15) == (
        "15 g is 75 % of the most, 20 g.",
        "That holds 7.5 g of a.",
    )
    assert words(25) == (
        "25 g is 125 % of the most, 20 g.",
        "That is over the label.",
        "That holds 12.5 g of a.",
    )
    assert words(5) == (
        "5 g is 25 % of the most, 20 g.",
        "That is under the least, 10 g: too little wastes the work and can breed resistance.",
        "That holds 2.5 g of a.",
    )
    used = use(line, powder, q(10, "m2"), q(25, "g"))
    assert used.actives == (("a", q("12.5", "g")),)
    assert used.finished == q(400, "ml")


@pytest.mark.parametrize(
    ("rate_unit", "amount", "share"),
    [
        ("g", q("0.01", "kg"), "0.5"),
        ("g", q(10_000, "mg"), "0.5"),
        ("g", q("12.5", "ml"), "0.5"),
        ("ml", q(8, "g"), "0.5"),
        ("ml", q("0.01", "l"), "0.5"),
        ("g", q(1, "oz"), "1.41747615625"),
    ],
)
def test_what_was_used_may_be_in_any_unit_that_the_density_allows(rate_unit, amount, share):
    line = RateLine("area", 2, rate_unit, 1, "m2")
    product = label_of(line, density=Fraction("0.8"))

    assert use(line, product, q(10, "m2"), amount).share_of_most == Fraction(share)


def test_an_amount_through_the_density_holds_its_active_ingredient():
    line = RateLine("area", 2, "ml", 1, "m2")
    ready = label_of(line, Active("a", 10, "w/w"), density=Fraction("0.8"), ready_to_use=True)

    used = use(line, ready, q(10, "m2"), q(8, "g"))

    assert used.actives == (("a", q("0.8", "g")),)
    assert used.finished == q(10, "ml")


@pytest.mark.parametrize(
    ("rate_unit", "amount", "facts", "field", "sentence"),
    [
        ("g", q(0, "g"), {}, "amount", "The amount must be above zero."),
        ("g", q(-1, "g"), {}, "amount", "The amount must be above zero."),
        ("g", q(1, ""), {}, "unit", "Choose a unit."),
        ("g", q(1, "m2"), {}, "unit", "m² measures an area, g measures a weight."),
        (
            "g",
            q(1, "ml"),
            {},
            "unit",
            "ml measures a volume of liquid, g measures a weight. Give a weight, or have the "
            "office enter the product's density.",
        ),
        (
            "ml",
            q(1, "oz"),
            {"density": Fraction(1)},
            "unit",
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
        (
            "g",
            q(1, "oz"),
            {"density": Fraction(1), "measured_in": "ml"},
            "unit",
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
    ],
)
def test_an_amount_that_cannot_be_compared_is_told_why(rate_unit, amount, facts, field, sentence):
    line = RateLine("area", 2, rate_unit, 1, "m2")

    assert refused_by(use, line, label_of(line, **facts), q(10, "m2"), amount) == (field, sentence)


def test_an_active_ingredient_in_ounces_of_a_liquid_is_measured_by_volume():
    line = RateLine("area", 1, "oz", 1000, "ft2", of="active")
    product = label_of(line, Active("a", 50, "w/v"), formulation="liquid")

    allowed = dose(line, product, q(1000, "ft2"))

    assert allowed.product_most == q("56.69904625", "ml")
    assert use(line, product, q(1000, "ft2"), allowed.product_most).share_of_most == 1


EVERYWHERE = RateLine("area", 1, "g", 1, "m2")
CRACKS = replace(EVERYWHERE, methods=frozenset(["crack_and_crevice"]))
OUTDOORS = replace(EVERYWHERE, places=frozenset(["outdoors"]))
ALL = (CRACKS, EVERYWHERE, OUTDOORS)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, ALL),
        ({"method": "crack_and_crevice"}, ALL),
        ({"method": "spray"}, (EVERYWHERE, OUTDOORS)),
        ({"place": "outdoors"}, ALL),
        ({"place": "indoors"}, (CRACKS, EVERYWHERE)),
        ({"method": "spray", "place": "indoors"}, (EVERYWHERE,)),
    ],
)
def test_the_rates_of_a_method_and_a_place_in_the_labels_order(asked, found):
    assert rates_for(Label("Demo product", "dust", rates=ALL), **asked) == found


def test_a_label_without_a_rate_says_so():
    with pytest.raises(DoseError) as refused:
        rates_for(Label("Demo product", "dust"))
    assert (refused.value.field, str(refused.value)) == ("rate", NO_RATE)
    assert NO_RATE == (
        "The register has no rate of this label, so no amount can be worked out. "
        "Read the label; the office can enter its rates."
    )


@pytest.mark.parametrize("asked", [{"method": "spray"}, {"place": "indoors"}])
def test_a_label_without_a_rate_for_that_says_so(asked):
    narrow = replace(CRACKS, places=frozenset(["outdoors"]))

    with pytest.raises(DoseError) as refused:
        rates_for(Label("Demo product", "dust", rates=(narrow,)), **asked)

    assert (refused.value.field, str(refused.value)) == (
        "rate",
        "The label has no rate for this method in this place. Choose another method or product.",
    )


# What holds for every label and every place.

KINDS = {"area": "area", "length": "length", "void": "void", "point": "points"}


@st.composite
def cases(draw):
    """A line of a label, the label, and a measure that it is for."""
    per = draw(st.sampled_from([*KINDS, "finished"]))
    kind = KINDS.get(per, "volume")
    units = st.sampled_from(UNITS_OF[kind])
    of = draw(st.sampled_from(["product", "active"]))
    most = draw(AMOUNTS)
    line = RateLine(
        per,
        most,
        draw(st.sampled_from(("mg", "g", "kg", "lb"))),
        draw(AMOUNTS),
        draw(units),
        least=draw(st.none() | st.just(most * draw(st.fractions(Fraction(1, 100), 1)))),
        of=of,
    )
    active = Active("a", draw(st.fractions(Fraction(1, 100), 100)), "w/w")
    label = label_of(line, active, density=draw(st.none() | AMOUNTS))
    amount = draw(st.integers(1, 1000)) if kind == "points" else draw(AMOUNTS)
    return line, label, Quantity(Fraction(amount), draw(units))


@given(cases(), st.integers(2, 9))
def test_so_many_times_the_place_is_so_many_times_the_product(case, times):
    line, label, measure = case
    larger = Quantity(measure.amount * times, measure.unit)

    one, many = dose(line, label, measure), dose(line, label, larger)

    assert many.product_most.amount == one.product_most.amount * times
    assert many.per_litre == one.per_litre
    if one.product_least is not None:
        assert many.product_least.amount == one.product_least.amount * times


@given(cases())
def test_the_least_is_never_above_the_most_and_neither_below_zero(case):
    line, label, measure = case

    allowed = dose(line, label, measure)

    assert allowed.product_most.amount > 0
    assert all(held.amount > 0 for _, held in allowed.actives_most)
    if allowed.product_least is not None:
        assert 0 < allowed.product_least.amount <= allowed.product_most.amount


@given(cases(), AMOUNTS)
def test_a_larger_place_takes_more(case, more):
    line, label, measure = case
    assume(measure.kind != "points")
    larger = Quantity(measure.amount + more, measure.unit)

    assert (
        dose(line, label, measure).product_most.amount
        < dose(line, label, larger).product_most.amount
    )


@given(cases(), st.data())
def test_the_unit_of_the_measure_makes_no_difference(case, data):
    line, label, measure = case
    other = measure.to(data.draw(st.sampled_from(UNITS_OF[measure.kind])))

    assert dose(line, label, measure).product_most == dose(line, label, other).product_most


@given(cases())
def test_what_is_suggested_is_the_whole_of_what_is_allowed(case):
    line, label, measure = case
    allowed = dose(line, label, measure)

    used = use(line, label, measure, allowed.product_most)

    assert (used.share_of_most, used.over, used.under) == (1, False, False)
    assert used.actives == allowed.actives_most


@given(cases(), AMOUNTS)
def test_over_and_under_follow_the_share(case, share):
    line, label, measure = case
    allowed = dose(line, label, measure)
    amount = Quantity(allowed.product_most.amount * share, allowed.product_most.unit)

    used = use(line, label, measure, amount)

    assert used.share_of_most == share
    assert used.over == (share > 1)
    assert used.under == (
        allowed.product_least is not None and amount.amount < allowed.product_least.amount
    )


@given(AMOUNTS, AMOUNTS, AMOUNTS)
def test_a_place_and_the_spray_that_covers_it_give_the_same(most, over, area):
    line = RateLine("area", most, "g", 1, "m2", cover=Cover(over, "ml", 1, "m2"))
    by_area = dose(line, label_of(line), Quantity(area, "m2"))

    by_tank = dose(line, label_of(line), by_area.finished)

    assert by_tank.product_most == by_area.product_most
    assert by_tank.per_litre == by_area.per_litre
