"""The seasonal method against published code, and its limits against their formulas.

Farrington CP, Andrews NJ, Beale AD, Catchpole MA (1996) J. R. Statist. Soc. A 159:547-563 and
Noufaily A et al. (2013) Statistics in Medicine 32:1206-1222. The papers were not seen: the values
are those of R 4.2.2 with package surveillance 1.20.3 (algo.farrington, farringtonFlexible), with
which an implementation in Python agreed to 1.4e-4. Salmonella Agona by week, 1990-1995, is a data
set of that package; the months of a trap are constructed, with 15 planted in month 55 and 6 in 60.

Of the three limits that farringtonFlexible knows, ours is "nbPlugin"; "delta" and "muan" are not
computed here. Its score is not used either: it sets a mean on the log scale against a limit in
counts, so that only its upper limits are checked.
"""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from compliance.trends.alarms import clumped_limit, two_thirds_limit
from compliance.trends.seasons import (
    FARRINGTON,
    NOUFAILY,
    TEN_PARTS,
    Method,
    exceedance,
    weigh_down,
)

DATA = Path(__file__).parent / "data"


def rows_of(name: str) -> list[dict[str, str]]:
    with (DATA / name).open() as lines:
        return list(csv.DictReader(lines))


WEEKS = [int(row["count"]) for row in rows_of("salmonella-weekly.csv")]
MONTHS = [int(row["count"]) for row in rows_of("monthly-trap-constructed.csv")]


def test_the_weeks_of_a_rare_infection():
    """43 weeks with four years of three weeks on either side; alarms in weeks 284 and 285."""
    method = Method(years=4, around=3, chance=0.01, per_year=52, least=5)
    alarms = []
    for row in rows_of("salmonella-limits.csv"):
        week = int(row["week"])

        answer = exceedance(WEEKS, week - 1, method)

        assert answer.upper == pytest.approx(float(row["upper"]), abs=2e-4), week
        assert answer.expected == pytest.approx(float(row["expected"]), abs=2e-4), week
        assert answer.phi == pytest.approx(float(row["phi"]), abs=2e-4), week
        assert answer.trend == (row["trend"] == "1"), week
        alarms += [week] * answer.alarm
    assert alarms == [284, 285]


def test_the_weeks_of_a_rare_infection_by_the_improved_method():
    """The same 43 weeks with a year in ten parts, 26 weeks left out, chance 0.01: no alarm, as week
    284 with 7 is on its limit. A mean and a limit are printed where five came in four weeks."""
    rows = rows_of("salmonella-ten-parts.csv")
    for row in rows:
        week = int(row["week"])

        answer = exceedance(WEEKS, week - 1, TEN_PARTS)

        assert answer.phi == pytest.approx(float(row["phi"]), abs=2e-5), week
        assert not answer.alarm, week
        if row["upper"]:
            assert answer.expected == pytest.approx(float(row["expected"]), abs=2e-6), week
            assert answer.upper == int(row["upper"]), week
    assert (len(rows), WEEKS[283], exceedance(WEEKS, 283, TEN_PARTS).upper) == (43, 7, 7)


@pytest.mark.parametrize(("chance", "column"), [(0.05, "upper_5"), (0.01, "upper_1")])
def test_the_months_of_a_trap(chance, column):
    """24 months with three years of one month on either side; both planted months alarm."""
    alarms = []
    for row in rows_of("monthly-trap-limits.csv"):
        month = int(row["month"])

        answer = exceedance(MONTHS, month - 1, replace(FARRINGTON, chance=chance))

        assert answer.upper == pytest.approx(float(row[column]), abs=2e-6), month
        assert answer.references == int(row["references"]), month
        if chance == 0.05:
            assert answer.expected == pytest.approx(float(row["expected"]), abs=2e-6), month
        alarms += [month] * answer.alarm
    assert alarms == [55, 60]


def test_the_months_of_a_trap_by_the_improved_method():
    """farringtonFlexible with noPeriods 1, pastWeeksNotIncluded 1, nbPlugin, alpha 0.05."""
    alarms = []
    for row in rows_of("monthly-trap-limits.csv"):
        if row["improved_upper"]:
            month = int(row["month"])

            answer = exceedance(MONTHS, month - 1, replace(NOUFAILY, chance=0.05))

            assert answer.expected == pytest.approx(float(row["improved_expected"]), abs=2e-6)
            assert answer.upper == int(row["improved_upper"]), month
            alarms += [month] * answer.alarm
    assert alarms == [55, 60]


@pytest.mark.parametrize(
    ("mean", "phi", "variance", "z", "upper"),
    [
        (4.0, 1.0, 0.2, 1.959963984540054, 8.62823817698),
        (4.0, 1.0, 0.2, 1.6448536269514722, 7.807434080792),
        (1.0, 1.5, 0.1, 1.959963984540054, 4.320694003993),
        (1.0, 1.5, 0.1, 1.6448536269514722, 3.68804022491),
        (10.0, 2.0, 0.5, 2.5758293035489, 23.698232621125),
        (10.0, 2.0, 0.5, 2.3263478740408408, 22.208313151762),
        (0.3, 1.0, 0.05, 1.959963984540054, 2.029323252531),
        (0.3, 1.0, 0.05, 1.6448536269514722, 1.687172609513),
    ],
)
def test_the_limit_by_the_power_of_two_thirds(mean, phi, variance, z, upper):
    """1996, the formula; values computed."""
    assert two_thirds_limit(mean, phi, variance, z=z) == pytest.approx(upper, abs=1e-9)


@pytest.mark.parametrize(
    ("mean", "phi", "chance", "upper"),
    [
        (5.644914295729, 1.0, 0.05, 10),
        (1.723899, 1.43845875887, 0.01, 7),
        (2.0, 2.0, 0.05, 6),
        (0.5, 1.5, 0.01, 4),
        (0.2, 1.0, 0.01, 2),
    ],
)
def test_the_limit_by_the_negative_binomial(mean, phi, chance, upper):
    """2013: size mean / (phi - 1), probability 1 / phi; values computed in R."""
    assert clumped_limit(mean, phi, chance=chance) == upper


def test_earlier_peaks_are_weighed_down():
    """A unit test of R package surveillance: five residuals of 2 and threshold 0 give 1.6 and 0.4.

    Its residuals of 0 are not above 0, as here.
    """
    weights = weigh_down(np.array([0.0] * 5 + [2.0] * 5), 0.0)

    assert weights == pytest.approx([1.6] * 5 + [0.4] * 5)
