"""Where pests are usual, how they develop and when to return, against what was published.

Each check names its source, or says "common practice, no source", "from memory" or "design value".
"""

import pytest

from visits.dosing.biology import (
    DEVELOPMENT,
    expected_in,
    follow_up_of,
    is_unusual,
    look_for,
)
from visits.dosing.vocabulary import ZONE_KINDS
from visits.models import Pest
from visits.usual_pests import USUAL_PESTS

# --- when to look again ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pest", "group", "days"),
    [
        # Design value, from eggs and hatching (Univ. of Florida EENY-002, ENY-989): 14 and 28.
        ("german-cockroach", "cockroach", (14, 28)),
        # Design value, from hatching in 35 to 49 days and more (secondary): 28 to 56.
        ("american-cockroach", "cockroach", (28, 56)),
        ("oriental-cockroach", "cockroach", (28, 56)),
        # From memory: revisit within days, then weekly.
        ("brown-rat", "rodent", (3, 7, 14)),
        ("black-rat", "rodent", (3, 7, 14)),
        ("house-mouse", "rodent", (3, 7, 14)),
        # Design value, from seven to fourteen days from egg to fly (from memory).
        ("house-fly", "fly", (7, 14)),
        ("fruit-fly", "fly", (7, 14)),
        ("drain-fly", "fly", (7, 14)),
        # Design value, from four to six weeks from egg to adult (from memory).
        ("indian-meal-moth", "stored_product", (28, 42)),
        ("grain-weevil", "stored_product", (28, 42)),
    ],
)
def test_a_treatment_is_followed_up_by_the_pests_biology(pest, group, days):
    found = follow_up_of(pest, group)

    assert found.days == days
    assert (found.first_on_days, found.by_days) == (days[0], days[-1])


def test_the_german_cockroach_is_seen_again_before_its_egg_cases_have_all_hatched():
    """Univ. of Florida EENY-002: hatching in 20 to 30 days (secondary), so a look on both sides."""
    first, last = follow_up_of("german-cockroach", "cockroach").days
    sooner, later = DEVELOPMENT["german-cockroach"].hatch_days

    assert first < sooner < last <= later


def test_rodent_bait_is_reviewed_by_day_thirty_five():
    """CRRU UK Code (2015), text-seen."""
    assert "day 35" in follow_up_of("brown-rat", "rodent").reason


@pytest.mark.parametrize(("slug", "_name", "group"), USUAL_PESTS, ids=lambda value: str(value))
def test_every_usual_pest_has_days_or_is_a_bird(slug, _name, group):
    found = follow_up_of(slug, str(group))

    assert (found is None) is (group == Pest.Group.BIRD)


def test_whatever_is_known_of_a_pest_is_of_one_that_can_be_recorded():
    recorded = {slug for slug, _, _ in USUAL_PESTS}

    assert set(DEVELOPMENT) <= recorded
    assert {pest for kind in ZONE_KINDS for pest in expected_in(kind)} <= recorded


# --- how they multiply ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pest", "eggs", "hatch"),
    [
        # Univ. of Florida EENY-002: 30 to 40 eggs, text-seen; 20 to 30 days, secondary.
        ("german-cockroach", (30, 40), (20, 30)),
        ("american-cockroach", (14, 16), (35, 49)),  # secondary
        ("australian-cockroach", (22, 24), (40, 40)),  # secondary
        ("smokybrown-cockroach", (20, 24), (24, 70)),  # secondary
        ("oriental-cockroach", (16, 16), (40, 80)),  # from memory
        ("brown-banded-cockroach", (14, 18), (37, 103)),  # eggs secondary, days from memory
    ],
)
def test_eggs_in_a_case_and_days_until_they_hatch(pest, eggs, hatch):
    found = DEVELOPMENT[pest]

    assert (found.eggs_per_case, found.hatch_days) == (eggs, hatch)


@pytest.mark.parametrize(
    ("pest", "days"),
    [
        # Univ. of Florida EENY-002: nymph to adult at about 27 °C, text-seen.
        ("german-cockroach", (50, 60)),
        ("house-fly", (7, 14)),  # from memory, as all that follow
        ("fruit-fly", (8, 12)),
        ("drain-fly", (8, 28)),
        ("scuttle-fly", (8, 28)),
        ("indian-meal-moth", (28, 60)),
        ("flour-beetle", (27, 45)),
        ("grain-weevil", (28, 40)),
    ],
)
def test_days_until_they_are_grown(pest, days):
    assert DEVELOPMENT[pest].grown_days == days


# --- where they are usual -------------------------------------------------------------------------


@pytest.mark.parametrize("zone_kind", ["kitchen", "wash_up", "bar", "cellar", "dry_store"])
def test_the_german_cockroach_is_usual_in_warm_rooms(zone_kind):
    """Common practice, no source."""
    assert "german-cockroach" in expected_in(zone_kind)
    assert not is_unusual(zone_kind, "german-cockroach")


@pytest.mark.parametrize("zone_kind", ["outdoor_dining", "perimeter"])
def test_the_german_cockroach_is_unlikely_outdoors_and_not_excluded(zone_kind):
    """Common practice, no source; Univ. of Florida EENY-002: it does not come in from outdoors."""
    assert "german-cockroach" not in expected_in(zone_kind)
    assert is_unusual(zone_kind, "german-cockroach")


@pytest.mark.parametrize(
    "pest", ["american-cockroach", "australian-cockroach", "smokybrown-cockroach"]
)
@pytest.mark.parametrize(
    "zone_kind", ["outdoor_dining", "perimeter", "roof_void", "waste", "delivery"]
)
def test_large_cockroaches_are_usual_outdoors_and_in_roof_voids(zone_kind, pest):
    """Common practice, no source."""
    assert pest in expected_in(zone_kind)


@pytest.mark.parametrize("pest", ["brown-rat", "black-rat", "house-mouse"])
@pytest.mark.parametrize("zone_kind", ["dry_store", "waste", "delivery", "roof_void"])
def test_rats_and_mice_are_usual_where_food_is_kept_and_goods_come_in(zone_kind, pest):
    """Common practice, no source."""
    assert pest in expected_in(zone_kind)


@pytest.mark.parametrize(
    ("zone_kind", "pests"),
    [
        (
            "kitchen",
            ["german-cockroach", "house-mouse", "house-fly", "fruit-fly", "drain-fly"],
        ),
        ("dry_store", ["house-mouse", "indian-meal-moth", "flour-beetle", "german-cockroach"]),
        ("cellar", ["oriental-cockroach", "american-cockroach", "brown-rat", "scuttle-fly"]),
        (
            "outdoor_dining",
            ["house-fly", "garden-ant", "brown-rat", "smokybrown-cockroach"],
        ),
        (
            "perimeter",
            ["brown-rat", "black-rat", "house-mouse", "american-cockroach", "garden-ant"],
        ),
        ("dining", ["brown-banded-cockroach", "house-mouse", "garden-ant"]),
    ],
)
def test_each_kind_of_zone_has_its_hints(zone_kind, pests):
    """Design value: a hint list from species texts; a find outside it says "unusual"."""
    assert set(pests) <= set(expected_in(zone_kind))


@pytest.mark.parametrize(
    ("zone_kind", "pest"),
    [
        ("kitchen", "american-cockroach"),  # secondary: a drain, a cellar or outdoors is near
        ("dining", "german-cockroach"),
        ("outdoor_dining", "indian-meal-moth"),
        ("perimeter", "drain-fly"),
    ],
)
def test_a_find_outside_the_hints_asks_for_a_second_look(zone_kind, pest):
    """Design value, but for the one that names its source."""
    assert is_unusual(zone_kind, pest)


def test_where_the_german_cockroach_shelters():
    """Common practice, no source."""
    assert set(look_for("german-cockroach")) == {
        "equipment on castors",
        "motor housings",
        "behind wall-fixed dispensers, signs and clocks",
        "behind covers not sealed at an edge",
        "gaps between shelf and support",
        "hollow shelving legs",
        "warm rooms with stacked cardboard",
        "behind gauge and switch plates",
        "freezer and ice-machine housings",
    }


def test_where_large_cockroaches_shelter():
    """Common practice, no source."""
    assert set(look_for("american-cockroach")) == {
        "roof voids",
        "cracks and crevices outdoors",
        "gaps in outside brickwork",
    }


@pytest.mark.parametrize("pest", ["brown-rat", "black-rat", "house-mouse"])
def test_what_rats_and_mice_leave_behind(pest):
    """Common practice, no source."""
    assert set(look_for(pest)) == {
        "smear or rub marks along walls at an entry",
        "knocked-out brickwork",
        "breaks in a false ceiling",
    }
