"""Many tests at once against the worked example of Benjamini and Hochberg (1995).

J. R. Statist. Soc. B 57:289-300: fifteen p-values, of which the method rejects four at 0.05 where
Bonferroni rejects three. The paper was not seen; values and both numbers stand in many public
tests that cite it. Adjusted values: recomputed with statsmodels.
"""

import numpy as np
import pytest

from compliance.trends.many import judged_together

FIFTEEN = [
    *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
    *(0.0459, 0.324, 0.4262, 0.5719, 0.6528, 0.759, 1.0),
]
ADJUSTED = [
    *(0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.063857142857, 0.063857142857, 0.0645),
    *(0.0765, 0.486, 0.581181818182, 0.714875, 0.753230769231, 0.813214285714, 1.0),
]


def test_four_of_fifteen():
    many = judged_together(FIFTEEN, level=0.05)

    assert (many.looked_at, many.found) == (15, 4)
    assert many.stands_out.tolist() == [True] * 4 + [False] * 11
    assert many.adjusted.tolist() == pytest.approx(ADJUSTED, abs=1e-10)
    assert sum(15 * p <= 0.05 for p in FIFTEEN) == 3  # Bonferroni, which is not used


def test_a_large_p_value_pulls_the_smaller_ones_with_it():
    """Step-up: 0.04 is above 0.025, yet stands out, as 0.049 is not above 0.05."""
    assert judged_together([0.04, 0.049]).stands_out.tolist() == [True, True]
    assert judged_together([0.04, 0.05]).stands_out.tolist() == [True, True]
    assert judged_together([0.04, 0.051]).stands_out.tolist() == [False, False]


def test_statsmodels_says_the_same():
    from statsmodels.stats.multitest import multipletests

    p = np.random.default_rng(7).beta(0.5, 1.0, size=400)
    rejected, adjusted, *_ = multipletests(p, alpha=0.05, method="fdr_bh")

    many = judged_together(p)

    assert 0 < many.found < 400
    assert many.stands_out.tolist() == rejected.tolist()
    assert many.adjusted == pytest.approx(adjusted, abs=1e-12)
