"""Counts with a season; the published method is in tests/outside/test_exceedance.py."""

from dataclasses import replace

import numpy as np
import pytest

from compliance.trends.seasons import FARRINGTON, exceedance, near, season

SUMMER = np.array([0, 0, 1, 2, 4, 7, 9, 8, 4, 2, 1, 0])
THREE_YEARS = np.tile(SUMMER, 3)
OF_YEAR = np.arange(36) % 12


def one_group(*series):
    counts = np.array(series, dtype=float)
    months = np.arange(counts.shape[1]) % 12
    return season(counts, np.full(counts.shape, 30.0), months, np.zeros(len(counts), dtype=int), 1)


def test_a_summer_pest_has_a_season_with_its_peak_in_july():
    found = one_group(THREE_YEARS)

    assert found.p[0] < 1e-4
    assert found.share[0].argmax() == 6
    assert found.share[0, 6] > 1.9
    assert found.share[0, 0] < 0.6


def test_many_quiet_zones_show_together_what_none_shows_alone():
    random = np.random.default_rng(3)
    zones = random.poisson(np.tile(SUMMER, 3) / 12, (40, 36)).astype(float)

    assert one_group(*zones).p[0] < 0.001
    assert one_group(zones[0]).p[0] > 0.05


def test_months_that_only_clump_have_no_season():
    random = np.random.default_rng(5)
    p = [one_group(random.poisson(3 * random.gamma(1, 1, 36))).p[0] for _ in range(200)]

    assert np.mean(np.array(p) <= 0.01) <= 0.03


@pytest.mark.parametrize(("months", "told"), [(18, False), (24, True)])
def test_a_season_is_told_from_two_years_on(months, told):
    found = one_group(np.tile(SUMMER, 3)[:months])

    assert (found.p[0] < 0.01) == told


def test_what_was_never_read_or_never_caught_has_no_season():
    counts = np.zeros((2, 36))
    exposure = np.array([[30.0] * 36, [0.0] * 36])
    found = season(counts, exposure, OF_YEAR, np.array([0, 1]), 2)

    assert found.p.tolist() == [1.0, 1.0]
    assert found.share == pytest.approx(np.ones((2, 12)))


def test_december_lies_beside_january():
    marks = near(OF_YEAR[:12], np.array([0]))

    assert np.flatnonzero(marks).tolist() == [0, 1, 11]


def test_fewer_than_four_references_say_nothing():
    assert exceedance(THREE_YEARS.tolist(), 13, FARRINGTON) is None
    assert exceedance([0] * 48, 47, FARRINGTON) is None


def test_a_month_nobody_looked_in_says_nothing():
    counts = [*THREE_YEARS, *SUMMER]
    days = [30.0] * 47 + [0.0]

    assert exceedance(counts, 47, FARRINGTON, days) is None
    assert exceedance(counts, 47, FARRINGTON, [30.0] * 48) is not None


def test_twice_the_days_lead_one_to_expect_twice_as_many():
    counts = [*THREE_YEARS, *SUMMER]
    once = exceedance(counts, 42, FARRINGTON, [30.0] * 48)
    twice = exceedance(counts, 42, FARRINGTON, [30.0] * 42 + [60.0] * 6)

    assert twice.expected == pytest.approx(2 * once.expected)
    assert once.expected == pytest.approx(exceedance(counts, 42).expected)


def test_an_unread_month_is_no_reference():
    days = [30.0] * 48
    days[30] = 0.0

    assert exceedance([*THREE_YEARS, *SUMMER], 42, FARRINGTON, days).references == 8


def test_a_rare_catch_may_be_asked_to_come_more_than_once():
    counts = [0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0] * 3 + [0, 0, 4]

    assert exceedance(counts, 38, FARRINGTON).alarm
    assert not exceedance(counts, 38, replace(FARRINGTON, least=5)).alarm


def test_two_years_are_too_few_for_a_trend():
    rising = list(range(1, 61))

    assert exceedance(rising, 59, replace(FARRINGTON, years=2)).trend is False


def test_a_pest_that_came_only_last_year_has_a_limit_all_the_same():
    """A trend from none to some is endless, and the fit has to stop; it may not run above all that
    was seen, so that the months are taken without it."""
    counts = [0] * 24 + [3] * 12 + [4]

    answer = exceedance(counts, 36, FARRINGTON)

    assert answer.trend is False
    assert answer.expected == pytest.approx(2 / 3, abs=1)
    assert answer.upper < 12


IN_PARTS = replace(FARRINGTON, years=3, parts=4, left_out=2, trend_years=9)


def test_a_year_in_parts_reads_all_that_came_since_the_first_reference():
    """Five years; December against the Novembers to Januaries before, other months beside them in
    three parts of three months each: 36 months less 2 that are left out and 1 asked."""
    counts = np.tile(SUMMER, 5) + 1

    answer = exceedance(counts, 59, IN_PARTS)

    assert answer.references == 3 * 12 + 1 - 2
    assert answer.expected == pytest.approx((2 + 1 + 1) / 3, rel=0.05)


def test_parts_of_unequal_length_are_longest_first():
    """Eleven weeks between: 4, 4 and 3."""
    method = replace(IN_PARTS, years=1, per_year=16, around=2, left_out=0)
    level = [5] * 3 + [9] * 4 + [20] * 4 + [60] * 3 + [5] * 2
    counts = np.tile(level, 3)

    answer = exceedance(counts, 32, method)

    assert answer.expected == pytest.approx(5, rel=1e-6)
    assert answer.phi == 1.0


def test_nothing_is_said_where_its_own_time_of_the_year_was_never_read():
    counts, exposure = np.tile(SUMMER, 5), np.full(60, 30.0)
    exposure[[22, 23, 24, 34, 35, 36, 46, 47, 48]] = 0

    assert exceedance(counts, 59, IN_PARTS, exposure) is None
