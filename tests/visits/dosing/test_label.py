"""What a label can say, and what it cannot."""

from dataclasses import replace
from fractions import Fraction

import pytest

from visits.dosing.label import Active, Cover, Label, LabelError, RateLine, Strength

AREA = RateLine("area", 2, "g", 1, "m2")
COVER = Cover(40, "ml", 1, "m2")


def refused_by(make, *arguments, **facts):
    with pytest.raises(LabelError) as refused:
        make(*arguments, **facts)
    return refused.value.field, str(refused.value)


@pytest.mark.parametrize(
    ("amount", "basis", "whole"),
    [
        (100, "w/w", 1),
        (100, "w/v", 1),
        (100, "v/v", 1),
        ("0.6", "w/w", "0.006"),
        (480, "g/l", "0.48"),
        (48, "w/v", "0.48"),
        (1000, "g/kg", 1),
        (25, "g/kg", "0.025"),
        (2000, "g/l", 2),
    ],
)
def test_a_strength_is_a_share_or_kilograms_in_a_litre(amount, basis, whole):
    assert Strength(Fraction(amount), basis).of_whole == Fraction(whole)


def test_pounds_to_the_gallon_are_kilograms_in_a_litre():
    whole = Strength(Fraction(4), "lb/us_gal").of_whole

    assert whole == Fraction(4) * Fraction("0.45359237") / Fraction("3.785411784")


@pytest.mark.parametrize("make", [Strength, lambda *facts: Active("permethrin", *facts)])
@pytest.mark.parametrize(
    ("amount", "basis", "field", "sentence"),
    [
        (0, "w/w", "strength", "The strength must be above zero."),
        (-1, "g/l", "strength", "The strength must be above zero."),
        (Fraction(10001, 100), "w/w", "strength", "A strength cannot be above 100 % w/w."),
        (101, "w/v", "strength", "A strength cannot be above 100 % w/v."),
        (101, "v/v", "strength", "A strength cannot be above 100 % v/v."),
        (1001, "g/kg", "strength", "A strength cannot be above 1000 g/kg."),
        (
            1.5,
            "w/w",
            "strength",
            "Give amounts as whole numbers, decimals or fractions.",
        ),
        (
            1,
            "",
            "basis",
            "Say what the strength is measured in: w/w, w/v, v/v, g/l or g/kg.",
        ),
        (1, "ppm", "basis", "“ppm” is no way to state a strength that is used here."),
    ],
)
def test_a_strength_that_cannot_be_is_refused(make, amount, basis, field, sentence):
    assert refused_by(make, amount, basis) == (field, sentence)


def test_an_active_ingredient_has_a_name_and_states_its_strength():
    assert refused_by(Active, "  ", 1, "w/w") == ("name", "Give the active ingredient's name.")
    active = Active("permethrin", 10, "w/w")
    assert active.stated == Strength(Fraction(10), "w/w")
    assert isinstance(active.strength, Fraction)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"amount": 0}, "The cover must be above zero."),
        ({"amount": -1}, "The cover must be above zero."),
        ({"per_amount": 0}, "The place that it covers must be above zero."),
        ({"unit": ""}, "Choose a unit."),
        ({"per_unit": ""}, "Choose a unit."),
        ({"unit": "g"}, "The cover is a volume of liquid; g measures a weight."),
        (
            {"unit": "oz"},
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
        (
            {"per_unit": "l"},
            "Finished spray covers an area, a length, a void or a number of points.",
        ),
        (
            {"per_unit": "kg"},
            "Finished spray covers an area, a length, a void or a number of points.",
        ),
        ({"amount": 0.5}, "Give amounts as whole numbers, decimals or fractions."),
    ],
)
def test_a_cover_is_a_volume_over_a_place(change, sentence):
    assert refused_by(replace, COVER, **change) == ("cover", sentence)


@pytest.mark.parametrize("unit", ["m2", "ft", "m3", "points"])
def test_spray_covers_any_kind_of_place(unit):
    cover = replace(COVER, per_unit=unit)

    assert (cover.amount, cover.per_amount, cover.per_unit) == (40, 1, unit)
    assert isinstance(cover.amount, Fraction)
    assert isinstance(cover.per_amount, Fraction)


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"most": 0}, "most", "The rate must be above zero."),
        ({"most": -2}, "most", "The rate must be above zero."),
        ({"most": 0.5}, "most", "Give amounts as whole numbers, decimals or fractions."),
        ({"least": 0}, "least", "The least must be above zero."),
        ({"least": 3}, "least", "The least cannot be more than the most."),
        ({"per_amount": 0}, "per_amount", "What the rate is for must be above zero."),
        ({"per_amount": -1}, "per_amount", "What the rate is for must be above zero."),
        ({"unit": ""}, "unit", "Choose a unit."),
        ({"per_unit": ""}, "per_unit", "Choose a unit."),
        (
            {"unit": "m2"},
            "unit",
            "A rate is a weight or a volume of liquid; m² measures an area.",
        ),
        ({"per_unit": "m"}, "per_unit", "This rate is for an area; m measures a length."),
        (
            {"per": "finished", "per_unit": "oz"},
            "per_unit",
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
        (
            {"per": "area", "per_unit": "oz"},
            "per_unit",
            "This rate is for an area; oz (weight) measures a weight.",
        ),
        (
            {"per": "finished", "per_unit": "kg"},
            "per_unit",
            "This rate is for a volume of liquid; kg measures a weight.",
        ),
        (
            {"per": "acre"},
            "per",
            "Say what the rate is for: an area, a length, a void, a point or spray.",
        ),
        (
            {"of": "water"},
            "of",
            "Say whether the rate is of the product or of an active ingredient.",
        ),
        (
            {"cover": replace(COVER, per_unit="m")},
            "cover",
            "The rate is for an area, so the cover must be for an area.",
        ),
    ],
)
def test_a_rate_that_cannot_be_is_refused(change, field, sentence):
    assert refused_by(replace, AREA, **change) == (field, sentence)


@pytest.mark.parametrize(
    ("per", "unit"),
    [("area", "yd2"), ("length", "ft"), ("void", "m3"), ("point", "points"), ("finished", "l")],
)
def test_every_kind_of_rate_has_its_kind_of_unit(per, unit):
    line = RateLine(per, 2, "g", 1, unit, least=2)

    assert (line.most, line.per_amount, line.least) == (2, 1, 2)
    assert all(isinstance(one, Fraction) for one in (line.most, line.per_amount, line.least))


@pytest.mark.parametrize(
    ("line", "change"),
    [
        # As much product as there is spray is the most there can be.
        (RateLine("finished", 5, "l", 5, "l"), {"most": 5001, "unit": "ml"}),
        (RateLine("finished", 1, "us_gal", 128, "us_fl_oz"), {"per_amount": 127}),
        (
            RateLine("area", 40, "ml", 1, "m2", cover=COVER),
            {"most": 41},
        ),
        (
            RateLine("area", 400, "ml", 90, "ft2", cover=Cover(4, "l", 100, "yd2")),
            {"most": 401},
        ),
        (
            RateLine("area", 3, "l", 100, "m2", cover=Cover(6, "l", 200, "m2")),
            {"per_amount": 99},
        ),
    ],
)
def test_spray_cannot_hold_more_of_a_liquid_than_there_is_of_it(line, change):
    assert replace(line) == line

    field, sentence = refused_by(replace, line, **change)

    assert field == ("most" if line.per == "finished" else "cover")
    assert sentence == "That is more product than finished spray."


def test_a_weight_and_an_active_ingredient_need_no_room():
    assert RateLine("finished", 2, "kg", 1, "l").most == 2
    assert RateLine("finished", 2, "l", 1, "l", of="active").most == 2
    assert RateLine("area", 9, "l", 1, "m2").most == 9


def label(**facts):
    return Label("Demo product", facts.pop("formulation", "dust"), **facts)


@pytest.mark.parametrize(
    ("facts", "field", "sentence"),
    [
        ({"density": 0}, "density", "The density must be above zero."),
        ({"density": -1}, "density", "The density must be above zero."),
        ({"density": 0.9}, "density", "Give amounts as whole numbers, decimals or fractions."),
        ({"wind_most_kmh": 0}, "wind_most_kmh", "The wind must be above zero."),
        ({"interval_days": -1}, "interval_days", "Give a whole number, 0 or more."),
        ({"interval_days": 1.5}, "interval_days", "Give a whole number, 0 or more."),
        ({"most_a_year": 0}, "most_a_year", "Give a whole number, 1 or more."),
        ({"most_a_year": True}, "most_a_year", "Give a whole number, 1 or more."),
        ({"re_entry_minutes": -1}, "re_entry_minutes", "Give a whole number, 0 or more."),
        ({"version": 0}, "version", "Give a whole number, 1 or more."),
        ({"version": None}, "version", "Give a whole number, 1 or more."),
        ({"measured_in": "oz"}, "measured_in", "A product is measured in g or in ml."),
        (
            {"actives": (Active("D-Limonene", 1, "w/w"), Active("d-limonene ", 2, "w/w"))},
            "actives",
            "An active ingredient is named twice.",
        ),
        (
            {"actives": tuple(Active(one, 1, "w/w") for one in ("z  PBO", "a", " Z pbo"))},
            "actives",
            "An active ingredient is named twice.",
        ),
        (
            {"actives": (Active("a", 60, "w/w"), Active("b", 401, "g/kg"))},
            "actives",
            "The active ingredients come to more than the whole product.",
        ),
        (
            {"actives": (Active("a", 60, "v/v"), Active("b", 41, "v/v"))},
            "actives",
            "The active ingredients come to more than the whole product.",
        ),
        (
            {
                "actives": (Active("a", 50, "w/v"), Active("b", 301, "g/l")),
                "density": Fraction("0.8"),
            },
            "density",
            "A litre would weigh less than the active ingredients that are in it.",
        ),
        (
            {"ready_to_use": True, "rates": (RateLine("finished", 1, "ml", 1, "l"),)},
            "rates",
            "A ready-to-use product is not diluted: give its rate for a place.",
        ),
        (
            {"ready_to_use": True, "rates": (replace(AREA, cover=COVER),)},
            "cover",
            "A ready-to-use product is its own finished spray: leave the cover empty.",
        ),
        (
            {"formulation": "liquid", "rates": (replace(AREA, unit="oz"),)},
            "unit",
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
        (
            {"rates": (replace(AREA, of="active"),)},
            "active",
            "Say of which active ingredient the rate is.",
        ),
        (
            {
                "actives": (Active("a", 1, "w/w"), Active("b", 1, "w/w")),
                "rates": (replace(AREA, of="active"),),
            },
            "active",
            "Say of which active ingredient the rate is.",
        ),
        (
            {
                "actives": (Active("a", 1, "w/w"),),
                "rates": (replace(AREA, of="active", active="b"),),
            },
            "active",
            "“b” is not among the label's active ingredients.",
        ),
        (
            {
                "actives": (Active("a", 1, "v/v"),),
                "rates": (replace(AREA, of="active"),),
            },
            "unit",
            "The rate of a and its strength must both be by weight, or both by volume (v/v).",
        ),
        (
            {
                "actives": (Active("a", 1, "w/v"),),
                "rates": (replace(AREA, of="active", unit="ml"),),
            },
            "unit",
            "The rate of a and its strength must both be by weight, or both by volume (v/v).",
        ),
    ],
)
def test_a_label_that_cannot_be_is_refused(facts, field, sentence):
    assert refused_by(label, **facts) == (field, sentence)


def test_a_label_needs_a_name():
    assert refused_by(Label, " ", "dust") == (
        "name",
        "Give the product's name as on the label.",
    )


def test_the_ends_of_what_a_label_can_say():
    said = label(
        density=1,
        wind_most_kmh=15,
        interval_days=0,
        most_a_year=1,
        re_entry_minutes=0,
        version=1,
        actives=(
            Active("a", 60, "w/w"),
            Active("b", 400, "g/kg"),
            Active("c", 50, "v/v"),
            Active("d", 50, "v/v"),
            Active("e", 50, "w/v"),
            Active("f", 500, "g/l"),
        ),
        rates=(replace(AREA, of="active", active=" A "), replace(AREA, unit="oz")),
    )

    assert isinstance(said.density, Fraction)
    assert isinstance(said.wind_most_kmh, Fraction)
    assert said.active_of(said.rates[0]).name == "a"


def test_the_only_active_ingredient_need_not_be_named_in_a_rate():
    said = label(
        actives=(Active("c", 1, "v/v"),),
        rates=(replace(AREA, of="active", unit="ml"),),
        formulation="liquid",
    )

    assert said.active_of(said.rates[0]).name == "c"


def test_a_rate_of_an_active_ingredient_may_be_in_ounces_whatever_the_product():
    said = label(
        actives=(Active("a", 1, "w/v"),),
        rates=(replace(AREA, of="active", unit="oz"),),
        formulation="liquid",
    )

    assert said.rates[0].unit == "oz"


@pytest.mark.parametrize(
    ("facts", "kind"),
    [
        ({"formulation": "liquid"}, "volume"),
        ({"formulation": "aerosol"}, "volume"),
        ({"formulation": "liquid", "measured_in": "g"}, "mass"),
        ({"formulation": "dust", "measured_in": "ml"}, "volume"),
        ({"formulation": "dust", "actives": (Active("a", 1, "g/l"),)}, "mass"),
        ({"formulation": "other", "actives": (Active("a", 1, "g/l"),)}, "volume"),
        ({"formulation": "other", "actives": (Active("a", 1, "w/w"),)}, "mass"),
        ({"formulation": "other", "actives": (Active("a", 1, "g/kg"),)}, "mass"),
        ({"formulation": "other"}, "mass"),
        *(
            ({"formulation": one, "actives": (Active("a", 1, "w/v"),)}, "mass")
            for one in ("gel", "bait_block", "bait_paste", "granule")
        ),
    ],
)
def test_a_product_is_weighed_or_measured_by_volume(facts, kind):
    assert label(**facts).product_kind == kind
