"""Regions are written as ISO 3166 codes. Source: ISO 3166-1 and 3166-2 (GB-ENG, DE-BY, IE)."""

import pytest

from sites.holiday_regions import is_known_region, known_regions


@pytest.mark.parametrize("code", ["GB", "GB-ENG", "GB-SCT", "IE", "DE-BY", "US-CA"])
def test_codes_of_the_standard_are_known(code):
    assert is_known_region(code)


@pytest.mark.parametrize("code", ["", "gb-eng", "GBR", "ENG", "GB-XXX", "GB_ENG", "XX"])
def test_anything_else_is_not(code):
    assert not is_known_region(code)


def test_every_code_fits_a_sites_field():
    assert max(map(len, known_regions())) <= 12
