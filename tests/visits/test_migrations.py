"""Products of before labels had versions: what they said becomes the first one, and can go back."""

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

pytestmark = pytest.mark.django_db(transaction=True)

BEFORE = [("visits", "0003_where_a_record_was_placed")]
AFTER = [("visits", "0007_what_products_are_found_by")]


def migrated(targets):
    """The apps as they stand after going to these migrations."""
    executor = MigrationExecutor(connection)
    executor.migrate(targets)
    return MigrationExecutor(connection).loader.project_state(targets).apps


@pytest.fixture
def _newest_again():
    yield
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())


@pytest.mark.usefixtures("_newest_again")
def test_what_a_product_said_becomes_its_first_label_and_goes_back():
    said = {
        "actives": "indoxacarb 6 g/kg",
        "permitted_places": "Cracks",
        "permitted_pests": "Cockroaches",
        "cautions": "Keep off food.",
        "re_entry": "At once",
    }
    before = migrated(BEFORE).get_model("visits", "Product")
    before.objects.create(
        name="Test gel Ä", registration_number="T-1", formulation="gel", unit="g", **said
    )

    after = migrated(AFTER).get_model("visits", "Product")

    product = after.objects.select_related("label").get()
    assert (product.label.number, product.label.cautions) == (1, "Keep off food.")
    assert product.label.actives == [{"name": "indoxacarb 6 g/kg", "strength": "", "basis": ""}]
    assert product.found_by == "test gel ä t-1 indoxacarb 6 g/kg cockroaches"

    back = migrated(BEFORE).get_model("visits", "Product")
    assert back.objects.values(*said).get() == said
