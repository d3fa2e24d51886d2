"""When visits come due."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from visits.recurrence.instants import local_instant, today_in
from visits.recurrence.public_holidays import holiday_dates
from visits.recurrence.rules import RuleError, canonical, check, occurrences, split
from visits.recurrence.windows import Closed, Line, days_late, due_windows, is_overdue
from visits.recurrence.words import (
    describe,
    every_months_on_day,
    every_months_on_weekday,
    every_weeks,
    every_year,
)

MONDAY = date(2026, 1, 5)
YEARS = timedelta(days=366 * 3)


@pytest.mark.parametrize(
    ("rule", "text"),
    [
        ("freq=monthly;byday=1tu", "FREQ=MONTHLY;BYDAY=1TU"),
        ("RRULE:BYDAY=MO;FREQ=WEEKLY;INTERVAL=1;WKST=MO", "FREQ=WEEKLY;BYDAY=MO"),
        (" FREQ=YEARLY ; BYMONTH=2 ; BYMONTHDAY=-1; ", "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=-1"),
    ],
)
def test_one_text_for_one_rule(rule, text):
    assert canonical(rule) == text
    assert canonical(text) == text


@pytest.mark.parametrize(
    ("rule", "sentence"),
    [
        ("", "Say how often"),
        ("every month", "is no part of a recurrence"),
        ("FREQ=HOURLY", "must be DAILY"),
        ("BYDAY=MO", "must be DAILY"),
        ("FREQ=DAILY;BYHOUR=9", "its time is booked"),
        ("FREQ=DAILY;COLOUR=RED", "COLOUR is not known"),
        ("FREQ=DAILY;FREQ=DAILY", "given twice"),
        ("FREQ=DAILY;COUNT=3;UNTIL=20260101", "not both"),
        ("FREQ=DAILY;INTERVAL=0", "from 1 to 999"),
        ("FREQ=DAILY;COUNT=-1", "from 1 to"),
        ("FREQ=DAILY;UNTIL=20260230", "must be a day"),
        ("FREQ=DAILY;UNTIL=20260101T000000Z", "must be a day"),
        ("FREQ=WEEKLY;BYDAY=XX", "is no weekday"),
        ("FREQ=WEEKLY;BYDAY=1MO", "only MONTHLY and YEARLY"),
        ("FREQ=MONTHLY;BYDAY=6MO", "does not exist"),
        ("FREQ=MONTHLY;BYDAY=xMO", "is not a whole number"),
        ("FREQ=MONTHLY;BYMONTHDAY=32", "does not exist"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "does not exist"),
        ("FREQ=WEEKLY;BYMONTHDAY=1", "does not go with"),
        ("FREQ=MONTHLY;BYWEEKNO=1", "FREQ=YEARLY only"),
        ("FREQ=MONTHLY;BYSETPOS=1", "there is none"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "does not exist in these months"),
        ("FREQ=WEEKLY;WKST=1", "is no weekday"),
    ],
)
def test_what_cannot_be_used_is_said_in_a_sentence(rule, sentence):
    with pytest.raises(RuleError, match=sentence):
        canonical(rule)


def test_a_rule_that_never_comes_is_refused():
    with pytest.raises(RuleError, match="no day in the next eight years"):
        check("FREQ=WEEKLY;INTERVAL=2;BYDAY=MO;UNTIL=20260101", MONDAY)


@pytest.mark.parametrize(
    ("made", "rule", "words"),
    [
        (every_weeks(1, [0]), "FREQ=WEEKLY;BYDAY=MO", "Every week on Monday"),
        (
            every_weeks(2, [3, 0]),
            "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,TH",
            "Every 2 weeks on Monday and Thursday",
        ),
        (
            every_months_on_weekday(1, 1, 1),
            "FREQ=MONTHLY;BYDAY=1TU",
            "Every month on the first Tuesday",
        ),
        (
            every_months_on_weekday(3, -1, 4),
            "FREQ=MONTHLY;INTERVAL=3;BYDAY=-1FR",
            "Every 3 months on the last Friday",
        ),
        (every_months_on_day(1, 15), "FREQ=MONTHLY;BYMONTHDAY=15", "Every month on the 15th"),
        (
            every_months_on_day(1, 31),
            "FREQ=MONTHLY;BYMONTHDAY=28,29,30,31;BYSETPOS=-1",
            "Every month on the last day",
        ),
        (
            every_months_on_day(1, 30),
            "FREQ=MONTHLY;BYMONTHDAY=28,29,30;BYSETPOS=-1",
            "Every month on the 30th or the last day",
        ),
        (every_year(10, 3), "FREQ=YEARLY;BYMONTH=10;BYMONTHDAY=3", "Every year on 3 October"),
        (
            every_year(2, 29),
            "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=28,29;BYSETPOS=-1",
            "Every year on the last day of February",
        ),
    ],
)
def test_the_forms_of_the_office_are_made_and_read_back(made, rule, words):
    assert made == rule
    assert describe(made, MONDAY) == words


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("FREQ=WEEKLY", "Every week on Monday"),
        ("FREQ=MONTHLY", "Every month on the 5th"),
        ("FREQ=YEARLY", "Every year on 5 January"),
        ("FREQ=DAILY;INTERVAL=28", "Every 28 days"),
        ("FREQ=WEEKLY;COUNT=6", "Every week on Monday, 6 times"),
        ("FREQ=WEEKLY;UNTIL=20261231", "Every week on Monday, until 31 December 2026"),
        ("FREQ=MONTHLY;BYMONTHDAY=2,15", "Every month on the 2nd and the 15th"),
        ("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", "FREQ=MONTHLY;BYMONTHDAY=13;BYDAY=FR"),
    ],
)
def test_other_rules_are_read_in_words_or_left_as_they_are(rule, words):
    assert describe(rule, MONDAY) == words


def test_the_month_without_a_31st_gets_a_visit_all_the_same():
    days = occurrences(every_months_on_day(1, 31), date(2026, 1, 31), to_on=date(2026, 12, 31))

    assert len(days) == 12
    assert days[1] == date(2026, 2, 28)


RULES = st.one_of(
    st.builds(every_weeks, st.integers(1, 8), st.sets(st.integers(0, 6), min_size=1, max_size=3)),
    st.builds(
        every_months_on_weekday,
        st.integers(1, 6),
        st.sampled_from([-1, 1, 2, 3, 4]),
        st.integers(0, 6),
    ),
    st.builds(every_months_on_day, st.integers(1, 6), st.integers(1, 31)),
    st.just("FREQ=DAILY;INTERVAL=10"),
    st.just("FREQ=WEEKLY;INTERVAL=3;WKST=SU;BYDAY=SU,TU"),
    st.just("FREQ=MONTHLY"),
)
FIRST_DAYS = st.dates(date(2024, 1, 1), date(2028, 12, 31))


@given(
    rule=RULES, first_on=FIRST_DAYS, cut=st.integers(1, 30), count=st.none() | st.integers(2, 40)
)
def test_a_cut_rule_gives_the_same_days(rule, first_on, cut, count):
    """ "This and later": the two halves together are the uncut rule, counts included."""
    rule = rule if count is None else f"{rule};COUNT={count}"
    to_on = first_on + YEARS
    days = occurrences(rule, first_on, to_on=to_on)
    if len(days) < 2:
        return
    at = days[min(cut, len(days) - 1)]

    earlier, later = split(rule, first_on, at)

    before = occurrences(earlier, first_on, to_on=to_on)
    after = occurrences(later, at, to_on=to_on)
    assert before + after == days
    assert max(before) < at == min(after)


@pytest.mark.parametrize("at", [MONDAY, MONDAY + timedelta(days=1)], ids=["the first", "no day"])
def test_a_rule_is_not_cut_where_it_has_no_day_before_and_after(at):
    with pytest.raises(RuleError):
        split("FREQ=WEEKLY", MONDAY, at)


@given(
    rule=RULES,
    first_on=FIRST_DAYS,
    before=st.integers(0, 40),
    after=st.integers(0, 40),
    weekdays=st.sets(st.integers(0, 6), max_size=6),
    holidays=st.sets(st.dates(date(2024, 1, 1), date(2030, 1, 1)), max_size=20),
    policy=st.sampled_from(["keep", "next", "previous"]),
)
def test_windows_hold_their_promises(rule, first_on, before, after, weekdays, holidays, policy):
    closed = Closed(frozenset(weekdays), frozenset(holidays), policy)
    line = Line(rule, first_on, None, before, after)
    to_on = first_on + timedelta(days=400)

    windows = due_windows(line, first_on, to_on, closed)

    assert [window.occurrence_on for window in windows] == occurrences(rule, first_on, to_on=to_on)
    for window in windows:
        assert window.opens_on <= window.due_on <= window.closes_on
        assert not closed.is_closed(window.due_on)
        assert (window.due_on - window.opens_on).days <= before
        assert (window.closes_on - window.due_on).days <= after
    for one, other in pairwise(windows):
        assert one.closes_on < other.opens_on
    # The same window whatever range is asked for: what is planned today is planned tomorrow.
    for window in windows[3:6]:
        assert due_windows(line, window.occurrence_on, window.occurrence_on, closed) == [window]


def first_monday_of_april(closed):
    line = Line("FREQ=MONTHLY;BYDAY=1MO", date(2026, 4, 1), days_after=2)
    return due_windows(line, date(2026, 4, 1), date(2026, 4, 30), closed)[0]


@pytest.mark.parametrize(
    ("policy", "due_on"),
    [
        ("keep", date(2026, 4, 6)),
        ("next", date(2026, 4, 7)),
        ("previous", date(2026, 4, 2)),
    ],
)
def test_a_first_monday_that_is_easter_monday(policy, due_on):
    """Easter Monday 2026 is 6 April, and so the first Monday; Good Friday is the 3rd."""
    england = holiday_dates("GB-ENG", 2026, 2026)
    weekend = frozenset({5, 6})

    found = first_monday_of_april(Closed(weekend, england, policy))

    assert (found.occurrence_on, found.due_on) == (date(2026, 4, 6), due_on)


def test_the_line_ends_on_its_last_day():
    line = Line("FREQ=WEEKLY", MONDAY, last_on=date(2026, 1, 19))

    due = [one.due_on for one in due_windows(line, MONDAY, date(2026, 12, 31))]

    assert due == [date(2026, 1, 5), date(2026, 1, 12), date(2026, 1, 19)]


def test_tolerances_that_would_overlap_share_the_days_between():
    line = Line("FREQ=WEEKLY", MONDAY, days_before=5, days_after=5)

    first, second, _ = due_windows(line, MONDAY, MONDAY + timedelta(days=14))

    assert (first.closes_on, second.opens_on) == (date(2026, 1, 8), date(2026, 1, 9))


def test_visits_moved_off_the_same_holiday_do_not_meet():
    line = Line("FREQ=DAILY", date(2026, 12, 24))
    closed = Closed(holidays=frozenset({date(2026, 12, 25), date(2026, 12, 26)}), rule="next")

    due = [
        one.due_on.day for one in due_windows(line, date(2026, 12, 24), date(2026, 12, 27), closed)
    ]

    assert due == [24, 27, 28, 29]


def test_a_site_that_never_opens_is_a_mistake():
    with pytest.raises(ValueError, match="every weekday"):
        Closed(frozenset(range(7)))


@pytest.mark.parametrize(
    ("today", "overdue", "late"),
    [
        (date(2026, 4, 6), False, 0),
        (date(2026, 4, 8), False, 0),
        (date(2026, 4, 9), True, 1),
        (date(2026, 5, 8), True, 30),
    ],
)
def test_it_is_late_from_the_day_after_the_window_closes(today, overdue, late):
    found = first_monday_of_april(Closed())

    assert (is_overdue(found, today), days_late(found, today)) == (overdue, late)


LONDON = ZoneInfo("Europe/London")


@pytest.mark.parametrize(
    ("day", "at", "utc"),
    [
        (date(2026, 1, 5), time(9), "2026-01-05T09:00"),
        (date(2026, 7, 6), time(9), "2026-07-06T08:00"),
        (date(2026, 3, 29), time(1, 30), "2026-03-29T01:30"),
        (date(2026, 10, 25), time(1, 30), "2026-10-25T00:30"),
    ],
    ids=["winter", "summer", "skipped by the clocks", "shown twice: the first"],
)
def test_local_times_in_the_night_the_clocks_change(day, at, utc):
    """Europe/London changes on 29 March and 25 October 2026 (tzdata)."""
    expected = datetime.fromisoformat(utc).replace(tzinfo=UTC)

    assert local_instant(day, at, LONDON) == expected


def test_today_is_the_sites_own():
    now = datetime(2026, 1, 1, 11, 30, tzinfo=UTC)

    assert today_in(ZoneInfo("Pacific/Auckland"), now) == date(2026, 1, 2)
    assert today_in(ZoneInfo("Pacific/Honolulu"), now) == date(2026, 1, 1)
    with pytest.raises(ValueError, match="zone"):
        today_in(LONDON, datetime(2026, 1, 1))


def test_an_unknown_region_is_said():
    assert holiday_dates("", 2026, 2027) == frozenset()
    with pytest.raises(ValueError, match="XX-YY"):
        holiday_dates("XX-YY", 2026, 2026)
