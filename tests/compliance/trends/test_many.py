"""What stands out among many, and how many were looked at."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.trends.many import judged_together, many_words

P_VALUES = st.lists(st.floats(0, 1), min_size=1, max_size=60)
NAN = float("nan")


def test_what_is_not_known_is_not_looked_at_and_costs_the_others_nothing():
    known = judged_together([0.02, 0.03])
    with_gaps = judged_together([[0.02, NAN], [NAN, 0.03]])

    assert (with_gaps.looked_at, with_gaps.not_known, with_gaps.found) == (2, 2, 2)
    assert with_gaps.stands_out.tolist() == [[True, False], [False, True]]
    assert with_gaps.adjusted[0, 0] == known.adjusted[0]
    assert np.isnan(with_gaps.adjusted[0, 1])


@given(P_VALUES, st.randoms(use_true_random=False))
def test_the_order_they_come_in_does_not_matter(values, chance):
    places = list(range(len(values)))
    chance.shuffle(places)

    straight = judged_together(values).adjusted
    shuffled = judged_together([values[place] for place in places]).adjusted

    assert shuffled.tolist() == [straight[place] for place in places]


@given(P_VALUES)
def test_a_smaller_p_value_never_stands_out_less(values):
    many = judged_together(values)
    order = np.argsort(values)

    assert np.all(np.diff(many.adjusted[order]) >= 0)
    assert np.all(many.adjusted >= np.array(values) * (1 - 1e-12))
    assert np.all(many.adjusted <= 1)


def test_where_nothing_has_changed_hardly_any_run_has_an_alarm():
    """Constructed: 400 companies with 300 zones each and nothing to find. With every p-value true,
    5 in 100 of them have any alarm; one by one, each would have about 15."""
    chance = np.random.default_rng(20261128)
    p = chance.uniform(size=(400, 300))

    alarmed = np.mean([judged_together(company).found > 0 for company in p])

    assert alarmed < 0.09
    assert 14 < np.mean(np.sum(p <= 0.05, axis=1)) < 16


@pytest.mark.parametrize("wrong", [-0.01, 1.01])
def test_a_p_value_lies_between_0_and_1(wrong):
    with pytest.raises(ValueError, match="between 0 and 1"):
        judged_together([0.5, wrong])


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_level_lies_between_0_and_1(level):
    with pytest.raises(ValueError, match="so does the level"):
        judged_together([0.5], level=level)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([], "None could be looked at."),
        ([NAN], "None could be looked at. 1 not yet known."),
        ([0.5] * 1480 + [NAN] * 20, "1,480 looked at; none stands out. 20 not yet known."),
        (
            [0.001, 0.9],
            "2 looked at; 1 stands out. "
            "The limit is set so that, averaged over many such looks, chance makes up no more than "
            "5 in 100 of what stands out.",
        ),
        (
            [0.001, 0.001],
            "2 looked at; 2 stand out. "
            "The limit is set so that, averaged over many such looks, chance makes up no more than "
            "5 in 100 of what stands out.",
        ),
    ],
)
def test_how_many_were_looked_at_is_said(values, words):
    assert many_words(judged_together(values)) == words
