"""What each way costs over the years, by table and by law."""

import re
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.economics.chart import cost_chart
from compliance.economics.costs import (
    Way,
    break_even_month,
    compare,
    cost_by,
    line_of,
    renewals_by,
)
from compliance.economics.worth import Terms, in_todays_money, weigh

SEAL = Way("seal", "Lasting work", Decimal("4800"), Decimal("60"))
TREAT = Way("treat", "Carry on treating", Decimal("0"), Decimal("180"))

money = st.decimals(min_value=0, max_value=100_000, places=2)
lives = st.none() | st.integers(min_value=1, max_value=130)
ways = st.builds(Way, st.just("w"), st.just("A way"), money, money, lives)
years = st.integers(min_value=1, max_value=10)


@pytest.mark.parametrize(
    ("life", "month", "renewals"),
    [
        (None, 120, 0),
        (12, 0, 0),
        (12, 1, 0),
        (12, 12, 0),
        (12, 13, 1),
        (12, 24, 1),
        (12, 25, 2),
        (1, 3, 2),
    ],
)
def test_work_is_bought_anew_the_month_after_its_life_ends(life, month, renewals):
    way = Way("w", "A way", Decimal(1), Decimal(0), life)

    assert renewals_by(way, month) == renewals


def test_the_worked_example_of_the_algorithm_page():
    """The table in docs/algorithms/two-ways.md, to the last figure."""
    interim = Way("interim", "Interim fix", Decimal("900"), Decimal("120"), 24)

    seal, treat, fix = compare([SEAL, TREAT, interim], years=5).lines

    assert (seal.monthly_in_all, seal.total, seal.per_year) == (3600, 8400, 1680)
    assert (treat.monthly_in_all, treat.total, treat.per_year) == (10800, 10800, 2160)
    assert (fix.renewals, fix.once_in_all, fix.total) == (2, 2700, 9900)
    assert (seal.by_month[40], treat.by_month[40]) == (7200, 7200)


def test_the_yearly_figure_is_rounded_half_up():
    """2.675 becomes 2.68, not the 2.67 of binary floats."""
    way = Way("w", "A way", Decimal("5.35"), Decimal(0))

    assert line_of(way, 2).per_year == Decimal("2.68")


@pytest.mark.parametrize(
    ("dearer", "cheaper", "month"),
    [
        pytest.param([10, 10], [0, 5], None, id="ends above"),
        pytest.param([10, 10, 10], [0, 5, 10], 2, id="meets on the last month"),
        pytest.param([3, 3], [3, 3], 0, id="equal from the start"),
        pytest.param([3, 4, 9, 10], [0, 5, 6, 12], 3, id="parts again, and only the last counts"),
        pytest.param([0], [1], 0, id="one month"),
    ],
)
def test_break_even_is_the_last_meeting(dearer, cheaper, month):
    found = break_even_month([Decimal(n) for n in dearer], [Decimal(n) for n in cheaper])

    assert found == month


def test_a_saving_that_never_repays_has_no_break_even():
    meeting = compare([SEAL, Way("t", "Treat", Decimal(0), Decimal(120))], years=5).break_even

    assert (meeting.month, meeting.saved) == (None, -1200)


def test_the_dearest_start_is_set_against_the_cheapest_whatever_the_order():
    interim = Way("i", "Interim fix", Decimal("900"), Decimal("120"))

    meetings = {
        (found.dearer_now.key, found.cheaper_now.key, found.month)
        for order in ([SEAL, interim, TREAT], [TREAT, interim, SEAL], [interim, SEAL, TREAT])
        if (found := compare(order, years=5).break_even)
    }

    assert meetings == {("seal", "treat", 40)}


def test_one_way_alone_has_nothing_to_break_even_with():
    assert compare([TREAT], years=1).break_even is None


@pytest.mark.parametrize(
    ("way", "horizon", "words"),
    [
        (SEAL, 0, "years must be 1 to 10"),
        (SEAL, 11, "years must be 1 to 10"),
        (Way("w", "Way", Decimal(-1), Decimal(0)), 5, "less than nothing"),
        (Way("w", "Way", Decimal(0), Decimal(-1)), 5, "less than nothing"),
        (Way("w", "Way", Decimal(0), Decimal(0), 0), 5, "at least a month"),
    ],
)
def test_figures_that_make_no_sense_are_refused(way, horizon, words):
    with pytest.raises(ValueError, match=words):
        line_of(way, horizon)


@given(ways, years)
def test_a_line_never_falls_and_ends_at_its_parts(way, horizon):
    line = line_of(way, horizon)

    assert len(line.by_month) == horizon * 12 + 1
    assert list(line.by_month) == sorted(line.by_month)
    assert line.total == line.once_in_all + line.monthly_in_all == cost_by(way, horizon * 12)


@given(ways, ways, years)
def test_break_even_means_what_it_says(first, second, horizon):
    meeting = compare([first, second], years=horizon).break_even
    dearer = line_of(meeting.dearer_now, horizon).by_month
    cheaper = line_of(meeting.cheaper_now, horizon).by_month

    assert meeting.dearer_now.once >= meeting.cheaper_now.once
    assert (meeting.month is None) == (meeting.saved < 0)
    if meeting.month is not None:
        assert all(a <= b for a, b in list(zip(dearer, cheaper, strict=True))[meeting.month :])
        assert meeting.month == 0 or dearer[meeting.month - 1] > cheaper[meeting.month - 1]


@given(money, money, st.integers(1, 500), years)
def test_without_renewals_it_is_the_simple_payback_rounded_up(extra, monthly, saving, horizon):
    dearer = Way("d", "Dearer", extra, monthly)
    cheaper = Way("c", "Cheaper", Decimal(0), monthly + saving)

    payback = -(-extra // saving) if extra == extra // saving * saving else extra // saving + 1

    month = compare([dearer, cheaper], years=horizon).break_even.month
    assert month == (payback if payback <= horizon * 12 else None)


@given(ways, ways, years, money)
def test_the_same_extra_on_both_ways_moves_nothing(first, second, horizon, extra):
    def with_extra(way):
        return Way(way.key, way.label, way.once, way.monthly + extra, way.life_months)

    before = compare([first, second], years=horizon).break_even
    after = compare([with_extra(first), with_extra(second)], years=horizon).break_even

    assert (before.month, before.saved) == (after.month, after.saved)


def test_the_picture_says_in_words_what_it_draws():
    svg = ElementTree.fromstring(
        cost_chart(compare([SEAL, TREAT], years=5), currency="GBP", name="cost")
    )
    words = " ".join(svg.itertext())

    assert svg.attrib["aria-labelledby"] == "cost-title cost-desc"
    assert "over 5 years" in words
    assert "Lasting work: GBP 4,800 at the start, GBP 8,400 after 5 years." in words
    assert "From month 40 on, Lasting work has cost no more than Carry on treating." in words


def test_the_picture_says_when_its_money_is_todays():
    today = in_todays_money(weigh([SEAL, TREAT], Terms(5, Decimal("0.06"))))
    svg = ElementTree.fromstring(
        cost_chart(today, currency="GBP", name="cost", in_todays_money=True)
    )
    words = " ".join(svg.itertext())

    assert "over 5 years, in today's money" in words
    assert "GBP spent so far, in today's money" in words
    assert "From month 45 on, Lasting work has cost no more than Carry on treating." in words
    assert "today" not in cost_chart(compare([SEAL], years=5), currency="GBP", name="cost")


def test_the_picture_has_no_style_and_no_raw_names():
    nasty = Way("n", '<script>"&', Decimal(5), Decimal(1))
    picture = cost_chart(compare([nasty, TREAT], years=1), currency="GBP", name='a"b')

    assert "<script" not in picture
    assert not re.search(r"\s(style|on\w+|class)=", picture)
    ElementTree.fromstring(picture)


@given(st.lists(ways, min_size=1, max_size=4), years)
def test_every_line_stays_within_the_drawing(several, horizon):
    picture = cost_chart(compare(several, years=horizon), currency="GBP", name="c")

    for points in re.findall(r'points="([^"]*)"', picture):
        for pair in points.split():
            x, y = map(float, pair.split(","))
            assert 56 <= x <= 430 - 134
            assert 17.9 <= y <= 246.1


def test_a_picture_of_nothing_is_refused():
    with pytest.raises(ValueError, match="no way to draw"):
        cost_chart(compare([], years=1), currency="GBP", name="c")
