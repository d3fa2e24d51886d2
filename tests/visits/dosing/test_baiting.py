"""Bait at a point, and the review of all of it. Source of the 35 days: CRRU UK Code 2015."""

from datetime import date, timedelta
from fractions import Fraction
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visits.dosing.baiting import (
    REVIEW_DAYS,
    BaitEvent,
    BaitReview,
    baiting_state,
    point_state,
)

START = date(2026, 3, 2)


def day(count):
    return START + timedelta(days=count)


def at(count, *, laid=0, taken=0, lifted=None, ended=False):
    return BaitEvent(
        day(count),
        Fraction(laid),
        Fraction(taken),
        None if lifted is None else Fraction(lifted),
        ended,
    )


def state(*events, on):
    return point_state(events, on=day(on))


# --- one point ------------------------------------------------------------------------------------


def test_a_point_without_bait_is_not_open():
    found = state(on=10)

    assert (found.is_open, found.open_since, found.last_on) == (False, None, None)
    assert (found.balance, found.days_open, found.lines) == (0, 0, ())
    assert isinstance(found.laid, Fraction)


def test_the_balance_runs_on_from_day_to_day():
    found = state(
        at(0, laid=100),
        at(7, taken=40, laid=40),
        at(14, taken="12.5"),
        on=20,
    )

    assert [line.balance for line in found.lines] == [100, 100, Fraction("87.5")]
    assert (found.laid, found.taken, found.lifted) == (140, Fraction("52.5"), 0)
    assert (found.open_since, found.last_on, found.days_open) == (day(0), day(14), 20)


@pytest.mark.parametrize(
    ("last", "is_open", "astray"),
    [
        (at(14, taken=30, lifted=70), False, 0),
        (at(14, taken=30, lifted=60), True, 0),
        (at(14, taken=100), True, 0),
        (at(14, taken=100, lifted=0), False, 0),
        (at(14, lifted=0), True, 0),
        (at(14, ended=True), False, 100),
        (at(14, taken=20, lifted=70, ended=True), False, 10),
        (at(14, taken=60, lifted=70), False, -30),
        (at(14, lifted="99.5"), True, 0),
    ],
    ids=[
        "all lifted",
        "some left",
        "all eaten, nobody lifted",
        "all eaten, nothing left to lift",
        "nothing lifted, all left",
        "point taken away with its bait",
        "point taken away, some astray",
        "more gone than was laid",
        "half a gram left",
    ],
)
def test_baiting_of_a_point_ends_when_nothing_is_left_or_the_point_is_gone(last, is_open, astray):
    found = state(at(0, laid=100), last, on=20)

    assert (found.is_open, found.astray) == (is_open, astray)
    assert found.open_since == (day(0) if is_open else None)
    assert found.days_open == (20 if is_open else 0)


def test_what_is_laid_after_the_end_begins_anew():
    found = state(at(0, laid=100), at(10, lifted=100), at(30, laid=50), at(33, taken=10), on=40)

    assert (found.open_since, found.days_open, found.balance) == (day(30), 10, 40)
    assert found.laid == 150


def test_what_is_eaten_and_renewed_on_one_day_leaves_no_gap():
    apart = (at(7, taken=100), at(7, laid=80))

    for events in permutations((at(0, laid=100), *apart)):
        found = state(*events, on=8)
        assert (found.open_since, found.balance) == (day(0), 80)


def test_lifting_and_laying_anew_on_one_day_goes_on():
    found = state(at(0, laid=100), at(7, lifted=100, laid=60), on=8)

    assert (found.open_since, found.balance) == (day(0), 60)


@pytest.mark.parametrize(
    ("events", "is_negative"),
    [
        ((at(0, laid=100), at(1, taken=100)), False),
        ((at(0, laid=100), at(1, taken=101)), True),
        ((at(0, taken=1),), True),
        ((at(0, laid=10), at(1, taken=20, lifted=0)), True),
        ((at(0, laid=10), at(1, ended=True)), False),
    ],
)
def test_more_taken_than_was_laid_means_a_record_is_wrong(events, is_negative):
    assert state(*events, on=5).is_negative is is_negative


def test_half_a_gram_is_bait():
    assert state(at(0, laid="0.5"), on=1).open_since == day(0)


def test_a_take_without_bait_opens_nothing():
    assert not state(at(0, taken=5), on=1).is_open


def test_what_comes_later_does_not_count_yet():
    events = (at(0, laid=100), at(10, lifted=100))

    assert state(*events, on=9).is_open
    assert not state(*events, on=10).is_open


@pytest.mark.parametrize("change", [{"laid": -1}, {"taken": -1}, {"lifted": -1}])
def test_less_than_nothing_is_a_mistake(change):
    with pytest.raises(ValueError, match=r"^nobody lays, takes or lifts less than nothing$"):
        at(0, **change)


amounts = st.fractions(min_value=0, max_value=1000)


@given(
    st.lists(
        st.builds(
            BaitEvent,
            on=st.integers(0, 60).map(day),
            laid=amounts,
            taken=amounts,
            lifted=st.none() | amounts,
            ended=st.booleans(),
        ),
        max_size=12,
    )
)
def test_nothing_is_lost_between_what_was_laid_and_what_became_of_it(events):
    found = point_state(events, on=day(60))

    assert found.laid - found.taken - found.lifted == found.balance + found.astray
    assert found == point_state(reversed(events), on=day(60))


def test_the_account_of_the_page_by_hand():
    """docs/algorithms/treatment-checks.md"""
    found = state(at(0, laid=100), at(7, taken=40, laid=40), at(14, taken=30, lifted=70), on=14)

    assert [line.balance for line in found.lines] == [100, 100, 0]
    assert (found.is_open, found.astray) == (False, 0)


# --- all points and their review ------------------------------------------------------------------


def points(on, **laid_on):
    return {name: state(at(count, laid=50), on=on) for name, count in laid_on.items()}


def site(on, *reviews, **laid_on):
    return baiting_state(points(on, **laid_on), reviews, on=day(on))


def review(count, cause="Still taking at the grain dock.", goes_on=True):
    return BaitReview(day(count), cause, goes_on)


@pytest.mark.parametrize(("on", "overdue"), [(0, False), (34, False), (35, False), (36, True)])
def test_bait_without_a_cause_on_day_thirty_six_is_overdue(on, overdue):
    """CRRU UK Code 2015: a review by day 35; open on day 36 without a recorded cause: a defect."""
    found = site(on, a=0)

    assert found.review_due_on == day(REVIEW_DAYS) == day(35)
    assert (found.is_overdue, found.is_open_ended) == (overdue, overdue)
    assert found.days_open == on


@pytest.mark.parametrize(
    ("reviews", "due", "reviewed", "to_be_lifted"),
    [
        ((), 35, None, False),
        ((review(20),), 55, 20, False),
        ((review(30), review(20)), 65, 30, False),
        ((review(20, cause="  "),), 35, None, False),
        ((review(-5),), 35, None, False),
        ((review(0, goes_on=False),), 35, 0, True),
        ((review(41),), 35, None, False),
        ((review(40),), 75, 40, False),
        ((review(20, goes_on=False),), 35, 20, True),
        ((review(20), review(30, goes_on=False)), 55, 30, True),
        ((review(20, goes_on=False), review(30)), 65, 30, False),
    ],
    ids=[
        "none",
        "goes on",
        "two, in any order",
        "without a cause",
        "before the baiting began",
        "on the day it began",
        "still to come",
        "late",
        "to be lifted",
        "goes on, then to be lifted",
        "to be lifted, then goes on",
    ],
)
def test_a_review_that_says_why_moves_the_day(reviews, due, reviewed, to_be_lifted):
    found = site(40, *reviews, a=0)

    assert found.review_due_on == day(due)
    assert found.reviewed_on == (None if reviewed is None else day(reviewed))
    assert found.is_to_be_lifted is to_be_lifted
    assert found.is_overdue is (due < 40)


def test_baiting_is_open_ended_where_nobody_ever_said_why():
    reviewed_once = site(100, review(20), a=0)

    assert (reviewed_once.is_overdue, reviewed_once.is_open_ended) == (True, False)
    assert site(100, a=0).is_open_ended


def test_the_oldest_point_that_is_open_decides():
    found = site(40, b=30, a=10, c=20)

    assert (found.open_since, found.open_points) == (day(10), ("a", "c", "b"))
    assert found.review_due_on == day(45)
    assert found.balance == 150


def test_it_is_done_when_the_bait_of_every_point_is_lifted():
    one_left = {
        "a": state(at(0, laid=50), at(20, lifted=50), on=40),
        "b": state(at(5, laid=50), on=40),
    }
    found = baiting_state(one_left, [], on=day(40))
    assert (found.is_lifted, found.open_points, found.open_since) == (False, ("b",), day(5))

    all_lifted = {"a": one_left["a"]}
    found = baiting_state(all_lifted, [review(10)], on=day(40))
    assert (found.is_lifted, found.review_due_on, found.is_overdue) == (True, None, False)
    assert (found.reviewed_on, found.is_to_be_lifted, found.days_open) == (None, False, 0)
    assert found.words == "No bait lies here."


def test_points_whose_record_is_wrong_are_named():
    wrong = {"a": state(at(0, laid=10), at(1, taken=20), on=5), **points(5, b=0)}

    found = baiting_state(wrong, [], on=day(5))

    assert found.negative_points == ("a",)
    assert found.balance == 40


def test_a_company_may_review_sooner():
    found = baiting_state(points(15, a=0), [], on=day(15), review_days=14)

    assert (found.review_due_on, found.is_overdue) == (day(14), True)
    with pytest.raises(ValueError, match=r"^a review comes after a day at least$"):
        baiting_state({}, [], on=day(0), review_days=0)
    assert baiting_state(points(1, a=0), [], on=day(1), review_days=1).review_due_on == day(1)


@pytest.mark.parametrize(
    ("on", "reviews", "laid_on", "words"),
    [
        (
            1,
            (),
            {"a": 0},
            "Bait lies at one point since 2 March 2026, 1 day: 50 g by the record. Review it by "
            "6 April 2026.",
        ),
        (
            35,
            (),
            {"a": 0},
            "Bait lies at one point since 2 March 2026, 35 days: 50 g by the record. Review it by "
            "6 April 2026.",
        ),
        (
            40,
            (),
            {"a": 0, "b": 3},
            "Bait lies at 2 points since 2 March 2026, 40 days: 100 g by the record. The review "
            "was due on 6 April 2026, and nobody has said why it goes on: say so, or lift it.",
        ),
        (
            80,
            (review(30),),
            {"a": 0},
            "Bait lies at one point since 2 March 2026, 80 days: 50 g by the record. The review "
            "was due on 6 May 2026: say why it goes on, or lift it.",
        ),
        (
            31,
            (review(30, goes_on=False),),
            {"a": 0},
            "Bait lies at one point since 2 March 2026, 31 days: 50 g by the record. By the last "
            "review it is to be lifted. Review it by 6 April 2026.",
        ),
    ],
)
def test_how_it_stands_is_said_in_words(on, reviews, laid_on, words):
    assert site(on, *reviews, **laid_on).words == words


def test_a_wrong_record_is_not_shown_as_less_than_no_bait():
    wrong = {"a": state(at(0, laid=10), at(1, taken=20), on=5)}

    assert "0 g by the record" in baiting_state(wrong, [], on=day(5)).words
