"""What stands against an application. Each yes has its no beside it, and differs in one thing."""

from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import product

import pytest

from visits.dosing.allowance import Applied
from visits.dosing.baiting import BaitEvent, BaitReview, baiting_state, point_state
from visits.dosing.label import Active, Label, RateLine
from visits.dosing.notices import (
    PLACE_WORDS,
    SHEET_YEARS,
    WIND_KMH,
    Planned,
    notices,
    places_allow,
    within_of,
)
from visits.dosing.rotation import Used
from visits.dosing.units import Quantity
from visits.dosing.vocabulary import SURFACES, ZONE_KINDS

TODAY = date(2026, 6, 30)
LINE = RateLine(
    per="area",
    least=Fraction("0.2"),
    most=Fraction(1),
    unit="g",
    per_amount=Fraction(1),
    per_unit="m2",
)
# An invented product: a dust with permethrin for cracks indoors.
LABEL = Label(
    name="Demo dust",
    formulation="dust",
    actives=(Active("permethrin", Fraction(5), "g/kg"),),
    rates=(LINE,),
    pests=frozenset({"german-cockroach"}),
    pest_groups=frozenset({"ant"}),
    places=frozenset({"indoors", "food_premises"}),
    methods=frozenset({"dust_by_hand", "crack_and_crevice"}),
    authorised_until=TODAY,
    sheet_issued_on=date(2024, 6, 30),
)
SPRAY = replace(LABEL, name="Demo spray", formulation="liquid", rates=())
PLANNED = Planned(
    on=TODAY,
    zone_kind="kitchen",
    within="crack",
    pest="german-cockroach",
    pest_group="cockroach",
    method="dust_by_hand",
    measure=Quantity(Fraction(10), "m2"),
    amount=Quantity(Fraction(5), "g"),
    line=LINE,
    licensed=True,
)


def found(planned=PLANNED, label=LABEL, **history):
    return {one.code: one for one in notices(planned, label, **history)}


def codes(planned=PLANNED, label=LABEL, **history):
    return {one.code: one.forbidden for one in notices(planned, label, **history)}


def plan(**change):
    return replace(PLANNED, **change)


def label(**change):
    return replace(LABEL, **change)


def ago(days):
    return TODAY - timedelta(days=days)


def test_nothing_stands_against_what_the_label_allows():
    assert notices(PLANNED, LABEL) == ()


# --- the label itself -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("until", "expired"), [(None, False), (TODAY, False), (ago(1), True), (ago(-1), False)]
)
def test_after_its_last_day_an_authorisation_forbids(until, expired):
    said = found(label=label(authorised_until=until))

    assert set(said) == ({"authorisation_expired"} if expired else set())
    if expired:
        assert said["authorisation_expired"].forbidden
        assert "29 June 2026" in said["authorisation_expired"].words


def test_a_newer_label_on_file_is_said():
    assert codes(in_force=False) == {"label_replaced": False}


@pytest.mark.parametrize(
    ("issued", "years", "code"),
    [
        (None, SHEET_YEARS, "sheet_missing"),
        (date(2021, 6, 30), SHEET_YEARS, None),
        (date(2021, 6, 29), SHEET_YEARS, "sheet_old"),
        (date(2021, 6, 29), 6, None),
        (date(2024, 2, 29), 2, "sheet_old"),
        (date(2024, 2, 29), 4, None),
    ],
)
def test_a_safety_data_sheet_is_there_and_not_too_old(issued, years, code):
    said = codes(label=label(sheet_issued_on=issued), sheet_years=years)

    assert said == ({code: False} if code else {})


def test_the_day_after_the_years_of_a_leap_day_is_the_first_of_march():
    sheet = label(sheet_issued_on=date(2024, 2, 29), authorised_until=None)

    assert codes(plan(on=date(2025, 3, 1)), sheet, sheet_years=1) == {}
    assert codes(plan(on=date(2025, 3, 2)), sheet, sheet_years=1) == {"sheet_old": False}


def test_what_the_register_does_not_say_forbids_nothing_and_is_named():
    empty = label(
        pests=frozenset(), pest_groups=frozenset(), places=frozenset(), methods=frozenset()
    )

    said = found(label=empty)

    assert set(said) == {"register_silent"}
    assert "which pests, places and methods the label" in said["register_silent"].words
    only_rates = found(plan(line=None), label(rates=()))
    assert "which rates the label" in only_rates["register_silent"].words


# --- place, pest, method --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({}, True),
        ({"pest": "garden-ant", "pest_group": "ant"}, True),
        ({"pest": "oriental-cockroach"}, False),
        ({"pest": "", "pest_group": ""}, True),
    ],
)
def test_a_pest_is_on_the_label_by_name_or_by_group(change, named):
    said = codes(plan(**change, zone_kind="other"))

    assert said == ({} if named else {"pest_not_on_label": True})


@pytest.mark.parametrize(
    ("pests", "groups", "named"),
    [
        ((), ("cockroach",), True),
        (("german-cockroach",), (), True),
        (("house-fly",), (), False),
        ((), ("fly",), False),
    ],
)
def test_a_label_may_name_pests_or_groups_alone(pests, groups, named):
    said = codes(label=label(pests=frozenset(pests), pest_groups=frozenset(groups)))

    assert said == ({} if named else {"pest_not_on_label": True})


@pytest.mark.parametrize(
    ("method", "said"),
    [
        ("dust_by_hand", {}),
        ("dust_high_volume", {"method_not_on_label": True}),
        ("", {}),
    ],
)
def test_a_method_is_on_the_label(method, said):
    assert codes(plan(method=method)) == said


INDOORS, FOOD, VOIDS = "indoors", "food_premises", "voids"
OUTDOORS, DRAINS, STATIONS = "outdoors", "drains", "stations"


@pytest.mark.parametrize(
    ("places", "place", "allowed"),
    [
        # Food zones indoors need food premises; other rooms of the business do with either.
        ({INDOORS}, {"zone_kind": "kitchen"}, False),
        ({FOOD}, {"zone_kind": "kitchen"}, True),
        ({INDOORS}, {"zone_kind": "staff"}, True),
        ({FOOD}, {"zone_kind": "staff"}, True),
        ({OUTDOORS}, {"zone_kind": "staff"}, False),
        # Outdoors is where it is said to be, and always at the perimeter and outdoor dining.
        ({OUTDOORS}, {"zone_kind": "perimeter"}, True),
        ({INDOORS, FOOD}, {"zone_kind": "perimeter"}, False),
        ({FOOD}, {"zone_kind": "outdoor_dining"}, False),
        ({OUTDOORS}, {"zone_kind": "other", "outdoors": True}, True),
        ({INDOORS}, {"zone_kind": "other", "outdoors": True}, False),
        ({OUTDOORS}, {"zone_kind": "delivery"}, True),
        ({FOOD}, {"zone_kind": "delivery"}, True),
        ({VOIDS}, {"zone_kind": "delivery"}, False),
        ({INDOORS}, {"zone_kind": "waste"}, True),
        ({INDOORS}, {"zone_kind": "waste", "outdoors": True}, False),
        ({OUTDOORS}, {"zone_kind": "waste", "outdoors": True}, True),
        # Voids and cracks, on the side of the wall that the rest of the label allows.
        ({VOIDS}, {"zone_kind": "kitchen", "within": "crack"}, True),
        ({VOIDS}, {"zone_kind": "kitchen"}, False),
        ({VOIDS, INDOORS}, {"zone_kind": "kitchen", "within": "void"}, True),
        ({VOIDS, INDOORS}, {"zone_kind": "kitchen"}, False),
        ({VOIDS, OUTDOORS}, {"zone_kind": "kitchen", "within": "crack"}, False),
        ({VOIDS, DRAINS}, {"zone_kind": "kitchen", "within": "crack"}, True),
        ({VOIDS, OUTDOORS}, {"zone_kind": "perimeter", "within": "crack"}, True),
        ({VOIDS, INDOORS}, {"zone_kind": "perimeter", "within": "crack"}, False),
        ({VOIDS}, {"zone_kind": "roof_void"}, True),
        ({INDOORS}, {"zone_kind": "roof_void"}, True),
        ({OUTDOORS}, {"zone_kind": "roof_void"}, False),
        ({FOOD}, {"zone_kind": "kitchen", "within": "void"}, True),
        # A drain has to be named.
        ({FOOD}, {"zone_kind": "kitchen", "within": "drain"}, False),
        ({DRAINS}, {"zone_kind": "kitchen", "within": "drain"}, True),
        ({DRAINS}, {"zone_kind": "kitchen"}, False),
        # Stations, on the side of the wall that the rest of the label allows.
        ({STATIONS}, {"zone_kind": "perimeter", "method": "bait_station"}, True),
        ({STATIONS}, {"zone_kind": "perimeter", "method": "spot"}, False),
        ({STATIONS, INDOORS}, {"zone_kind": "dry_store", "method": "bait_station"}, True),
        ({STATIONS, INDOORS}, {"zone_kind": "perimeter", "method": "bait_station"}, False),
        ({STATIONS, OUTDOORS}, {"zone_kind": "perimeter", "method": "bait_station"}, True),
        ({INDOORS}, {"zone_kind": "perimeter", "method": "bait_station"}, False),
        # The register does not say.
        (set(), {"zone_kind": "perimeter", "within": "drain"}, True),
    ],
)
def test_a_place_is_among_those_of_the_label(places, place, allowed):
    planned = Planned(on=TODAY, **place)

    assert places_allow(frozenset(places), planned) is allowed


def test_a_place_that_the_label_does_not_name_is_forbidden_and_the_named_ones_are_said():
    said = found(plan(zone_kind="perimeter"), label(pest_groups=frozenset({"cockroach"})))

    assert said["place_not_on_label"].forbidden
    assert "It names food premises and indoors." in said["place_not_on_label"].words
    odd = found(plan(within=""), label(places=frozenset({"greenhouses"})))
    assert "It names greenhouses." in odd["place_not_on_label"].words


def test_every_kind_of_place_can_be_permitted_and_has_words():
    for zone_kind, surface in product(ZONE_KINDS, ("", *SURFACES)):
        planned = Planned(on=TODAY, zone_kind=zone_kind, within=within_of(surface, zone_kind))
        assert places_allow(frozenset(PLACE_WORDS), planned)


@pytest.mark.parametrize(
    ("surface", "zone_kind", "within"),
    [
        ("crack", "kitchen", "crack"),
        ("behind_plate", "kitchen", "crack"),
        ("shelf_gap", "kitchen", "crack"),
        ("void", "kitchen", "void"),
        ("drain", "kitchen", "drain"),
        ("open_surface", "kitchen", ""),
        ("", "roof_void", "void"),
        ("drain", "roof_void", "drain"),
    ],
)
def test_a_surface_is_within_what_labels_speak_of(surface, zone_kind, within):
    assert within_of(surface, zone_kind) == within


# --- the rate and the amount ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lines", "given", "said"),
    [
        ((LINE,), None, {}),
        ((replace(LINE, methods=frozenset({"dust_by_hand"})),), None, {}),
        (
            (replace(LINE, methods=frozenset({"crack_and_crevice"})),),
            None,
            {"no_rate": True},
        ),
        ((replace(LINE, places=frozenset({"outdoors"})),), None, {"no_rate": True}),
        ((replace(LINE, places=frozenset({"outdoors"})), LINE), None, {}),
        ((LINE,), replace(LINE, places=frozenset({"outdoors"})), {"no_rate": True}),
    ],
    ids=["any", "this method", "another method", "another place", "one of two", "the one taken"],
)
def test_a_rate_is_there_for_the_method_in_the_place(lines, given, said):
    assert codes(plan(line=given, amount=None), label(rates=lines)) == said


def test_a_rate_is_missing_also_where_the_register_names_no_methods():
    lines = (replace(LINE, methods=frozenset({"crack_and_crevice"})),)
    nameless = label(rates=lines, methods=frozenset())

    assert codes(plan(line=None), nameless) == {"no_rate": True, "register_silent": False}


def test_without_a_method_no_rate_is_said_to_be_missing():
    lines = (replace(LINE, methods=frozenset({"crack_and_crevice"})),)

    assert codes(plan(method="", line=None), label(rates=lines)) == {}


@pytest.mark.parametrize(
    ("amount", "said"),
    [
        ("1.99", {"under_least": False}),
        ("2", {}),
        ("10", {}),
        ("10.01", {"over_most": True}),
    ],
)
def test_the_amount_is_held_against_the_most_and_the_least(amount, said):
    """0.2 to 1 g for each m², so 2 to 10 g for 10 m²."""
    assert codes(plan(amount=Quantity(Fraction(amount), "g"))) == said


def test_an_amount_over_the_most_is_told_its_share():
    over = found(plan(amount=Quantity(Fraction(13), "g")))["over_most"]
    assert "130 % of what the label allows at most here, 10 g" in over.words

    under = found(plan(amount=Quantity(Fraction(1), "g")))["under_least"]
    assert "least here, 2 g" in under.words


@pytest.mark.parametrize("unsaid", ["measure", "amount", "line"])
def test_what_is_not_known_yet_is_not_judged(unsaid):
    over = plan(amount=Quantity(Fraction(13), "g"))

    assert codes(over) == {"over_most": True}
    assert codes(replace(over, **{unsaid: None})) == {}


def test_an_amount_that_cannot_be_reckoned_is_said_and_nothing_is_forbidden():
    said = found(plan(measure=Quantity(Fraction(3), "m3")))

    assert set(said) == {"amount_unclear"}
    assert not said["amount_unclear"].forbidden


# --- again: interval and yearly count -------------------------------------------------------------


@pytest.mark.parametrize(
    ("interval", "days", "said"),
    [
        (None, (1,), {}),
        (0, (1,), {}),
        (14, (), {}),
        (14, (14,), {}),
        (14, (13,), {"too_soon": True}),
        (14, (60, 13), {"too_soon": True}),
        (14, (0,), {}),
        (14, (-3,), {}),
    ],
)
def test_two_applications_are_apart_by_the_labels_interval(interval, days, said):
    applied = [Applied(ago(one)) for one in days]

    assert codes(label=label(interval_days=interval), applied=applied) == said


@pytest.mark.parametrize(
    ("most", "days", "said"),
    [
        (None, (10, 20, 30), {}),
        (2, (10,), {}),
        (2, (10, 20), {"count_used_up": True}),
        (2, (10, 10), {}),
        (2, (10, 0), {}),
        (2, (10, 364), {"count_used_up": True}),
        (2, (10, 365), {}),
        (1, (10,), {"count_used_up": True}),
    ],
)
def test_the_yearly_count_is_of_days_in_the_last_365(most, days, said):
    applied = [Applied(ago(one)) for one in days]

    found_now = found(label=label(most_a_year=most), applied=applied)

    assert {code: one.forbidden for code, one in found_now.items()} == said
    if said:
        times = "once a year" if most == 1 else "2 times a year"
        assert times in found_now["count_used_up"].words


# --- who, wind, bait, rotation, surroundings ------------------------------------------------------


@pytest.mark.parametrize(
    ("licensed", "supervised", "said"),
    [
        (True, False, {}),
        (None, False, {}),
        (False, False, {"not_licensed": True}),
        (False, True, {"supervised": False}),
        (True, True, {}),
    ],
)
def test_somebody_with_a_licence_does_it_or_supervises_it(licensed, supervised, said):
    assert codes(plan(licensed=licensed, supervised=supervised)) == said


@pytest.mark.parametrize(
    ("limit", "wind", "said"),
    [
        (None, None, {"wind_unknown": False}),
        (None, WIND_KMH, {}),
        (None, WIND_KMH + 1, {"wind_high": False}),
        (10, None, {"wind_unknown": False}),
        (10, 10, {}),
        (10, 11, {"wind_over_label": True}),
        (30, WIND_KMH + 1, {}),
    ],
)
@pytest.mark.parametrize(
    "place", [{"zone_kind": "perimeter"}, {"zone_kind": "other", "outdoors": True}]
)
def test_wind_is_written_down_outdoors_and_within_the_limit(place, limit, wind, said):
    spray = replace(
        SPRAY,
        places=frozenset({"outdoors"}),
        rates=(LINE,),
        wind_most_kmh=None if limit is None else Fraction(limit),
    )
    outdoors = plan(
        **place,
        pest="garden-ant",
        pest_group="ant",
        line=None,
        wind_kmh=None if wind is None else Fraction(wind),
    )

    assert codes(outdoors, spray) == said


@pytest.mark.parametrize(
    ("formulation", "place"),
    [
        ("gel", {"zone_kind": "perimeter"}),
        ("liquid", {"zone_kind": "other"}),
    ],
)
def test_wind_does_not_matter_to_gel_nor_indoors(formulation, place):
    calm = replace(LABEL, formulation=formulation, places=frozenset())

    said = codes(plan(**place, pest="garden-ant", pest_group="ant", line=None), calm)

    assert set(said) == {"register_silent"}


def baiting(days, reviewed=()):
    point = point_state([BaitEvent(ago(days), laid=Fraction(50))], on=TODAY)
    reviews = [BaitReview(ago(one), "Still taking.") for one in reviewed]
    return baiting_state({"a": point}, reviews, on=TODAY)


@pytest.mark.parametrize(
    ("formulation", "state", "said"),
    [
        ("bait_block", None, False),
        ("bait_block", baiting(35), False),
        ("bait_block", baiting(36), True),
        ("bait_paste", baiting(36), True),
        ("bait_block", baiting(60, reviewed=(30,)), False),
        ("dust", baiting(36), False),
    ],
)
def test_more_bait_past_the_review_day_is_warned_of(formulation, state, said):
    bait = replace(LABEL, formulation=formulation)

    assert codes(label=bait, bait_review=state) == ({"bait_past_review": False} if said else {})


@pytest.mark.parametrize(
    ("days", "window", "said"),
    [
        ((), 90, {}),
        ((89,), 90, {}),
        ((90,), 90, {"rotation_again": False}),
        ((90, 180), 90, {"rotation_third": False}),
        ((40,), 30, {"rotation_again": False}),
    ],
)
def test_the_same_mode_of_action_window_after_window_is_warned_of(days, window, said):
    used = [Used(ago(one), ("cypermethrin",)) for one in days]

    assert codes(rotation=used, window_days=window) == said


def test_another_mode_of_action_is_no_repetition():
    assert codes(rotation=[Used(ago(100), ("fipronil",))]) == {}


def test_a_pest_that_is_unusual_for_the_zone_is_looked_at_twice():
    dining = plan(zone_kind="dining")
    banded = replace(dining, pest="brown-banded-cockroach")
    any_cockroach = label(pest_groups=frozenset({"cockroach"}))

    assert codes(dining, any_cockroach) == {"unusual_find": False}
    assert codes(banded, any_cockroach) == {}


@pytest.mark.parametrize(
    ("boundary", "said"), [("within", {}), ("shared", {}), ("outside", {"outside_remit": False})]
)
def test_a_zone_outside_our_remit_is_said(boundary, said):
    assert codes(plan(boundary=boundary)) == said


# --- all together ---------------------------------------------------------------------------------


def test_what_is_forbidden_comes_first_and_each_thing_is_said_once():
    worst = notices(
        plan(
            zone_kind="perimeter",
            pest="house-fly",
            pest_group="fly",
            method="spray",
            licensed=False,
            boundary="outside",
            amount=Quantity(Fraction(99), "g"),
        ),
        replace(
            LABEL,
            formulation="liquid",
            measured_in="g",
            authorised_until=ago(1),
            sheet_issued_on=None,
            interval_days=14,
            most_a_year=1,
        ),
        applied=[Applied(ago(1))],
        rotation=[Used(ago(100), ("permethrin",))],
        in_force=False,
    )

    forbidden = [one.forbidden for one in worst]
    assert forbidden == sorted(forbidden, reverse=True)
    assert len({one.code for one in worst}) == len(worst)
    assert {one.code: one.forbidden for one in worst} == {
        "authorisation_expired": True,
        "not_licensed": True,
        "place_not_on_label": True,
        "pest_not_on_label": True,
        "method_not_on_label": True,
        "over_most": True,
        "too_soon": True,
        "count_used_up": True,
        "label_replaced": False,
        "sheet_missing": False,
        "wind_unknown": False,
        "rotation_again": False,
        "unusual_find": False,
        "outside_remit": False,
    }


ANY_COCKROACH = label(pest_groups=frozenset({"cockroach"}))
OUTSIDE = plan(zone_kind="perimeter", pest="garden-ant", pest_group="ant", line=None)
SPRAYED = replace(SPRAY, places=frozenset({"outdoors"}), rates=(LINE,))
IN_WIND = replace(SPRAYED, wind_most_kmh=Fraction("12.5"))

# What goes into seals and onto phones, word for word.
IN_WORDS = {
    "authorisation_expired": (
        {"label": label(authorised_until=ago(1))},
        "The authorisation of Demo dust ended on 29 June 2026. Only the authority can renew it: "
        "take another product.",
    ),
    "label_replaced": (
        {"in_force": False},
        "A newer label of Demo dust is on file. The one on the pack holds for that pack: read it, "
        "and ask the office which it is.",
    ),
    "sheet_missing": (
        {"label": label(sheet_issued_on=None)},
        "No safety data sheet of Demo dust is on file. The office gets it from the maker.",
    ),
    "sheet_old": (
        {"label": label(sheet_issued_on=date(2020, 1, 2))},
        "The safety data sheet of Demo dust is of 2 January 2020, more than 5 years old (our own "
        "limit). The office asks the maker for the latest.",
    ),
    "register_silent": (
        {"label": label(places=frozenset(), methods=frozenset())},
        "The register does not say which places and methods the label of Demo dust names. Read "
        "the label itself; the office can enter it.",
    ),
    "supervised": (
        {"planned": plan(licensed=False, supervised=True)},
        "The technician holds no licence valid that day and works under supervision. The "
        "supervisor answers for it.",
    ),
    "not_licensed": (
        {"planned": plan(licensed=False)},
        "The technician holds no licence valid that day. Somebody who does has to do it or "
        "supervise it; the office keeps the licences.",
    ),
    "place_not_on_label": (
        {"planned": plan(within=""), "label": label(places=frozenset({"outdoors", "voids"}))},
        "The label does not allow this place. It names outdoors and voids and cracks. Choose "
        "another product.",
    ),
    "pest_not_on_label": (
        {"label": label(pests=frozenset({"house-fly"}))},
        "The label does not name this pest. Choose another product.",
    ),
    "method_not_on_label": (
        {"planned": plan(method="spot")},
        "The label does not name this method. Choose another method or product.",
    ),
    "no_rate": (
        {"planned": plan(line=replace(LINE, methods=frozenset({"spot"})), amount=None)},
        "The label gives no rate for this method in this place. Choose another method or product.",
    ),
    "amount_unclear": (
        {"planned": plan(measure=Quantity(Fraction(0), "m2"))},
        "The amount cannot be held against the label. The measure must be above zero.",
    ),
    "over_most": (
        {"planned": plan(amount=Quantity(Fraction(13), "g"))},
        "That is 130 % of what the label allows at most here, 10 g. Nobody may go over it: use "
        "less, or measure the place again.",
    ),
    "under_least": (
        {"planned": plan(amount=Quantity(Fraction(1), "g"))},
        "That is less than the label's least here, 2 g: it may not work and can breed resistance. "
        "The technician decides.",
    ),
    "too_soon": (
        {"label": label(interval_days=14), "applied": [Applied(date(2026, 6, 20))]},
        "Demo dust was applied here on 20 June 2026; the label asks for 14 days between two "
        "applications. Wait, or choose another product.",
    ),
    "count_used_up": (
        {"label": label(most_a_year=1), "applied": [Applied(ago(100))]},
        "The label allows Demo dust once a year in one place, and that is used up. Choose another "
        "product.",
    ),
    "wind_unknown": (
        {"planned": OUTSIDE, "label": SPRAYED},
        "Sprayed outdoors, and the wind is not written down. Measure it and write it down.",
    ),
    "wind_over_label": (
        {"planned": replace(OUTSIDE, wind_kmh=Fraction(14)), "label": IN_WIND},
        "The wind is 14 km/h; the label allows 12.5 km/h. Wait for less wind.",
    ),
    "wind_high": (
        {"planned": replace(OUTSIDE, wind_kmh=Fraction(16)), "label": SPRAYED},
        "The wind is 16 km/h, and the register has no limit from the label. Above 15 km/h (our own "
        "limit) spray drifts: read the label, or wait.",
    ),
    "bait_past_review": (
        {"label": label(formulation="bait_block"), "bait_review": baiting(36)},
        f"{baiting(36).words} The office writes the review.",
    ),
    "rotation_again": (
        {"rotation": [Used(ago(100), ("permethrin",))]},
        "The same mode of action in two windows of 90 days running: group 3 (pyrethroids and "
        "pyrethrins). Another product of that group is no change. Say why.",
    ),
    "unusual_find": (
        {"planned": plan(zone_kind="dining"), "label": ANY_COCKROACH},
        "This pest is unusual for this zone: check the identification before you treat.",
    ),
    "outside_remit": (
        {"planned": plan(boundary="outside")},
        "The zone is outside our remit. Whoever owns it has to agree; the office keeps the word.",
    ),
}


@pytest.mark.parametrize("code", IN_WORDS)
def test_a_notice_says_what_stands_in_the_way_and_who_can_move_it(code):
    facts, words = IN_WORDS[code]

    (notice,) = found(**facts).values()

    assert (notice.code, notice.words) == (code, words)


# --- docs/algorithms/treatment-checks.md ----------------------------------------------------------


def test_the_interval_of_the_page_by_hand():
    """14 days between two, applied on 1 June: the 14th is too soon, the 15th is not."""
    applied = [Applied(date(2026, 6, 1))]

    for day, said in ((14, {"too_soon": True}), (15, {})):
        on = plan(on=date(2026, 6, day))
        assert codes(on, label(interval_days=14), applied=applied) == said


def test_the_yearly_count_of_the_page_by_hand():
    """Two a year, on 10 March and 1 June 2026: used up until 9 March 2027."""
    applied = [Applied(date(2026, 3, 10)), Applied(date(2026, 6, 1))]
    twice = label(most_a_year=2, authorised_until=None)

    for day, said in ((9, {"count_used_up": True}), (10, {})):
        assert codes(plan(on=date(2027, 3, day)), twice, applied=applied) == said


def test_the_rotation_of_the_page_by_hand():
    spring = Used(date(2026, 3, 22), ("deltamethrin",))
    autumn = Used(date(2025, 10, 4), ("cypermethrin",))
    other = label(actives=(Active("indoxacarb", Fraction(5), "g/kg"),))

    assert codes(rotation=[spring]) == {"rotation_again": False}
    assert codes(rotation=[spring, autumn]) == {"rotation_third": False}
    assert codes(label=other, rotation=[spring, autumn]) == {}


def test_the_place_of_the_page_by_hand():
    """{voids, indoors}: a crack in a kitchen, not its open surface, nor a crack outside."""
    places = frozenset({VOIDS, INDOORS})

    assert places_allow(places, Planned(TODAY, "kitchen", "crack"))
    assert not places_allow(places, Planned(TODAY, "kitchen"))
    assert not places_allow(places, Planned(TODAY, "perimeter", "crack"))
