"""What a record shows against the label, once the visit is closed: kept, sealed, refused to nobody.

The checks themselves are tried in tests/visits/dosing/test_notices.py; here, that each of them gets
the facts it needs from the records of a site.
"""

import json
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from accounts.models import TrailEntry
from sites.models import Monitor, Site, Zone
from tests.builders.accounts import make_office, make_technician
from tests.builders.phone import Phone
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import (
    local,
    make_competence,
    make_competence_kind,
    make_product,
    make_rate,
    make_visit,
    treatment_given,
)
from visits.models import Amendment, ParkedOperation, Product, Treatment, Visit
from visits.queries.against_label import judged
from visits.services.booking import call_off_visit
from visits.services.closing import close_visit
from visits.services.labels import enter_label
from visits.services.parked import place_parked
from visits.services.recording import ContactGiven, apply_treatment
from visits.services.sync import apply_operations
from visits.verification import breaks_of_visit
from visits.visit_record import rows_of

pytestmark = pytest.mark.django_db

DAY = date(2026, 12, 8)
NOBODY = ContactGiven(no_signature_reason="Nobody was there.")
SHEET = {"safety_data_sheet_on": date(2026, 1, 1)}
SOUND = {
    **SHEET,
    "pests": ["german-cockroach"],
    "places": ["food_premises"],
    "methods": ["gel"],
    "rates": [make_rate(least=Decimal("0.1"), most=Decimal("0.3"))],
}


def gel(**facts) -> Product:
    """A gel of 0.1 to 0.3 g a point against German cockroaches in food premises."""
    return make_product(in_force_from=date(2026, 1, 1), **{**SOUND, **facts})


def treated(
    product: Product,
    *,
    zone: Zone | None = None,
    day: date = DAY,
    technician=None,
    times=1,
    **facts,
) -> Treatment:
    """A closed visit with one application (or several) of 2.5 g at 12 points, unless said."""
    zone = zone or make_zone(make_site(), kind=Zone.Kind.KITCHEN)
    visit = make_visit(zone.site, state=Visit.State.UNDER_WAY, due_on=day, technician=technician)
    at = local(visit, 9, 30)
    for _ in range(times):
        apply_treatment(
            visit.pk,
            by=visit.technician,
            at=at,
            treatment=treatment_given(zone, product, started_at=at, **facts),
        )
    closed(visit)
    return visit.treatments.order_by("position").first()


def closed(visit: Visit) -> Visit:
    return close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=NOBODY,
    )


def breaks(visit: Visit) -> list:
    return breaks_of_visit(visit, rows_of([visit])[visit.pk])


def codes(treatment: Treatment) -> list[str]:
    return [one["code"] for one in treatment.against_label]


def test_nothing_stands_against_what_the_label_allows():
    one = treated(gel())

    assert (one.against_label, one.was_forbidden) == ([], False)


@pytest.mark.parametrize(
    ("facts", "code", "forbidden"),
    [
        ({"amount": Decimal("3.7")}, "over_most", True),
        ({"amount": Decimal("3700"), "unit": "mg"}, "over_most", True),
        ({"amount": Decimal("1.1")}, "under_least", False),
        ({"target": "brown-banded-cockroach"}, "pest_not_on_label", True),
        ({"method": "spot"}, "method_not_on_label", True),
        ({"surface": "drain"}, "place_not_on_label", True),
        ({"area": Decimal(3), "area_unit": "m2"}, "amount_unclear", False),
    ],
)
def test_what_the_record_says_is_held_against_the_label(facts, code, forbidden):
    product = gel()
    rate = product.label.rates.get()

    one = treated(product, rate_id=rate.pk, **facts)

    found = {each["code"]: each for each in one.against_label}
    assert code in found
    assert found[code]["forbidden"] is forbidden
    assert one.was_forbidden is forbidden


def test_it_happened_so_it_is_recorded_sealed_and_told_with_its_explanation():
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)

    one = treated(
        gel(),
        zone=zone,
        amount=Decimal("9.6"),
        explanation="The gun was set to a double dose; seen after the last point.",
    )

    visit = Visit.objects.get(pk=one.visit_id)
    assert visit.state == Visit.State.CLOSED
    (sealed,) = json.loads(visit.sealed_record)["treatments"]
    assert sealed["against_label"] == one.against_label
    assert sealed["explanation"] == one.explanation
    (told,) = TrailEntry.objects.get(verb="visit.closed").facts["against_label"]
    assert told["explanation"] == one.explanation
    assert told["against"] == [one.against_label[0]["words"]]
    assert breaks(visit) == []


def test_a_changed_judgement_breaks_the_seal():
    one = treated(gel(), amount=Decimal("9.6"))

    Treatment.objects.filter(pk=one.pk).update(against_label=[])

    assert breaks(Visit.objects.get(pk=one.visit_id)) != []


def test_the_report_says_it_in_plain_words(client, office):
    one = treated(gel(), amount=Decimal("9.6"), explanation="Double dose by mistake.")
    client.force_login(office)

    page = client.get(one.visit.get_absolute_url()).content.decode()

    assert "of what the label allows at most here" in page
    assert "Double dose by mistake." in page


def test_where_no_rate_was_named_the_line_that_speaks_best_for_the_record_counts():
    product = gel(
        rates=[
            make_rate(least=None, most=Decimal("0.1")),
            make_rate(least=None, most=Decimal("0.3")),
        ]
    )
    small, large = product.label.rates.order_by("position")

    assert codes(treated(product)) == []
    assert codes(treated(product, rate_id=small.pk)) == ["over_most"]
    assert codes(treated(product, rate_id=large.pk)) == []


def test_one_station_is_one_point_though_nobody_counted_it():
    product = gel(
        formulation=Product.Formulation.BAIT_BLOCK,
        methods=["bait_station"],
        pests=["brown-rat"],
        places=[],
        rates=[make_rate(least=None, most=Decimal(40))],
    )
    zone = make_zone(make_site(), kind=Zone.Kind.WASTE)
    station = make_monitor(zone, kind=Monitor.Kind.BAIT_STATION)
    facts = {
        "zone": zone,
        "monitor_id": station.pk,
        "method": "bait_station",
        "target": "brown-rat",
        "area": None,
        "area_unit": "",
    }

    assert "over_most" not in codes(treated(product, amount=Decimal(40), **facts))
    assert "over_most" in codes(
        treated(product, amount=Decimal(41), day=DAY + timedelta(days=1), **facts)
    )


def test_a_tank_is_held_against_what_was_mixed():
    product = make_product(
        formulation=Product.Formulation.LIQUID,
        unit=Product.Unit.MILLILITRE,
        methods=["edge_spray"],
        rates=[make_rate(per="finished", least=None, most=Decimal(10), unit="ml", per_unit="l")],
        **SHEET,
    )
    facts = {"method": "edge_spray", "finished_unit": "l", "area": Decimal(100), "area_unit": "m2"}

    fine = treated(product, amount=Decimal(50), finished_amount=Decimal(5), **facts)
    over = treated(product, amount=Decimal(51), finished_amount=Decimal(5), **facts)

    assert "over_most" not in codes(fine)
    assert "over_most" in codes(over)


# --- what was before ------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "found"), [(6, ["too_soon"]), (7, [])])
def test_the_interval_counts_in_the_same_zone(days, found):
    product = gel(interval_days=7)
    first = treated(product, day=DAY - timedelta(days=days))

    again = treated(product, zone=first.zone)
    elsewhere = treated(product, zone=make_zone(first.zone.site, kind=Zone.Kind.KITCHEN))

    assert codes(again) == found
    assert codes(elsewhere) == []


def test_several_spots_of_one_visit_are_one_application():
    one = treated(gel(interval_days=7, most_a_year=1), times=3)

    assert [codes(each) for each in one.visit.treatments.all()] == [[], [], []]


def test_the_yearly_count_is_used_up():
    product = gel(most_a_year=2)
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)
    for days in (200, 100):
        earlier = treated(product, zone=zone, day=DAY - timedelta(days=days))
        assert "count_used_up" not in codes(earlier)

    assert "count_used_up" in codes(treated(product, zone=zone))


def test_a_year_ago_counts_no_more():
    product = gel(most_a_year=1)
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)
    treated(product, zone=zone, day=DAY - timedelta(days=365))

    assert codes(treated(product, zone=zone)) == []


def test_the_same_group_window_after_window_is_named_for_one_pest_at_a_site():
    """IRAC 22A twice, another group in between nowhere: indoxacarb, 95 days apart."""
    product = gel()
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)
    treated(product, zone=zone, day=DAY - timedelta(days=95))

    assert codes(treated(gel(), zone=zone)) == ["rotation_again"]
    other = gel(pests=["german-cockroach", "pharaoh-ant"])
    assert "rotation_again" not in codes(treated(other, zone=zone, target="pharaoh-ant"))
    assert codes(treated(gel())) == []


def test_bait_past_its_review_day_stands_beside_new_bait():
    product = make_product(
        formulation=Product.Formulation.BAIT_BLOCK, methods=["bait_station"], **SHEET
    )
    zone = make_zone(make_site(), kind=Zone.Kind.WASTE)
    station = make_monitor(zone, kind=Monitor.Kind.BAIT_STATION)
    facts = {
        "zone": zone,
        "monitor_id": station.pk,
        "method": "bait_station",
        "target": "brown-rat",
        "amount": Decimal(40),
    }
    first = treated(product, day=DAY - timedelta(days=36), **facts)

    assert "bait_past_review" not in codes(first)
    assert "bait_past_review" in codes(treated(product, **facts))


# --- who, which label, what the register lacks ----------------------------------------------------


def test_a_licence_that_had_lapsed_that_day_is_against_the_rules():
    technician, kind = make_technician(), make_competence_kind()
    make_competence(technician, kind, valid_until=DAY - timedelta(days=1))
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)

    before = treated(gel(), zone=zone, technician=technician, day=DAY - timedelta(days=1))
    after = treated(gel(), zone=zone, technician=technician)
    helped = treated(
        gel(),
        zone=zone,
        technician=technician,
        day=DAY + timedelta(days=1),
        supervised_person="Sam Hale",
    )

    assert codes(before) == []
    assert codes(after) == ["not_licensed"]
    assert codes(helped) == ["supervised"]


def test_where_no_licence_was_ever_on_file_nothing_is_claimed():
    assert codes(treated(gel(), technician=make_technician())) == []


def test_a_label_that_a_newer_one_had_replaced_is_named(office):
    product = gel()
    old = product.label
    enter_label(product.pk, by=office, in_force_from=DAY - timedelta(days=30), cautions="Keep dry.")

    assert "label_replaced" in codes(treated(product, label_id=old.pk))
    product.refresh_from_db()
    assert codes(treated(product)) == []


def test_an_authorisation_that_had_ended_is_against_the_label():
    product = gel(authorised_until=DAY - timedelta(days=1))

    assert codes(treated(product)) == ["authorisation_expired"]
    assert codes(treated(product, day=DAY - timedelta(days=1))) == []


# --- what comes later, and what it costs ----------------------------------------------------------


def parked_treatment(
    zone: Zone, product: Product, amount: str, **facts
) -> tuple[Visit, ParkedOperation]:
    """A treatment that a phone sent for a visit that was called off."""
    lost = make_visit(zone.site, state=Visit.State.BOOKED, due_on=timezone.now().date())
    phone = Phone(lost)
    call_off_visit(lost.pk, by=make_office(), reason="The site was shut.")
    apply_operations(
        [
            phone.op(
                "treatment.set",
                treatment=str(Treatment().pk),
                zone=zone,
                product=product,
                target="german-cockroach",
                method="gel",
                place="Hinges",
                amount=amount,
                explanation="Double dose by mistake.",
                **{
                    "area": "12",
                    "area_unit": "points",
                    "started_at": timezone.now().isoformat(),
                    **facts,
                },
            )
        ],
        by=lost.technician,
    )
    return lost, ParkedOperation.objects.get(visit=lost)


def test_what_the_office_places_on_an_open_visit_is_judged_when_it_closes(office):
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)
    lost, parked = parked_treatment(zone, gel(), "9.6")
    visit = make_visit(
        zone.site,
        state=Visit.State.UNDER_WAY,
        technician=lost.technician,
        due_on=timezone.now().date(),
    )

    place_parked(parked.pk, by=office, visit_id=visit.pk)
    closed(visit)

    assert codes(visit.treatments.get()) == ["over_most"]


def test_what_the_office_places_on_a_closed_visit_says_so_in_the_amendment(office):
    correction = placed_on_closed(office, gel(), "9.6")

    assert "Against the label" in correction
    assert "of what the label allows at most here" in correction


def placed_on_closed(office, product: Product, amount: str, **facts) -> str:
    """What stands beside a closed visit once the office has placed a treatment there."""
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)
    lost, parked = parked_treatment(zone, product, amount, **facts)
    visit = make_visit(
        zone.site,
        state=Visit.State.CLOSED,
        technician=lost.technician,
        due_on=timezone.now().date(),
    )
    place_parked(parked.pk, by=office, visit_id=visit.pk)
    return Amendment.objects.get(visit=visit).correction


@pytest.mark.parametrize(
    "facts", [{"area_unit": ""}, {"area": None, "area_unit": "", "finished_amount": "5"}]
)
def test_what_no_visit_takes_for_want_of_a_unit_is_placed_beside_a_closed_one(office, facts):
    correction = placed_on_closed(office, gel(), "9.6", **facts)

    assert "Double dose by mistake." in correction
    assert "at most here" not in correction


def test_what_comes_late_is_held_against_the_version_of_its_day(office):
    today = timezone.now().date()
    product = gel()
    enter_label(
        product.pk, by=office, in_force_from=today, rates=[make_rate(most=Decimal(1), least=None)]
    )

    now = placed_on_closed(office, product, "9.6")
    earlier = (timezone.now() - timedelta(days=3)).isoformat()
    then = placed_on_closed(office, product, "9.6", started_at=earlier)

    assert "at most here" not in now
    assert "at most here" in then


def test_a_version_of_another_product_judges_nothing(office):
    correction = placed_on_closed(office, gel(), "9.6", label=gel().label)

    assert "Double dose by mistake." in correction
    assert "Against the label" not in correction


@pytest.mark.parametrize("number", [2, 20])
def test_judging_costs_the_same_for_few_treatments_and_many(number, django_assert_max_num_queries):
    zone = make_zone(make_site(), kind=Zone.Kind.KITCHEN)
    visit = make_visit(zone.site, state=Visit.State.UNDER_WAY, due_on=DAY)
    at = local(visit, 9, 30)
    for _ in range(number // 2):
        for product in (gel(), gel(formulation=Product.Formulation.BAIT_PASTE)):
            apply_treatment(
                visit.pk,
                by=visit.technician,
                at=at,
                treatment=treatment_given(zone, product, started_at=at),
            )
    rows = list(visit.treatments.select_related("zone", "product", "target"))
    visit.site = Site.objects.get(pk=visit.site_id)

    with django_assert_max_num_queries(6):
        assert len(judged(visit, rows)) == number
