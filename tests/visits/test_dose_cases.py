"""The phone's sums are held to the server's by cases that the server writes."""

import json

from tests.visits.dose_cases import CASES, dose_cases


def test_the_cases_for_the_phones_sums_are_those_of_today():
    """Otherwise: ``python -m tests.visits.dose_cases``, and look at what changed."""
    assert CASES.read_text(encoding="utf-8") == dose_cases()


def test_they_try_doses_and_faults_over_and_under_the_label():
    cases = json.loads(CASES.read_text(encoding="utf-8"))

    assert {one["fault"] for one in cases["doses"] if "fault" in one} == {
        "measure",
        "unit",
        "rate",
    }
    assert {one["fault"] for one in cases["uses"] if "fault" in one} == {"amount", "unit"}
    assert {(one["over"], one["under"]) for one in cases["uses"] if "over" in one} == {
        (True, False),
        (False, True),
        (False, False),
    }
