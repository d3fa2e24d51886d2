"""How wide a gap may be left, against what was published.

Sources: Internet Center for Wildlife Damage Management, "Rodent Exclusion Methods": a house mouse
passes any opening over 1/4 inch, a rat any over 1/2 inch. University of Nebraska (Knox County
page): a grown mouse needs 3/8 inch. An inch is 25.4 mm (international yard, 1959).
"""

from decimal import Decimal

import pytest

from compliance.proofing.gaps import MOUSE, OTHER, RAT, WIDEST_MM, limit_of, risk_from, too_wide
from visits.usual_pests import USUAL_PESTS

INCH_MM = Decimal("25.4")
MOUSE_PASSES_OVER_MM = INCH_MM / 4
RAT_PASSES_OVER_MM = INCH_MM / 2
GROWN_MOUSE_NEEDS_MM = INCH_MM * 3 / 8


def test_what_a_mouse_or_a_rat_passes_is_too_wide():
    """ICWDM, "Rodent Exclusion Methods": over 1/4 inch and over 1/2 inch."""
    assert too_wide(MOUSE_PASSES_OVER_MM, MOUSE)
    assert too_wide(RAT_PASSES_OVER_MM, RAT)


def test_the_limits_are_the_published_ones_in_whole_millimetres_rounded_down():
    """ICWDM, "Rodent Exclusion Methods"; rounding down is a choice of ours."""
    assert WIDEST_MM == {MOUSE: MOUSE_PASSES_OVER_MM // 1, RAT: RAT_PASSES_OVER_MM // 1}


def test_what_only_a_grown_mouse_cannot_pass_is_still_too_wide():
    """University of Nebraska, Knox County page: 3/8 inch; its own G1105 and ICWDM: 1/4 inch."""
    assert too_wide(GROWN_MOUSE_NEEDS_MM - Decimal("0.1"), MOUSE)


@pytest.mark.parametrize(
    ("risk", "widest"), [(MOUSE, "6"), (RAT, "12")], ids=["6 mm for mice", "12 mm for rats"]
)
def test_a_gap_at_its_limit_passes_and_a_tenth_more_does_not(risk, widest):
    """ICWDM, "Rodent Exclusion Methods", in whole millimetres."""
    assert too_wide(Decimal(widest), risk) is None
    assert too_wide(Decimal(widest) + Decimal("0.1"), risk)


def test_the_narrower_of_two_limits_holds():
    """Common practice, no source: what keeps mice out keeps rats out."""
    assert limit_of(RAT, MOUSE) == limit_of(MOUSE) == limit_of(MOUSE, OTHER, None)
    assert limit_of(RAT, OTHER).widest_mm == 12
    assert limit_of(OTHER, None) is None


def test_every_usual_rat_and_mouse_is_known_and_nothing_else():
    """ICWDM names Norway and roof rats together, and the house mouse apart."""
    risks = {slug: risk_from(slug) for slug, _, _ in USUAL_PESTS if risk_from(slug)}

    assert risks == {"brown-rat": RAT, "black-rat": RAT, "house-mouse": MOUSE}
