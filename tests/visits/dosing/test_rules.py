"""What a rule asks of a record, by when, and for how long.

Sources stand in visits/dosing/rules.py; the lists of elements are held against the published ones
in tests/outside/test_rule_sets.py.
"""

from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from visits.dosing.rules import (
    CONDITION_WORDS,
    ELEMENTS,
    PUBLISHED,
    RULE_SETS,
    UNION,
    Conditions,
    asked,
    keep_until,
    made_by,
    missing,
)

INDOORS = Conditions()
NSW = RULE_SETS["au-nsw"]
CODE = RULE_SETS["uk-rodenticide-code"]
EVERYTHING = Conditions(**{field.name: True for field in fields(Conditions)})
ALL_SAID = dict.fromkeys(ELEMENTS, "said")


@pytest.mark.parametrize(
    ("conditions", "wind", "weather"),
    [
        (Conditions(), False, False),
        (Conditions(outdoors=True), False, True),
        (Conditions(sprayed=True), False, False),
        (Conditions(outdoors=True, sprayed=True), True, True),
    ],
)
def test_wind_is_asked_of_sprays_outdoors_and_weather_of_all_work_outdoors(
    conditions, wind, weather
):
    found = asked(UNION, conditions)

    assert ({"wind_speed", "wind_direction"} <= found) is wind
    assert ("weather_if_outdoor" in found) is weather


@pytest.mark.parametrize(
    ("condition", "element"),
    [
        ("supervised", "supervised_person_name"),
        ("label_names_weather", "other_weather_if_label"),
    ],
)
def test_what_depends_on_one_thing_is_asked_with_it_and_not_without(condition, element):
    assert element in asked(NSW, Conditions(**{condition: True}))
    assert element not in asked(NSW, INDOORS)


@pytest.mark.parametrize(
    ("conditions", "elements"),
    [
        (Conditions(), set()),
        (Conditions(lifted=True, past_review=True), set()),
        (
            Conditions(baiting=True),
            {
                "bait_point_locations",
                "bait_quantity_per_point",
                "bait_start_date",
                "carcass_search",
            },
        ),
        (
            Conditions(baiting=True, lifted=True, past_review=True),
            {
                "bait_point_locations",
                "bait_quantity_per_point",
                "bait_start_date",
                "carcass_search",
                "bait_end_date",
                "cause_if_over_35_days",
            },
        ),
    ],
)
def test_bait_is_asked_about_where_there_is_bait(conditions, elements):
    assert asked(CODE, conditions) == elements


def test_what_is_said_of_visit_or_site_is_not_asked_of_one_application():
    elsewhere = {"site_survey", "environment_changes_noted", "visit_log_on_site"}

    assert elsewhere <= set(UNION.elements)
    assert not elsewhere & asked(UNION, EVERYTHING)
    assert asked(RULE_SETS["us-chicago-log"], EVERYTHING) == frozenset()


def test_the_union_asks_for_whatever_any_rule_does():
    for rule_set in PUBLISHED:
        assert asked(rule_set, EVERYTHING) <= asked(UNION, EVERYTHING)
    assert set(UNION.elements) == set(ELEMENTS)


def test_the_union_is_no_laxer_than_what_was_read():
    """48 hours (regulator's older page) and 3 years (cl. 37) were read, both New South Wales."""
    read = [one for one in PUBLISHED if one.deadline_confirmed == "text-seen"]
    assert [one.deadline_hours for one in read] == [48]
    assert UNION.deadline_hours == 24
    assert UNION.retention_years == max(one.retention_years or 0 for one in PUBLISHED) == 3


def test_missing_elements_are_named_in_the_order_of_the_catalogue():
    said = {**ALL_SAID, "wind_direction": "  ", "equipment": ""}
    del said["date"]

    found = missing(NSW, said, EVERYTHING)

    assert found == ("equipment", "date", "wind_direction")


def test_nothing_is_missing_that_is_not_asked_for():
    said = dict.fromkeys(asked(UNION, INDOORS), "said")

    assert missing(UNION, said, INDOORS) == ()
    assert "wind_speed" in missing(UNION, said, Conditions(outdoors=True, sprayed=True))
    assert missing(RULE_SETS["eu-gb-biocides"], {}, EVERYTHING) == ()


@pytest.mark.parametrize(
    ("slug", "hours"), [("union", 24), ("au-nsw", 48), ("us-7-cfr-110", 14 * 24)]
)
def test_a_record_is_made_by_so_many_hours_after_the_end(slug, hours):
    finished = datetime(2026, 3, 4, 10, 30, tzinfo=UTC)

    by = made_by(RULE_SETS[slug], finished)

    assert by == finished + timedelta(hours=hours)
    assert by.tzinfo is UTC


def test_hours_are_real_hours_in_the_night_the_clocks_change():
    """London 2026: at 01:00 on 29 March clocks go forward, so 24 hours end at 13:00 by them."""
    london = ZoneInfo("Europe/London")

    by = made_by(UNION, datetime(2026, 3, 28, 12, 0, tzinfo=london))

    assert by == datetime(2026, 3, 29, 12, 0, tzinfo=UTC)
    assert by.astimezone(london).hour == 13


def test_no_deadline_is_made_up_where_none_is_known():
    assert made_by(RULE_SETS["au-qld"], datetime(2026, 3, 4, tzinfo=UTC)) is None
    assert keep_until(RULE_SETS["au-qld"], date(2026, 3, 4)) is None


def test_an_instant_without_a_zone_is_no_instant():
    with pytest.raises(ValueError, match=r"^an instant needs its zone$"):
        made_by(UNION, datetime(2026, 3, 4))


@pytest.mark.parametrize(
    ("slug", "on", "until"),
    [
        ("union", date(2026, 3, 4), date(2029, 3, 4)),
        ("us-7-cfr-110", date(2026, 3, 4), date(2028, 3, 4)),
        ("union", date(2028, 2, 29), date(2031, 3, 1)),
        ("us-7-cfr-110", date(2027, 2, 28), date(2029, 2, 28)),
    ],
)
def test_a_record_is_kept_for_whole_years_and_never_a_day_short(slug, on, until):
    assert keep_until(RULE_SETS[slug], on) == until


def test_every_rule_says_its_edition_source_and_what_is_confirmed():
    assert len(RULE_SETS) == len(PUBLISHED) + 1
    for slug, rule_set in RULE_SETS.items():
        assert rule_set.slug == slug
        assert len(slug) <= 40
        assert rule_set.edition
        assert rule_set.source
        assert rule_set.applies_to
        assert set(rule_set.elements) <= set(ELEMENTS)
        assert set(rule_set.elements_besides) <= set(rule_set.elements)
        if rule_set.deadline_hours is None:
            assert rule_set.deadline_confirmed == "not read"
        if rule_set.retention_years is None:
            assert rule_set.retention_confirmed == "not read"


def test_an_element_may_be_less_sure_than_its_rule():
    assert CODE.confirmed_of("bait_start_date") == "text-seen"
    assert CODE.confirmed_of("carcass_search") == "secondary"
    assert RULE_SETS["us-40-cfr-171-303"].confirmed_of("site_or_commodity") == "from memory"


def test_every_condition_has_words_and_is_used():
    used = {kind.when for kind in ELEMENTS.values() if kind.when}

    assert used == set(CONDITION_WORDS) == set(EVERYTHING.words)
    assert NSW.conditional == {
        "supervised_person_name": "supervised",
        "wind_speed": "outdoor_spray",
        "wind_direction": "outdoor_spray",
        "other_weather_if_label": "label_names_weather",
    }
    assert replace(NSW, elements=("date",)).conditional == {}
