"""The rule of the method guide, and what its starting set promises everywhere."""

import json
from dataclasses import replace
from itertools import product

import pytest

from tests.visits.dosing.guide_cases import CASES, guide_cases
from visits.dosing.guide import (
    LAST_WORD,
    NOTHING_SUITS,
    GuideError,
    GuideRow,
    Situation,
    advise,
    holds,
    row_as_data,
    row_from_data,
)
from visits.dosing.guide_rows import STARTING_SET
from visits.dosing.vocabulary import PEST_GROUPS, SPRAYED, SURFACES, ZONE_KINDS

KITCHEN = Situation(
    "kitchen", "crack", "german-cockroach", "cockroach", electrics=True, boundary="shared"
)
ROW = GuideRow("row", "prefer", "Because.", formulation="gel", method="gel")


def words(*found):
    return [(one.formulation, one.method) for one in found]


@pytest.mark.parametrize(
    ("conditions", "does_hold"),
    [
        ({}, True),
        ({"zone_kinds": {"kitchen", "bar"}}, True),
        ({"zone_kinds": {"bar"}}, False),
        ({"surfaces": {"crack"}}, True),
        ({"surfaces": {"void"}}, False),
        ({"pest_groups": {"cockroach", "ant"}}, True),
        ({"pest_groups": {"ant"}}, False),
        ({"pests": {"german-cockroach"}}, True),
        ({"pests": {"oriental-cockroach"}}, False),
        ({"surroundings": {"electrics"}}, True),
        ({"surroundings": {"electrics", "boundary_shared"}}, True),
        ({"surroundings": {"electrics", "height"}}, False),
        ({"but_not": {"height"}}, True),
        ({"but_not": {"height", "electrics"}}, False),
        ({"but_not": {"boundary_outside"}}, True),
        ({"zone_kinds": {"kitchen"}, "surfaces": {"void"}}, False),
    ],
)
def test_a_row_holds_where_each_of_its_conditions_does(conditions, does_hold):
    row = replace(ROW, **{name: frozenset(value) for name, value in conditions.items()})

    assert holds(row, KITCHEN) is does_hold


def test_what_is_not_known_meets_no_condition_that_asks_for_it():
    unknown = Situation("kitchen")

    assert holds(ROW, unknown)
    for name, value in (("surfaces", "crack"), ("pest_groups", "ant"), ("pests", "garden-ant")):
        assert not holds(replace(ROW, **{name: frozenset({value})}), unknown)


def test_the_lowest_rank_comes_first_and_the_table_decides_within_a_rank():
    rows = [
        replace(ROW, key="a", formulation="dust", method="dust_by_hand", rank=2),
        replace(ROW, key="b", formulation="liquid", method="spray", rank=1),
        replace(ROW, key="c", formulation="aerosol", method="crack_and_crevice", rank=2),
    ]

    advice = advise(KITCHEN, rows)

    assert words(*advice.preferred) == [
        ("liquid", "spray"),
        ("dust", "dust_by_hand"),
        ("aerosol", "crack_and_crevice"),
    ]


def test_the_same_thing_is_suggested_once_by_its_better_reason():
    rows = [
        replace(ROW, key="a", rank=5, words="The lesser reason."),
        replace(ROW, key="b", rank=1, words="The better reason."),
    ]

    (suggested,) = advise(KITCHEN, rows).preferred

    assert (suggested.reason, suggested.rank) == ("The better reason.", 1)


@pytest.mark.parametrize(
    ("formulation", "method", "left"),
    [
        ("gel", "", []),
        ("gel", "gel", []),
        ("gel", "spot", [("gel", "gel")]),
        ("dust", "", [("gel", "gel")]),
    ],
)
def test_what_is_ruled_out_is_not_suggested_however_well_it_suits(formulation, method, left):
    bar = replace(ROW, key="no", verdict="rule_out", formulation=formulation, method=method)

    advice = advise(KITCHEN, [ROW, bar])

    assert words(*advice.preferred) == left
    assert words(*advice.ruled_out) == [(formulation, method)]
    assert advice.nothing == ("" if left else NOTHING_SUITS)


def test_a_thing_is_ruled_out_once_by_the_first_reason():
    bars = [
        replace(ROW, key=key, verdict="rule_out", formulation="liquid", method="", words=words)
        for key, words in (("a", "Shock."), ("b", "Food."))
    ]

    (ruled_out,) = advise(KITCHEN, bars).ruled_out

    assert ruled_out.reason == "Shock."


@pytest.mark.parametrize("verdict", ["caution", "precondition"])
@pytest.mark.parametrize(
    ("formulation", "method", "counts"),
    [
        ("", "", True),
        ("gel", "", True),
        ("gel", "gel", True),
        ("", "gel", True),
        ("dust", "", False),
        ("gel", "spot", False),
        ("", "spray", False),
    ],
)
def test_a_caution_about_something_counts_where_it_is_suggested(
    verdict, formulation, method, counts
):
    row = replace(ROW, key="mind", verdict=verdict, formulation=formulation, method=method)

    advice = advise(KITCHEN, [ROW, row])

    assert bool(advice.cautions or advice.preconditions) is counts


def test_a_caution_keeps_the_key_it_is_recorded_by():
    row = replace(ROW, key="mind", verdict="caution", words="Mind.", method="")

    (mind,) = advise(KITCHEN, [ROW, row]).cautions

    assert (mind.key, mind.words, mind.formulation, mind.method) == ("mind", "Mind.", "gel", "")


def test_the_same_precondition_is_said_once():
    rows = [
        GuideRow(key, "precondition", "Goods moved.", surroundings=frozenset(around))
        for key, around in (("a", ()), ("b", ("electrics",)))
    ]

    assert advise(KITCHEN, rows).preconditions == ("Goods moved.",)


# --- what a row cannot say ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"key": " "}, "key"),
        ({"words": ""}, "words"),
        ({"verdict": "forbid"}, "verdict"),
        ({"zone_kinds": frozenset({"attic"})}, "zone_kinds"),
        ({"surfaces": frozenset({"ceiling"})}, "surfaces"),
        ({"pest_groups": frozenset({"german-cockroach"})}, "pest_groups"),
        ({"surroundings": frozenset({"noise"})}, "surroundings"),
        ({"but_not": frozenset({"noise"})}, "but_not"),
        (
            {"surroundings": frozenset({"height"}), "but_not": frozenset({"height"})},
            "but_not",
        ),
        ({"formulation": ""}, "formulation"),
        ({"formulation": "smoke"}, "formulation"),
        ({"method": ""}, "method"),
        ({"method": "painting"}, "method"),
        ({"verdict": "rule_out", "formulation": ""}, "formulation"),
    ],
)
def test_a_row_that_makes_no_sense_names_the_field(change, field):
    with pytest.raises(GuideError) as caught:
        replace(ROW, **change)

    assert caught.value.field == field
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"zone_kind": "attic"}, "zone_kind"),
        ({"surface": "ceiling"}, "surface"),
        ({"pest_group": "cockroaches"}, "pest_group"),
        ({"boundary": "next door"}, "boundary"),
    ],
)
def test_a_place_in_unknown_words_is_refused_by_field(change, field):
    with pytest.raises(GuideError) as caught:
        replace(KITCHEN, **change)

    assert caught.value.field == field


def test_a_row_survives_being_kept_as_json():
    for row in STARTING_SET:
        assert row_from_data(json.loads(json.dumps(row_as_data(row)))) == row


def test_a_row_of_the_database_may_leave_out_what_is_empty_and_carry_more():
    data = {"key": "k", "verdict": "caution", "words": "Mind.", "position": 3}

    assert row_from_data(data) == GuideRow("k", "caution", "Mind.")


# --- the starting set ---------------------------------------------------------------------------


def test_every_row_of_the_starting_set_has_its_own_key_and_says_where_it_comes_from():
    keys = [row.key for row in STARTING_SET]

    assert len(keys) == len(set(keys))
    assert max(len(key) for key in keys) <= 60
    assert all(row.source and row.words.endswith(".") for row in STARTING_SET)


@pytest.mark.parametrize("zone_kind", ZONE_KINDS)
def test_near_electrics_nothing_wet_is_suggested_anywhere(zone_kind):
    """UF school IPM: no spray on or near live electrical equipment."""
    for surface, group in product(SURFACES, PEST_GROUPS):
        advice = advise(Situation(zone_kind, surface, "", group, electrics=True), STARTING_SET)

        assert not {one.formulation for one in advice.preferred} & SPRAYED
        assert {one.formulation for one in advice.ruled_out} >= SPRAYED


@pytest.mark.parametrize("zone_kind", ZONE_KINDS)
def test_bait_for_rodents_is_suggested_for_rodents_and_in_locked_stations_only(zone_kind):
    """WAC 16-228-1380; US FDA Food Code 7-206.12: bait in locked, covered stations."""
    for surface, group in product(SURFACES, PEST_GROUPS):
        found = advise(Situation(zone_kind, surface, "", group), STARTING_SET).preferred
        baits = [one for one in found if one.formulation in ("bait_block", "bait_paste")]

        assert bool(baits) is (group == "rodent")
        assert {one.method for one in baits} <= {"bait_station"}
        if group == "rodent":
            assert len(baits) == len(found)


@pytest.mark.parametrize("zone_kind", ZONE_KINDS)
def test_birds_are_proofed_against_and_never_treated(zone_kind):
    advice = advise(Situation(zone_kind, "outside_wall", "feral-pigeon", "bird"), STARTING_SET)

    assert advice.preferred == ()
    assert advice.nothing == NOTHING_SUITS


def test_where_something_suits_for_a_cockroach_in_every_room_people_use():
    """Cracks, shelf gaps, equipment and the foot of the wall: where the trade looks for them."""
    for zone_kind in ("kitchen", "wash_up", "bar", "cellar", "dry_store", "production", "staff"):
        for surface in ("crack", "shelf_gap", "equipment", "floor_edge", "behind_plate"):
            advice = advise(
                Situation(zone_kind, surface, "german-cockroach", "cockroach"), STARTING_SET
            )
            assert advice.preferred, (zone_kind, surface)


def test_a_pharaoh_ant_is_baited_and_never_sprayed():
    """From memory: sprayed with repellents, a colony splits."""
    advice = advise(Situation("kitchen", "crack", "pharaoh-ant", "ant"), STARTING_SET)

    assert {one.formulation for one in advice.preferred} == {"gel"}


def test_advice_always_ends_with_the_label_and_the_technician():
    assert LAST_WORD == "The label and the licensed technician decide."
    for zone_kind in ZONE_KINDS:
        assert advise(Situation(zone_kind), STARTING_SET).last_word == LAST_WORD
    assert advise(KITCHEN, ()).last_word == LAST_WORD


def test_the_cases_of_the_phone_are_those_of_today():
    """If this fails: ``python -m tests.visits.dosing.guide_cases``, and look at what changed."""
    assert CASES.read_text(encoding="utf-8") == guide_cases()


# --- docs/algorithms/method-guide.md --------------------------------------------------------------


def test_the_shelf_gap_of_the_page_by_hand():
    beside_a_socket = Situation(
        "kitchen", "shelf_gap", "german-cockroach", "cockroach", electrics=True
    )
    held = {row.key for row in STARTING_SET if holds(row, beside_a_socket)}

    advice = advise(beside_a_socket, STARTING_SET)

    assert held >= {
        "shelf-gap-gel",
        "shelf-gap-dust",
        "electrics-liquid",
        "electrics-aerosol",
        "blown-in-rooms-dust",
        "near_electrics",
        "bait_and_spray",
    }
    assert words(*advice.preferred) == [("gel", "gel"), ("dust", "dust_by_hand")]
    assert {"near_electrics", "bait_and_spray"} <= {one.key for one in advice.cautions}

    rat = replace(beside_a_socket, pest="brown-rat", pest_group="rodent")
    assert {method for _, method in words(*advise(rat, STARTING_SET).preferred)} == {"bait_station"}
