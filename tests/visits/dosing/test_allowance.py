"""What is left of a label's year, interval and most in one place."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visits.dosing.allowance import Allowance, AllowanceError, Applied, allowance, left_of_most
from visits.dosing.label import Label
from visits.dosing.units import Quantity

TODAY = date(2026, 3, 10)


def ago(*days):
    return [Applied(TODAY - timedelta(days=one)) for one in days]


def label(**facts):
    return Label("Demo product", "dust", **facts)


def q(amount, unit="g"):
    return Quantity(Fraction(str(amount)), unit)


@pytest.mark.parametrize(
    ("facts", "applied", "expected"),
    [
        ({}, [], (0, None, None)),
        ({}, [0, 1, 400], (2, None, None)),
        # The year ends with the day asked about: 365 days with it.
        ({"most_a_year": 2}, [364], (1, 1, None)),
        ({"most_a_year": 2}, [365], (0, 2, None)),
        ({"most_a_year": 2}, [364, 0], (2, 0, date(2026, 3, 11))),
        ({"most_a_year": 2}, [300, 10], (2, 0, date(2026, 5, 14))),
        ({"most_a_year": 2}, [300, 20, 10], (3, 0, date(2027, 2, 18))),
        ({"most_a_year": 1}, [0], (1, 0, date(2027, 3, 10))),
        ({"most_a_year": 3}, [200, 100], (2, 1, None)),
        # What comes later counts for that later day.
        ({"most_a_year": 1}, [-1], (0, 1, None)),
        ({"interval_days": 14}, [-1], (0, None, None)),
        ({"interval_days": 14}, [14], (1, None, None)),
        ({"interval_days": 14}, [13], (1, None, date(2026, 3, 11))),
        ({"interval_days": 14}, [0], (1, None, date(2026, 3, 24))),
        ({"interval_days": 14}, [1, 13], (2, None, date(2026, 3, 23))),
        ({"interval_days": 400}, [380], (0, None, date(2026, 3, 30))),
        ({"interval_days": 0}, [0], (1, None, None)),
        ({"interval_days": 14, "most_a_year": 2}, [300, 10], (2, 0, date(2026, 5, 14))),
        ({"interval_days": 14, "most_a_year": 2}, [364, 0], (2, 0, date(2026, 3, 24))),
    ],
)
def test_how_often_and_how_soon(facts, applied, expected):
    found = allowance(label(**facts), ago(*applied), on=TODAY)

    assert (found.used, found.left, found.next_on) == expected
    assert found.is_open == (expected[2] is None)


def test_the_order_of_what_was_applied_makes_no_difference():
    facts = label(interval_days=14, most_a_year=3)

    assert allowance(facts, ago(300, 10, 100), on=TODAY) == allowance(
        facts, ago(10, 100, 300), on=TODAY
    )


@pytest.mark.parametrize(
    ("facts", "applied", "words"),
    [
        ({}, [], "Not applied here in the last 365 days."),
        ({}, [1], "Applied here once in the last 365 days."),
        ({}, [1, 2], "Applied here twice in the last 365 days."),
        ({}, [1, 2, 3], "Applied here 3 times in the last 365 days."),
        (
            {"most_a_year": 4},
            [100, 200, 300],
            "Applied here 3 times in the last 365 days. The label allows 4 a year; 1 is left.",
        ),
        (
            {"most_a_year": 4},
            [100],
            "Applied here once in the last 365 days. The label allows 4 a year; 3 are left.",
        ),
        (
            {"most_a_year": 1, "interval_days": 1},
            [300],
            "Applied here once in the last 365 days. The label allows 1 a year; none is left. "
            "Between two there must be at least 1 day. The next is allowed from 14 May 2026.",
        ),
        (
            {"interval_days": 14},
            [0],
            "Applied here once in the last 365 days. Between two there must be at least 14 days. "
            "The next is allowed from 24 March 2026.",
        ),
    ],
)
def test_the_allowance_in_words(facts, applied, words):
    assert allowance(label(**facts), ago(*applied), on=TODAY).words == words


def test_an_allowance_as_a_whole():
    assert allowance(label(most_a_year=2), ago(3), on=TODAY) == Allowance(
        used=1,
        left=1,
        next_on=None,
        is_open=True,
        words="Applied here once in the last 365 days. The label allows 2 a year; 1 is left.",
    )


@given(
    st.lists(st.integers(-30, 800), max_size=12),
    st.none() | st.integers(0, 60),
    st.none() | st.integers(1, 6),
)
def test_the_next_day_is_the_first_that_is_open(applied, interval, most):
    facts = label(interval_days=interval, most_a_year=most)
    past = [one for one in ago(*applied) if one.on <= TODAY]

    found = allowance(facts, past, on=TODAY)

    if found.next_on is None:
        assert found.is_open
        return
    assert allowance(facts, past, on=found.next_on).is_open
    assert not allowance(facts, past, on=found.next_on - timedelta(days=1)).is_open


@pytest.mark.parametrize(
    ("facts", "applied", "left"),
    [
        ({}, [], 20),
        ({}, [(0, q(5))], 15),
        ({}, [(1, q(5))], 20),
        ({"interval_days": 0}, [(0, q(5)), (1, q(5))], 15),
        ({"interval_days": 14}, [(13, q(5)), (0, q(2))], 13),
        ({"interval_days": 14}, [(14, q(5))], 20),
        ({"interval_days": 14}, [(-1, q(5))], 20),
        ({"interval_days": 14}, [(1, None)], 20),
        ({}, [(0, q(15)), (0, q("0.01", "kg"))], 0),
        ({}, [(0, q(20))], 0),
        ({"density": Fraction("0.8")}, [(0, q(10, "ml"))], 12),
        ({}, [(0, q("0.5", "oz"))], "5.8252384375"),
        ({"density": Fraction(2)}, [(0, q("0.5", "oz"))], "5.8252384375"),
    ],
)
def test_what_is_left_of_the_most_after_what_was_applied_within_the_interval(facts, applied, left):
    done = [Applied(TODAY - timedelta(days=days), amount) for days, amount in applied]

    assert left_of_most(label(**facts), q(20), done, on=TODAY) == q(left)


@pytest.mark.parametrize(
    ("facts", "most", "amount", "sentence"),
    [
        ({}, q(20), q(5, "ml"), "ml measures a volume of liquid, g measures a weight."),
        (
            {"density": Fraction(1)},
            q(20, "ml"),
            q(5, "oz"),
            "An ounce is a weight, and this is measured as a volume. "
            "Choose US fl oz or imperial fl oz.",
        ),
        ({"density": Fraction(1)}, q(20), q(5, "m2"), "m² measures an area, g measures a weight."),
    ],
)
def test_amounts_that_cannot_be_added_are_told_why(facts, most, amount, sentence):
    with pytest.raises(AllowanceError) as refused:
        left_of_most(label(**facts), most, [Applied(TODAY, amount)], on=TODAY)

    assert (refused.value.field, str(refused.value)) == ("unit", sentence)
