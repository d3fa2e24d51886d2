"""The method guide and the remedies against what is usual in the trade.

Each check here is common practice, no source: it has been handed down by people who do the work,
and no published text was found for it. The last word is the label's and the licensed technician's.
"""

import pytest

from visits.dosing.guide import LAST_WORD, Situation, advise
from visits.dosing.guide_rows import STARTING_SET
from visits.models import RemedyKind
from visits.remedies import REMEDIES, remedy_table

COCKROACH = {"pest": "german-cockroach", "pest_group": "cockroach"}
EVERYBODY = ({}, COCKROACH)


def advice(**place):
    found = advise(Situation(**place), STARTING_SET)
    assert found.last_word == LAST_WORD
    return found


def suggested(found):
    return [(one.formulation, one.method) for one in found.preferred]


def cautions(found):
    return " ".join(one.words for one in found.cautions)


# --- method: situation, formulations in order, what to mind ---------------------------------------


@pytest.mark.parametrize("pest", EVERYBODY, ids=["pest not named", "german cockroach"])
def test_gap_between_shelf_and_wall_support_in_a_kitchen(pest):
    """Common practice, no source: gel, then dust."""
    found = advice(zone_kind="kitchen", surface="shelf_gap", **pest)

    assert suggested(found) == [("gel", "gel"), ("dust", "dust_by_hand")]


@pytest.mark.parametrize("pest", EVERYBODY, ids=["pest not named", "german cockroach"])
@pytest.mark.parametrize("surface", ["crack", "behind_plate"])
@pytest.mark.parametrize("zone_kind", ["kitchen", "wash_up", "bar", "dining", "cellar", "staff"])
def test_cracks_and_behind_wall_fixed_plates_indoors(zone_kind, surface, pest):
    """Common practice, no source: dust by hand; mind power points and switch plates."""
    found = advice(zone_kind=zone_kind, surface=surface, **pest)

    assert suggested(found)[0] == ("dust", "dust_by_hand")
    assert "Power points and switch plates" in cautions(found)


@pytest.mark.parametrize("pest", EVERYBODY, ids=["pest not named", "german cockroach"])
@pytest.mark.parametrize("surface", ["", "void"])
def test_roof_void_over_a_dining_area(surface, pest):
    """Common practice, no source: dust, high volume, once every opening is closed or covered."""
    found = advice(
        zone_kind="roof_void", surface=surface, diners=True, openings=True, height=True, **pest
    )

    assert suggested(found) == [("dust", "dust_high_volume")]
    assert "light fittings and vents and falls on tables" in cautions(found)
    assert "close or cover every opening first" in cautions(found)
    assert "ladder" in cautions(found)
    assert any("Every opening of the void" in words for words in found.preconditions)


@pytest.mark.parametrize("pest", EVERYBODY, ids=["pest not named", "german cockroach"])
@pytest.mark.parametrize("boundary", ["within", "shared"])
def test_crack_in_a_structure_beside_outdoor_dining(boundary, pest):
    """Common practice, no source: crack-and-crevice aerosol for its small fallout, then liquid."""
    found = advice(
        zone_kind="outdoor_dining",
        surface="crack",
        boundary=boundary,
        outdoors=True,
        diners=True,
        **pest,
    )

    assert suggested(found) == [("aerosol", "crack_and_crevice"), ("liquid", "spray")]
    assert "fall or drift where people sit, or onto property outside our remit" in cautions(found)
    assert "small fallout" in cautions(found)


@pytest.mark.parametrize("pest", EVERYBODY, ids=["pest not named", "german cockroach"])
@pytest.mark.parametrize("zone_kind", ["cellar", "dry_store"])
@pytest.mark.parametrize("surface", ["", "behind_plate", "open_surface", "floor_edge"])
def test_warm_store_with_concrete_floor_gauges_and_stored_goods(surface, zone_kind, pest):
    """Common practice, no source: gel, dust by hand, spray low on the concrete; goods moved."""
    found = advice(zone_kind=zone_kind, surface=surface, stored_goods=True, **pest)

    assert suggested(found)[:3] == [
        ("gel", "gel"),
        ("dust", "dust_by_hand"),
        ("liquid", "spray"),
    ]
    assert "Low on the concrete" in found.preferred[2].reason
    (moved,) = [words for words in found.preconditions if words.startswith("Goods moved")]
    assert "manager" in moved


@pytest.mark.parametrize("pest", EVERYBODY, ids=["pest not named", "german cockroach"])
@pytest.mark.parametrize("surface", ["", "threshold", "outside_wall", "lights", "crack"])
def test_outside_perimeter_of_a_building(surface, pest):
    """Common practice, no source: residual edge spray; nothing stored against the wall."""
    found = advice(zone_kind="perimeter", surface=surface, outdoors=True, **pest)

    assert suggested(found)[0] == ("liquid", "edge_spray")
    assert "Nothing stored against the wall." in found.preconditions


def test_the_perimeter_band_names_its_targets_and_what_is_wanted_of_it():
    """Common practice, no source: thresholds, roller doors, lights, cracks; knockdown, residual."""
    (spray,) = advice(zone_kind="perimeter", outdoors=True).preferred

    for words in (
        "thresholds",
        "roller doors where goods come in",
        "outside lights that draw insects",
        "cracks and crevices within reach",
        "knocking down",
        "lasting for weeks",
    ):
        assert words in spray.reason


def test_what_lies_outside_the_remit_is_recorded_not_left_out():
    """Common practice, no source."""
    found = advice(zone_kind="perimeter", outdoors=True, boundary="outside")

    assert any("outside our remit" in words and "Record" in words for words in found.preconditions)


# --- proofing: what was found, the remedy, and what holds meanwhile -------------------------------


@pytest.mark.parametrize(
    ("seen", "remedy", "interim"),
    [
        ("Metal cover open at its bottom edge", "bead of sealant along the open edge", []),
        (
            "No ceiling, knocked-out brickwork, rub marks",
            "Reinstate the ceiling and close the brickwork",
            ["rodent station", "sticky traps, to follow the population over time"],
        ),
        ("Broken corner of a false ceiling", "Replace the broken tiles", []),
    ],
)
def test_what_was_found_is_answered_by_lasting_work(seen, remedy, interim):
    """Common practice, no source."""
    (found,) = [one for one in REMEDIES if one.seen == seen]

    assert remedy in found.text
    assert found.kind == RemedyKind.PROOFING
    assert len(found.interim) == len(interim)
    assert all(any(words in text for text in found.interim) for words in interim)
    offered = [one["text"] for one in remedy_table()]
    assert found.text in offered
    for text in found.interim:
        assert offered.index(f"Meanwhile: {text}") > offered.index(found.text)
