"""Whether work helped is said with its limits, and not at all where it is not known."""

from itertools import pairwise
from math import inf, isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.trends.effect import (
    _STEPS,
    Ratio,
    Window,
    effect,
    p_fewer,
    p_more,
    rate_ratio,
    ratio_of_ratios,
    size_words,
)

UNHURRIED = settings(deadline=None)
"""scipy is loaded within the first example, which then takes as long as a thousand others."""

MONTH = 1000.0
ALONE = "Whether the work did it is not known, as no zone without it was compared."

WINDOWS = st.builds(Window, st.integers(0, 400), st.integers(1, 4000).map(float))
PHI = st.sampled_from([1.0, 1.5, 3.0, 40.0])


def window(count: int, exposure: float = MONTH, full: bool = False) -> Window:
    return Window(count, exposure, full)


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        pytest.param(
            window(60),
            window(20),
            f"Down to about a third of what it was; between a sixth and three fifths. {ALONE}",
            id="fewer",
        ),
        pytest.param(
            window(20),
            window(60),
            "Up to about three times what it was; between one and three quarter times and six "
            f"times. {ALONE}",
            id="more",
        ),
        pytest.param(
            window(60),
            window(0),
            f"None was caught after; that still allows up to a tenth of what it was. {ALONE}",
            id="none after",
        ),
        pytest.param(
            window(0),
            window(60),
            f"Up to at least 15 times what it was. {ALONE}",
            id="none before",
        ),
        pytest.param(
            window(6),
            window(2),
            "Not known whether it changed: it may be anything from a fiftieth of what it was to "
            "twice that.",
            id="too few to tell",
        ),
        pytest.param(
            window(3),
            window(0),
            "Not known whether it changed: it may be anything up to two and a half times what it "
            "was.",
            id="three and none",
        ),
        pytest.param(
            window(0),
            window(3),
            "Not known whether it changed: it may be anything from two fifths of what it was "
            "upwards.",
            id="none and three",
        ),
        pytest.param(
            window(0), window(0), "Not known: none was caught before or after.", id="none at all"
        ),
        pytest.param(
            window(0, 0.0), window(9), "Not known: nobody could look before.", id="no days before"
        ),
        pytest.param(
            window(9), window(0, 0.0), "Not known: nobody could look after.", id="no days after"
        ),
        pytest.param(
            window(60, full=True),
            window(20),
            f"Down to at most three fifths of what it was. {ALONE}",
            id="full before",
        ),
        pytest.param(
            window(20),
            window(60, full=True),
            f"Up to at least one and three quarter times what it was. {ALONE}",
            id="full after",
        ),
        pytest.param(
            window(60),
            window(20, full=True),
            "Not known whether it changed: it may be anything from a sixth of what it was upwards.",
            id="full after, so that it may be more",
        ),
        pytest.param(
            window(60, full=True),
            window(20, full=True),
            "Not known whether it changed: it may be anything.",
            id="full both times",
        ),
    ],
)
def test_a_change_is_said_with_its_limits(before, after, words):
    assert effect(before, after).words == words


@pytest.mark.parametrize(
    ("others", "words"),
    [
        pytest.param(
            (window(100), window(95)),
            "Against the zones without the work it is about a third of what was to be expected; "
            "between a sixth and two thirds.",
            id="others stayed",
        ),
        pytest.param(
            (window(100), window(30)),
            "Against the zones without the work it may be anything from half of what was to be "
            "expected to two and a half times that, so that it is not known whether the work did "
            "it.",
            id="others fell as well",
        ),
        pytest.param(
            (window(100), window(5)),
            "Against the zones without the work it is about seven times what was to be expected; "
            "between twice and 24 times.",
            id="others fell further",
        ),
        pytest.param(
            (window(0), window(0)),
            "The zones without the work tell nothing that it could be compared with.",
            id="others had none",
        ),
    ],
)
def test_whether_the_work_did_it_is_asked_of_zones_without_it(others, words):
    answer = effect(window(60), window(20), others=others)

    first = "Down to about a third of what it was; between a sixth and three fifths. "
    assert answer.words == first + words


def test_the_example_of_the_document():
    """docs/algorithms/rates-and-effects.md (Did it help?)."""
    answer = effect(window(60), window(20), others=(Window(100, 2000.0), Window(95, 2000.0)))

    assert (answer.ratio.value, answer.others.value) == pytest.approx((1 / 3, 0.95))
    assert answer.against_others.value == pytest.approx(0.351, abs=5e-4)
    assert (answer.ratio.lower, answer.ratio.upper) == pytest.approx((0.190, 0.561), abs=5e-4)
    assert (answer.against_others.lower, answer.against_others.upper) == pytest.approx(
        (0.186, 0.645), abs=5e-4
    )
    assert answer.words == (
        "Down to about a third of what it was; between a sixth and three fifths. "
        "Against the zones without the work it is about a third of what was to be expected; "
        "between a sixth and two thirds."
    )


def test_what_is_not_known_here_cannot_be_compared():
    others = (window(100), window(30))

    assert effect(window(0), window(0), others=others).words == (
        "Not known: none was caught before or after."
    )
    assert effect(window(20), window(18), others=(window(20), window(21))).words == (
        "Not known whether it changed: it may be anything from two fifths of what it was to "
        "twice that. Against the zones without the work it may be anything from three tenths of "
        "what was to be expected to two and a half times that."
    )


def test_a_full_trap_leaves_one_side_open():
    here, others = (window(60), window(20)), (window(100), window(95))
    full_here = (window(60, full=True), window(20)), (window(60), window(20, full=True))
    full_there = (window(100, full=True), window(95)), (window(100), window(95, full=True))
    exact = ratio_of_ratios(here, others)

    assert ratio_of_ratios(full_here[0], others) == Ratio(exact.value, 0.0, exact.upper)
    assert ratio_of_ratios(full_here[1], others) == Ratio(exact.value, exact.lower, inf)
    assert ratio_of_ratios(here, full_there[0]) == Ratio(exact.value, exact.lower, inf)
    assert ratio_of_ratios(here, full_there[1]) == Ratio(exact.value, 0.0, exact.upper)


def test_what_can_be_judged_together_has_a_p_value_and_nothing_else_has():
    assert isnan(effect(window(0), window(0)).p)
    assert isnan(effect(window(0, 0.0), window(3)).p)
    assert effect(window(5), window(5)).p == 1.0
    assert 0 < effect(window(60), window(20)).p < 1e-4


@pytest.mark.parametrize("wrong", [Window(-1, 5.0), Window(0, -5.0), Window(3, 0.0)])
def test_a_count_needs_days(wrong):
    for compare in (rate_ratio, p_more, p_fewer):
        with pytest.raises(ValueError, match="needs days"):
            compare(wrong, window(3))
    with pytest.raises(ValueError, match="needs days"):
        ratio_of_ratios((window(3), window(3)), (window(3), wrong))


@UNHURRIED
@given(WINDOWS, WINDOWS, PHI)
def test_limits_hold_the_ratio_and_say_the_same_as_the_p_value(before, after, phi):
    ratio = rate_ratio(before, after, phi=phi)

    if ratio.value is None:
        assert (ratio.lower, ratio.upper) == (0.0, inf)
        return
    assert ratio.lower <= ratio.value <= ratio.upper
    assert (ratio.upper < 1.0) == (p_fewer(before, after, phi=phi) < 0.025)
    assert (ratio.lower > 1.0) == (p_more(before, after, phi=phi) < 0.025)


@UNHURRIED
@given(WINDOWS, WINDOWS, PHI)
def test_backwards_it_is_the_reciprocal(before, after, phi):
    there, back = rate_ratio(before, after, phi=phi), rate_ratio(after, before, phi=phi)

    if there.lower:
        assert back.upper == pytest.approx(1 / there.lower, rel=1e-6)
    else:
        assert back.upper == inf


def test_a_small_part_of_a_clump_leaves_a_far_limit_and_no_fault():
    """One caught before, where clumps are of 40 and of 4,000: 0.025 to the power of as many."""
    upper = rate_ratio(Window(1, 1.0), Window(0, 1.0), phi=40.0).upper

    assert upper == pytest.approx(40.0**40, rel=1e-9)
    assert rate_ratio(Window(1, 1.0), Window(0, 1.0), phi=4000.0).upper == inf


@settings(UNHURRIED, max_examples=60)
@given(WINDOWS, WINDOWS, WINDOWS, WINDOWS, PHI)
def test_a_comparison_is_never_surer_than_it_can_be(before, after, other_before, other_after, phi):
    here, others = (before, after), (other_before, other_after)
    against = ratio_of_ratios(here, others, phi=phi)
    swapped = ratio_of_ratios(others, here, phi=phi)

    assert against.lower <= against.upper
    if against.value is not None:
        assert against.lower <= against.value * (1 + 1e-9)
        assert against.value <= against.upper * (1 + 1e-9)
    if against.lower:
        assert swapped.upper == pytest.approx(1 / against.lower, rel=1e-6)


def test_more_clumps_make_wider_limits():
    here, others = (window(60), window(20)), (window(100), window(95))

    for narrow, wide in pairwise((1.0, 1.5, 3.0, 9.0)):
        for limits in (
            lambda phi: rate_ratio(*here, phi=phi),
            lambda phi: ratio_of_ratios(here, others, phi=phi),
        ):
            assert limits(wide).lower < limits(narrow).lower
            assert limits(wide).upper > limits(narrow).upper


def clumped(chance, mean, readings, runs):
    """Sums over readings, negative binomial with k = 1."""
    return chance.negative_binomial(1.0, 1.0 / (1.0 + mean), size=(runs, readings)).sum(axis=1)


def test_where_nothing_changed_hardly_anything_is_claimed():
    """Constructed: 12 readings before, 12 after, 24 and 24 elsewhere, mean 2, k = 1, so that phi is
    3. Limits that know of the clumps claim a change in fewer than 5 of 100; blind ones in 20."""
    chance = np.random.default_rng(20261128)
    before, after, other_before, other_after = (
        clumped(chance, 2.0, readings, 400) for readings in (12, 12, 24, 24)
    )
    claims = {"ratio": 0, "against": 0, "blind": 0}
    for row in zip(before, after, other_before, other_after, strict=True):
        here = Window(int(row[0]), 336.0), Window(int(row[1]), 336.0)
        others = Window(int(row[2]), 672.0), Window(int(row[3]), 672.0)
        claims["ratio"] += rate_ratio(*here, phi=3.0).change != "not_known"
        claims["against"] += ratio_of_ratios(here, others, phi=3.0).change != "not_known"
        claims["blind"] += rate_ratio(*here).change != "not_known"

    assert claims["ratio"] <= 20
    assert claims["against"] <= 20
    assert claims["blind"] >= 60


def test_the_worst_month_is_no_fair_before():
    """Constructed: twelve months with mean 4 in which nothing is done. Against the worst of them, a
    usual month seems fewer far too often; against all twelve it does so as seldom as promised."""
    chance = np.random.default_rng(20261128)
    months = chance.poisson(4.0, size=(600, 12))
    after = chance.poisson(4.0, size=600)

    def fewer(counts, exposure):
        return np.mean(
            [
                rate_ratio(Window(int(before), exposure), Window(int(late), 28.0)).change == "fewer"
                for before, late in zip(counts, after, strict=True)
            ]
        )

    assert fewer(months.max(axis=1), 28.0) > 0.06
    assert fewer(months.sum(axis=1), 336.0) < 0.025


@pytest.mark.parametrize(
    ("ratio", "near", "down", "up"),
    [
        (0.004, "less than a hundredth", "less than a hundredth", "a hundredth"),
        (1 / 3, "a third", "a third", "a third"),
        (0.35, "a third", "a third", "two fifths"),
        (0.5, "half", "half", "half"),
        (0.93, "nine tenths", "nine tenths", "nearly all of it"),
        (0.97, "as much", "nine tenths", "nearly all of it"),
        (1.0, "as much", "as much", "as much"),
        (1.03, "as much", "slightly more", "one and a tenth times"),
        (1.4, "one and a half times", "one and a quarter times", "one and a half times"),
        (2.0, "twice", "twice", "twice"),
        (9.6, "ten times", "nine times", "ten times"),
        (14.5, "14 times", "14 times", "15 times"),
        (1234.5, "1,234 times", "1,234 times", "1,235 times"),
    ],
)
def test_sizes_in_words(ratio, near, down, up):
    words = (size_words(ratio, way, of="") for way in ("near", "down", "up"))

    assert tuple(words) == (near, down, up)


@pytest.mark.parametrize(
    ("ratio", "towards", "words"),
    [
        (0.004, "near", "less than a hundredth of it"),
        (0.25, "near", "a quarter of it"),
        (0.95, "up", "nearly it"),
        (1.0, "near", "it"),
        (1.05, "down", "a little more than it"),
        (2.0, "near", "twice it"),
        (30.0, "near", "30 times it"),
    ],
)
def test_sizes_of_something(ratio, towards, words):
    assert size_words(ratio, towards, of="it") == words


def test_steps_go_up_and_never_leap():
    sizes = [size for size, _ in _STEPS]

    assert sizes == sorted(set(sizes))
    assert all(high / low <= 2.5 for low, high in pairwise(sizes))


@UNHURRIED
@given(st.floats(0.01, 10))
def test_words_of_limits_are_never_tighter_than_their_figures(ratio):
    size_of = {words: size for size, words in _STEPS} | {
        "as much": 1.0,
        "nearly all of it": 1.0,
        "slightly more": 1.0,
    }

    assert size_of[size_words(ratio, "down", of="")] <= ratio * (1 + 1e-6)
    assert size_of[size_words(ratio, "up", of="")] >= ratio * (1 - 1e-6)
