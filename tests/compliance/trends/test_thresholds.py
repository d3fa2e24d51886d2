"""Action thresholds ask whether there is too much, not whether there is more than usual."""

from dataclasses import replace
from datetime import date

import pytest

from compliance.trends.thresholds import CUSTOMARY, FOOD_ROOMS, Caught, Threshold, breaches

FACT = Caught(
    site="harbour",
    zone="kitchen",
    monitor="7",
    pest="german-cockroach",
    on=date(2026, 3, 5),
    count=1,
    exposure=30.0,
)
NONE = replace(FACT, monitor="8", count=0, exposure=70.0)
MOUSE = replace(FACT, monitor="9", zone="yard", pest="house-mouse")
OUTSIDE = replace(FACT, monitor="10", zone="yard")
FLIES = replace(FACT, monitor="11", zone="bar", pest="fruit-fly", count=9, site="mill")
READINGS = [FACT, NONE, MOUSE, OUTSIDE, FLIES]
MONTH = replace(FACT, monitor="", on=date(2026, 3, 1), exposure=100.0)
GROUPS = {"house-mouse": "rodent", "german-cockroach": "crawling"}
KINDS = {"kitchen": "kitchen", "bar": "bar", "yard": "perimeter"}


def reached(*thresholds: Threshold, caught=READINGS):
    found = breaches(caught, thresholds, group_of_pest=GROUPS, kind_of_zone=KINDS)
    return [(one.caught.zone, one.caught.monitor, one.caught.pest) for one in found]


def test_any_rodent_and_a_german_cockroach_in_a_food_room_by_custom():
    assert reached(*CUSTOMARY) == [
        ("kitchen", "7", "german-cockroach"),
        ("yard", "9", "house-mouse"),
    ]


def test_a_food_room_is_what_treatments_beware_of():
    """Cellars and tables outdoors too; common practice, no source."""
    assert {"kitchen", "cellar", "outdoor_dining"} <= FOOD_ROOMS
    assert not {"waste", "perimeter", "toilets", "staff"} & FOOD_ROOMS


def test_without_groups_and_kinds_their_thresholds_meet_nobody():
    assert breaches(READINGS) == ()


@pytest.mark.parametrize(("least", "found"), [(9, [("bar", "11", "fruit-fly")]), (10, [])])
def test_a_count_reaches_its_threshold_at_the_number_itself(least, found):
    assert reached(Threshold("Flies", "reading", least, pests=frozenset({"fruit-fly"}))) == found


def test_what_is_there_counts_however_long_the_trap_stood():
    unknown = replace(MOUSE, exposure=0.0)
    assert reached(Threshold("Any", "reading", 1), caught=[unknown]) == [
        ("yard", "9", "house-mouse")
    ]


@pytest.mark.parametrize(
    ("least", "found"), [(1.0, [("kitchen", "", "german-cockroach")]), (1.01, [])]
)
def test_a_rate_is_that_of_the_zone_in_the_month(least, found):
    """1 in 100 trap-days; single readings are not asked."""
    rate = Threshold("Rate", "zone_month", least, zones=frozenset({"kitchen"}))
    assert reached(rate, caught=[*READINGS, MONTH]) == found


def test_a_rate_reaches_its_threshold_whatever_binary_fractions_make_of_it():
    """0.07 × 10 000 is 700.0000000000001 in floating point."""
    month = replace(MONTH, count=7, exposure=10_000.0)
    assert reached(Threshold("Rate", "zone_month", 0.07), caught=[month])
    assert not reached(Threshold("Rate", "zone_month", 1.002), caught=[MONTH])


def test_a_month_without_exposure_has_no_rate():
    assert reached(Threshold("Rate", "zone_month", 1), caught=[replace(MONTH, exposure=0.0)]) == []


def test_each_pest_is_asked_by_itself():
    rat = replace(MOUSE, pest="brown-rat")
    both = Threshold("Two", "reading", 2, pests=frozenset({"house-mouse", "brown-rat"}))
    assert reached(both, caught=[MOUSE, rat]) == []


@pytest.mark.parametrize(
    ("where", "zones"),
    [
        ({}, ["kitchen", "yard", "yard", "bar"]),
        ({"sites": frozenset({"mill"})}, ["bar"]),
        ({"zones": frozenset({"yard"})}, ["yard", "yard"]),
        ({"zone_kinds": frozenset({"kitchen"})}, ["kitchen"]),
        (
            {"pests": frozenset({"house-mouse"}), "groups": frozenset({"crawling"})},
            ["kitchen", "yard", "yard"],
        ),
    ],
)
def test_a_threshold_holds_where_it_was_agreed(where, zones):
    assert [zone for zone, _, _ in reached(Threshold("Any", "reading", 1, **where))] == zones


@pytest.mark.parametrize(
    ("day", "held"),
    [(date(2026, 3, 4), False), (date(2026, 3, 5), True), (date(2026, 3, 7), False)],
)
def test_a_threshold_holds_from_its_first_day_until_the_day_it_is_ended(day, held):
    threshold = Threshold(
        "Any", "reading", 1, begins_on=date(2026, 3, 5), ended_on=date(2026, 3, 7)
    )
    assert bool(reached(threshold, caught=[replace(FACT, on=day)])) is held


def test_several_thresholds_are_each_breached_in_their_order():
    found = breaches([FACT], [Threshold("A", "reading", 1), Threshold("B", "reading", 1)])
    assert [one.threshold.name for one in found] == ["A", "B"]


def test_words_say_that_it_is_a_threshold_and_where_it_was_agreed():
    threshold = Threshold("Any mouse", "reading", 1, agreed_in="the contract of 2026")
    (breach,) = breaches([MOUSE], [threshold])

    assert breach.words == (
        "Action threshold reached, Any mouse: 1 at one reading; to act from 1, as agreed in the "
        "contract of 2026."
    )


def test_words_of_a_rate_say_when_a_trap_was_full():
    month = replace(FLIES, monitor="", at_least=True)
    (breach,) = breaches([month], [Threshold("Flies", "zone_month", 20)])

    assert breach.words == (
        "Action threshold reached, Flies: at least 30 per 100 trap-days (9 in 30); to act from 20."
    )


def test_a_threshold_of_nothing_is_refused():
    with pytest.raises(ValueError, match=r"^a threshold is above 0$"):
        Threshold("All", "reading", 0)
