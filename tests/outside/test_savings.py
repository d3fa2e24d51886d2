"""The difference of two rates and its limits against published counts and other people's program.

Counts: example 1 (60 in 51,477.5 against 30 in 54,308.7) and example 2 (41 in 28,010 against 15 in
19,017) of Gu K, Ng HKT, Tang ML, Schucany WR (2008) Biometrical J. 50:283-298. The limits of their
difference are not printed there: they are those of statsmodels 0.15.0, ``confint_poisson_2indep``
with ``method="mover"``, ``method_mover="exact-c"``, ``compare="diff"``, run for this test.
"""

import pytest

from compliance.economics.savings import Sealing, Side, saving_of

YEAR = 365
EXAMPLES = [
    pytest.param(60, 51477.5, 30, 54308.7, 0.0002498114754077795, 0.0009930891311942245, id="1"),
    pytest.param(41, 28010, 15, 19017, 1.6827544016533177e-05, 0.0013019704961058664, id="2"),
]


def fewer_a_year(count, days, others, other_days):
    """Limits and estimate in visits a year; days may be parts here, as person-years are."""
    found = saving_of(Sealing(Side(days, (1,) * count), Side(other_days, (1,) * others)))
    assert found.yearly is not None
    return found.yearly


@pytest.mark.parametrize(("count", "days", "others", "other_days", "lower", "upper"), EXAMPLES)
def test_the_difference_of_two_published_rates(count, days, others, other_days, lower, upper):
    found = fewer_a_year(count, days, others, other_days)

    assert found.likely / YEAR == pytest.approx(count / days - others / other_days, rel=1e-12)
    assert found.lower / YEAR == pytest.approx(lower, rel=1e-9)
    assert found.upper / YEAR == pytest.approx(upper, rel=1e-9)


@pytest.mark.parametrize(
    ("count", "days", "others", "other_days"),
    [(0, 365, 0, 120), (7, 365, 0, 120), (3, 200, 9, 365), (1, 92, 1, 92)],
)
def test_small_counts_as_statsmodels_has_them(count, days, others, other_days):
    from statsmodels.stats.rates import confint_poisson_2indep

    lower, upper = confint_poisson_2indep(
        count, days, others, other_days, method="mover", method_mover="exact-c", compare="diff"
    )
    found = fewer_a_year(count, days, others, other_days)

    assert found.lower / YEAR == pytest.approx(lower, rel=1e-9)
    assert found.upper / YEAR == pytest.approx(upper, rel=1e-9)
