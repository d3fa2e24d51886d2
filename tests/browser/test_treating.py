"""Treating on the walk without a line: three taps, the label's most, a comma, and what stops."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone
from playwright.sync_api import Page, expect

from sites.services.monitors import place_monitors
from tests.browser.phones import (
    assert_server_has_all_of,
    faults_of_page,
    low_targets,
    nameless,
)
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import PLACED_ON, make_site
from tests.builders.visits import make_product, make_rate, make_visit
from visits.models import Batch, Carried, Product, Treatment, Visit
from visits.services.recording import FindingGiven, record_finding

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PICTURES = Path(settings.BASE_DIR) / "test-pictures"


def keep(page: Page, name: str) -> None:
    """A picture for whoever looks at how it reads."""
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=PICTURES / f"treating-{name}.png")


@pytest.fixture
def visit(db: None) -> Visit:
    """Under way in a kitchen in which a German cockroach was found."""
    office, technician = make_office(), make_technician(name="Ida Marsh")
    site = make_site(zones=1, monitors=1, name="The Gilt Anchor")
    visit = make_visit(
        site, state="under_way", by=office, technician=technician, due_on=timezone.now().date()
    )
    zone = site.zones.get()
    found = FindingGiven(zone.pk, kind="signs", pest="german-cockroach", place="Left oven")
    record_finding(visit.pk, by=technician, at=timezone.now(), finding=found)
    return visit


def in_the_van(visit: Visit, **facts: Any) -> Product:
    """A gel that the technician carries, 0.2 to 0.5 g for each point."""
    office = make_office()
    product = make_product(
        by=office,
        **{
            "name": "Demo gel",
            "ready_to_use": True,
            "pest_groups": ["cockroach"],
            "places": ["food_premises", "voids"],
            "methods": ["gel"],
            "rates": [make_rate()],
            **facts,
        },
    )
    batch = Batch.objects.create(
        product=product, number="L26", received_on=timezone.now().date(), amount=100
    )
    Carried.objects.create(person=visit.technician, product=product, batch=batch)
    return product


def open_sheet(new_phone: Any, visit: Visit, **more: Any) -> tuple[Any, Page]:
    """The sheet of a treatment in the first zone, on a phone that has lost its line."""
    phone = new_phone(visit.technician, reduced_motion="reduce", **more)
    phone.offline()
    page = phone.open("walk", visit)
    page.locator("[data-part=treat]:visible").first.tap()
    expect(page.locator("#treatment")).to_be_visible()
    page.wait_for_timeout(450)  # as long as a bounced press does nothing
    return phone, page


def gel(page: Page) -> Any:
    """The guide's suggestion of gel at equipment."""
    return page.locator("#treatment [data-part=suggestions] .offer", has_text="Gel: gel").first


def to_amount(page: Page, product: str = "Demo gel") -> Any:
    """The first two taps of the usual case; gives back the sheet."""
    sheet = page.locator("#treatment")
    gel(page).tap()
    sheet.locator("[data-part=products] .offer", has_text=product).tap()
    return sheet


# --- the usual case -------------------------------------------------------------------------------


def test_the_usual_treatment_is_three_taps_without_a_line(new_phone, visit):
    in_the_van(visit)
    make_product(name="Demo gel in the store", pest_groups=["cockroach"], rates=[make_rate()])
    phone, page = open_sheet(new_phone, visit)
    sheet = page.locator("#treatment")
    expect(sheet.get_by_label("Against")).to_have_value("german-cockroach")
    keep(page, "1-where")

    gel(page).tap()
    products = sheet.locator("[data-part=products] .offer")
    expect(products.first).to_contain_text("In your van, batch L26")
    expect(products).to_have_count(2)
    expect(sheet.get_by_text("Food, utensils and linen").first).to_be_visible()
    keep(page, "2-product")
    products.first.tap()
    sheet.get_by_role("button", name="10 points").tap()
    expect(sheet).to_contain_text("0.2 g to 0.5 g for each point. For 10 points: 2 g to 5 g.")
    expect(sheet.get_by_label("Product used")).to_have_value("2")
    expect(sheet).to_contain_text("40 % of the most that the label allows here.")
    keep(page, "3-amount")
    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(sheet).to_be_hidden()
    expect(page.locator("#treatment-list")).to_contain_text("2 g, Gel placement")

    phone.online()
    phone.says("Sent")
    assert_server_has_all_of(phone.log())
    treatment = Treatment.objects.get(visit=visit)
    assert (treatment.amount, treatment.unit) == (Decimal(2), "g")
    assert (treatment.area, treatment.area_unit) == (Decimal(10), "points")
    assert (treatment.batch_number, treatment.target.slug) == ("L26", "german-cockroach")
    assert treatment.label == treatment.product.label
    assert treatment.rate == treatment.label.rates.get()
    assert treatment.dilution == "Ready to use, 200 mg for each point"
    assert "Left oven" in treatment.place
    assert treatment.explanation == ""


def test_the_product_used_last_on_this_visit_comes_first(new_phone, visit):
    in_the_van(visit)
    make_product(name="Demo gel in the store", pest_groups=["cockroach"], rates=[make_rate()])
    _, page = open_sheet(new_phone, visit)
    sheet = to_amount(page, "Demo gel in the store")
    sheet.get_by_role("button", name="5 points", exact=True).tap()
    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(sheet).to_be_hidden()

    page.locator("[data-part=treat]:visible").first.tap()
    page.wait_for_timeout(450)
    gel(page).tap()

    first = sheet.locator("[data-part=products] .offer").first
    expect(first).to_contain_text("Demo gel in the store")


def test_what_was_typed_is_there_when_the_sheet_is_opened_again(new_phone, visit):
    in_the_van(visit)
    _, page = open_sheet(new_phone, visit)
    sheet = to_amount(page)
    sheet.get_by_role("button", name="20 points").tap()
    sheet.get_by_role("button", name="Heavy").tap()
    page.wait_for_timeout(400)
    page.go_back()
    expect(sheet).to_be_hidden()

    page.reload()
    page.locator("[data-part=treat]:visible").first.tap()

    expect(sheet.get_by_label("Product used")).to_have_value("10")
    expect(sheet).to_contain_text("100 % of the most that the label allows here.")


def test_a_treatment_is_undone_like_any_other_record(new_phone, visit):
    in_the_van(visit)
    _, page = open_sheet(new_phone, visit)
    sheet = to_amount(page)
    sheet.get_by_role("button", name="1 point", exact=True).tap()
    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(page.locator("#treatment-list li")).to_have_count(1)

    page.locator("#undo").tap()

    expect(page.locator("#treatment-list li")).to_have_count(0)


# --- the label's most -----------------------------------------------------------------------------


def press(sheet: Any, keys: str) -> None:
    """On the sheet's own keys."""
    for key in keys:
        name = {".": "Decimal sign", "<": "Take the last digit away"}.get(key, key)
        sheet.get_by_role("group", name="Number pad").get_by_role(
            "button", name=name, exact=True
        ).tap()


def test_over_the_label_stops_and_is_recorded_with_an_explanation(new_phone, visit):
    in_the_van(visit)
    phone, page = open_sheet(new_phone, visit)
    sheet = to_amount(page)
    sheet.get_by_role("button", name="10 points").tap()
    amount = sheet.get_by_label("Product used")
    amount.tap()
    press(sheet, "<6.5")
    expect(amount).to_have_value("6.5")
    stop = sheet.get_by_role("alert").filter(has_text="This is against the label")
    expect(stop).to_contain_text("130 % of what the label allows at most here, 5 g")
    stop.scroll_into_view_if_needed()
    keep(page, "4-over-the-label")

    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(sheet).to_be_visible()
    expect(sheet.locator("[data-part=faults]")).to_contain_text("say why")
    assert [op for op in phone.log() if op["kind"] == "treatment.set"] == []

    sheet.get_by_label("Why was it done all the same?").fill("The gun slipped at the hinge.")
    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(sheet).to_be_hidden()

    phone.online()
    phone.says("Sent")
    treatment = Treatment.objects.get(visit=visit)
    assert treatment.amount == Decimal("6.5")
    assert treatment.explanation == "The gun slipped at the hinge."


def test_a_pest_that_the_label_does_not_name_is_stopped_and_a_warning_is_not(new_phone, visit):
    in_the_van(visit, pest_groups=["fly"])
    _, page = open_sheet(new_phone, visit)
    sheet = page.locator("#treatment")
    gel(page).tap()
    expect(sheet).to_contain_text("No product on this phone fits by its label.")
    sheet.locator("[data-part=unfit] summary").tap()
    sheet.locator("[data-part=unfit] .offer").first.tap()

    stop = sheet.get_by_role("alert").filter(has_text="This is against the label")
    expect(stop).to_contain_text("The label does not name this pest.")
    warning = sheet.locator("[data-part=warn]")
    expect(warning).to_contain_text("No safety data sheet")


def test_a_decimal_comma_and_bad_figures_are_answered_beside_their_fields(new_phone, visit):
    in_the_van(visit)
    phone, page = open_sheet(new_phone, visit, locale="de-DE")
    sheet = to_amount(page)
    save = sheet.get_by_role("button", name="Save the treatment")
    amount, size = sheet.get_by_label("Product used"), sheet.get_by_label("How many points")
    assert amount.get_attribute("inputmode") == "none"

    for typed, answer in (
        ("", "Type a number."),
        ("-3", "An amount cannot be below zero."),
        ("0", "The amount must be above zero."),
        ("1,234", "can be read in more than one way"),
        ("two", "is no number"),
    ):
        amount.fill(typed)
        save.tap()
        beside = sheet.locator(".field:has(#treatment-amount) > .field-error")
        expect(beside).to_contain_text(answer)
    for typed, answer in (("0", "The measure must be above zero."), ("2,5", "give a whole number")):
        amount.fill("1")
        size.fill(typed)
        save.tap()
        beside = sheet.locator(".field:has(#treatment-area) > .field-error")
        expect(beside).to_contain_text(answer)
    size.fill("10")
    sheet.get_by_label("Unit of the product").select_option("")
    save.tap()
    expect(sheet.locator("[data-part=faults]")).to_contain_text("Choose a unit.")
    keep(page, "5-faults")

    sheet.get_by_label("Unit of the product").select_option("g")
    amount.fill("")
    amount.tap()
    press(sheet, "2.5")
    expect(amount).to_have_value("2,5")
    save.tap()
    expect(sheet).to_be_hidden()
    phone.online()
    phone.says("Sent")
    assert Treatment.objects.get(visit=visit).amount == Decimal("2.5")


def test_a_concentrate_tells_what_goes_into_the_tank(new_phone, visit):
    rate = make_rate(
        per="area",
        least=Decimal("0.3"),
        most=Decimal("0.5"),
        unit="ml",
        per_unit="m2",
        cover_amount=Decimal(40),
        cover_unit="ml",
        cover_per_amount=Decimal(1),
        cover_per_unit="m2",
    )
    in_the_van(
        visit,
        name="Demo concentrate",
        formulation="liquid",
        unit="ml",
        actives="deltamethrin 25 g/l",
        ready_to_use=False,
        methods=["edge_spray"],
        rates=[rate],
    )
    phone, page = open_sheet(new_phone, visit)
    sheet = page.locator("#treatment")
    sheet.locator("[data-part=more] > summary").tap()
    sheet.locator("label.tap", has_text="Edge of the floor").tap()
    sheet.locator("[data-part=suggestions] .offer", has_text="Liquid spray").first.tap()
    sheet.locator("[data-part=products] .offer").first.tap()
    sheet.get_by_label("Size treated").fill("12.5")

    expect(sheet).to_contain_text("Make up 500 ml with at most 6.25 ml of the product.")
    expect(sheet.get_by_label("Product used")).to_have_value("3.75")
    expect(sheet.get_by_label("Spray made up")).to_have_value("500")
    keep(page, "6-concentrate")
    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(sheet).to_be_hidden()
    phone.online()
    phone.says("Sent")
    treatment = Treatment.objects.get(visit=visit)
    assert (treatment.finished_amount, treatment.finished_unit) == (Decimal(500), "ml")
    assert treatment.dilution == "7.5 ml in each litre"
    assert (treatment.surface, treatment.method) == ("floor_edge", "edge_spray")


# --- what follows from it -------------------------------------------------------------------------


def test_what_is_signed_names_the_amount_the_cautions_and_when_people_come_back(new_phone, visit):
    in_the_van(visit, re_entry_minutes=120, cautions="Keep off food.")
    _, page = open_sheet(new_phone, visit)
    sheet = to_amount(page)
    sheet.get_by_role("button", name="10 points").tap()
    sheet.locator("[data-part=rest] > summary").tap()
    sheet.get_by_label("Started").fill("09:00")
    sheet.get_by_label("Finished").fill("09:30")
    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(sheet).to_be_hidden()

    page.get_by_role("link", name="Check and close").tap()

    told = page.locator("#treatments")
    expect(told).to_contain_text("Demo gel, 2 g")
    expect(told).to_contain_text("The label: Keep off food.")
    expect(told).to_contain_text("People may come back from ")
    expect(told).to_contain_text(f"({visit.site.time_zone})")
    expect(told).to_contain_text("The record does not say:")
    expect(page.locator("#cautions")).to_contain_text("Wear what the label")
    told.scroll_into_view_if_needed()
    keep(page, "7-closing")


def test_bait_is_weighed_on_the_readings_own_keys(new_phone, visit):
    [station] = place_monitors(
        visit.site.zones.get().pk,
        by=make_office(),
        kind="bait_station",
        placed_on=PLACED_ON,
        how_many=1,
    )
    phone = new_phone(visit.technician, reduced_motion="reduce")
    phone.offline()
    page = phone.open("walk", visit)
    page.get_by_role("button", name=f"Count: monitor {station.number}").tap()
    sheet = page.locator("#reading")
    page.wait_for_timeout(450)
    sheet.get_by_label("Taken, g").tap()
    press(sheet, "12.5")
    sheet.get_by_label("Lifted now, g").fill("1,234")
    sheet.get_by_role("button", name="Save the reading").tap()
    expect(sheet.locator("[data-part=faults]")).to_contain_text("such as 12.5")
    sheet.get_by_label("Lifted now, g").fill("47,5")
    sheet.get_by_role("button", name="Save the reading").tap()
    expect(sheet).to_be_hidden()

    phone.online()
    phone.says("Sent")
    reading = visit.readings.get(monitor=station)
    assert (reading.bait_taken_g, reading.bait_lifted_g) == (Decimal("12.5"), Decimal("47.5"))


# --- how it reads ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (320, "dark")])
def test_every_step_reads_and_fits(new_phone, visit, width, scheme):
    in_the_van(visit, cautions="Keep off food.\nWear gloves.")
    _, page = open_sheet(new_phone, visit, color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 844})
    sheet = page.locator("#treatment")
    wrong: list[str] = []

    def look(step: str) -> None:
        page.wait_for_timeout(450)
        found = faults_of_page(page) + low_targets(page, "#treatment") + nameless(page)
        wide = sheet.evaluate("one => one.scrollWidth - one.clientWidth")
        wrong.extend(f"{step}: {one}" for one in found + ([f"{wide} too wide"] if wide > 0 else []))
        keep(page, f"{width}-{scheme}-{step}")

    look("where")
    gel(page).tap()
    look("product")
    sheet.locator("[data-part=products] .offer").first.tap()
    sheet.get_by_role("button", name="10 points").tap()
    sheet.get_by_label("Product used").fill("9")
    sheet.get_by_label("Product used").focus()
    look("amount")
    sheet.get_by_role("button", name="All fields").tap()
    look("all")

    assert wrong == []
