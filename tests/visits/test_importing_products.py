"""Products, rates and batches in and out of spreadsheets."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from sites.exporting import export_csv, export_xlsx
from sites.importing.sheets import Verdict, known_sheets
from sites.models import Site
from sites.services.imports import import_file
from tests.builders.sites import make_site
from tests.builders.visits import make_product, make_rate
from visits.models import Batch, Product, ProductLabel
from visits.services.products import withdraw_product
from visits.services.stock import receive_batch

pytestmark = pytest.mark.django_db

TODAY = timezone.now().date()
NAMED = {"product_name": "Demo dust", "registration_number": "PM-7"}
PRODUCT = {**NAMED, "formulation": "dust", "unit": "g", "actives": "permethrin 0.5 % w/w"}
RATE = {
    **NAMED,
    "position": "1",
    "per": "area",
    "most": "2,5",
    "unit": "g",
    "per_unit": "m2",
}


def file_of(*rows: dict[str, str]) -> bytes:
    """Rows as a CSV file; the columns of the first come first."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    file = io.StringIO()
    writer = csv.DictWriter(file, names)
    writer.writeheader()
    writer.writerows(rows)
    return file.getvalue().encode()


def taken(data: bytes, office, name: str = "file.csv"):
    return import_file(data, name, by=office, write=True)


def problems(plan) -> list[str]:
    return [
        f"{problem.cell}: {problem.sentence}"
        for sheet in plan.sheets
        for row in sheet.rows
        for problem in row.problems
    ]


@pytest.fixture
def full(office) -> Product:
    """A product of which the register knows everything."""
    product = make_product(
        by=office,
        name="=Test spray, “quoted”",
        formulation="liquid",
        unit="ml",
        actives="lambda-cyhalothrin 10 g/l; piperonyl butoxide 0.125 % w/v",
        density=Decimal("1.02"),
        pests=["german-cockroach", "house-fly"],
        pest_groups=["ant"],
        permitted_pests="Crawling insects\nFlies at rest",
        places=["indoors", "food_premises"],
        methods=["spray", "edge_spray"],
        interval_days=14,
        most_a_year=4,
        re_entry_minutes=120,
        wind_most_kmh=Decimal("12.5"),
        names_weather=True,
        authorised_until=date(2031, 5, 31),
        safety_data_sheet_on=date(2026, 3, 1),
        issued_on=date(2026, 2, 1),
        rates=[
            make_rate(
                per="finished",
                least=Decimal("0.125"),
                most=Decimal(10),
                unit="ml",
                per_unit="l",
                cover_amount=Decimal(5),
                cover_unit="l",
                cover_per_amount=Decimal(100),
                cover_per_unit="m2",
                methods=["spray"],
                places=["indoors"],
                words="10 ml/l, 5 l over 100 m²",
            ),
            make_rate(of="active", active="piperonyl butoxide", per="area", per_unit="m2"),
        ],
    )
    receive_batch(
        product.pk,
        by=office,
        number="L26/7",
        received_on=TODAY - timedelta(days=9),
        amount=Decimal("1000.5"),
        expires_on=TODAY + timedelta(days=900),
        note="Two cans",
    )
    return product


def sheet(key: str):
    return next(one for one in known_sheets() if one.key == key)


class TestRoundTrip:
    @pytest.mark.parametrize("key", ["products", "rates", "batches"])
    def test_what_goes_out_as_csv_comes_back_as_the_same(self, office, full, key):
        data = "".join(export_csv(sheet(key), Site.objects.all())).encode()

        plan = taken(data, office, f"{key}.csv")

        assert problems(plan) == []
        assert {row.verdict for one in plan.sheets for row in one.rows} == {Verdict.SAME}
        assert ProductLabel.objects.count() == 1

    def test_a_workbook_comes_back_as_the_same(self, office, full):
        make_site()

        plan = taken(export_xlsx(Site.objects.all()), office, "all.xlsx")

        assert problems(plan) == []
        assert plan.count(Verdict.SAME) > 3
        assert plan.count(Verdict.NEW) + plan.count(Verdict.CHANGED) == 0

    def test_an_empty_register_is_filled_to_be_the_same_again(self, office, full):
        files = {
            key: "".join(export_csv(sheet(key), Site.objects.all())).encode()
            for key in ("products", "rates", "batches")
        }
        for key, data in files.items():
            files[key] = data.replace(b"Test spray", b"Other spray")

        for key, data in files.items():
            assert problems(taken(data, office, f"{key}.csv")) == []

        again = {key: "".join(export_csv(sheet(key), Site.objects.all())).encode() for key in files}
        for key, data in files.items():
            assert set(data.splitlines()) <= set(again[key].splitlines()), key

    def test_the_list_of_the_page_is_taken_in_too(self, client, office, full):
        client.force_login(office)
        response = client.get(reverse("visits:products_csv"))

        plan = taken(b"".join(response.streaming_content), office)

        assert problems(plan) == []
        assert plan.count(Verdict.SAME) == 1

    def test_a_blank_workbook_holds_no_product(self, full):
        assert list(sheet("products").export(Site.objects.none())) == []


class TestTakingIn:
    def test_a_product_and_its_rates_are_added(self, office, trail):
        assert problems(taken(file_of(PRODUCT), office)) == []
        assert problems(taken(file_of(RATE), office)) == []

        product = Product.objects.get()
        assert (product.label.number, product.label.actives_words) == (2, "permethrin 0.5 % w/w")
        assert product.label.rates.get().most == Decimal("2.5")
        assert "permethrin" in product.found_by
        assert trail()[-2:] == ["product.added", "label.entered"]

    def test_a_change_is_a_new_version_and_nothing_else_of_it_changes(self, office, full):
        row = {
            "product_name": full.name,
            "registration_number": full.registration_number,
            "formulation": "liquid",
            "unit": "ml",
            "interval_days": "21",
        }

        plan = taken(file_of(row), office)

        assert problems(plan) == []
        full.refresh_from_db()
        assert (full.label.number, full.label.interval_days) == (2, 21)
        assert (full.label.most_a_year, full.label.rates.count()) == (4, 2)
        assert full.labels.get(number=1).interval_days == 14

    @pytest.mark.parametrize(
        ("row", "cell", "sentence"),
        [
            ({**PRODUCT, "actives": "permethrin"}, "E2", "cannot be read"),
            ({**PRODUCT, "actives": "permethrin 120 % w/w"}, "E2", "above 100"),
            ({**PRODUCT, "density": "-1"}, "F2", "below zero"),
            ({**PRODUCT, "density": "1,234"}, "F2", "more than one way"),
            ({**PRODUCT, "pests": "dragon"}, "F2", "no pest on the list"),
            ({**PRODUCT, "places": "cellar"}, "F2", "not one of"),
            ({**PRODUCT, "in_force_from": "2099-01-01"}, "F2", "today or before"),
            ({**PRODUCT, "most_a_year": "0"}, "F2", "not between 1"),
            ({**PRODUCT, "unit": "kg"}, "D2", "not one of"),
            (RATE, "A2", "no such product"),
        ],
    )
    def test_every_mistake_is_named_by_its_cell(self, office, row, cell, sentence):
        said = problems(taken(file_of(row), office))

        assert len(said) == 1
        assert said[0].startswith(f"{cell}: ")
        assert sentence in said[0]
        assert not Product.objects.exists()

    @pytest.mark.parametrize(
        ("facts", "cell", "sentence"),
        [
            ({"most": "0"}, "E2", "not between 0"),
            ({"least": "3"}, "H2", "more than the most"),
            ({"per_unit": "m"}, "G2", "an area"),
            ({"position": "3"}, "C2", "number 1"),
            ({"of": "active", "active": "borax"}, "I2", "not among"),
        ],
    )
    def test_a_rate_that_no_label_can_state_is_named_by_its_cell(
        self, office, facts, cell, sentence
    ):
        taken(file_of(PRODUCT), office)

        said = problems(taken(file_of({**RATE, **facts}), office))

        assert len(said) == 1
        assert said[0].startswith(f"{cell}: ")
        assert sentence in said[0]
        assert ProductLabel.objects.count() == 1

    def test_the_same_row_twice_is_told(self, office):
        said = problems(taken(file_of(PRODUCT, PRODUCT), office))

        assert said == ["A3: Demo dust stands in row 2 already."]

    def test_a_withdrawn_product_stays(self, office):
        taken(file_of(PRODUCT), office)
        product = Product.objects.get()
        withdraw_product(product.pk, by=office, on=TODAY, reason="No longer sold.")

        said = problems(taken(file_of({**PRODUCT, "cautions": "Gloves."}), office))

        assert "withdrawn" in said[0]

    def test_the_unit_of_what_is_in_stock_stays(self, office, full):
        row = {
            "product_name": full.name,
            "registration_number": full.registration_number,
            "formulation": "liquid",
            "unit": "g",
        }

        assert "batches of it are on file in ml" in problems(taken(file_of(row), office))[0]

    def test_a_batch_before_its_receipt_is_told(self, office):
        taken(file_of(PRODUCT), office)
        row = {
            **NAMED,
            "batch_number": "L1",
            "received_on": "2026-02-01",
            "amount": "100",
            "expires_on": "2026-01-01",
        }

        assert problems(taken(file_of(row), office)) == ["F2: That is before it came in."]
        assert not Batch.objects.exists()

    @pytest.mark.parametrize("count", [2, 20])
    def test_it_costs_the_same_whatever_the_rows(
        self, office, count, django_assert_max_num_queries
    ):
        rows = [{**PRODUCT, "registration_number": f"PM-{n}"} for n in range(count)]

        # Savepoint, pests, names, and nothing for a row: what is planned asks for no row.
        with django_assert_max_num_queries(8):
            plan = import_file(file_of(*rows), "file.csv", by=office, write=False)

        assert plan.count(Verdict.NEW) == count


@pytest.mark.parametrize("count", [3, 30])
def test_the_register_is_searched_and_downloaded_in_constant_queries(
    client, office, count, django_assert_num_queries
):
    for n in range(count):
        make_product(by=office, name=f"Test gel Ä{n}", pests=["pharaoh-ant"], rates=[make_rate()])
    client.force_login(office)
    asked = {"q": "gel PHARAOH ä"}
    client.get(reverse("visits:products"), asked)

    # Session and person (2), the bell, how many there are, and the rows with their labels.
    with django_assert_num_queries(6):
        page = client.get(reverse("visits:products"), asked)
    with django_assert_num_queries(3):
        lines = b"".join(client.get(reverse("visits:products_csv"), asked).streaming_content)

    assert page.context["page"].paginator.count == count
    assert len(lines.splitlines()) == count + 1
