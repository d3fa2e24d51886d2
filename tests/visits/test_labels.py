"""Versions of a label: entered beside one another, corrected only while nobody used them."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import partial

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from accounts.models import Company
from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from sites.models import Document
from tests.builders.files import pdf_bytes
from tests.builders.visits import (
    local,
    make_product,
    make_rate,
    make_visit,
    treatment_given,
)
from visits.dosing.label import BASIS_WORDS
from visits.dosing.units import DosingError
from visits.label_words import actives_told, rate_words
from visits.models import LabelRate, Product, ProductLabel
from visits.queries.labels import label_shown, pure_label, pure_rate
from visits.services.labels import Papers, correct_label, enter_label, label_mark
from visits.services.recording import apply_treatment

pytestmark = pytest.mark.django_db

TODAY = timezone.now().date()
YESTERDAY = TODAY - timedelta(days=1)


@pytest.fixture
def product(office) -> Product:
    return make_product(
        by=office,
        pests=["german-cockroach"],
        places=["indoors"],
        methods=["gel"],
        rates=[make_rate()],
    )


def rates_of(label: ProductLabel) -> list[LabelRate]:
    return list(label.rates.order_by("position"))


def used(product: Product, **facts) -> None:
    """One treatment with the product."""
    visit = make_visit(zones=2, state="under_way")
    given = treatment_given(visit.site.zones.first(), product, **facts)
    apply_treatment(visit.pk, by=visit.technician, at=local(visit, 10), treatment=given)


class TestEntering:
    def test_a_change_of_what_is_stated_is_a_new_version_and_the_old_one_stays(
        self, office, product, trail
    ):
        before = product.label

        label = enter_label(product.pk, by=office, in_force_from=TODAY, cautions="Gloves.")

        product.refresh_from_db()
        before.refresh_from_db()
        assert (product.label_id, label.number, label.in_force_from) == (label.pk, 2, TODAY)
        assert (before.cautions, label.cautions) == ("Keep off food.", "Gloves.")
        assert trail()[-1] == "label.entered"

    def test_what_is_left_out_stays_with_its_rates(self, office, product):
        label = enter_label(product.pk, by=office, in_force_from=TODAY, interval_days=14)

        assert label.actives == [{"name": "indoxacarb", "strength": "6", "basis": "g/kg"}]
        assert [pure_rate(one) for one in rates_of(label)] == [
            pure_rate(one) for one in rates_of(product.label)
        ]

    def test_nothing_new_is_no_new_version(self, office, product, trail):
        seen = trail()

        label = enter_label(
            product.pk,
            by=office,
            in_force_from=TODAY,
            cautions="Keep off food. ",
            rates=[make_rate(least=Decimal("0.200"))],
        )

        assert (label.pk, product.labels.count(), trail()) == (product.label_id, 1, seen)

    def test_somebody_else_s_version_is_not_overwritten(self, office, product):
        seen = label_mark(product.label, rates_of(product.label))
        enter_label(product.pk, by=office, in_force_from=TODAY, seen=seen, cautions="Gloves.")

        with pytest.raises(Changed):
            enter_label(product.pk, by=office, in_force_from=TODAY, seen=seen, cautions="Mask.")

        assert product.labels.count() == 2

    @pytest.mark.parametrize(
        ("facts", "sentence"),
        [
            ({"in_force_from": TODAY + timedelta(days=1)}, "Enter it when it applies"),
            ({"in_force_from": TODAY - timedelta(days=1)}, "cannot begin before it"),
            ({"actives": actives_told("permethrin 6 g/kg") * 2}, "named twice"),
            ({"actives": [{"name": "x", "strength": "101", "basis": "w/w"}]}, "above 100"),
            ({"density": Decimal("-1")}, "above zero"),
            ({"most_a_year": 0}, "1 or more"),
            ({"rates": [make_rate(least=Decimal(1))]}, "more than the most"),
            ({"rates": [make_rate(per_unit="m2")]}, "number of points"),
            ({"rates": [make_rate(of="active", active="borax")]}, "not among"),
            ({"rates": [make_rate(most=Decimal("0.1234567"), least=None)]}, "decimal places"),
            ({"places": ["cellar"]}, "not on the list of places"),
            ({"pests": ["dragon"]}, "not on the list of pests"),
        ],
    )
    def test_what_no_label_can_say_is_refused_and_changes_nothing(
        self, office, product, facts, sentence
    ):
        told = {"in_force_from": TODAY, "cautions": "Gloves.", **facts}

        with pytest.raises(Unusable, match=sentence):
            enter_label(product.pk, by=office, **told)

        assert product.labels.count() == 1

    def test_only_the_office_enters_labels(self, technician, product):
        with pytest.raises(NotAllowed):
            enter_label(product.pk, by=technician, in_force_from=TODAY, cautions="Gloves.")

    def test_a_search_finds_what_the_newest_version_names(self, office, product):
        enter_label(
            product.pk,
            by=office,
            in_force_from=TODAY,
            actives=actives_told("Fipronil 0.05 % w/w"),
            pests=["pharaoh-ant"],
        )

        product.refresh_from_db()
        assert "fipronil" in product.found_by
        assert "pharaoh ant" in product.found_by
        assert "indoxacarb" not in product.found_by


class TestPapers:
    def test_files_become_papers_of_the_company_and_go_along(self, office, product):
        papers = Papers(label=pdf_bytes(), sheet=pdf_bytes())
        enter_label(product.pk, by=office, in_force_from=TODAY, papers=papers, cautions="Gloves.")

        label = enter_label(product.pk, by=office, in_force_from=TODAY, cautions="Mask.")

        assert label.label_file.kind == Document.Kind.LABEL
        assert label.sheet_file.kind == Document.Kind.SAFETY_DATA_SHEET
        assert product.name in label.label_file.title
        assert label.label_file.site_id is None

    def test_the_file_of_an_older_paper_does_not_go_along(self, office, product):
        papers = Papers(label=pdf_bytes(), sheet=pdf_bytes())
        enter_label(product.pk, by=office, in_force_from=TODAY, papers=papers, cautions="Gloves.")

        label = enter_label(product.pk, by=office, in_force_from=TODAY, issued_on=YESTERDAY)

        assert label.label_file is None
        assert label.sheet_file is not None

    def test_a_file_alone_is_kept_with_the_version_in_force(self, office, product, trail):
        label = enter_label(
            product.pk, by=office, in_force_from=TODAY, papers=Papers(sheet=pdf_bytes())
        )

        assert (label.pk, label.sheet_file is not None) == (product.label_id, True)
        assert trail()[-1] == "label.papers_kept"

    def test_a_newer_file_stands_before_the_earlier_one(self, office, product):
        for pages in (1, 2):
            papers = Papers(label=pdf_bytes(pages))
            enter_label(product.pk, by=office, in_force_from=TODAY, papers=papers)

        newer = Document.objects.get(replaces__isnull=False)
        assert ProductLabel.objects.get().label_file_id == newer.pk


class TestCorrecting:
    def test_an_unused_version_is_put_right_in_place(self, office, product, trail):
        rate = rates_of(product.label)[0]

        label = correct_label(
            product.label_id,
            by=office,
            cautions="Gloves.",
            rates=[make_rate(most=Decimal("0.4")), make_rate(per="area", per_unit="m2")],
        )

        assert (label.pk, label.number) == (product.label_id, 1)
        assert [(one.pk == rate.pk, one.per) for one in rates_of(label)] == [
            (True, "point"),
            (False, "area"),
        ]
        assert rates_of(label)[0].most == Decimal("0.4")
        assert trail()[-1] == "label.corrected"

    def test_a_line_less_is_gone(self, office, product):
        correct_label(product.label_id, by=office, rates=[])

        assert rates_of(product.label) == []

    def test_a_version_that_a_record_names_stays(self, office, product):
        used(product)

        with pytest.raises(WrongState, match="Enter a new version"):
            correct_label(product.label_id, by=office, cautions="Gloves.")

        product.label.refresh_from_db()
        assert product.label.cautions == "Keep off food."

    def test_a_version_begins_no_earlier_than_the_one_before_it(self, office, product):
        first = product.label.in_force_from
        label = enter_label(product.pk, by=office, in_force_from=TODAY, cautions="Gloves.")

        with pytest.raises(Unusable, match="cannot begin before it"):
            correct_label(label.pk, by=office, in_force_from=first - timedelta(days=1))

        label.refresh_from_db()
        assert label.in_force_from == TODAY
        assert correct_label(label.pk, by=office, in_force_from=first).in_force_from == first

    def test_a_version_that_was_replaced_stays(self, office, product):
        enter_label(product.pk, by=office, in_force_from=TODAY, cautions="Gloves.")

        with pytest.raises(WrongState, match="no longer in force"):
            correct_label(product.label_id, by=office, cautions="Mask.")


class TestTheVersionOfARecord:
    def test_a_treatment_keeps_the_version_of_its_day(self, office):
        product = make_product(by=office, in_force_from=date(2026, 1, 1), cautions="Keep off food.")
        first = product.label
        second = enter_label(product.pk, by=office, in_force_from=TODAY, cautions="Gloves.")
        visit = make_visit(zones=2, state="under_way", due_on=TODAY - timedelta(days=3))
        zone = visit.site.zones.first()
        say = {"by": visit.technician, "at": local(visit, 10)}

        early = apply_treatment(
            visit.pk,
            **say,
            treatment=treatment_given(zone, product, started_at=local(visit, 9)),
        )
        named = apply_treatment(
            visit.pk,
            **say,
            treatment=treatment_given(
                zone, product, started_at=local(visit, 9), label_id=second.pk
            ),
        )

        assert (early.label, named.label) == (first, second)


class TestWords:
    @pytest.mark.parametrize(
        ("text", "told"),
        [
            ("permethrin 0.5 % w/w", [("permethrin", "0.5", "w/w")]),
            ("permethrin 0,5 % w/w", [("permethrin", "0.5", "w/w")]),
            ("indoxacarb 6 g/kg", [("indoxacarb", "6", "g/kg")]),
            (
                "lambda-cyhalothrin 10 g/l; piperonyl butoxide 5 % w/v",
                [("lambda-cyhalothrin", "10", "g/l"), ("piperonyl butoxide", "5", "w/v")],
            ),
            ("2,4-test 1 lb/US gal", [("2,4-test", "1", "lb/us_gal")]),
            ("", []),
        ],
    )
    def test_actives_are_read_from_one_line(self, text, told):
        assert [(one["name"], one["strength"], one["basis"]) for one in actives_told(text)] == told

    @pytest.mark.parametrize(
        "text", ["permethrin", "permethrin 5", "permethrin 5 %", "5 g/kg", "permethrin 120 % w/w"]
    )
    def test_what_cannot_be_read_is_refused_and_never_guessed(self, text):
        with pytest.raises(DosingError):
            actives_told(text)

    @pytest.mark.parametrize("basis", BASIS_WORDS)
    def test_what_is_written_can_be_read_again(self, basis):
        one = {"name": "permethrin", "strength": "0.125", "basis": basis}
        label = ProductLabel(actives=[one])

        assert actives_told(label.actives_words) == [one]

    @pytest.mark.parametrize(
        ("facts", "words"),
        [
            ({}, "0.2 to 0.5 g for each point"),
            ({"least": None}, "at most 0.5 g for each point"),
            ({"least": Decimal("0.5")}, "0.5 g for each point"),
            (
                {"per": "area", "per_unit": "m2", "per_amount": Decimal(10)},
                "0.2 to 0.5 g for each 10 m²",
            ),
            (
                {
                    "per": "finished",
                    "per_unit": "l",
                    "unit": "ml",
                    "least": None,
                    "most": Decimal(10),
                    "cover_amount": Decimal(5),
                    "cover_unit": "l",
                    "cover_per_amount": Decimal(100),
                    "cover_per_unit": "m2",
                },
                "at most 10 ml in each l of finished spray; 5 l of finished spray over each 100 m²",
            ),
            (
                {"of": "active", "active": "permethrin", "least": None},
                "at most 0.5 g of permethrin for each point",
            ),
        ],
    )
    def test_a_rate_reads_as_a_sentence(self, facts, words):
        assert rate_words(pure_rate(LabelRate(**make_rate(**facts)))) == words


def test_a_label_of_the_register_is_the_sums_own(product):
    label = pure_label(product.label, rates_of(product.label))

    assert (label.name, label.formulation, label.measured_in) == (product.name, "gel", "g")
    assert label.actives[0].strength == Fraction(6)
    assert label.rates[0].most == Fraction(1, 2)
    assert label.pests == {"german-cockroach"}


def test_words_of_before_are_shown_and_never_worked_with(office):
    product = make_product(by=office, actives=[])
    product.label.actives = [{"name": "indoxacarb 0.5 %", "strength": "", "basis": ""}]

    assert pure_label(product.label, []).actives == ()
    shown = label_shown(product.label, [], {})
    assert ("Active ingredients", "indoxacarb 0.5 %") in shown.facts


class TestPages:
    def fields(self, product: Product | None = None, **typed) -> dict[str, str]:
        """A whole form as a browser sends it: one active ingredient and one rate."""
        rows = 1 if product else 0
        return {
            "in_force_from": TODAY.isoformat(),
            "actives-TOTAL_FORMS": "1",
            "actives-INITIAL_FORMS": str(rows),
            "actives-0-name": "indoxacarb",
            "actives-0-strength": "6",
            "actives-0-basis": "g/kg",
            "rates-TOTAL_FORMS": "1",
            "rates-INITIAL_FORMS": str(rows),
            "rates-0-per": "point",
            "rates-0-least": "0,2",
            "rates-0-most": "0,5",
            "rates-0-unit": "g",
            "rates-0-per_amount": "1",
            "rates-0-per_unit": "points",
            "rates-0-of": "product",
            **typed,
        }

    @pytest.fixture
    def signed_in(self, client, office):
        client.force_login(office)
        return client

    def test_a_product_is_added_with_its_label(self, signed_in):
        product = {
            "name": "Demo gel",
            "registration_number": "PM-1",
            "formulation": "gel",
            "unit": "g",
        }
        response = signed_in.post(
            reverse("visits:product_add"),
            {
                **self.fields(**product, cautions="Keep off food.", pests=["german-cockroach"]),
                "label_file": SimpleUploadedFile("label.pdf", pdf_bytes(), "application/pdf"),
            },
        )

        made = Product.objects.get()
        assert response.status_code == 302
        assert (made.label.cautions, made.label.pests) == ("Keep off food.", ["german-cockroach"])
        assert [one.most for one in rates_of(made.label)] == [Decimal("0.5")]
        assert made.label.label_file.kind == Document.Kind.LABEL

    def test_a_version_is_entered_from_the_one_in_force(self, signed_in, product):
        page = signed_in.get(reverse("visits:label_enter", args=[product.pk]))
        assert "0.2 to 0.5 g for each point" in page.content.decode()
        seen = page.context["entry"].form["seen"].value()

        signed_in.post(
            reverse("visits:label_enter", args=[product.pk]),
            self.fields(product, seen=seen, cautions="Gloves.", interval_days="14"),
        )

        product.refresh_from_db()
        assert (product.label.number, product.label.interval_days) == (2, 14)

    @pytest.mark.parametrize(
        ("typed", "field", "sentence"),
        [
            ({"rates-0-most": ""}, "rates-0-most", "required"),
            ({"rates-0-most": "0"}, "rates-0-most", "above zero"),
            ({"rates-0-most": "-1"}, "rates-0-most", "below zero"),
            ({"rates-0-most": "half"}, "rates-0-most", "no number"),
            ({"rates-0-most": "1,234"}, "rates-0-most", "more than one way"),
            ({"rates-0-least": "0.6"}, "rates-0-least", "more than the most"),
            ({"rates-0-per_amount": "0"}, "rates-0-per_amount", "above zero"),
            ({"rates-0-per_unit": "m2"}, "rates-0-per_unit", "number of points"),
            ({"rates-0-unit": ""}, "rates-0-unit", "required"),
            ({"rates-0-of": "active", "rates-0-active": "x"}, "rates-0-active", "not among"),
            ({"rates-0-cover_amount": "1"}, "rates-0-cover_unit", "all four"),
            ({"actives-0-strength": "1001"}, "actives-0-strength", "above 1000"),
            ({"actives-0-basis": ""}, "actives-0-basis", "required"),
            ({"actives-0-name": ""}, "actives-0-name", "required"),
            ({"density": "0"}, "density", "above zero"),
            ({"density": "1.23456"}, "density", "4 digits"),
            ({"in_force_from": ""}, "in_force_from", "required"),
            ({"most_a_year": "0"}, "most_a_year", "greater than or equal to 1"),
        ],
    )
    def test_a_mistake_is_said_beside_its_field_and_what_was_typed_stays(
        self, signed_in, product, typed, field, sentence
    ):
        response = signed_in.post(
            reverse("visits:label_enter", args=[product.pk]),
            self.fields(product, cautions="Typed with care.", **typed),
        )

        problems = dict(response.context["problems"])
        assert response.status_code == 422
        assert sentence in problems[f"id_{field}"]
        assert "Typed with care." in response.content.decode()
        assert product.labels.count() == 1

    def test_another_row_is_given_without_keeping_or_refusing_anything(self, signed_in, product):
        response = signed_in.post(
            reverse("visits:label_enter", args=[product.pk]),
            self.fields(product, more="rates", **{"rates-0-most": "0,45"}),
        )

        html = response.content.decode()
        assert (response.status_code, product.labels.count()) == (200, 1)
        assert 'name="rates-1-most"' in html
        assert "0.2 to 0.45 g for each point" in html

    def test_a_row_that_is_taken_out_is_gone_whatever_stands_in_it(self, signed_in, product):
        signed_in.post(
            reverse("visits:label_enter", args=[product.pk]),
            self.fields(product, **{"rates-0-DELETE": "on", "rates-0-most": "x"}),
        )

        product.refresh_from_db()
        assert (product.label.number, rates_of(product.label)) == (2, [])

    def test_an_earlier_version_is_shown_with_its_days(self, signed_in, office, product):
        enter_label(product.pk, by=office, in_force_from=TODAY, cautions="Gloves.")

        html = signed_in.get(reverse("visits:label", args=[product.pk, 1])).content.decode()

        assert "Replaced" in html
        assert "Keep off food." in html
        assert "Gloves." not in html

    def test_a_used_version_is_not_offered_for_correction(self, signed_in, product):
        offered = reverse("visits:label_correct", args=[product.pk])
        page = reverse("visits:product", args=[product.pk])
        before = offered in signed_in.get(page).content.decode()

        used(product)

        assert before
        assert offered not in signed_in.get(page).content.decode()
        assert signed_in.get(offered).status_code == 409

    def test_a_correction_is_made_on_its_page(self, signed_in, product):
        signed_in.post(
            reverse("visits:label_correct", args=[product.pk]),
            self.fields(product, cautions="Gloves."),
        )

        product.refresh_from_db()
        assert (product.label.number, product.label.cautions) == (1, "Gloves.")


@pytest.mark.parametrize(
    ("zone", "has_begun"), [("Australia/Sydney", True), ("America/Lima", False)]
)
def test_today_is_the_day_where_the_company_is(office, product, zone, has_begun):
    """In Sydney it is the 10th when it is still the 9th in UTC, and in Lima the 9th long after."""
    Company.objects.update_or_create(pk=1, defaults={"name": "Fennimore", "time_zone": zone})
    enter = partial(enter_label, product.pk, by=office, in_force_from=date(2030, 3, 10))

    with time_machine.travel(datetime(2030, 3, 9, 20, 0, tzinfo=UTC), tick=False):
        if has_begun:
            assert enter(cautions="Gloves.").in_force_from == date(2030, 3, 10)
        else:
            with pytest.raises(Unusable, match="from today or from a day before"):
                enter(cautions="Gloves.")


class TestTryingADose:
    def ask(self, client, office, product, **typed) -> tuple[str, dict[str, list[str]]]:
        client.force_login(office)
        asked = {
            "try-rate": "1",
            "try-measure": "10",
            "try-measure_unit": "points",
            "try-amount": "",
            "try-amount_unit": "",
            **{f"try-{name}": value for name, value in typed.items()},
        }
        response = client.get(reverse("visits:product", args=[product.pk]), asked)
        assert response.status_code == 200
        return response.content.decode(), response.context["tried"].errors

    def test_it_says_what_the_label_allows_with_the_working_and_the_cautions(
        self, client, office, product
    ):
        html, errors = self.ask(client, office, product)

        assert not errors
        assert "2 g to 5 g" in html
        assert "How it was worked out" in html
        assert html.count("Keep off food.") == 2

    def test_it_says_when_an_amount_is_over_the_label(self, client, office, product):
        html, errors = self.ask(client, office, product, amount="5,1", amount_unit="g")

        assert not errors
        assert "Against the label" in html
        assert "102 %" in html

    @pytest.mark.parametrize(
        ("typed", "field"),
        [
            ({"measure": "0"}, "measure"),
            ({"measure": "-2"}, "measure"),
            ({"measure": "ten"}, "measure"),
            ({"measure": ""}, "measure"),
            ({"measure": "2.5"}, "measure"),
            ({"measure_unit": ""}, "measure_unit"),
            ({"measure_unit": "m2"}, "measure"),
            ({"rate": ""}, "rate"),
            ({"rate": "7"}, "rate"),
            ({"amount": "1", "amount_unit": ""}, "amount_unit"),
            ({"amount": "1", "amount_unit": "ml"}, "amount_unit"),
            ({"amount": "1,234", "amount_unit": "g"}, "amount"),
        ],
    )
    def test_what_cannot_be_worked_out_is_said_beside_its_field(
        self, client, office, product, typed, field
    ):
        html, errors = self.ask(client, office, product, **typed)

        assert list(errors) == [field]
        assert ("How it was worked out" in html) == (field == "amount_unit")
        assert "Share of the most" not in html

    def test_a_label_without_a_rate_says_so(self, client, office):
        html, errors = self.ask(client, office, make_product(by=office))

        assert "The register has no rate of this label" in errors["rate"][0]
        assert "How it was worked out" not in html
