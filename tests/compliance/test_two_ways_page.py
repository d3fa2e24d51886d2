"""The example on docs/algorithms/two-ways.md: its figures are worked out, and stand on the page."""

from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest

from compliance.economics.flows import annuity_factor, per_month
from compliance.economics.ranges import Range, RangedWay, exactly, spread
from compliance.economics.turning import turning_points
from compliance.economics.worth import Terms, weigh
from tests.compliance.economics_cases import PATCH, PROOF, SIX, TREAT, ZERO

PAGE = Path(__file__).parents[2] / "docs" / "algorithms" / "two-ways.md"


def told(value: Decimal) -> str:
    return f"{value.quantize(Decimal('0.01'), rounding=ROUND_HALF_UP):,}"


def on_the_page(*figures: str) -> bool:
    example = PAGE.read_text("utf-8").split("## An example by hand")[1]
    words = " ".join(example.split())
    return all(figure in words for figure in figures)


@pytest.mark.parametrize(
    ("way", "present", "yearly"),
    [
        (PROOF, "7,915.43", "1,879.09"),
        (PATCH, "8,644.74", "2,052.23"),
        (TREAT, "9,346.29", "2,218.78"),
    ],
    ids=lambda value: getattr(value, "key", value),
)
def test_present_costs(way, present, yearly):
    found = weigh([way], SIX).worths[0]
    assert (told(found.present), told(found.yearly)) == (present, yearly)
    assert on_the_page(f"| {present} | {yearly} |")


def test_factors_and_the_cost_of_a_year_of_life():
    rate = per_month(Decimal("0.06"))
    assert round(rate * 100, 7) == Decimal("0.4867551")
    assert round(annuity_factor(rate, 60), 5) == Decimal("51.92382")
    assert round(annuity_factor(Decimal("0.06"), 5), 6) == Decimal("4.212364")
    assert told(weigh([PATCH], SIX).worths[0].per_year_of_life) == "490.89"
    assert on_the_page("0.4867551 %", "= 51.92382", "= 4.212364", "= 490.89")


def test_when_it_has_paid_in_todays_money():
    weighed = weigh([PROOF, TREAT], SIX)
    proof, treat = (one.present_by_month for one in weighed.worths)
    assert [told(proof[44]), told(treat[44])] == ["7,171.27", "7,113.81"]
    assert [told(proof[45]), told(treat[45])] == ["7,219.49", "7,258.47"]
    assert weighed.payback.discounted_month == 45
    assert told(weighed.payback.present_saved) == "1,430.86"
    assert on_the_page("7,171.27 against 7,113.81", "7,219.49 against 7,258.47", "saves 1,430.86")


def test_prices_that_rise():
    weighed = weigh([PROOF, TREAT], Terms(5, Decimal("0.06"), Decimal("0.03")))
    told_ = [(told(one.total), told(one.present)) for one in weighed.worths]
    assert told_ == [("8,622.58", "8,096.68"), ("11,467.73", "9,890.04")]
    assert weighed.payback.discounted_month == 43
    assert on_the_page("8,622.58 as spent and 8,096.68", "11,467.73 and 9,890.04", "in month 43")


def test_what_would_turn_it():
    turns = [(turn.key, turn.what, turn.at) for turn in turning_points([PROOF, TREAT], SIX)]
    assert turns == [
        ("treat", "monthly", Decimal("152.44")),
        ("proof", "once", Decimal("6230.86")),
        (None, "years", 3),
        ("proof", "monthly", Decimal("87.56")),
        (None, "yearly_rate", Decimal("0.188")),
    ]
    assert on_the_page("152.44 a month", "6,230.86 or more", "at 3 years", "87.56", "18.8 %")


def test_ranges_drawn_with_seed_1():
    ways = [
        RangedWay("proof", "", Range(*map(Decimal, (4200, 4800, 6600))), exactly(Decimal(60))),
        RangedWay("treat", "", exactly(ZERO), Range(*map(Decimal, (130, 180, 240)))),
    ]
    rate = Range(Decimal("0.03"), Decimal("0.06"), Decimal("0.1"))
    found = spread(ways, SIX, rate=rate, seed=1)
    proof, treat = found.ways
    assert [told(one) for one in (proof.p10, proof.p50, proof.p90)] == [
        "7,636.40",
        "8,241.18",
        "9,057.95",
    ]
    assert [told(one) for one in (treat.p10, treat.p50, treat.p90)] == [
        "7,932.46",
        "9,461.90",
        "11,116.90",
    ]
    assert (proof.cheapest, found.payback.never) == (0.803, 0.197)
    assert (found.payback.p10, found.payback.p50, found.payback.p90) == (36, 48, None)
    assert on_the_page("7,636.40 and 9,057.95", "8,241.18", "7,932.46 and 11,116.90", "9,461.90")
    assert on_the_page("80.3 %", "by month 36, half by month 48; 19.7 %")
