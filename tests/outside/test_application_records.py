"""The sealed record of an application says what published rules ask it to say.

Source of rules and elements: data/application-records.toml, which names each rule's identifier and
how far it was confirmed. What is asked of a visit or a site rather than of one application is named
there under ``elsewhere`` and shown here to be kept.
"""

import json
import tomllib
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from accounts.models import Company
from sites.models import Monitor
from tests.builders.accounts import make_client
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import (
    local,
    make_competence,
    make_competence_kind,
    make_product,
    make_visit,
    treatment_given,
)
from visits.application_record import (
    BAITING_REVIEW_DAYS,
    LABELS,
    BaitAt,
    application_of,
    judged,
    said_of,
)
from visits.dosing.rules import UNION
from visits.dosing.units import kind_of
from visits.models import Treatment, Visit
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    apply_treatment,
    record_finding,
)

pytestmark = pytest.mark.django_db

RULES = tomllib.loads((Path(__file__).parent / "data" / "application-records.toml").read_text())[
    "rule"
]
WITH_ELEMENTS = [rule for rule in RULES if rule["elements"]]
EARLIER = date(2026, 10, 6)


@pytest.fixture
def company():
    return Company.objects.create(
        name="Fennimore & Tull Site Hygiene",
        address="4 Quay Street, Port Marlow",
        phone="01632 960001",
    )


@pytest.fixture
def visit(office, technician, company) -> Visit:
    technician.phone = "01632 960002"
    technician.save()
    kind = make_competence_kind(name="Pest control licence")
    make_competence(technician, kind, number="PM-104")
    site = make_site(client=make_client(address="1 Mill Lane, Port Marlow"))
    make_zone(site, kind="kitchen")
    make_zone(site, kind="perimeter", walk_order=1)
    return make_visit(site, state="under_way", by=office, technician=technician)


def bait_station(visit: Visit) -> Monitor:
    return make_monitor(
        visit.site.zones.get(kind="perimeter"),
        kind=Monitor.Kind.BAIT_STATION,
        place="Left of the roller door",
        placed_on=EARLIER,
    )


def applied(visit: Visit, *, zone: str = "kitchen", formulation: str = "gel", **facts) -> Treatment:
    given = treatment_given(
        visit.site.zones.get(kind=zone),
        make_product(formulation=formulation),
        **{"started_at": local(visit, 9, 40), **facts},
    )
    return apply_treatment(visit.pk, by=visit.technician, at=local(visit, 9, 50), treatment=given)


def missing(treatment: Treatment, company: Company, **bait) -> list[str]:
    """What the union finds missing; ``bait`` are the instants at the treatment's point."""
    application = application_of(treatment, BaitAt(**bait))
    return list(judged(application, said_of(application, company), UNION).missing)


def sealed_elements(visit: Visit) -> dict[str, str]:
    """What the sealed text of a visit says of its first treatment, once it is closed."""
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
    )
    visit.refresh_from_db()
    (treatment,) = json.loads(visit.sealed_record)["treatments"]
    return {key: value for key, _, value in treatment["words"]["elements"]}


SPRAY_OUTDOORS = {
    "zone": "perimeter",
    "formulation": "liquid",
    "method": "edge_spray",
    "outdoors": True,
    "wind_speed": Decimal(8),
    "wind_direction": "south-west",
    "weather": "dry, 12 °C",
    "re_entry": "When dry.",
    "supervised_person": "Sam Trainee, supervised by the applicator",
}


@pytest.mark.parametrize("rule", WITH_ELEMENTS, ids=lambda rule: rule["id"])
def test_the_sealed_record_says_every_element(rule, visit):
    """A spray outdoors, with everything said; bait rules are met by bait at a numbered point."""
    if rule["id"] == "UK-RODENTICIDE-CODE":
        station = bait_station(visit)
        earlier = make_visit(
            visit.site, state="under_way", technician=visit.technician, due_on=EARLIER
        )
        facts = {
            "zone": "perimeter",
            "formulation": "bait_block",
            "method": "bait_station",
            "target": "brown-rat",
            "monitor_id": station.pk,
            "cautions_confirmed": ["bait_stations", "carcass_search"],
        }
        applied(earlier, **facts)
        applied(visit, **facts, note="Still taking at the grain dock; bristle strip not fitted.")
        station.removed_on = visit.booked_on
        station.save()
    else:
        applied(visit, **SPRAY_OUTDOORS)

    said = sealed_elements(visit)

    unsaid = [name for name in rule["elements"] if not said.get(name)]
    assert not unsaid, f"{rule['identifier']} ({rule['confirmed']}) asks for {unsaid}"


def test_every_element_that_any_rule_asks_for_has_a_place(visit, company):
    said = said_of(application_of(applied(visit)), company)

    asked = {name for rule in RULES for name in rule["elements"]}

    assert asked <= said.keys()
    assert list(said) == list(LABELS)


# Each: the element of the union, and the one thing left out of a record that says all else.
LEFT_OUT = {
    "batch_number": {"batch_number": ""},
    "rate_or_dilution": {"dilution": ""},
    "equipment": {"equipment": ""},
    "finish_time": {"finished_at": None},
    "site_or_commodity": {"situation": ""},
    "area_size": {"area": None, "area_unit": ""},
    "wind_speed": {"wind_speed": None},
    "wind_direction": {"wind_direction": ""},
    "precautions_given": {"precautions": ""},
}


def test_a_record_that_says_all_lacks_nothing(visit, company):
    treatment = applied(visit, **SPRAY_OUTDOORS)

    assert missing(treatment, company) == []


@pytest.mark.parametrize("element", LEFT_OUT)
def test_what_is_left_out_is_named_and_recorded_all_the_same(visit, company, element):
    treatment = applied(visit, **{**SPRAY_OUTDOORS, **LEFT_OUT[element]})

    assert missing(treatment, company) == [element]
    assert element not in sealed_elements(visit)
    assert visit.state == "closed"


def test_a_lapsed_licence_is_missing_and_so_is_who_was_supervised(visit, company):
    visit.technician.competences.update(valid_until=visit.booked_on - timedelta(days=1))

    treatment = applied(visit)
    assert missing(treatment, company) == ["applicator_certificate", "supervised_person_name"]

    treatment.supervised_person = "Jo Barnes, supervised by Sam Okafor, PM-104"
    assert missing(treatment, company) == ["applicator_certificate"]


def test_wind_is_asked_for_outdoors_and_of_sprays_only(visit, company):
    """Pesticides Regulation 2017 (NSW) cl. 36: outdoor application by spray equipment."""
    for outdoors, formulation, asked in (
        (True, "liquid", True),
        (True, "gel", False),
        (False, "liquid", False),
    ):
        treatment = applied(visit, outdoors=outdoors, formulation=formulation, weather="dry")
        assert ("wind_speed" in missing(treatment, company)) is asked


@pytest.mark.parametrize(
    ("days", "asked"), [(BAITING_REVIEW_DAYS, False), (BAITING_REVIEW_DAYS + 1, True)]
)
def test_baiting_past_thirty_five_days_asks_for_a_cause(visit, company, days, asked):
    """CRRU UK Code (2015): a programme still open on day 36 has a documented cause."""
    treatment = applied(
        visit,
        zone="perimeter",
        formulation="bait_block",
        method="bait_station",
        monitor_id=bait_station(visit).pk,
        cautions_confirmed=["carcass_search"],
    )

    since = treatment.started_at - timedelta(days=days)

    assert missing(treatment, company, baited_from=since) == (
        ["cause_if_over_35_days"] if asked else []
    )


def test_what_is_asked_of_visit_and_site_is_kept_with_them(visit):
    """A survey is a kind of visit, changes are remedies, the log is the visit itself."""
    elsewhere = {name for rule in RULES for name in rule.get("elsewhere", ())}
    assert elsewhere == {"site_survey", "environment_changes_noted", "visit_log_on_site"}

    record_finding(
        visit.pk,
        by=visit.technician,
        at=local(visit, 9, 10),
        finding=FindingGiven(
            visit.site.zones.get(kind="perimeter").pk,
            kind="conducive",
            remedy_kind="housekeeping",
            remedy="Cut the growth back from the wall.",
            whose_move="client",
        ),
    )
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
    )

    visit.refresh_from_db()
    sealed = json.loads(visit.sealed_record)
    assert Visit.Kind.SURVEY in Visit.Kind.values
    assert sealed["findings"][0]["remedy"] == "Cut the growth back from the wall."
    assert sealed["visit"]["closed_at"]


def test_the_amount_is_of_the_product_in_a_unit_of_mass_or_volume():
    """Amount of product used, not of what was mixed (7 CFR 110.3, secondary)."""
    units = dict(Treatment._meta.get_field("unit").choices)

    assert {kind_of(unit) for unit in units} == {"mass", "volume"}
