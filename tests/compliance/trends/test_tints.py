"""Tints and sizes of a plan: steps that their words tell truly."""

from hypothesis import given
from hypothesis import strategies as st

from compliance.trends.tints import LEAST_SIZE, MOST_SIZE, Tints, plan_tints

rates = st.none() | st.floats(0, 5000)


@given(st.lists(rates, max_size=40))
def test_a_higher_rate_never_has_a_weaker_tint_nor_a_smaller_size(
    found: list[float | None],
) -> None:
    tints = plan_tints(found)
    ordered = sorted(rate for rate in found if rate is not None)
    of = [tints.of(rate) for rate in ordered]
    sizes = [tints.size(rate) for rate in ordered]
    assert of == sorted(of)  # type: ignore[type-var]
    assert sizes == sorted(sizes)
    assert all(LEAST_SIZE <= size <= MOST_SIZE for size in sizes)


def test_not_read_is_no_tint_and_none_caught_the_weakest() -> None:
    tints = plan_tints([None, 0.0, 4.0])
    assert tints.of(None) is None
    assert tints.of(0.0) == 0
    assert tints.of(4.0) == 4
    assert tints.size(None) == tints.size(0.0) == LEAST_SIZE
    assert tints.size(4.0) == MOST_SIZE


def test_each_step_is_twice_the_one_before_and_says_so() -> None:
    tints = plan_tints([8.0, 3.0])
    assert tints.ends == (1.0, 2.0, 4.0, 8.0)
    assert tints.words == (
        (0, "none"),
        (1, "up to 1"),
        (2, "up to 2"),
        (3, "up to 4"),
        (4, "over 4"),
    )
    assert [tints.of(rate) for rate in (0.5, 1.0, 1.5, 3.0, 8.0)] == [1, 1, 2, 3, 4]


def test_one_month_that_towers_does_not_pale_all_others() -> None:
    tints = plan_tints([400.0, 8.0, 3.0])
    assert tints.ends[-1] == 8.0
    assert tints.of(400.0) == 4
    assert tints.size(400.0) == MOST_SIZE


def test_where_nothing_was_caught_there_is_one_tint() -> None:
    tints = plan_tints([0.0, None])
    assert tints == Tints(())
    assert tints.words == ((0, "none"),)
    assert tints.of(0.0) == 0
