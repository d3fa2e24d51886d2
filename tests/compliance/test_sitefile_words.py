"""How days, amounts and signatures are said on paper, and where pins are drawn on a plan."""

import math
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from compliance.sitefile.content import Outline, Pin, Plan
from compliance.sitefile.drawing import PIN, draw
from compliance.sitefile.words import (
    amount,
    counted,
    days,
    listed,
    moment,
    money,
    pen_path,
    ranges,
    share,
)


def plain(text: str) -> str:
    return text.replace("\xa0", " ")


@pytest.mark.parametrize(
    ("at", "zone", "said"),
    [
        (datetime(2026, 3, 29, 0, 59, tzinfo=UTC), "Europe/London", "Sun 29 Mar 2026, 00:59 GMT"),
        (datetime(2026, 3, 29, 1, 0, tzinfo=UTC), "Europe/London", "Sun 29 Mar 2026, 02:00 BST"),
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "Europe/London", "Sun 25 Oct 2026, 01:30 BST"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "Europe/London", "Sun 25 Oct 2026, 01:30 GMT"),
        (datetime(2026, 1, 1, 0, 0, tzinfo=UTC), "America/New_York", "Wed 31 Dec 2025, 19:00 EST"),
    ],
)
def test_an_instant_names_its_zone_on_both_sides_of_a_clock_change(at, zone, said):
    assert plain(moment(at, zone)) == said


def test_days_without_an_end_go_on():
    assert plain(days(date(2026, 2, 3), None)) == "from Tue 3 Feb 2026"
    assert plain(days(date(2026, 2, 3), date(2026, 2, 3))) == "Tue 3 Feb 2026"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("4.50", "4.5 g"),
        ("100.00", "100 g"),
        ("0.05", "0.05 g"),
        ("1E+2", "100 g"),
        ("100", "100 g"),
    ],
)
def test_an_amount_loses_only_zeros_that_say_nothing(value, said):
    assert plain(amount(Decimal(value), "g")) == said


def test_money_carries_its_currency():
    assert money(Decimal("1250"), "GBP") == "£1,250.00"
    assert plain(money(Decimal("1250"), "NOK")) == "NOK 1,250.00"


@pytest.mark.parametrize(
    ("part", "whole", "said"), [(0, 0, "–"), (0, 3, "0 %"), (199, 200, "99 %"), (3, 3, "100 %")]
)
def test_a_share_is_never_rounded_up_to_all(part, whole, said):
    assert plain(share(part, whole)) == said


@pytest.mark.parametrize(
    ("numbers", "said"),
    [([], ""), ([3], "3"), ([2, 1], "1, 2"), ([1, 2, 3, 5, 6, 8], "1–3, 5, 6, 8"), ([4, 4], "4")],
)
def test_runs_of_numbers_are_drawn_together(numbers, said):
    assert ranges(numbers) == said


def test_words_are_listed_and_counted():
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert plain(counted(1, "visit")) == "1 visit"
    assert plain(counted(0, "visit")) == "0 visits"


def test_a_signature_keeps_to_its_box_and_to_its_points():
    path = pen_path([[(-1.0, 2.0), (0.5, 0.5)], [(0.25, 0.25)]])

    assert path == "M0.0 100.0L150.0 50.0M75.0 25.0h0.1"
    assert pen_path([[(0.1, 0.1)] * 9000]).count("L") == 4999
    assert pen_path([]) == ""


def plan_of(*pins: Pin, outlines: tuple[Outline, ...] = ()) -> Plan:
    return Plan("Ground floor", "plan.png", 2000, 1000, pins, outlines)


def places(plan: Plan) -> list[tuple[float, float]]:
    drawing = draw(plan, most_wide=200, most_high=150)
    return [(float(pin.x), float(pin.y)) for pin in drawing.pins]


def test_a_plan_is_drawn_as_large_as_fits_and_keeps_its_shape():
    drawing = draw(plan_of(), most_wide=200, most_high=50)

    assert (drawing.width, drawing.height) == ("100", "50")


def test_pins_in_one_place_are_drawn_apart_and_tied_to_it():
    drawing = draw(
        plan_of(*(Pin(n, "sticky", 0.5, 0.5) for n in range(1, 13))), most_wide=200, most_high=150
    )
    placed = [(float(pin.x), float(pin.y)) for pin in drawing.pins]

    nearest = min(
        math.dist(one, other) for n, one in enumerate(placed) for other in placed[n + 1 :]
    )
    assert nearest > 1.9 * PIN
    assert all(pin.leader.startswith("M100 50L") for pin in drawing.pins if pin.leader)
    assert sum(bool(pin.leader) for pin in drawing.pins) >= 10


def test_a_lone_pin_stands_where_its_monitor_stands():
    assert places(plan_of(Pin(1, "fly_light", 0.25, 0.5))) == [(50.0, 50.0)]


def test_pins_beyond_the_plan_are_drawn_at_its_edge():
    assert places(plan_of(Pin(1, "sticky", 7.0, -3.0)))[0][0] <= 200


def test_the_same_plan_is_drawn_the_same_way():
    plan = plan_of(*(Pin(n, "sticky", 0.5, 0.5) for n in range(40)))

    assert draw(plan, most_wide=200, most_high=150) == draw(plan, most_wide=200, most_high=150)


def test_an_outline_needs_three_corners_and_names_its_zone():
    line = Outline("Hatch", ((0.1, 0.1), (0.2, 0.2)))
    room = Outline("Bar", ((0.0, 0.0), (0.5, 0.0), (0.5, 0.5), (0.0, 0.5)))

    drawing = draw(plan_of(outlines=(line, room)), most_wide=200, most_high=150)

    assert [(one.zone, one.x, one.y) for one in drawing.outlines] == [("Bar", "50", "25")]
