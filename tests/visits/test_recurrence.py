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
        ("FREQ=WEEKLY;INTERVAL=02;BYDAY=TH, MO,TH", "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,TH"),
        ("FREQ=MONTHLY;BYDAY=-1SU,+1SU", "FREQ=MONTHLY;BYDAY=1SU,-1SU"),
        ("FREQ=MONTHLY;BYMONTHDAY=-1,15,+02", "FREQ=MONTHLY;BYMONTHDAY=2,15,-1"),
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
        ("FREQ=DAILY;COUNT=5001", "from 1 to 5000"),
        ("FREQ=DAILY;COUNT=²", "whole number"),
        ("FREQ=DAILY;INTERVAL=٣", "whole number"),
        ("FREQ=DAILY;UNTIL=20260230", "must be a day"),
        ("FREQ=DAILY;UNTIL=202611", "must be a day"),
        ("FREQ=DAILY;UNTIL=20260101T000000Z", "must be a day"),
        ("FREQ=WEEKLY;BYDAY=XX", "is no weekday"),
        ("FREQ=WEEKLY;BYDAY=1MO", "only MONTHLY and YEARLY"),
        ("FREQ=MONTHLY;BYDAY=6MO", "does not exist"),
        ("FREQ=MONTHLY;BYDAY=xMO", "is not a whole number"),
        ("FREQ=YEARLY;BYMONTH=1;BYDAY=6MO", "does not exist"),
        ("FREQ=YEARLY;BYDAY=54MO", "does not exist"),
        ("FREQ=MONTHLY;BYMONTHDAY=1_0", "is not a whole number"),
        ("FREQ=MONTHLY;BYMONTHDAY=32", "does not exist"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "does not exist"),
        ("FREQ=WEEKLY;BYMONTHDAY=1", "does not go with"),
        ("FREQ=MONTHLY;BYWEEKNO=1", "FREQ=YEARLY only"),
        ("FREQ=YEARLY;BYWEEKNO=20", "needs BYDAY"),
        ("FREQ=YEARLY;BYWEEKNO=20;BYDAY=1MO", "leave out the number"),
        ("FREQ=MONTHLY;BYSETPOS=1", "there is none"),
        ("FREQ=WEEKLY;BYDAY=MO,WE;BYSETPOS=1", "name the weekdays"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "does not exist in these months"),
        ("FREQ=WEEKLY;WKST=1", "is no weekday"),
    ],
)
def test_what_cannot_be_used_is_said_in_a_sentence(rule, sentence):
    with pytest.raises(RuleError, match=sentence):
        canonical(rule)


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO;UNTIL=20260101",
        "FREQ=DAILY;INTERVAL=7;BYDAY=TU",
        "FREQ=MONTHLY;BYDAY=MO;BYSETPOS=6",
    ],
    ids=["over before it starts", "every seventh day is a Monday", "no sixth Monday"],
)
def test_a_rule_that_never_comes_is_refused(rule):
    with pytest.raises(RuleError, match="no day in the next eight years"):
        check(rule, MONDAY)


def test_a_rule_too_long_for_its_line_is_refused():
    days = ",".join(str(day) for day in (*range(1, 32), *range(-31, 0)))

    with pytest.raises(RuleError, match="too long"):
        check(f"FREQ=MONTHLY;BYMONTHDAY={days}", MONDAY)


def test_the_longest_rule_still_fits_its_line_when_cut():
    """A line keeps 200 characters."""
    months = ",".join(str(month) for month in range(1, 13))
    days = ",".join(str(day) for day in (*range(1, 29), *range(-8, 0)))
    rule = check(f"FREQ=YEARLY;INTERVAL=1;COUNT=9;BYMONTH={months};BYMONTHDAY={days}", MONDAY)

    earlier, later = split(rule, MONDAY, MONDAY + timedelta(days=1))

    assert len(rule) > 150
    assert max(len(earlier), len(later)) <= 200


@pytest.mark.parametrize("wait", [date(2096, 2, 29), date(2096, 3, 1)])
def test_a_leap_day_may_be_eight_years_away(wait):
    """2100 is no leap year."""
    rule = "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29"

    assert check(rule, wait) == rule
    assert occurrences(rule, date(2096, 3, 1), to_on=date(2104, 12, 31)) == [date(2104, 2, 29)]


def test_the_first_day_counts_only_if_it_fits():
    """RFC 5545 leaves this open; a line that starts on a Monday and asks for Tuesdays has none."""
    assert occurrences("FREQ=WEEKLY;BYDAY=TU", MONDAY, to_on=date(2026, 1, 14)) == [
        date(2026, 1, 6),
        date(2026, 1, 13),
    ]


@pytest.mark.parametrize(
    ("from_on", "to_on", "days"),
    [
        (None, date(2026, 1, 12), [5, 12]),
        (date(2026, 1, 12), date(2026, 1, 19), [12, 19]),
        (date(2026, 1, 13), date(2026, 1, 18), []),
        (None, date(2026, 1, 4), []),
        (date(2026, 1, 26), date(2026, 12, 31), [26]),
    ],
    ids=["last day counts", "both ends count", "between", "before the first", "UNTIL counts"],
)
def test_both_ends_of_a_range_count(from_on, to_on, days):
    rule = "FREQ=WEEKLY;UNTIL=20260126"

    found = occurrences(rule, MONDAY, from_on=from_on, to_on=to_on)

    assert [day.day for day in found] == days


def test_a_line_that_began_long_ago_still_comes_due():
    """20 years of every day: nothing is cut short because so much went before."""
    line = Line("FREQ=DAILY", date(2006, 1, 1))

    windows = due_windows(line, date(2026, 1, 1), date(2026, 1, 3))

    assert [window.due_on.day for window in windows] == [1, 2, 3]


def test_a_range_of_more_than_a_century_is_a_mistake():
    with pytest.raises(ValueError, match="century"):
        occurrences("FREQ=DAILY", MONDAY, to_on=date(9999, 12, 31))


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
    ("make", "sentence"),
    [
        (lambda: every_weeks(1, []), "at least one weekday"),
        (lambda: every_weeks(1, [7]), "no weekday 7"),
        (lambda: every_weeks(1, [-1]), "no weekday -1"),
        (lambda: every_weeks(0, [0]), "INTERVAL"),
        (lambda: every_months_on_weekday(1, 5, 0), "or the last of the month"),
        (lambda: every_months_on_weekday(1, 1, 7), "no weekday 7"),
        (lambda: every_months_on_day(1, 0), "No month has a day 0"),
        (lambda: every_months_on_day(1, 32), "No month has a day 32"),
        (lambda: every_year(4, 31), "does not exist"),
        (lambda: every_year(13, 1), "does not exist"),
    ],
)
def test_what_the_office_cannot_choose_is_said_in_a_sentence(make, sentence):
    with pytest.raises(RuleError, match=sentence):
        make()


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("FREQ=MONTHLY;BYMONTHDAY=31", "Every month on the 31st, in months that have one"),
        ("FREQ=MONTHLY;BYDAY=5FR", "Every month on the fifth Friday, in months that have one"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29", "Every year on 29 February, in leap years"),
        ("FREQ=WEEKLY;COUNT=1", "Every week on Monday, once"),
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


def test_a_bare_rule_from_the_31st_says_that_it_skips_months():
    assert describe("FREQ=MONTHLY", date(2026, 1, 31)).endswith("in months that have one")


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
    st.just("FREQ=YEARLY"),
    st.just("FREQ=DAILY"),
    st.just("FREQ=DAILY;INTERVAL=2;BYDAY=MO,TU,WE,TH,FR"),
    st.just("FREQ=MONTHLY;INTERVAL=2;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=1,-1"),
    st.just("FREQ=YEARLY;INTERVAL=2;BYWEEKNO=1,53;BYDAY=MO,SU"),
    st.just("FREQ=YEARLY;BYMONTH=2,11;BYDAY=1TU,-1FR"),
)
FIRST_DAYS = st.dates(date(2024, 1, 1), date(2028, 12, 31))


@given(
    rule=RULES,
    first_on=FIRST_DAYS,
    cut=st.integers(1, 30),
    end=st.none()
    | st.builds("COUNT={}".format, st.integers(2, 40))
    | st.builds("UNTIL={:%Y%m%d}".format, st.dates(date(2025, 1, 1), date(2030, 1, 1))),
)
def test_a_cut_rule_gives_the_same_days(rule, first_on, cut, end):
    """ "This and later": the two halves together are the uncut rule, its end included."""
    rule = rule if end is None else f"{rule};{end}"
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


@pytest.mark.parametrize(
    ("rule", "earlier", "later"),
    [
        ("FREQ=WEEKLY", "FREQ=WEEKLY;UNTIL=20260118", "FREQ=WEEKLY"),
        ("FREQ=WEEKLY;COUNT=10", "FREQ=WEEKLY;UNTIL=20260118", "FREQ=WEEKLY;COUNT=8"),
        ("FREQ=WEEKLY;COUNT=3", "FREQ=WEEKLY;UNTIL=20260118", "FREQ=WEEKLY;COUNT=1"),
        (
            "FREQ=WEEKLY;UNTIL=20260119",
            "FREQ=WEEKLY;UNTIL=20260118",
            "FREQ=WEEKLY;UNTIL=20260119",
        ),
    ],
    ids=["open", "count shared out", "cut at the last of the count", "cut on the last day"],
)
def test_how_a_rule_is_cut_at_its_third_day(rule, earlier, later):
    assert split(rule, MONDAY, date(2026, 1, 19)) == (earlier, later)


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

    days = occurrences(rule, first_on, to_on=to_on)
    assert [window.occurrence_on for window in windows] == days
    for window in windows:
        assert window.opens_on <= window.due_on <= window.closes_on
        assert (window.due_on == window.occurrence_on) or not closed.is_closed(window.due_on)
        assert (window.due_on - window.opens_on).days <= before
        assert (window.closes_on - window.due_on).days <= after
    for one, other in pairwise(windows):
        assert one.closes_on < other.opens_on
        # It stays on a closed day only where no open day lies before the next, or after the last.
        between = one.occurrence_on, other.occurrence_on
        if policy == "previous":
            assert between[0] < other.due_on <= between[1]
        else:
            assert between[0] <= one.due_on < between[1]
        stays = other if policy == "previous" else one
        if closed.is_closed(stays.due_on):
            gap = range(1, (between[1] - between[0]).days)
            assert all(closed.is_closed(between[0] + timedelta(days=step)) for step in gap)
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


@pytest.mark.parametrize(
    ("rule", "before", "after", "closes", "opens"),
    [
        ("FREQ=WEEKLY", 5, 5, 8, 9),
        ("FREQ=DAILY;INTERVAL=8", 5, 5, 9, 10),
        ("FREQ=WEEKLY", 3, 3, 8, 9),
        ("FREQ=WEEKLY", 0, 10, 11, 12),
        ("FREQ=WEEKLY", 10, 0, 5, 6),
        ("FREQ=WEEKLY", 2, 5, 9, 10),
        ("FREQ=DAILY", 5, 5, 5, 6),
        ("FREQ=WEEKLY", 2, 2, 7, 10),
    ],
    ids=[
        "six days: three each",
        "seven days: the middle one to the earlier",
        "side by side already",
        "late only",
        "early only",
        "what the later does not ask for",
        "no day between",
        "apart",
    ],
)
def test_tolerances_that_would_overlap_share_the_days_between(rule, before, after, closes, opens):
    line = Line(rule, MONDAY, days_before=before, days_after=after)

    first, second = due_windows(line, MONDAY, MONDAY + timedelta(days=14))[:2]

    assert (first.closes_on, second.opens_on) == (date(2026, 1, closes), date(2026, 1, opens))


CHRISTMAS = frozenset({date(2026, 12, 25), date(2026, 12, 26)})


@pytest.mark.parametrize(
    ("policy", "rule", "due"),
    [
        ("next", "FREQ=DAILY", [24, 25, 26, 27, 28]),
        ("previous", "FREQ=DAILY", [24, 25, 26, 27, 28]),
        ("next", "FREQ=DAILY;INTERVAL=2", [24, 27, 28]),
        ("previous", "FREQ=DAILY;INTERVAL=2", [24, 26, 28]),
    ],
)
def test_a_visit_does_not_move_to_or_past_its_neighbour(policy, rule, due):
    """Without an open day in between it stays where the office sees it; none is pushed along."""
    line = Line(rule, date(2026, 12, 24), last_on=date(2026, 12, 28))
    closed = Closed(holidays=CHRISTMAS, rule=policy)

    windows = due_windows(line, date(2026, 12, 24), date(2026, 12, 31), closed)

    assert [window.due_on.day for window in windows] == due


def test_more_visits_than_open_days_never_fall_behind():
    """Every day at a site that is closed at weekends: a year later each is still due that week."""
    line = Line("FREQ=DAILY", date(2026, 1, 1))
    december = (date(2026, 12, 1), date(2026, 12, 31))

    windows = due_windows(line, *december, Closed(weekdays=frozenset({5, 6})))

    assert [window.due_on.day for window in windows if window.due_on.month == 12] == [
        *range(1, 6), 6, *range(7, 13), 13, *range(14, 20), 20, *range(21, 27), 27, *range(28, 32)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "policy", "due_on"),
    [
        (Line("FREQ=YEARLY", date(2026, 12, 25)), "next", date(2026, 12, 27)),
        (
            Line("FREQ=YEARLY", date(2026, 12, 25), date(2026, 12, 26)),
            "next",
            date(2026, 12, 25),
        ),
        (
            Line("FREQ=YEARLY;UNTIL=20261226", date(2026, 12, 25)),
            "next",
            date(2026, 12, 25),
        ),
        (Line("FREQ=MONTHLY;BYMONTHDAY=25", date(2026, 12, 1)), "previous", date(2026, 12, 24)),
        (Line("FREQ=MONTHLY;BYMONTHDAY=25", date(2026, 12, 25)), "previous", date(2026, 12, 25)),
    ],
    ids=["open-ended", "past its last day", "past UNTIL", "back", "before its first day"],
)
def test_a_visit_does_not_leave_the_days_of_its_line(line, policy, due_on):
    closed = Closed(holidays=CHRISTMAS, rule=policy)

    window = due_windows(line, date(2026, 12, 1), date(2026, 12, 31), closed)[0]

    assert (window.occurrence_on, window.due_on) == (date(2026, 12, 25), due_on)


@pytest.mark.parametrize(
    ("from_on", "to_on", "days"),
    [
        (date(2026, 1, 12), date(2026, 1, 12), [12]),
        (date(2026, 1, 13), date(2026, 1, 18), []),
        (date(2025, 1, 1), date(2026, 1, 4), []),
    ],
    ids=["one day", "between", "before the line"],
)
def test_windows_are_asked_for_by_the_rules_own_days(from_on, to_on, days):
    line = Line("FREQ=WEEKLY", MONDAY, days_before=3, days_after=3)

    found = due_windows(line, from_on, to_on)

    assert [window.occurrence_on.day for window in found] == days


@pytest.mark.parametrize("tolerance", [{"days_before": -1}, {"days_after": -1}])
def test_a_window_without_its_due_day_is_a_mistake(tolerance):
    with pytest.raises(ValueError, match="within its own window"):
        Line("FREQ=WEEKLY", MONDAY, **tolerance)


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


def test_no_region_has_no_holidays():
    assert holiday_dates("", 2026, 2027) == frozenset()


@pytest.mark.parametrize("region", ["XX", "XX-YY", "GB-XXX", "gb-eng", "GB-", "NYSE", "registry"])
def test_an_unknown_region_is_said(region):
    with pytest.raises(ValueError, match=region):
        holiday_dates(region, 2026, 2026)
