"""Programs read products with their labels and rates, and enter them as the office does."""

from decimal import Decimal

import pytest

from tests.builders.visits import make_product, make_rate
from visits.models import Product
from visits.services.labels import enter_label

pytestmark = pytest.mark.django_db

PRODUCTS = "/api/products/"
PRODUCT = {
    "name": "Demo gel",
    "registration_number": "PM-1",
    "formulation": "gel",
    "unit": "g",
    "label": {
        "in_force_from": "2026-01-05",
        "actives": [{"name": "indoxacarb", "strength": "0.60", "basis": "w/w"}],
        "pests": ["german-cockroach"],
        "cautions": "Keep off food.",
        "rates": [
            {"per": "point", "least": "0.2", "most": "0.5", "unit": "g", "per_unit": "points"}
        ],
    },
}


def test_what_is_entered_is_read_again(program, office):
    made = program(office).post(PRODUCTS, PRODUCT)

    assert made.status_code == 201
    label = made.json()["label"]
    assert (label["number"], label["in_force_from"]) == (1, "2026-01-05")
    assert label["actives"] == [{"name": "indoxacarb", "strength": "0.6", "basis": "w/w"}]
    assert label["actives_words"] == "indoxacarb 0.6 % w/w"
    [rate] = label["rates"]
    assert (Decimal(rate["most"]), rate["unit"], rate["position"]) == (Decimal("0.5"), "g", 1)
    assert Decimal(rate["per_amount"]) == 1


@pytest.mark.parametrize(
    ("label", "status"),
    [
        ({"rates": [{**PRODUCT["label"]["rates"][0], "least": "0.6"}]}, 422),
        ({"rates": [{**PRODUCT["label"]["rates"][0], "most": "0"}]}, 400),
        ({"rates": [{**PRODUCT["label"]["rates"][0], "per_unit": "m2"}]}, 422),
        ({"actives": [{"name": "x", "strength": "101", "basis": "w/w"}]}, 422),
        ({"actives": [{"name": "x", "strength": "1", "basis": "percent"}]}, 400),
        ({"pests": ["dragon"]}, 422),
        ({"in_force_from": "2099-01-01"}, 422),
    ],
)
def test_what_no_label_can_say_is_refused(program, office, label, status):
    answer = program(office).post(PRODUCTS, {**PRODUCT, "label": label})

    assert answer.status_code == status, answer.json()
    assert not Product.objects.exists()


def test_a_new_version_leaves_the_earlier_one_to_be_read(program, office):
    client = program(office)
    path = f"{PRODUCTS}{client.post(PRODUCTS, PRODUCT).json()['id']}/"

    entered = client.post(f"{path}labels/", {"cautions": "Gloves.", "interval_days": 14})

    assert entered.status_code == 201
    assert entered.json()["label"]["number"] == 2
    versions = client.get(f"{path}labels/").json()["results"]
    assert [(one["number"], one["cautions"]) for one in versions] == [
        (2, "Gloves."),
        (1, "Keep off food."),
    ]
    assert [len(one["rates"]) for one in versions] == [1, 1]


def test_the_same_again_is_no_new_version(program, office):
    """A rate that does not say for how many is for one, then as now."""
    client = program(office)
    path = f"{PRODUCTS}{client.post(PRODUCTS, PRODUCT).json()['id']}/"
    stated = {**PRODUCT["label"], "in_force_from": "2026-02-01"}

    assert client.post(f"{path}labels/", stated).json()["label"]["number"] == 1


def test_the_product_itself_is_changed_apart(program, office):
    client = program(office)
    path = f"{PRODUCTS}{client.post(PRODUCTS, PRODUCT).json()['id']}/"

    changed = client.patch(path, {"authority": "Nobody (invented)"}).json()

    assert (changed["authority"], changed["label"]["number"]) == ("Nobody (invented)", 1)


@pytest.mark.parametrize("count", [2, 20])
def test_the_list_costs_the_same_whatever_the_rates(
    program, office, count, django_assert_max_num_queries
):
    for _ in range(count):
        product = make_product(by=office, rates=[make_rate(), make_rate(per="area", per_unit="m2")])
        day = product.label.in_force_from
        enter_label(product.pk, by=office, in_force_from=day, cautions="Gloves.")
    client = program(office)
    client.get(PRODUCTS)

    # Token and person, how many there are, the products with their labels, the rates.
    with django_assert_max_num_queries(6):
        found = client.get(PRODUCTS).json()

    assert len(found["results"]) == count
