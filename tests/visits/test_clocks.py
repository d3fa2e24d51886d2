"""When a thing happened that a phone tells of later: both clocks, and how far they are believed."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from visits.clocks import (
    MOST_AHEAD,
    ClockOff,
    clock_off,
    furthest_off,
    happened_at,
    in_words,
    is_possible,
    minutes_between,
    typed_at,
)

DAY = 86_400
NINE = datetime(2026, 12, 8, 9, 0, tzinfo=UTC)
NOON = datetime(2026, 12, 8, 12, 0, tzinfo=UTC)  # when it is received
FAST = NINE + timedelta(days=3)
SLOW = NINE - timedelta(hours=5)


def local(zone: str, *parts: int) -> datetime:
    return datetime(*parts, tzinfo=ZoneInfo(zone))


@pytest.mark.parametrize(
    ("made_at", "ahead", "stands"),
    [
        pytest.param(NINE, 0, NINE, id="exact"),
        pytest.param(NINE, None, NINE, id="never measured, and possible"),
        pytest.param(FAST, 3 * DAY, NINE, id="three days fast"),
        pytest.param(SLOW, -5 * 3600, NINE, id="five hours slow"),
        pytest.param(NINE, 120, NINE, id="two minutes fast are let be"),
        pytest.param(NINE, -120, NINE, id="two minutes slow are let be"),
        pytest.param(NINE, 121, NINE - timedelta(seconds=121), id="a second more is not"),
        pytest.param(NINE, -121, NINE + timedelta(seconds=121), id="nor a second less"),
        pytest.param(FAST, None, NOON, id="never measured, and in the future"),
        pytest.param(FAST, 0, NOON, id="set forward since it was measured"),
        pytest.param(FAST, DAY, NOON, id="fast, and measured as less"),
        pytest.param(NOON, 0, NOON, id="received as it happens"),
        pytest.param(NOON + timedelta(seconds=30), 30, NOON, id="a little fast, sent at once"),
        pytest.param(NOON, -7200, NOON, id="slow by more than it waited"),
        pytest.param(
            datetime(1970, 1, 1, 1, tzinfo=UTC),
            -int((NINE - datetime(1970, 1, 1, 1, tzinfo=UTC)).total_seconds()),
            NINE,
            id="a phone that has forgotten the time",
        ),
        pytest.param(
            datetime(2026, 3, 1, tzinfo=UTC),
            0,
            datetime(2026, 3, 1, tzinfo=UTC),
            id="lay for months",
        ),
    ],
)
def test_it_happened_when_a_right_clock_says_and_never_after_it_was_received(
    made_at, ahead, stands
):
    assert happened_at(made_at, ahead=ahead, received_at=NOON) == stands


def test_a_clock_that_is_changed_in_mid_visit_changes_nothing():
    """Two taps ten minutes apart; between them somebody has set the phone's clock right."""
    before = happened_at(FAST, ahead=3 * DAY, received_at=NOON)
    after = happened_at(NINE + timedelta(minutes=10), ahead=0, received_at=NOON)

    assert after - before == timedelta(minutes=10)


def test_the_zone_of_either_clock_plays_no_part():
    lisbon, chatham = ZoneInfo("Europe/Lisbon"), ZoneInfo("Pacific/Chatham")

    assert happened_at(
        FAST.astimezone(chatham), ahead=3 * DAY, received_at=NOON.astimezone(lisbon)
    ) == happened_at(FAST, ahead=3 * DAY, received_at=NOON)


def test_an_hour_that_comes_twice_is_not_taken_for_one():
    """Set four hours fast in Berlin on the night on which clocks go back; arithmetic is in UTC."""
    shown = local("Europe/Berlin", 2026, 10, 25, 6, 30)  # 05:30 UTC
    received_at = datetime(2026, 10, 25, 12, 0, tzinfo=UTC)

    assert happened_at(shown, ahead=4 * 3600, received_at=received_at) == datetime(
        2026, 10, 25, 1, 30, tzinfo=UTC
    )


@pytest.mark.parametrize(
    ("made_at", "ahead", "off"),
    [
        (NINE, None, None),
        (NINE, 120, None),
        (NOON + timedelta(minutes=2), None, None),
        (FAST, 3 * DAY, ClockOff(3 * DAY)),
        (SLOW, -5 * 3600, ClockOff(-5 * 3600)),
        (NOON + timedelta(days=2), None, ClockOff(2 * DAY, measured=False)),
        (NOON + timedelta(days=2), 60, ClockOff(2 * DAY, measured=False)),
    ],
    ids=["unmeasured", "little", "little ahead", "fast", "slow", "at least", "set since"],
)
def test_it_is_known_how_far_a_clock_was_off(made_at, ahead, off):
    assert clock_off(made_at, ahead=ahead, received_at=NOON) == off


def test_of_several_clocks_the_most_wrong_one_is_told():
    assert furthest_off([None, ClockOff(200), ClockOff(-900), None]) == ClockOff(-900)
    assert furthest_off([None, None]) is None


@pytest.mark.parametrize(
    ("off", "sentence"),
    [
        (
            ClockOff(3 * DAY + 400),
            "The phone's clock was 3 days fast; times here are corrected.",
        ),
        (ClockOff(-240), "The phone's clock was 4 minutes slow; times here are corrected."),
        (
            ClockOff(2 * DAY, measured=False),
            "The phone's clock was at least 2 days fast; what it dated later than that stands at "
            "the time it reached us.",
        ),
    ],
    ids=["fast", "slow", "at least"],
)
def test_a_wrong_clock_is_told_in_words(off, sentence):
    assert off.sentence == sentence


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (121, "2 minutes"),
        (90 * 60, "90 minutes"),
        (2 * 3600, "2 hours"),
        (-36 * 3600, "36 hours"),
        (2 * DAY - 1, "2 days"),
        (2 * DAY - 31, "48 hours"),
        (3 * DAY - 5, "3 days"),
        (56 * 365 * DAY, "20440 days"),
    ],
)
def test_a_span_is_said_in_the_largest_unit_that_tells_it(seconds, words):
    assert in_words(seconds) == words


@pytest.mark.parametrize(
    ("made_at", "ahead", "possible"),
    [
        (NINE, None, True),
        (NINE, MOST_AHEAD, False),  # corrected, it lies before any visit
        (datetime(1970, 1, 1, tzinfo=UTC), -56 * 365 * DAY, True),
        (datetime(1970, 1, 1, tzinfo=UTC), None, False),
        (datetime(1969, 12, 31, tzinfo=UTC), -56 * 365 * DAY, False),
        (datetime(2099, 12, 31, tzinfo=UTC), None, True),
        (datetime(2100, 1, 1, tzinfo=UTC), None, False),
        (datetime(1, 1, 1, tzinfo=UTC), MOST_AHEAD, False),
        (datetime(9999, 12, 31, tzinfo=UTC), -MOST_AHEAD, False),
        (NINE, -MOST_AHEAD - 1, False),
    ],
)
def test_clocks_have_bounds(made_at, ahead, possible):
    assert is_possible(made_at, ahead) is possible


@pytest.mark.parametrize(
    ("typed", "stands"),
    [
        (NINE, NINE),
        (NINE - timedelta(days=400), NINE - timedelta(days=400)),
        (NOON + timedelta(hours=1), NOON + timedelta(hours=1)),
        (NOON + timedelta(days=1), NOON + timedelta(days=1)),
        (NOON + timedelta(days=1, seconds=1), NINE),
        (FAST, NINE),
    ],
    ids=["before", "long before", "an hour ahead", "a day ahead", "more", "three days"],
)
def test_what_was_typed_stands_unless_it_cannot_be_true(typed, stands):
    assert typed_at(typed, at=NINE, received_at=NOON) == stands


@pytest.mark.parametrize(
    ("started_at", "closed_at", "minutes"),
    [
        pytest.param(NINE, NINE, 0, id="none"),
        pytest.param(NINE, NINE + timedelta(seconds=29), 0, id="less than half"),
        pytest.param(NINE, NINE + timedelta(seconds=30), 1, id="half is rounded up"),
        pytest.param(NINE, NINE + timedelta(minutes=52, seconds=29.999), 52, id="rounded down"),
        pytest.param(NINE, NINE + timedelta(minutes=52, seconds=30), 53, id="rounded up"),
        pytest.param(NOON, NINE, 0, id="closed before it began"),
        pytest.param(NINE, NINE + timedelta(days=8), 11_520, id="more than a week"),
        pytest.param(
            datetime(2026, 12, 8, 23, 40, tzinfo=UTC),
            datetime(2026, 12, 9, 0, 25, tzinfo=UTC),
            45,
            id="over midnight",
        ),
        # Summer time ends on the last Sunday in October, begins on the last in March, each at
        # 01:00 UTC (Directive 2000/84/EC, articles 2 and 3).
        pytest.param(
            local("Europe/Berlin", 2026, 10, 25, 1, 50),
            local("Europe/Berlin", 2026, 10, 25, 3, 10),
            140,
            id="over the hour that comes twice",
        ),
        pytest.param(
            local("Europe/Berlin", 2027, 3, 28, 1, 50),
            local("Europe/Berlin", 2027, 3, 28, 3, 10),
            20,
            id="over the hour that never was",
        ),
    ],
)
def test_minutes_are_counted_between_instants(started_at, closed_at, minutes):
    assert minutes_between(started_at, closed_at) == minutes
