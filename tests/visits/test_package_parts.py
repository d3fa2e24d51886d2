"""Later rooms add their parts to the day's package; this room does not know them."""

import pytest

from accounts.models import User
from visits.package_parts import Parts


def nothing(technician, site_ids):
    return {}


def test_each_part_is_asked_once_for_all_sites():
    asked = []

    def part(technician, site_ids):
        asked.append((technician, site_ids))
        return {"site": [{"title": "Something"}]}

    parts, technician = Parts(), User()
    parts.register("things", part)

    assert parts.of_sites(technician, ["site"]) == {"things": {"site": [{"title": "Something"}]}}
    assert asked == [(technician, ["site"])]


def test_a_key_is_used_once():
    parts = Parts()
    parts.register("actions", nothing)

    with pytest.raises(ValueError, match="'actions' is registered already"):
        parts.register("actions", nothing)
