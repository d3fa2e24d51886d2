"""The exact test of a new count against a baseline, by hand and against scipy.

After a baseline of n clean months the chance that x come in the next one is (1 / (n + 1)) to the
power of x: each of x individuals falls on the last of n + 1 months. No printed source; computed.
"""

import csv
from math import inf
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import betabinom, binom, binomtest

from compliance.trends.alarms import clumped_tail, most_expected, tail
from compliance.trends.simulate import Clumps, drawn, three_sigma

with (Path(__file__).parent / "data" / "predictive-counts.csv").open() as lines:
    ROWS = [{name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)]


@pytest.mark.parametrize(
    ("months", "count", "p"),
    [
        (6, 1, 0.142857142857),
        (6, 3, 0.002915451895),
        (12, 1, 0.076923076923),
        (12, 2, 0.005917159763),
        (12, 3, 0.000455166136),
        (24, 2, 0.0016),
        (24, 4, 2.56e-06),
    ],
)
def test_from_a_baseline_of_none(months, count, p):
    assert tail(count, 0, 1 / (months + 1)) == pytest.approx(p, rel=1e-9)


def test_sixty_six_counts_against_their_baselines():
    """Baselines of none to many over 6 to 24 months, and two by trap-days (6 in 3,360, then 3 in
    280: 0.0269). Computed with scipy's binomial distribution."""
    for row in ROWS:
        share = row["since_days"] / (row["since_days"] + row["before_days"])

        assert tail(row["since"], row["before"], share) == pytest.approx(row["p"], abs=1e-11), row
    assert len(ROWS) == 66


# Guidance by simulation of 20,000 places, no published values: twelve baseline months, then twelve
# more. False alarms a month of the three sigma limit and of the exact test at 0.005, and how often
# a tripling is seen within three months by either.
@pytest.mark.parametrize(
    ("mean", "k", "sigma", "exact", "sigma_sees", "exact_sees"),
    [
        (0.1, inf, 0.0646, 0.00010, 0.4261, 0.0104),
        (0.3, inf, 0.0475, 0.00127, 0.4058, 0.0742),
        (0.5, inf, 0.0270, 0.00170, 0.4471, 0.1302),
        (1, inf, 0.0165, 0.00195, 0.5841, 0.2962),
        (2, inf, 0.0122, 0.00245, 0.7988, 0.6059),
        (4, inf, 0.0080, 0.00305, 0.9647, 0.9222),
        (0.1, 1.0, 0.0629, 0.00063, 0.4128, 0.0323),
        (0.3, 1.0, 0.0616, 0.00575, 0.4598, 0.1772),
        (0.5, 1.0, 0.0532, 0.01056, 0.5151, 0.2893),
        (1, 1.0, 0.0585, 0.02268, 0.6324, 0.4824),
        (2, 1.0, 0.0795, 0.04849, 0.7322, 0.6561),
        (4, 1.0, 0.1100, 0.08776, 0.8110, 0.7782),
    ],
)
def test_rules_on_sparse_counts(mean, k, sigma, exact, sigma_sees, exact_sees):
    random = np.random.default_rng(9)
    clumps = Clumps() if np.isinf(k) else Clumps(k, "zone")
    places = 20_000
    past = drawn(random, np.array(mean), clumps, (places, 12))
    quiet = drawn(random, np.array(mean), clumps, (places, 12))
    risen = drawn(random, np.array(3 * mean), clumps, (places, 3))

    def by_sigma(month):
        return three_sigma(np.column_stack([past, month]))

    def by_test(month):
        return tail(month, past.sum(axis=1), 1 / 13) <= 0.005

    for rule, false, sees in ((by_sigma, sigma, sigma_sees), (by_test, exact, exact_sees)):
        said = np.mean([rule(month) for month in quiet.T])
        seen = np.any([rule(month) for month in risen.T], axis=0).mean()
        # Months of a place share its baseline; four standard errors of both simulations.
        assert said == pytest.approx(false, abs=4 * np.sqrt(2 * max(false, 1e-4) / places))
        assert seen == pytest.approx(sees, abs=4 * np.sqrt(2 * sees * (1 - sees) / places))


@pytest.mark.parametrize(
    ("since", "before", "share"), [(5, 14, 1 / 13), (18, 14, 0.2), (60, 30, 0.4866)]
)
def test_unequal_exposure_against_the_binomial(since, before, share):
    """scipy 1.17.1; 60 in 51477.5 against 30 in 54308.7 is the example of Gu, Ng, Tang and Schucany
    2008, Biometrical J. 50:283, one-sided exact p 0.000428."""
    assert tail(since, before, share) == pytest.approx(binom.sf(since - 1, since + before, share))


def test_the_example_of_gu_and_others():
    share = 51477.5 / (51477.5 + 54308.7)

    assert tail(60, 30, share) == pytest.approx(0.000428, abs=5e-7)
    assert tail(60, 30, share, counted=0.5) == pytest.approx(0.000310, abs=5e-7)  # their mid-p
    assert tail(60, 30, share) == binomtest(60, 90, share, alternative="greater").pvalue


@pytest.mark.parametrize(
    ("since", "before", "a", "b"),
    [(3, 2, 1, 12), (30, 30, 2, 24), (400, 1590, 3, 20), (2, 8, 0.2, 0.5)],
)
def test_clumped_counts_against_the_beta_binomial(since, before, a, b):
    """scipy 1.17.1, betabinom."""
    expected = betabinom.sf(since - 1, since + before, a, b)

    assert clumped_tail(since, before, a, b) == pytest.approx(expected, rel=1e-7)


def test_what_a_count_of_none_still_allows():
    """3.0 where counts come one by one (Garwood 1936, one-sided; 30 device-nights: 9.99 per 100),
    19 where k is 1: (1 + 19) to the power of -1 is 0.05."""
    assert most_expected(0, float("inf")) / 30 * 100 == pytest.approx(9.9858, abs=1e-3)
    assert most_expected(0, 1.0) == pytest.approx(19.0)
