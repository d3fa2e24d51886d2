"""Which cautions stand before which treatment."""

import pytest

from sites.models import Zone
from visits.cautions import CAUTIONS, cautions_for
from visits.models import Product, Treatment


def keys(method: str, formulation: str, zone_kind: str) -> set[str]:
    found = cautions_for(method=method, formulation=formulation, zone_kind=zone_kind)
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
        assert {"equipment", "spill"} <= keys(method, formulation, zone_kind)


def test_every_caution_is_shown_somewhere_and_named_once():
    everywhere = set().union(
        *(
            keys(method, formulation, zone_kind)
            for method in Treatment.Method.values
            for formulation in Product.Formulation.values
            for zone_kind in Zone.Kind.values
        )
    )

    assert everywhere == {one.key for one in CAUTIONS}
    assert len(CAUTIONS) == len({one.key for one in CAUTIONS})
