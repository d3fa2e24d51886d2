"""How long a place has not been reached, from what each visit said of it."""

from datetime import date

import pytest

from compliance.sitefile.unreached import Mention, spells

JAN, FEB, MAR, APR = (date(2026, month, 6) for month in (1, 2, 3, 4))


def shut(on: date, reason: str = "Locked", place: str = "door") -> Mention:
    return Mention(on, place, "Cellar", "Cellar door", reason, "The client")


def reached(on: date, place: str = "door") -> Mention:
    return Mention(on, place)


@pytest.mark.parametrize(
    ("mentions", "expected"),
    [
        pytest.param([], [], id="nothing was said"),
        pytest.param([reached(JAN)], [], id="always reached"),
        pytest.param([shut(JAN)], [(JAN, JAN, 1, None)], id="once, and waiting"),
        pytest.param([shut(JAN), shut(FEB)], [(JAN, FEB, 2, None)], id="twice running"),
        pytest.param([shut(JAN), reached(FEB)], [(JAN, JAN, 1, FEB)], id="reached the next time"),
        pytest.param(
            [shut(JAN), reached(FEB), shut(MAR)],
            [(JAN, JAN, 1, FEB), (MAR, MAR, 1, None)],
            id="a second spell is another",
        ),
        pytest.param(
            [shut(JAN), reached(FEB, "other"), shut(MAR)],
            [(JAN, MAR, 2, None)],
            id="another place reached says nothing of this one",
        ),
    ],
)
def test_a_spell_lasts_from_the_first_time_until_it_is_reached(mentions, expected):
    found = spells(mentions, first=JAN, last=APR)

    assert [(one.first_on, one.last_on, one.times, one.reached_on) for one in found] == expected


def test_the_reason_given_last_is_the_one_that_stands():
    found = spells([shut(JAN), shut(FEB, "In use")], first=JAN, last=APR)

    assert [one.reason for one in found] == ["In use"]


def test_a_spell_that_began_before_the_period_counts_from_its_beginning():
    found = spells([shut(JAN), shut(MAR)], first=FEB, last=APR)

    assert [(one.first_on, one.times) for one in found] == [(JAN, 2)]


def test_a_spell_that_was_over_before_the_period_is_left_out():
    assert spells([shut(JAN), reached(FEB)], first=MAR, last=APR) == []


def test_what_was_said_after_the_period_is_not_known_in_it():
    found = spells([shut(JAN), reached(APR)], first=JAN, last=MAR)

    assert [one.reached_on for one in found] == [None]
