"""The remedies that a price list starts with, against what was published and what is usual.

Each check names its source, or says "common practice, no source", "secondary" or "from memory".
Prices are in none of them: those are the company's own.
"""

import pytest

from compliance.usual_remedies import COMMON_PRACTICE, USUAL_REMEDIES

BY_SLUG = {one.slug: one for one in USUAL_REMEDIES}
PROOFING = [one for one in USUAL_REMEDIES if one.holds != "labour"]


def answering(finding):
    return {one.slug for one in USUAL_REMEDIES if finding in one.finding_kinds}


# --- which remedy answers which finding: common practice, no source ------------------------------


def test_a_cover_open_at_its_bottom_edge_gets_a_bead_of_sealant():
    """Common practice, no source."""
    bead = BY_SLUG["sealant-bead"]

    assert (bead.unit, bead.holds, bead.basis) == ("metre", "lasting", COMMON_PRACTICE)
    assert "sealant-bead" in answering("harbourage")


def test_knocked_out_brickwork_and_a_missing_ceiling_are_made_good():
    """Common practice, no source: reinstate the ceiling and close the brickwork; rub marks are
    signs, the opening is an entry point."""
    for finding in ("entry_point", "signs"):
        assert {"ceiling-reinstated", "brickwork"} <= answering(finding)
    assert {BY_SLUG[one].holds for one in ("ceiling-reinstated", "brickwork")} == {"lasting"}


def test_meanwhile_a_rodent_station_and_sticky_traps_follow_the_population():
    """Common practice, no source: the interim of the same row."""
    meanwhile = {one.slug for one in USUAL_REMEDIES if one.holds == "interim"}

    assert {"rodent-station", "sticky-traps"} <= meanwhile & answering("entry_point")
    assert "follow the population over time" in BY_SLUG["sticky-traps"].name


def test_a_broken_corner_of_a_false_ceiling_gets_new_tiles():
    """Common practice, no source."""
    tile = BY_SLUG["ceiling-tile"]

    assert (tile.unit, tile.holds) == ("tile", "lasting")
    assert "ceiling-tile" in answering("entry_point")


# --- how it is done: published -------------------------------------------------------------------


def test_nothing_over_six_millimetres_stays_open():
    """ICWDM, Rodent Exclusion Methods: 1/4 in for mice, 1/2 in for rats; 6 mm everywhere at food
    sites is a design choice. Drain gratings: from memory."""
    assert "6 mm" in BY_SLUG["mesh-and-cement"].name
    assert "6 mm" in BY_SLUG["drain-grating"].name


def test_wool_alone_is_a_plug_for_the_time_being():
    """ICWDM, Rodent Exclusion Methods: temporary; permanent is backed with compound or mortar. To
    look again within 30 days is a design choice."""
    plug = BY_SLUG["wool-plug"]

    assert plug.holds == "interim"
    assert "within 30 days" in plug.name
    assert BY_SLUG["mesh-and-cement"].holds == "lasting"


def test_insect_screens_have_sixteen_meshes_an_inch_or_more():
    """Food code 6-202.15 as adopted, e.g. Minn. R. 4626.1395: 16 mesh to 1 inch (25.4 mm)."""
    screen = BY_SLUG["insect-screen"]

    assert "16 meshes an inch or finer" in screen.name
    assert "16 meshes to 25.4 mm" in screen.basis


@pytest.mark.parametrize("slug", ["bristle-strip", "base-plate"])
def test_doors_keep_gaps_of_five_millimetres_at_most(slug):
    """A published restaurant construction manual (secondary)."""
    assert "gap at most 5 mm" in BY_SLUG[slug].name


def test_metal_base_plates_outlast_bristle_strips():
    """A published restaurant construction manual (secondary): metal or hardwood outlasts bristle
    or rubber. The years themselves are common practice, no source."""
    plate, strip = BY_SLUG["base-plate"].life, BY_SLUG["bristle-strip"].life

    assert all(longer > shorter for longer, shorter in zip(plate, strip, strict=True))


def test_service_holes_are_closed_to_within_five_millimetres_of_the_pipe():
    """A published restaurant construction manual (secondary)."""
    assert "within 5 mm" in BY_SLUG["pipe-collar"].name


def test_doors_for_emergencies_alone_need_no_closer():
    """Food code 6-202.15."""
    assert "emergencies alone need none" in BY_SLUG["door-closer"].basis


# --- cautions -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("slug", "says"),
    [
        ("sealant-bead", "safety data sheet come first"),
        ("mesh-and-cement", "never swept dry"),  # CDC, clean-up of droppings (archived 2008)
        ("brickwork", "never swept dry"),
        ("ceiling-tile", "Ladders and voids"),
        ("rodent-station", "out of reach of children and animals"),  # WAC 16-228-1380
        ("wool-plug", "electrical"),
        ("bristle-strip", "escape route"),
    ],
)
def test_what_can_hurt_says_so(slug, says):
    assert says in BY_SLUG[slug].cautions


@pytest.mark.parametrize("one", PROOFING, ids=lambda one: one.slug)
def test_every_remedy_has_its_cautions_and_its_basis(one):
    assert one.cautions
    assert "common practice, no source" in one.basis.lower()
    low, likely, high = one.life
    assert 1 <= low <= likely <= high
