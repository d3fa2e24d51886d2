"""A count is read against the days that a monitor was able to catch."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.trends.exposure import (
    CONDITIONS,
    NOT_SEEN,
    STOPS_WHEN_SPRUNG,
    Exposed,
    ReadingFacts,
    columns_from,
    columns_of,
    exposed,
    exposures,
    floats,
    month_number,
    month_of,
    months_between,
)

STICKY = ReadingFacts(
    monitor="7",
    zone="kitchen",
    site="harbour",
    kind="sticky",
    pest="german-cockroach",
    read_on=date(2026, 3, 2),
    stood_days=28,
    condition="sound",
    count=3,
)
SNAP = replace(STICKY, kind="snap_trap", pest="house-mouse", count=1)

READINGS = st.builds(
    ReadingFacts,
    monitor=st.sampled_from(["1", "2", "3"]),
    zone=st.just("kitchen"),
    site=st.just("harbour"),
    kind=st.sampled_from(["sticky", "snap_trap", "live_trap"]),
    pest=st.sampled_from(["house-mouse", "brown-rat"]),
    read_on=st.dates(date(2025, 1, 1), date(2026, 12, 31)),
    stood_days=st.none() | st.integers(0, 2) | st.integers(0, 90),
    condition=st.sampled_from(CONDITIONS),
    count=st.integers(0, 40),
)


def one(reading: ReadingFacts) -> Exposed:
    (answer,) = exposed([reading])
    return answer


SPOILT = "The trap was damaged on an unknown day, so that half of its days count."
SPRUNG = "The trap was sprung on an unknown day, so that half of its days count."
FULL = "The trap was full, so that there may have been more."
MISSING = "The trap was missing, so that nothing is known of these days."
BLOCKED = "The trap could not be reached, so that nothing is known of these days."
UNKNOWN = "It is not known how long the trap had stood."
JUST_PLACED = "The trap had not stood for a day."


@pytest.mark.parametrize(
    ("reading", "count", "exposure", "censored", "words"),
    [
        pytest.param(STICKY, 3, 28.0, False, "", id="sound"),
        pytest.param(replace(STICKY, count=0), 0, 28.0, False, "", id="sound, none"),
        pytest.param(replace(STICKY, condition="damaged"), 3, 14.0, False, SPOILT, id="damaged"),
        pytest.param(replace(STICKY, condition="full"), 3, 28.0, True, FULL, id="full"),
        pytest.param(replace(STICKY, condition="missing"), 0, 0.0, False, MISSING, id="missing"),
        pytest.param(replace(STICKY, condition="blocked"), 0, 0.0, False, BLOCKED, id="blocked"),
        pytest.param(replace(STICKY, stood_days=None), 0, 0.0, False, UNKNOWN, id="unknown"),
        pytest.param(replace(STICKY, stood_days=0), 0, 0.0, False, JUST_PLACED, id="just placed"),
        pytest.param(SNAP, 1, 14.0, False, SPRUNG, id="sprung by its pest"),
        pytest.param(replace(SNAP, count=0), 0, 28.0, False, "", id="snap trap still set"),
        pytest.param(replace(SNAP, kind="live_trap"), 1, 28.0, False, "", id="goes on catching"),
        pytest.param(
            replace(SNAP, condition="full"), 1, 14.0, True, f"{SPRUNG} {FULL}", id="sprung, full"
        ),
    ],
)
def test_a_reading_counts_the_days_it_could_catch(reading, count, exposure, censored, words):
    answer = one(reading)

    assert (answer.count, answer.exposure, answer.censored) == (count, exposure, censored)
    assert answer.why == words


def test_a_trap_sprung_by_one_pest_was_sprung_for_all():
    rat = replace(SNAP, pest="brown-rat", count=0)
    elsewhere = replace(rat, monitor="8")

    assert [fact.exposure for fact in exposed([rat, SNAP, elsewhere])] == [14.0, 14.0, 28.0]


def test_what_is_told_apart_stays_with_its_count():
    answer = one(STICKY)

    assert (answer.monitor, answer.zone, answer.site, answer.pest, answer.read_on) == (
        "7",
        "kitchen",
        "harbour",
        "german-cockroach",
        date(2026, 3, 2),
    )


@pytest.mark.parametrize("wrong", [replace(STICKY, count=-1), replace(STICKY, stood_days=-1)])
def test_neither_counts_nor_days_are_below_none(wrong):
    with pytest.raises(ValueError, match="below 0"):
        exposed([wrong])


@given(st.lists(READINGS, max_size=30))
def test_arrays_and_readings_agree(readings):
    answers = exposed(readings)
    sprung_at = {(fact.monitor, fact.read_on) for fact in readings if fact.count}

    count, days, censored = exposures(
        np.array([-1 if f.stood_days is None else f.stood_days for f in readings], dtype=np.int64),
        np.array([CONDITIONS.index(f.condition) for f in readings], dtype=np.int64),
        np.array(
            [f.kind in STOPS_WHEN_SPRUNG and (f.monitor, f.read_on) in sprung_at for f in readings],
            dtype=np.bool_,
        ),
        np.array([f.count for f in readings], dtype=np.int64),
    )

    assert count.tolist() == [answer.count for answer in answers]
    assert days.tolist() == [answer.exposure for answer in answers]
    assert censored.tolist() == [answer.censored for answer in answers]


@given(READINGS)
def test_nobody_is_told_of_none_where_nobody_looked(reading):
    answer = one(reading)

    assert 0 <= answer.exposure <= (reading.stood_days or 0)
    if reading.condition in NOT_SEEN or not reading.stood_days:
        assert (answer.count, answer.exposure, answer.censored) == (0, 0.0, False)
        assert answer.why
    else:
        assert (answer.count, answer.exposure > 0) == (reading.count, True)


def test_columns_keep_the_order_and_leave_out_what_nobody_saw():
    readings = [
        replace(STICKY, monitor="b", zone="store", pest="moth", read_on=date(2026, 2, 5)),
        replace(STICKY, monitor="a", condition="missing", read_on=date(2025, 1, 9)),
        replace(STICKY, monitor="c", zone="cellar", site="mill", condition="full", count=40),
        replace(STICKY, monitor="b", zone="store", read_on=date(2025, 12, 24), stood_days=7),
    ]

    columns = columns_of(exposed(readings))

    assert len(columns) == 3
    assert columns.monitors == ("b", "c")
    assert columns.zones == ("cellar", "store")
    assert columns.pests == ("german-cockroach", "moth")
    assert columns.sites == ("harbour", "mill")
    assert columns.months == ((2025, 12), (2026, 1), (2026, 2), (2026, 3))
    assert columns.monitor_index.tolist() == [0, 1, 0]
    assert columns.zone_index.tolist() == [1, 0, 1]
    assert columns.site_index.tolist() == [0, 1, 0]
    assert columns.pest_index.tolist() == [1, 0, 0]
    assert columns.month_index.tolist() == [2, 3, 0]
    assert columns.count.tolist() == [3, 40, 3]
    assert columns.exposure.tolist() == [28.0, 28.0, 7.0]
    assert columns.censored.tolist() == [False, True, False]


def test_columns_have_the_months_that_are_asked_for():
    facts = exposed([STICKY])

    columns = columns_of(facts, first=(2025, 12), last=(2026, 4))

    assert columns.months == ((2025, 12), (2026, 1), (2026, 2), (2026, 3), (2026, 4))
    assert columns.month_index.tolist() == [3]
    assert columns_of(facts, first=(2026, 4)).months == ((2026, 3), (2026, 4))


def test_no_reading_makes_empty_columns():
    columns = columns_of([])

    assert (len(columns), columns.months, columns.monitors) == (0, (), ())
    assert columns.site_index.tolist() == []
    assert columns_of([], last=(2026, 1)).months == ((2026, 1),)


def test_columns_from_a_database_need_no_object_for_each_count():
    """Numbers are sorted as numbers: zone 10 comes after zone 9."""
    columns = columns_from(
        monitor=np.array([30, 4, 30, 5]),
        zone=np.array([10, 9, 10, 9]),
        site=np.array([2, 1, 2, 1]),
        pest=np.array(["rat", "mouse", "mouse", "rat"]),
        month=np.array([month_number((2026, month)) for month in (2, 1, 2, 4)]),
        count=np.array([1, 0, 6, 0]),
        exposure=np.array([28.0, 14.0, 28.0, 0.0]),
        censored=np.array([False, False, True, False]),
    )

    assert (columns.monitors, columns.zones, columns.sites) == (
        ("4", "30"),
        ("9", "10"),
        ("1", "2"),
    )
    assert columns.pests == ("mouse", "rat")
    assert columns.months == ((2026, 1), (2026, 2))
    assert columns.monitor_index.tolist() == [1, 0, 1]
    assert columns.zone_index.tolist() == columns.site_index.tolist() == [1, 0, 1]
    assert columns.pest_index.tolist() == [1, 0, 0]
    assert columns.month_index.tolist() == [1, 0, 1]
    assert (columns.count.tolist(), columns.censored.tolist()) == ([1, 0, 6], [False, False, True])
    assert columns.exposure.tolist() == [28.0, 14.0, 28.0]


def test_a_zone_belongs_to_one_site():
    with pytest.raises(ValueError, match="kitchen cannot belong to harbour and mill"):
        columns_of(exposed([STICKY, replace(STICKY, monitor="8", site="mill")]))


def test_months_run_over_the_new_year():
    assert months_between((2025, 11), (2026, 2)) == ((2025, 11), (2025, 12), (2026, 1), (2026, 2))
    assert months_between((2026, 2), (2026, 1)) == ()
    assert month_of(date(2026, 1, 31)) == (2026, 1)
    assert month_number((2026, 1)) - month_number((2025, 12)) == 1


def test_numbers_become_floats_whatever_they_were():
    assert floats([1, 2]).dtype == np.float64
    assert floats(True).tolist() == 1.0


def test_columns_of_nothing_have_the_kinds_of_numbers_that_others_have():
    columns = columns_of([])

    assert (len(columns), columns.months, columns.zones) == (0, (), ())
    assert columns.count.dtype == np.int64
    assert columns.censored.dtype == np.bool_
    assert columns.exposure.dtype == np.float64
