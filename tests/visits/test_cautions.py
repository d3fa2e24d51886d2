"""Which cautions stand before which treatment."""

import pytest

from sites.models import Boundary, Zone
from visits.cautions import CAUTIONS, DROPPINGS, cautions_for
from visits.dosing import vocabulary
from visits.dosing.guide_rows import STARTING_SET
from visits.models import Pest, Product, Treatment

ANYTHING_ROUND_IT = (*vocabulary.SURROUNDINGS, *vocabulary.SURFACES)


def keys(method: str, formulation: str, zone_kind: str, *surroundings: str) -> set[str]:
    found = cautions_for(
        method=method,
        formulation=formulation,
        zone_kind=zone_kind,
        surroundings=surroundings,
    )
    return {one.key for one in found}


@pytest.mark.parametrize(
    ("method", "formulation", "zone_kind", "shown", "hidden"),
    [
        # Sources stand in visits/cautions.py.
        ("gel", "gel", "kitchen", {"bait_and_spray"}, {"food", "re_entry", "spray_electrics"}),
        ("spray", "liquid", "kitchen", {"food", "re_entry", "spray_electrics"}, {"diners"}),
        ("dust_by_hand", "dust", "kitchen", {"dust_film", "dust_electrics", "food"}, {"flames"}),
        (
            "dust_high_volume",
            "dust",
            "roof_void",
            {"dust_film", "flames", "air_handling", "height", "void", "asbestos", "re_entry"},
            {"food"},
        ),
        ("spray", "liquid", "outdoor_dining", {"diners", "drift"}, {"food"}),
        (
            "bait_station",
            "bait_block",
            "perimeter",
            {"bait_stations", "carcass_search", "bait_outdoors"},
            {"drift", "food"},
        ),
        ("bait_station", "bait_block", "cellar", {"bait_stations", "void"}, {"bait_outdoors"}),
        ("space", "aerosol", "dining", {"flames", "air_handling", "diners"}, {"bait_stations"}),
    ],
)
def test_what_may_hurt_somebody_is_said(method, formulation, zone_kind, shown, hidden):
    found = keys(method, formulation, zone_kind)

    assert shown <= found
    assert not hidden & found


@pytest.mark.parametrize("zone_kind", Zone.Kind.values)
@pytest.mark.parametrize("method", Treatment.Method.values)
def test_there_is_no_treatment_without_a_caution(method, zone_kind):
    for formulation in Product.Formulation.values:
        assert {"label", "equipment", "spill"} <= keys(method, formulation, zone_kind)


@pytest.mark.parametrize(
    ("surrounding", "method", "formulation", "zone_kind", "shown"),
    [
        # Sources stand in visits/cautions.py.
        ("diners", "dust_high_volume", "dust", "plant_room", "diners"),
        ("outdoors", "spray", "liquid", "other", "drift"),
        ("outdoors", "bait_station", "bait_block", "other", "bait_outdoors"),
        ("height", "gel", "gel", "kitchen", "height"),
        ("void", "dust_by_hand", "dust", "kitchen", "void"),
        ("old_building", "dust_by_hand", "dust", "kitchen", "asbestos"),
        ("flames", "spray", "liquid", "kitchen", "flames_near"),
        ("flames", "dust_by_hand", "dust", "kitchen", "flames_near"),
        ("sensitive", "gel", "gel", "staff", "sensitive"),
        ("sealed_ventilation", "spray", "liquid", "dining", "sealed_ventilation"),
        ("droppings", "gel", "gel", "dry_store", "droppings"),
        ("wet", "bait_station", "bait_block", "cellar", "wet_rodents"),
        ("drain", "gel", "gel", "kitchen", "wet_rodents"),
    ],
)
def test_what_is_round_a_place_brings_its_caution(
    surrounding, method, formulation, zone_kind, shown
):
    assert shown in keys(method, formulation, zone_kind, surrounding)
    assert shown not in keys(method, formulation, zone_kind)


def test_a_flame_does_not_matter_to_gel():
    assert "flames_near" not in keys("gel", "gel", "kitchen", "flames")


@pytest.mark.parametrize("key", ["food", "re_entry", "bait_stations", "droppings"])
def test_what_may_not_be_passed_over_has_to_be_confirmed(key):
    (caution,) = [one for one in CAUTIONS if one.key == key]
    assert caution.confirm


def test_what_was_ticked_stays_on_record_where_nothing_says_why():
    found = cautions_for(method="gel", formulation="gel", zone_kind="bar", confirmed=["droppings"])

    assert "droppings" in {one.key for one in found}
    assert "droppings" not in keys("gel", "gel", "bar")


# Each published show rule, one use that must show it and one that must not (None: always shown).
# Sources and how far they were confirmed: visits/cautions.py and docs/algorithms/method-guide.md.
SHOW_RULES = {
    "S01 the label is the law": ("label", ("gel", "gel", "bar"), None),
    "S02 dust is a thin film": (
        "dust_film",
        ("dust_by_hand", "dust", "kitchen"),
        ("gel", "gel", "kitchen"),
    ),
    "S03 dust near electrics": (
        "dust_electrics",
        ("dust_by_hand", "dust", "kitchen", "electrics"),
        ("gel", "gel", "kitchen", "electrics"),
    ),
    "S04 spray near electrics": (
        "spray_electrics",
        ("spray", "liquid", "kitchen", "electrics"),
        ("gel", "gel", "kitchen", "electrics"),
    ),
    "S05 flames": (
        "flames_near",
        ("dust_high_volume", "dust", "kitchen", "flames"),
        ("gel", "gel", "kitchen", "flames"),
    ),
    "S06 food in kitchens": (
        "food",
        ("spray", "liquid", "kitchen"),
        ("bait_station", "bait_block", "kitchen"),
    ),
    "S06 food where it is served": (
        "food",
        ("spray", "liquid", "dining"),
        ("gel", "gel", "dining"),
    ),
    "S06 food in stores": ("food", ("spray", "liquid", "cellar"), ("spray", "liquid", "perimeter")),
    "S07 nobody is served": (
        "diners",
        ("spray", "liquid", "outdoor_dining"),
        ("spray", "liquid", "kitchen"),
    ),
    "S07 wind and drift": (
        "drift",
        ("spray", "liquid", "outdoor_dining"),
        ("spray", "liquid", "dining"),
    ),
    "S08 stay out until dry": ("re_entry", ("spray", "liquid", "staff"), ("gel", "gel", "staff")),
    "S09 work at height": ("height", ("gel", "gel", "bar", "height"), ("gel", "gel", "bar")),
    "S10 close voids": ("void", ("dust_high_volume", "dust", "roof_void"), ("gel", "gel", "bar")),
    "S11 asbestos": (
        "asbestos",
        ("dust_high_volume", "dust", "roof_void"),
        ("dust_high_volume", "dust", "bar"),
    ),
    "S12 locked stations": (
        "bait_stations",
        ("bait_station", "bait_paste", "dry_store"),
        ("gel", "gel", "dry_store"),
    ),
    "S13 bait outdoors": (
        "bait_outdoors",
        ("bait_station", "bait_block", "perimeter"),
        ("bait_station", "bait_block", "dry_store"),
    ),
    "S14 droppings": (
        "droppings",
        ("bait_station", "bait_block", "dry_store", "droppings"),
        ("bait_station", "bait_block", "dry_store"),
    ),
    "S15 wet places": (
        "wet_rodents",
        ("bait_station", "bait_block", "cellar", "wet"),
        ("bait_station", "bait_block", "cellar"),
    ),
    "S16 the safety data sheet": ("label", ("space", "aerosol", "waste"), None),
    "S17 protective equipment": ("equipment", ("gel", "gel", "bar"), None),
    "S18 sensitive places": (
        "sensitive",
        ("spray", "liquid", "dining", "sensitive"),
        ("spray", "liquid", "dining"),
    ),
    "S19 sealed ventilation": (
        "sealed_ventilation",
        ("gel", "gel", "staff", "sealed_ventilation"),
        ("gel", "gel", "staff"),
    ),
    "S20 bait and spray": ("bait_and_spray", ("gel", "gel", "bar"), ("spray", "liquid", "bar")),
    "S21 a spill": ("spill", ("spray", "liquid", "bar"), None),
}


@pytest.mark.parametrize("rule", SHOW_RULES)
def test_every_published_show_rule_shows_its_caution_and_no_more(rule):
    key, shows, hides = SHOW_RULES[rule]

    assert key in keys(*shows)
    if hides is None:
        (caution,) = [one for one in CAUTIONS if one.key == key]
        assert (caution.methods, caution.formulations, caution.unless) == ((), (), ())
        assert (caution.zone_kinds, caution.surroundings) == ((), ())
    else:
        assert key not in keys(*hides)


def test_the_guide_and_the_table_of_cautions_speak_with_one_voice():
    """A caution of the guide whose key the table has says the same words, and is shown once."""
    table = {one.key: one.text for one in CAUTIONS}
    said = [row for row in STARTING_SET if row.verdict in ("caution", "precondition")]
    guide = {row.key: row.words for row in said}

    assert {key: guide[key] for key in guide.keys() & table} == {
        key: table[key] for key in guide.keys() & table
    }
    assert {"height", "void", "asbestos", "sensitive", "bait_stations"} <= guide.keys() & table
    assert guide["droppings"] == DROPPINGS
    # The phone sends the keys of what was confirmed, of forty letters at most.
    assert max(len(key) for key in (*guide, *table)) <= 40


def test_the_pure_rules_speak_in_the_words_of_the_record():
    assert tuple(Zone.Kind.values) == vocabulary.ZONE_KINDS
    assert tuple(Product.Formulation.values) == vocabulary.FORMULATIONS
    assert tuple(Treatment.Method.values) == vocabulary.METHODS
    assert tuple(Treatment.Surface.values) == vocabulary.SURFACES
    assert tuple(Pest.Group.values) == vocabulary.PEST_GROUPS
    assert tuple(Boundary.values) == vocabulary.BOUNDARIES


def test_no_word_means_both_a_surface_and_what_is_round_it():
    words = (*vocabulary.SURFACES, *vocabulary.SURROUNDINGS, *vocabulary.ZONE_KINDS)
    assert len(set(words)) == len(words)
    known = {*words}
    assert {word for one in CAUTIONS for word in one.surroundings} <= known


def test_every_caution_is_shown_somewhere_and_named_once():
    everywhere = set().union(
        *(
            keys(method, formulation, zone_kind, *ANYTHING_ROUND_IT)
            for method in Treatment.Method.values
            for formulation in Product.Formulation.values
            for zone_kind in Zone.Kind.values
        )
    )

    assert everywhere == {one.key for one in CAUTIONS}
    assert len(CAUTIONS) == len({one.key for one in CAUTIONS})


@pytest.mark.parametrize(
    ("pest_group", "shown"),
    [("rodent", True), ("", True), ("fly", False)],
    ids=["rats", "?", "flies"],
)
def test_what_is_said_of_rodent_bait_is_not_said_of_bait_for_flies(pest_group, shown):
    """Common practice, no source: paste for flies is put in spots, and no rodent dies of it."""
    found = cautions_for(
        method="spot", formulation="bait_paste", zone_kind="waste", pest_group=pest_group
    )

    for_rodents = {"bait_stations", "carcass_search", "bait_outdoors"}
    assert {one.key for one in found} & for_rodents == (for_rodents if shown else set())


def test_what_must_be_confirmed_stands_in_the_guide_in_the_same_words():
    """So that the phone, which tells the same by its words, asks for one tick."""
    asked = {one.text for one in CAUTIONS if one.key in ("food", "diners")}

    said = {row.words for row in STARTING_SET if row.key.startswith(("food-away", "nobody-served"))}

    assert said == asked
