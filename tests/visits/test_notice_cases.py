"""The phone's checks of an application are held to the server's by cases that the server writes."""

import json

from tests.visits.notice_cases import CASES, notice_cases


def test_the_cases_for_the_phones_checks_are_those_of_today():
    """Otherwise: ``python -m tests.visits.notice_cases``, and look at what changed."""
    assert CASES.read_text(encoding="utf-8") == notice_cases()


def test_they_try_stops_and_warnings_of_most_kinds():
    cases = json.loads(CASES.read_text(encoding="utf-8"))["cases"]

    assert {forbidden for one in cases for _, forbidden, _ in one["found"]} == {True, False}
    assert len({code for one in cases for code, _, _ in one["found"]}) > 15
