"""Control charts against NIST/SEMATECH e-Handbook of Statistical Methods, doi:10.18434/M32189, and
Montgomery, Introduction to Statistical Quality Control, as printed in the vignette of R package
qcc 3.0. Printed values were seen there or in public test files that cite the page, and recomputed.

Charts of single values and moving ranges (e-Handbook 6.3.2.2) and limits that signal too few are
not checked: nothing here draws them.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.special import gammainc

from compliance.trends.alarms import poisson_alarm
from compliance.trends.charts import cusum, ewma, u_chart
from compliance.trends.simulate import three_sigma

DATA = Path(__file__).parent / "data"

WAFERS = [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19]
WAFERS += [16, 31, 13]
BOARDS = [21, 24, 16, 12, 15, 5, 28, 20, 31, 25, 20, 24, 16, 19, 10, 17, 13, 22, 18, 39, 30, 24, 16]
BOARDS += [19, 17, 15]


def test_counts_chart_of_wafers():
    """6.3.3.1: centre 16, limits 4 and 28. Wafer 24 (31) is out; wafer 3 (28) is on the
    limit, which is inside."""
    chart = u_chart(WAFERS, [1.0] * 25)

    assert (chart.centre, chart.lower[0], chart.upper[0]) == (16.0, 4.0, 28.0)
    assert [place + 1 for place in chart.out(WAFERS)] == [24]


def test_circuit_boards_with_two_explained():
    """Montgomery: 19.84615, 6.481447..33.21086; without 6 and 20 19.66667, 6.362532..32.9708."""
    first = u_chart(BOARDS, [1.0] * 26)
    explained = first.out(BOARDS)
    again = u_chart(BOARDS, [1.0] * 26, without=explained)

    assert [place + 1 for place in explained] == [6, 20]
    assert (first.centre, first.lower[0], first.upper[0]) == pytest.approx(
        (19.84615, 6.481447, 33.21086), abs=5e-6
    )
    assert (again.centre, again.lower[0], again.upper[0]) == pytest.approx(
        (19.66667, 6.362532, 32.9708), abs=5e-6
    )


def test_circuit_boards_that_came_later():
    """Montgomery: by the limits of the 24 boards left none of the next twenty is out. As rates of
    100 boards: 0.1966667, 0.06362532..0.329708."""
    later = [16, 18, 12, 15, 24, 21, 28, 20, 25, 19, 18, 21, 16, 22, 19, 12, 14, 9, 16, 21]
    limits = u_chart(BOARDS, [1.0] * 26, without=[5, 19])
    rates = u_chart(BOARDS, [100.0] * 26, without=[5, 19])

    assert [one for one in later if not limits.lower[0] <= one <= limits.upper[0]] == []
    assert (rates.centre, rates.lower[0], rates.upper[0]) == pytest.approx(
        (0.1966667, 0.06362532, 0.329708), abs=5e-8
    )


def test_computers_with_equal_exposure():
    """Montgomery: 1.93, 0.06613305..3.793867 for 5 computers each."""
    counts = [10, 12, 8, 14, 10, 16, 11, 7, 10, 15, 9, 5, 7, 11, 12, 6, 8, 10, 7, 5]
    chart = u_chart(counts, [5.0] * 20)

    assert (chart.centre, chart.lower[0], chart.upper[0]) == pytest.approx(
        (1.93, 0.06613305, 3.793867), abs=5e-7
    )


def test_dyed_cloth_with_unequal_exposure():
    """Montgomery (1991) pp. 183-184; limits recomputed. 153 / 107.5, not the mean of ten rates."""
    counts = [14, 12, 20, 11, 7, 10, 21, 16, 19, 23]
    exposure = [10.0, 8.0, 13.0, 10.0, 9.5, 10.0, 12.0, 10.5, 12.0, 12.5]
    chart = u_chart(counts, exposure)

    assert chart.centre == pytest.approx(1.423255813953, abs=1e-11)
    assert np.mean(np.divide(counts, exposure)) == pytest.approx(1.39724, abs=5e-6)
    assert chart.upper == pytest.approx(
        [
            *(2.55503769778, 2.688626427923, 2.41589419127, 2.55503769778, 2.584439526042),
            *(2.55503769778, 2.456426593866, 2.527761836942, 2.456426593866, 2.435552305129),
        ]
    )
    assert chart.lower == pytest.approx(
        [
            *(0.291473930127, 0.157885199984, 0.430617436637, 0.291473930127, 0.262072101865),
            *(0.291473930127, 0.390085034041, 0.318749790965, 0.390085034041, 0.410959322778),
        ]
    )
    assert chart.out(np.divide(counts, exposure)) == ()


def test_exponentially_weighted_means():
    """6.3.2.4: weight 0.3, target 50, sigma 2.0539; limits 52.5884 and 47.4115 (the page cuts off
    47.41157); no signal."""
    points = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3]
    points += [47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    printed = [50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36]
    printed += [49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]

    means, limits = ewma(points, target=50, sigma=2.0539, weight=0.3)

    assert means == pytest.approx(printed, abs=6e-3)
    assert (limits.upper[0], limits.lower[0]) == pytest.approx((52.5884, 47.4115), abs=1e-4)
    assert limits.out(means) == ()


def test_cumulative_sums():
    """6.3.2.3: target 325, k 0.3175, h 4.1959; signals at 14 to 20."""
    points = [324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6]
    points += [324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35]
    high = [
        0,
        0,
        0,
        0,
        0.03,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        3.01,
        4.94,
        7.45,
        10.63,
        11.99,
        14.44,
        16.0,
        19.04,
    ]
    low = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]

    above, below = cusum(points, target=325, slack=0.3175)

    assert above == pytest.approx(high, abs=0.006)
    assert below == pytest.approx(low, abs=0.006)
    assert [place + 1 for place in np.flatnonzero(above > 4.1959)] == [14, 15, 16, 17, 18, 19, 20]


with (DATA / "poisson-limits.csv").open() as lines:
    LIMITS = [{name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)]


@pytest.mark.parametrize("row", LIMITS, ids=lambda row: f"mean {row['mean']:g}")
def test_the_smallest_poisson_counts_that_signal(row):
    """Exact Poisson tails at 0.00135, 0.005 and 0.025, for 29 means from 0.1 to 30; computed, no
    printed source. Mean 0.5: from 5, 4 and 3."""
    for chance in ("0.00135", "0.005", "0.025"):
        at = int(poisson_alarm(row["mean"], float(chance)))

        assert at == row[f"at_{chance}"]
        assert gammainc(at, row["mean"]) == pytest.approx(row[f"p_{chance}"], abs=1e-11)
        assert row[f"p_{chance}"] <= float(chance) < gammainc(at - 1, row["mean"])


@pytest.mark.parametrize("row", LIMITS, ids=lambda row: f"mean {row['mean']:g}")
def test_where_three_sigma_signals_and_how_often_by_chance(row):
    """The usual limit on the same means: at 0.5 from 3 on, with 1.4 % false alarms. Computed."""
    at = int(row["three_sigma_at"])

    # Twelve months that have exactly this mean, as the rule reads the mean from its baseline.
    past = np.full((2, 12), row["mean"])
    assert three_sigma(np.column_stack([past, [at, at - 1]])).tolist() == [True, False]
    assert gammainc(at, row["mean"]) == pytest.approx(row["three_sigma_p"], abs=1e-11)


def test_there_are_29_means():
    assert (len(LIMITS), LIMITS[0]["mean"], LIMITS[-1]["mean"]) == (29, 0.1, 30.0)
