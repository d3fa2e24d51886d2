"""Before and after against published comparisons of two rates and of two by two counts.

Ratios and limits are R's (poisson.test, fisher.test of R 4.2.2) or stand in the paper that the test
names; R gives limits to all printed figures, so that the tolerance is half of the last of them.

Gu and others print p-values of eight tests. Ours is the exact one (0.000428), and the alarms take
its mid-p (0.000310, tests/outside/test_predictive_counts.py); Wald, score, square root and E tests
and their limits are not computed here, nor is their second example, printed for those alone.
"""

from math import inf

import pytest

from compliance.trends.effect import Window, effect, p_fewer, p_more, rate_ratio, ratio_of_ratios

# Gu K, Ng HKT, Tang ML, Schucany WR (2008) Biometrical J. 50:283-298, example 1: 60 cases in
# 51,477.5 person-years against 30 in 54,308.7. The p-value of the exact conditional test is the one
# of statsmodels, whose tests say that the paper prints it in the place of another one.
FEW, MANY = Window(30, 54308.7), Window(60, 51477.5)


def test_two_rates_of_gu_and_others():
    ratio = rate_ratio(FEW, MANY)

    assert ratio.value == pytest.approx(2.109997571755, abs=1e-10)
    assert (ratio.lower, ratio.upper) == pytest.approx((1.339735721773, 3.388365573616), abs=1e-9)
    assert p_more(FEW, MANY) == pytest.approx(0.000428052694, abs=5e-12)
    assert p_fewer(MANY, FEW) == p_more(FEW, MANY)


def test_both_ways_the_p_value_is_twice_the_smaller_tail():
    """R prints 0.000675, as it adds whatever is less likely on the other side. Twice the smaller
    tail can never contradict the limits, which are made of the same two tails."""
    assert effect(FEW, MANY).p == pytest.approx(2 * 0.000428052694, abs=1e-11)


def test_r_help_page_of_poisson_test():
    """Second example there: 11 in 800 against 21 in 3,011; 95 % limits recomputed with R 4.2.2."""
    ratio = rate_ratio(Window(21, 3011.0), Window(11, 800.0))

    assert ratio.value == pytest.approx(1.971488095238, abs=1e-10)
    assert (ratio.lower, ratio.upper) == pytest.approx((0.858426403392, 4.277265943654), abs=1e-9)


# Computed with scipy's binomial distribution; both ways counted as above. after, before.
@pytest.mark.parametrize(
    ("after", "before", "p", "lower", "upper"),
    [
        ((0, 100), (3, 100), 0.25, 0.0, 2.419951893353),
        ((3, 100), (0, 100), 0.25, 0.413231355031, inf),
        ((0, 30), (5, 30), 0.0625, 0.0, 1.091279105183),
        ((1, 30), (0, 300), 0.181818181818, 0.25641025641, inf),
        ((5, 40), (0, 20), 0.263374485597, 0.458177928658, inf),
    ],
)
def test_none_on_one_side(after, before, p, lower, upper):
    answer = effect(Window(*before), Window(*after))

    assert answer.p == pytest.approx(p, abs=1e-10)
    assert (answer.ratio.lower, answer.ratio.upper) == pytest.approx((lower, upper), abs=1e-9)


# R help page of fisher.test: a lady tasting tea (3 1 1 3) and convictions of twins (2 10 15 3),
# both after Fisher and Agresti. R's limits are from memory; its search for them ends within 0.0001,
# which is 1 in 100 of the smallest here. scipy's are held to more closely below.
@pytest.mark.parametrize(
    ("table", "confidence", "lower", "upper"),
    [
        pytest.param((3, 1, 1, 3), 0.95, 0.2117329, 626.2435, id="tea"),
        pytest.param((2, 10, 15, 3), 0.95, 0.003325764, 0.363182271, id="twins, 95 %"),
        pytest.param((2, 10, 15, 3), 0.99, 0.001386333, 0.578851645, id="twins, 99 %"),
    ],
)
def test_exact_limits_of_a_ratio_of_ratios(table, confidence, lower, upper):
    after, other_after, before, other_before = (Window(count, 100.0) for count in table)

    ratio = ratio_of_ratios((before, after), (other_before, other_after), confidence=confidence)

    assert (ratio.lower, ratio.upper) == pytest.approx((lower, upper), rel=0.011)


@pytest.mark.parametrize(
    ("here", "others"),
    [
        pytest.param((40, 9), (35, 31), id="middling"),
        pytest.param((1, 3), (3, 1), id="tea"),
        pytest.param((15, 2), (3, 10), id="twins"),
        pytest.param((8, 0), (6, 5), id="none after"),
    ],
)
def test_scipy_gives_the_same_limits_where_time_is_equal(here, others):
    from scipy.stats.contingency import odds_ratio

    theirs = odds_ratio([[here[1], here[0]], [others[1], others[0]]]).confidence_interval()

    ratio = ratio_of_ratios(
        (Window(here[0], 50.0), Window(here[1], 50.0)),
        (Window(others[0], 80.0), Window(others[1], 80.0)),
    )

    assert (ratio.lower, ratio.upper) == pytest.approx((theirs.low, theirs.high), rel=1e-9)


def test_henderson_and_tilton():
    """Cockroach medians of Sever et al. (2007) as quoted in a trade article: 308.5 to 56 treated,
    205.5 to 285 untreated: reduced by 86.9112 % (J. Econ. Entomol. 48:157-161). Doubled here, since
    counts are whole, which does not change the ratio."""
    ratio = ratio_of_ratios(
        (Window(617, 10.0), Window(112, 10.0)), (Window(411, 10.0), Window(570, 10.0))
    )

    assert 100 * (1 - ratio.value) == pytest.approx(86.911200204726, abs=1e-9)


# Cockroaches in 262 flats (Gelman A, Hill J 2007, section 6.2; data of the R package rstanarm):
# 3,607 in 104 untreated ones, 3,113 in 158 treated ones, with trap-time as given there. Dispersion
# and limits: quasi-Poisson regression on the treatment alone, recomputed with statsmodels 0.15.0.
UNTREATED, TREATED = Window(3607, 104.97142857142856), Window(3113, 162.54285714285714)
DISPERSION = 97.77423737356236
WALD = (0.34692159, 0.89544944)


def test_real_cockroaches_come_in_clumps():
    """The sum over the sum is the regression's ratio. Its limits are taken on another way, so that
    they differ a little, and ours are the wider ones; limits that know of no clumps would be
    eleven times too narrow."""
    ratio = rate_ratio(UNTREATED, TREATED, phi=DISPERSION)
    blind = rate_ratio(UNTREATED, TREATED)

    assert ratio.value == pytest.approx(0.5573605121152926, abs=1e-12)
    assert (ratio.lower, ratio.upper) == pytest.approx(WALD, rel=0.04)
    assert ratio.lower < WALD[0] < WALD[1] < ratio.upper
    assert (ratio.upper - ratio.lower) > 10 * (blind.upper - blind.lower)


def test_words_of_the_real_cockroaches():
    words = effect(UNTREATED, TREATED, phi=DISPERSION).words

    assert words.startswith(
        "Down to about three fifths of what it was; between a third and nearly all of it."
    )


def test_none_before_and_none_after():
    """Exact p 1 either way; on the page there is no p-value then, as nothing was compared."""
    nothing = Window(0, 100)

    assert (p_fewer(nothing, nothing), p_more(nothing, nothing)) == (1.0, 1.0)
    ratio = effect(nothing, nothing).ratio
    assert (ratio.value, ratio.lower, ratio.upper) == (None, 0.0, inf)


# Medians of Sever et al. (2007) as quoted in a trade article, and Abbott's formula (1925, from
# memory): each is one minus a ratio. Counts are made whole, which does not change a ratio.
@pytest.mark.parametrize(
    ("before", "after", "percent"),
    [
        pytest.param(853, 0, 100.0, id="426.5 to 0"),
        pytest.param(617, 112, 81.847649918963, id="308.5 to 56"),
        pytest.param(411, 570, -38.686131386861, id="205.5 to 285, untreated"),
        pytest.param(90, 18, 80.0, id="Abbott: 90 in 100 alive untreated, 18 treated"),
    ],
)
def test_reduced_by(before, after, percent):
    ratio = rate_ratio(Window(before, 100.0), Window(after, 100.0))

    assert 100 * (1 - ratio.value) == pytest.approx(percent, abs=1e-9)
