"""What is said of a pest, and what is said where nothing is known.

The values themselves are held to their sources in tests/outside/test_species.py.
"""

import pytest

from visits.dosing.biology import (
    DEVELOPMENT,
    expectation,
    expected_in,
    follow_up_of,
    is_unusual,
    look_for,
)
from visits.dosing.vocabulary import PEST_GROUPS, ZONE_KINDS


def test_a_pest_of_its_own_row_goes_before_its_group():
    german = follow_up_of("german-cockroach", "cockroach")
    american = follow_up_of("american-cockroach", "cockroach")

    assert (german.first_on_days, german.by_days) == (14, 28)
    assert (american.first_on_days, american.by_days) == (28, 56)


@pytest.mark.parametrize("group", PEST_GROUPS)
def test_every_group_but_birds_has_days_in_order_with_reason_and_source(group):
    found = follow_up_of("some-new-pest", group)

    if group == "bird":
        assert found is None
    else:
        assert list(found.days) == sorted(set(found.days))
        assert 0 < found.first_on_days < found.by_days
        assert found.reason.endswith(".")
        assert found.source
        assert found.confirmed


def test_a_group_we_do_not_know_gets_no_days():
    assert follow_up_of("some-new-pest", "mollusc") is None


@pytest.mark.parametrize(
    ("zone_kind", "pest", "found", "unusual"),
    [
        ("kitchen", "german-cockroach", "usual", False),
        ("perimeter", "german-cockroach", "unlikely", True),
        ("dry_store", "american-cockroach", "unusual", True),
        ("kitchen", "feral-pigeon", "unknown", False),
        ("plant_room", "german-cockroach", "unknown", False),
        ("roof_void", "black-rat", "usual", False),
        ("roof_void", "german-cockroach", "unknown", False),
        ("other", "house-mouse", "unknown", False),
    ],
)
def test_a_hint_excludes_nothing_and_is_silent_where_nothing_is_known(
    zone_kind, pest, found, unusual
):
    assert expectation(zone_kind, pest) == found
    assert is_unusual(zone_kind, pest) is unusual


def test_what_is_expected_is_never_called_unusual():
    for zone_kind in ZONE_KINDS:
        for pest in expected_in(zone_kind):
            assert not is_unusual(zone_kind, pest)
    assert expected_in("other") == ()


def test_places_to_look_are_empty_where_nothing_is_on_file():
    assert "motor housings" in look_for("german-cockroach")
    assert look_for("woodlouse") == ()


def test_development_is_in_whole_days_least_first():
    for one in DEVELOPMENT.values():
        for span in (one.eggs_per_case, one.hatch_days, one.grown_days):
            assert span is None or 0 < span[0] <= span[1]
        assert one.source
