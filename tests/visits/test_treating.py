"""What a phone is told for treating: labels with rates worked out, the van, the past of a site."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from django.utils import timezone

from accounts.models import User
from tests.builders.accounts import make_technician
from tests.builders.sites import make_site
from tests.builders.visits import (
    local,
    make_competence,
    make_competence_kind,
    make_product,
    make_rate,
    make_visit,
    treatment_given,
)
from visits.dosing.biology import is_unusual
from visits.models import BaitingReview, Batch, Carried, GuideLine, Product, Visit
from visits.queries.package import package_of
from visits.queries.treating import MOST_PRODUCTS, exact_text, products_for
from visits.services.products import withdraw_product
from visits.services.recording import ReadingGiven, apply_treatment, record_readings

pytestmark = pytest.mark.django_db

TODAY = timezone.now().date()


@pytest.fixture
def visit(office, technician) -> Visit:
    return make_visit(
        make_site(zones=2, monitors=1),
        state="under_way",
        by=office,
        technician=technician,
        due_on=TODAY,
    )


def packed(technician: User) -> dict[str, Any]:
    return package_of(technician, now=timezone.now())


def label_told(technician: User, product: Product) -> dict[str, Any]:
    [told] = [one for one in packed(technician)["products"] if one["id"] == str(product.pk)]
    return told["label"]


def treated(visit: Visit, product: Product, *, ago: int, **facts: Any) -> Visit:
    """Another visit to the same site some days ago, on which the product was applied."""
    other = make_visit(
        visit.site, state="under_way", technician=visit.technician, due_on=TODAY - timedelta(ago)
    )
    zone = visit.site.zones.order_by("walk_order").first()
    given = treatment_given(zone, product, started_at=local(other, 9, 40), **facts)
    apply_treatment(other.pk, by=visit.technician, at=local(other, 9, 50), treatment=given)
    return other


# --- labels ---------------------------------------------------------------------------------------


def test_rates_come_worked_out_for_one_unit_of_a_place(technician, office):
    rates = [
        make_rate(per_amount=Decimal(2)),
        make_rate(
            per="area",
            least=None,
            most=Decimal(1),
            unit="us_fl_oz",
            per_amount=Decimal(1000),
            per_unit="ft2",
            cover_amount=Decimal(1),
            cover_unit="us_gal",
            cover_per_amount=Decimal(1000),
            cover_per_unit="ft2",
        ),
    ]
    liquid = make_product(by=office, formulation="liquid", unit="ml", rates=rates[1:])
    gel = make_product(by=office, rates=rates[:1])

    [spot] = label_told(technician, gel)["rates"]
    [spray] = label_told(technician, liquid)["rates"]

    assert (spot["least"], spot["most"], spot["unit"], spot["base"]) == (
        "0.1",
        "0.25",
        "g",
        "points",
    )
    assert spot["words"] == "0.2 g to 0.5 g for each 2 points"
    assert (spray["unit"], spray["base"], spray["measured_in"]) == ("us_fl_oz", "m2", "ft2")
    # 1000 ft² are 92.90304 m² (the foot of 0.3048 m, exact by agreement of 1959).
    assert Fraction(spray["most"]) == 1 / Fraction("92.90304")
    assert spray["cover"]["unit"] == "us_gal"
    assert Fraction(spray["cover"]["amount"]) == 1 / Fraction("92.90304")


def test_a_rate_that_cannot_be_worked_out_says_why(technician, office):
    rate = make_rate(per="area", of="active", per_unit="m2", least=None, most=Decimal(2))
    product = make_product(
        by=office, formulation="liquid", unit="ml", actives="bendiocarb 75 % w/w", rates=[rate]
    )

    [told] = label_told(technician, product)["rates"]

    assert told["most"] is None
    assert "density" in told["why"]


def test_a_label_tells_how_much_active_ingredient_a_gram_holds(technician, office):
    product = make_product(by=office, actives="indoxacarb 6 g/kg")

    assert label_told(technician, product)["actives"] == [
        {"name": "indoxacarb", "in_each": "0.006", "unit": "g"}
    ]


def test_an_amount_as_text_is_exact():
    assert [exact_text(Fraction(one)) for one in ("1/8", "2/3", "12", "-1/2")] == [
        "0.125",
        "2/3",
        "12",
        "-0.5",
    ]


# --- products -------------------------------------------------------------------------------------


def test_the_van_comes_first_then_what_was_used_then_the_names(visit, technician, office):
    rest, used, van, gone = (make_product(by=office, name=name) for name in "ABCD")
    batch = Batch.objects.create(product=van, number="L26", received_on=TODAY, amount=100)
    Carried.objects.create(person=technician, product=van, batch=batch)
    Carried.objects.create(person=make_technician(), product=rest)
    treated(visit, used, ago=30)
    withdraw_product(gone.pk, by=office, on=TODAY, reason="Sold out.")

    found = list(products_for(technician, TODAY))

    assert found == [van, used, rest]
    told = packed(technician)["products"]
    assert [(one["name"], one["carried"], one["batch"]) for one in told] == [
        ("C", True, "L26"),
        ("B", False, ""),
        ("A", False, ""),
    ]


def test_of_a_long_register_only_so_many_are_told(technician, office):
    first = make_product(by=office, name="A")
    Product.objects.bulk_create(
        Product(
            name=f"B {number:04}",
            registration_number=f"R-{number}",
            formulation="gel",
            unit="g",
            label=first.label,
        )
        for number in range(MOST_PRODUCTS)
    )

    assert len(packed(technician)["products"]) == MOST_PRODUCTS


# --- the past of a site ---------------------------------------------------------------------------


def test_days_of_applications_come_for_labels_that_count_them(visit, technician, office):
    counted = make_product(by=office, interval_days=30)
    free = make_product(by=office)
    zone = visit.site.zones.order_by("walk_order").first()
    for product in (counted, free):
        treated(visit, product, ago=20)
    treated(visit, counted, ago=380)
    own = treatment_given(zone, counted, started_at=local(visit, 9, 40))
    apply_treatment(visit.pk, by=technician, at=local(visit, 9, 50), treatment=own)

    told = {one["id"]: one["treating"] for one in packed(technician)["visits"]}

    day = str(TODAY - timedelta(20))
    assert told[str(visit.pk)]["applied"] == {str(zone.pk): {str(counted.pk): [day]}}


def test_the_same_mode_of_action_again_is_told_by_pest_and_active(visit, technician, office):
    product = make_product(by=office)
    treated(visit, product, ago=100)

    told = {one["id"]: one["treating"] for one in packed(technician)["visits"]}

    again = told[str(visit.pk)]["rotation"]["german-cockroach"]["indoxacarb"]
    assert again["code"] == "rotation_again"
    assert again["words"]


def test_bait_that_lies_is_told_by_point_with_its_review(visit, technician, office):
    block = make_product(by=office, formulation="bait_block", actives="difenacoum 0.05 g/kg")
    monitor = visit.site.monitors.order_by("number").first()
    bait = {
        "monitor_id": monitor.pk,
        "method": "bait_station",
        "target": "house-mouse",
        "amount": Decimal(60),
    }
    earlier = make_visit(
        visit.site, state="under_way", technician=technician, due_on=TODAY - timedelta(40)
    )
    given = treatment_given(monitor.zone, block, started_at=local(earlier, 9, 40), **bait)
    apply_treatment(earlier.pk, by=technician, at=local(earlier, 9, 50), treatment=given)
    record_readings(
        earlier.pk,
        by=technician,
        at=local(earlier, 10),
        readings=[ReadingGiven(monitor.pk, bait_taken_g=Decimal("12.5"))],
    )

    def told() -> dict[str, Any]:
        found = {one["id"]: one["treating"] for one in packed(technician)["visits"]}
        return found[str(visit.pk)]

    assert told()["points"] == {
        str(monitor.pk): {"balance_g": "47.50", "since": str(TODAY - timedelta(40))}
    }
    assert told()["bait"]["is_overdue"]
    BaitingReview.objects.create(
        site=visit.site,
        reviewed_on=TODAY - timedelta(5),
        outcome="go_on",
        cause="Still taken.",
        reviewed_by=office,
    )
    assert not told()["bait"]["is_overdue"]


# --- the guide, and people ------------------------------------------------------------------------


def test_the_guide_comes_as_the_office_keeps_it_without_what_it_leaves_open(technician):
    line = GuideLine.objects.filter(verdict="prefer").order_by("position").first()
    assert line
    GuideLine.objects.filter(pk=line.pk).update(words="Our own words.")
    retired = GuideLine.objects.exclude(pk=line.pk).first()
    assert retired
    GuideLine.objects.filter(pk=retired.pk).update(retired_on=TODAY)

    told = {one["key"]: one for one in packed(technician)["guide"]}

    assert told[line.key]["words"] == "Our own words."
    assert retired.key not in told
    assert all("source" not in one and "" not in one.values() for one in told.values())


def test_competences_come_with_their_first_and_last_day(technician):
    kind = make_competence_kind(name="Applicator")
    make_competence(technician, kind, valid_until=date(2027, 6, 30), withdrawn_on=date(2027, 1, 5))

    assert packed(technician)["competences"] == [
        {"name": "Applicator", "from": "2026-01-01", "until": "2027-01-04"}
    ]


def test_it_tells_which_pests_are_unusual_where(technician):
    told = packed(technician)

    slugs = [one["slug"] for one in told["pests"]]
    assert told["unusual"]["kitchen"] == [one for one in slugs if is_unusual("kitchen", one)]
    assert "german-cockroach" not in told["unusual"]["kitchen"]
