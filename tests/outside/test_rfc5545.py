"""Recurrence against what others published.

- RFC 5545 (2009), section 3.8.5.3: its examples of recurrence rules, as printed there.
- Weeks: ISO 8601, as a worked list that public test suites repeat.
- Month ends, leap days, week 53 and visits a year: computed with python-dateutil, no printed value.
- Clock changes: tzdata 2026.6.
- Public holidays: the holidays library; the substitute days for England are those of the official
  list, as news summaries gave them.
"""

import json
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from visits.recurrence.instants import local_instant
from visits.recurrence.public_holidays import holiday_dates
from visits.recurrence.rules import occurrences
from visits.recurrence.windows import Closed

DATA = Path(__file__).parent / "data"
RFC = json.loads((DATA / "rfc5545-examples.json").read_text())["examples"]
EDGES = json.loads((DATA / "recurrence-edges.json").read_text())
WEEKS = json.loads((DATA / "iso-week.json").read_text())
HOLIDAYS = json.loads((DATA / "public-holidays.json").read_text())

NINE = time(9)
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def day_of(stamp: str) -> date:
    return datetime.strptime(stamp[:8], "%Y%m%d").date()


def until_day(until: datetime, zone: ZoneInfo) -> date:
    """The last local day whose nine o'clock is not after an instant."""
    day = until.astimezone(zone).date()
    return day if local_instant(day, NINE, zone) <= until else day - timedelta(days=1)


def as_days(rule: str, zone: ZoneInfo) -> str:
    """The rule with an ``UNTIL`` in UTC made the local day that it means (section 3.3.10)."""
    parts = rule.split(";")
    for at, part in enumerate(parts):
        if part.startswith("UNTIL=") and part.endswith("Z"):
            until = datetime.strptime(part, "UNTIL=%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
            parts[at] = f"UNTIL={until_day(until, zone):%Y%m%d}"
    return ";".join(parts)


@pytest.mark.parametrize("example", RFC, ids=lambda example: example["id"])
def test_the_examples_of_rfc_5545(example):
    expected = [date.fromisoformat(day) for day in example["expected_dates"]]
    zone = ZoneInfo(example["tzid"])
    first_on = day_of(example["dtstart"])
    to_on = date(2030, 1, 1) if example["list_is_complete"] else max(expected)

    days = occurrences(as_days(example["rrule"], zone), first_on, to_on=to_on)

    if example["exdate"]:
        days = [day for day in days if day != day_of(example["exdate"])]
    assert days == expected


@pytest.mark.parametrize(
    "week", [*WEEKS["published"], *WEEKS["computed"]], ids=lambda week: week["iso"]
)
def test_a_week_belongs_to_the_year_of_its_thursday(week):
    day = date.fromisoformat(week["date"])
    _, number, weekday = week["iso"].split("-")
    rule = f"FREQ=YEARLY;BYWEEKNO={int(number[1:])};BYDAY={WEEKDAYS[int(weekday) - 1]}"

    assert occurrences(rule, day, to_on=day) == [day]


def test_years_with_a_week_53():
    """Its Thursday always lies in the year that the week belongs to."""
    rule = "FREQ=YEARLY;BYWEEKNO=53;BYDAY=TH"

    days = occurrences(rule, date(2000, 1, 1), to_on=date(2060, 12, 31))

    assert [day.year for day in days] == WEEKS["years_with_53_weeks_2000_2060"]


@pytest.mark.parametrize("edge", EDGES["month_ends"], ids=lambda edge: edge["id"])
def test_month_ends_leap_days_and_week_53(edge):
    expected = [date.fromisoformat(day) for day in edge["first_dates"]]

    days = occurrences(edge["rrule"], day_of(edge["dtstart"]), to_on=max(expected))

    assert days == expected


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        ("weekly_from_2026-01-05", "FREQ=WEEKLY"),
        ("fortnightly_from_2026-01-05", "FREQ=WEEKLY;INTERVAL=2"),
    ],
)
def test_some_years_hold_one_visit_more(name, rule):
    for year, count in EDGES["visits_per_year"][name].items():
        first, last = date(int(year), 1, 1), date(int(year), 12, 31)
        days = occurrences(rule, date(2026, 1, 5), from_on=first, to_on=last)
        assert len(days) == count, year


@pytest.mark.parametrize(
    "case", EDGES["clock_changes"]["same_wall_clock"], ids=lambda case: case["local"] + case["tz"]
)
def test_a_visit_keeps_its_local_time_over_clock_changes(case):
    local = datetime.fromisoformat(case["local"])

    instant = local_instant(local.date(), local.time(), ZoneInfo(case["tz"]))

    assert instant == datetime.fromisoformat(case["utc"])


@pytest.mark.parametrize(
    "case",
    [case for case in EDGES["clock_changes"]["gaps_and_folds"] if "utc_fold0" in case],
    ids=lambda case: case["local"],
)
def test_of_a_time_shown_twice_the_first_is_meant(case):
    local = datetime.fromisoformat(case["local"])

    instant = local_instant(local.date(), local.time(), ZoneInfo(case["tz"]))

    assert instant == datetime.fromisoformat(case["utc_fold0"])


@pytest.mark.parametrize(
    ("tz", "skipped", "shown"),
    [
        ("Europe/London", "2026-03-29T01:30", "2026-03-29T02:30"),
        ("America/New_York", "2026-03-08T02:30", "2026-03-08T03:30"),
        ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-04T02:45"),
    ],
)
def test_a_time_that_the_clocks_skip_is_moved_on_by_what_they_skip(tz, skipped, shown):
    """RFC 5545, section 3.3.5: it is read with the offset before. Lord Howe skips half an hour."""
    zone, wanted = ZoneInfo(tz), datetime.fromisoformat(skipped)

    instant = local_instant(wanted.date(), wanted.time(), zone)

    assert instant.astimezone(zone).replace(tzinfo=None) == datetime.fromisoformat(shown)


def test_quarter_hour_and_half_hour_zones():
    """Kathmandu is 5:45 ahead of UTC; Lord Howe shows 01:45 twice, first 11:00 ahead (tzdata)."""
    kathmandu = local_instant(date(2026, 1, 1), NINE, ZoneInfo("Asia/Kathmandu"))
    lord_howe = local_instant(date(2026, 4, 5), time(1, 45), ZoneInfo("Australia/Lord_Howe"))

    assert kathmandu == datetime(2026, 1, 1, 3, 15, tzinfo=UTC)
    assert lord_howe == datetime(2026, 4, 4, 14, 45, tzinfo=UTC)


@pytest.mark.parametrize(
    ("key", "region", "year"),
    [
        ("england", "GB-ENG", 2026),
        ("england", "GB-ENG", 2027),
        ("england", "GB-ENG", 2028),
        ("scotland_2026", "GB-SCT", 2026),
        ("northern_ireland_2026", "GB-NIR", 2026),
        ("germany_national_2026", "DE", 2026),
        ("germany_bavaria_2026", "DE-BY", 2026),
        ("germany_berlin_2026", "DE-BE", 2026),
    ],
)
def test_public_holidays_are_the_regions_own(key, region, year):
    listed = HOLIDAYS[key] if key.endswith("2026") else HOLIDAYS[key][str(year)]

    assert holiday_dates(region, year, year) == {date.fromisoformat(day) for day, _ in listed}


@pytest.mark.parametrize(
    "day",
    [date(2026, 12, 28), date(2027, 12, 27), date(2027, 12, 28), date(2028, 1, 3)],
    ids=str,
)
def test_substitute_days_are_no_working_days(day):
    """The official list for England and Wales, as news summaries gave it: Boxing Day 2026,
    Christmas and Boxing Day 2027 and New Year's Day 2028 fall on weekends.
    """
    england = holiday_dates("GB-ENG", 2026, 2028)

    assert Closed(frozenset({5, 6}), england, "next").is_closed(day)
    assert not Closed(frozenset({5, 6}), england, "keep").is_closed(day)


@pytest.mark.parametrize(("year", "sunday"), HOLIDAYS["easter_sunday_western"].items())
def test_easter_monday_follows_easter_sunday(year, sunday):
    monday = date.fromisoformat(sunday).toordinal() + 1

    assert date.fromordinal(monday) in holiday_dates("GB-ENG", int(year), int(year))
