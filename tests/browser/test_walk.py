"""The walk when things go wrong: nothing that was tapped is lost, and nothing arrives twice."""

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from accounts.models import User
from tests.browser.phones import until
from tests.builders.accounts import make_office, make_technician
from tests.builders.compliance import make_photo_bytes
from tests.builders.sites import make_site
from tests.builders.visits import make_product, make_visit
from visits.models import (
    Finding,
    Look,
    Operation,
    ParkedOperation,
    ParkedPhoto,
    Reading,
    Visit,
)
from visits.services.booking import call_off_visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
}
SOON = 10_000  # as long as the page may take to try again


@pytest.fixture
def visit(db: None) -> Visit:
    office = make_office()
    make_product(by=office)
    site = make_site(zones=2, monitors=2)
    return make_visit(
        site,
        state="under_way",
        by=office,
        technician=make_technician(),
        due_on=timezone.now().date(),
        kind="routine",
    )


@pytest.fixture
def phone(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    context.set_default_timeout(SOON)
    yield context
    context.close()


@pytest.fixture
def sign_in(phone: BrowserContext, live_server: Any) -> Callable[[User], None]:
    def signed(person: User) -> None:
        session = Client()
        session.force_login(person)
        value = session.cookies["sid"].value
        phone.add_cookies([{"name": "sid", "value": value, "url": live_server.url}])

    return signed


@pytest.fixture
def walk(
    phone: BrowserContext, live_server: Any, visit: Visit, sign_in: Callable[[User], None]
) -> Page:
    assert visit.technician
    sign_in(visit.technician)
    page = phone.new_page()
    page.goto(live_server.url + reverse("visits:walk", args=[visit.pk]))
    expect(page.locator("#coverage-words")).to_contain_text("of 10 looked at")
    return page


def tap_look(page: Page, number: int = 0) -> None:
    page.locator("[data-part=look]").nth(number).tap()


def says(page: Page, words: str) -> None:
    expect(page.locator("#saved")).to_contain_text(words, timeout=SOON)


def answered(page: Page, answer: Callable[[Route], None]) -> None:
    """Let something else answer what the page sends."""
    page.route(
        "**/visits/sync/",
        lambda route: answer(route) if route.request.method == "POST" else route.continue_(),
    )


def test_a_tap_without_a_signal_is_kept_and_sent_when_there_is_one(walk, phone):
    phone.set_offline(True)
    tap_look(walk)
    says(walk, "1 not sent yet (no signal)")
    expect(walk.locator("#coverage-words")).to_contain_text("1 of 10")

    phone.set_offline(False)

    says(walk, "Sent")
    assert Look.objects.count() == 1


def test_an_answer_that_is_lost_after_the_server_kept_it_makes_no_second_record(walk):
    lost: list[int] = []

    def lose_the_first(route: Route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort()

    answered(walk, lose_the_first)

    tap_look(walk)

    says(walk, "Sent")
    assert lost == [200]
    assert (Look.objects.count(), Operation.objects.count()) == (1, 1)


def test_a_server_with_a_fault_is_tried_again(walk):
    tries: list[int] = []

    def fail_twice(route: Route) -> None:
        tries.append(1)
        if len(tries) <= 2:
            route.fulfill(status=500, body="out of order")
        else:
            route.continue_()

    answered(walk, fail_twice)

    tap_look(walk)

    says(walk, "(the server has a fault)")
    says(walk, "Sent")
    assert Look.objects.count() == 1


def test_a_sign_in_that_ran_out_keeps_everything_and_asks(walk, phone, visit, sign_in):
    phone.clear_cookies()
    tap_look(walk)
    says(walk, "1 not sent yet (sign in to send)")
    expect(walk.locator("#saved a")).to_have_text("Sign in")

    sign_in(visit.technician)
    tap_look(walk, 1)

    until(lambda: Look.objects.count() == 2)
    says(walk, "Sent")


def test_a_page_that_is_closed_in_the_cellar_loses_nothing(walk, phone, live_server, visit):
    phone.set_offline(True)
    tap_look(walk)
    walk.locator(".monitor [data-part=nothing]").first.tap()
    says(walk, "2 not sent yet")
    walk.close()

    phone.set_offline(False)
    page = phone.new_page()
    page.goto(live_server.url + reverse("visits:walk", args=[visit.pk]))

    says(page, "Sent")
    assert (Look.objects.count(), Reading.objects.count()) == (1, 1)


def test_what_was_typed_and_not_saved_is_there_again(walk):
    walk.locator("[data-part=miss]").first.tap()
    walk.fill("#not-reached-note", "The key is with Bo")
    walk.wait_for_timeout(500)  # longer than the page waits before it keeps a draft
    walk.go_back()
    walk.reload()
    expect(walk.locator("#coverage-words")).to_contain_text("of 10 looked at")

    walk.locator("[data-part=miss]").first.tap()

    expect(walk.locator("#not-reached-note")).to_have_value("The key is with Bo")


def test_what_the_office_called_off_meanwhile_is_kept_and_said(walk, visit):
    Visit.objects.filter(pk=visit.pk).update(state="booked")
    call_off_visit(visit.pk, by=make_office(), reason="Shut today.")

    tap_look(walk)

    expect(walk.locator("#notices")).to_contain_text("The office has called this visit off")
    expect(walk.locator("#coverage-words")).to_contain_text("0 of 10")
    assert Operation.objects.get().verdict == "parked"


def test_a_photo_taken_without_a_signal_reaches_its_finding(walk, phone):
    phone.set_offline(True)
    walk.locator("[data-part=find]").first.tap()
    walk.locator("#finding input[value=harbourage]").tap()
    walk.set_input_files(
        "#finding-photo",
        {"name": "a.png", "mimeType": "image/png", "buffer": make_photo_bytes()},
    )
    expect(walk.locator("[data-part=photo-words]")).to_have_text("Kept on this phone.")
    walk.get_by_role("button", name="Save the finding").tap()
    says(walk, "1 not sent yet, 1 photo waiting (no signal)")

    phone.set_offline(False)

    says(walk, "Sent")
    assert Finding.objects.get().shown_by.count() == 1


def test_undo_takes_the_last_tap_back(walk):
    tap_look(walk)
    says(walk, "Sent")

    walk.locator("#undo").tap()

    expect(walk.locator("#coverage-words")).to_contain_text("0 of 10")
    until(lambda: not Look.objects.exists())  # "Sent" already stood there, of the tap


SHEETS = {
    "finding": "[data-part=find]",
    "not-reached": "[data-part=miss]",
    "reading": ".monitor [data-part=read]",
    "treatment": "[data-part=treat]",
}


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_sheet_reads_fits_and_closes_by_the_phones_own_back(walk, sheet):
    walk.locator(SHEETS[sheet]).first.tap()
    dialog = walk.locator(f"#{sheet}")
    expect(dialog).to_be_visible()

    wide = dialog.evaluate("sheet => sheet.scrollWidth")
    violations = Axe().run(walk, options=RULES).response["violations"]
    small = walk.evaluate(LOW_TARGETS, f"#{sheet}")

    assert wide <= 390
    assert [one["id"] for one in violations] == []
    assert small == []
    walk.go_back()
    expect(dialog).to_be_hidden()
    expect(walk.locator("#coverage-words")).to_be_visible()


@pytest.mark.parametrize("width", [320, 390])
@pytest.mark.parametrize("page", ["my_day", "start", "walk", "close"])
def test_every_page_of_a_visit_reads_and_fits_a_small_phone(walk, live_server, visit, page, width):
    walk.set_viewport_size({"width": width, "height": 640})
    if page == "start":
        Visit.objects.filter(pk=visit.pk).update(state="booked")
    walk.goto(
        live_server.url + reverse(f"visits:{page}", args=[] if page == "my_day" else [visit.pk])
    )
    walk.wait_for_load_state("networkidle")

    wide = walk.evaluate("document.documentElement.scrollWidth")
    violations = Axe().run(walk, options=RULES).response["violations"]

    assert wide <= width
    assert [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in violations] == []


# What can be pressed and is lower than 48 pixels; links within sentences are no targets of a thumb.
LOW_TARGETS = """within => [...document.querySelector(within).querySelectorAll(
  "button, select, input:not([type=checkbox], [type=radio], [type=file]), label.tap, label.choice"
)].filter(one => one.offsetParent && one.getBoundingClientRect().height < 48)
  .map(one => `${one.textContent.trim() || one.name}: ${one.getBoundingClientRect().height}`)"""


def test_what_is_pressed_on_the_walk_is_as_high_as_a_gloved_thumb(walk):
    assert walk.evaluate(LOW_TARGETS, "main") == []
    assert walk.evaluate(LOW_TARGETS, ".bottom-bar") == []


def test_nobody_signs_out_while_records_are_on_this_phone_only(walk, phone, visit):
    blocked = [True]
    phone.route(
        "**/visits/sync/",
        lambda route: route.abort() if blocked[0] else route.continue_(),
    )
    tap_look(walk)
    says(walk, "1 not sent yet")
    walk.get_by_role("button", name="Menu").tap()
    walk.get_by_role("link", name="Sign out").tap()
    walk.wait_for_url("**/logout/", wait_until="load")
    walk.get_by_role("button", name="Sign out").tap()

    dialog = walk.get_by_role("dialog", name="One record is not sent yet")
    expect(dialog).to_be_visible()
    with walk.expect_download() as saved:
        dialog.get_by_role("button", name="Save them to a file").tap()
    file = json.loads(saved.value.path().read_text())
    assert (file["form"], file["person"]["id"]) == ("kickplate-log-1", str(visit.technician_id))
    assert [op["kind"] for op in file["operations"]] == ["look.add"]
    expect(dialog.get_by_role("button", name="Sign out")).to_be_visible()
    dialog.get_by_role("button", name="Stay signed in").tap()

    walk.get_by_role("button", name="Sign out").tap()
    blocked[0] = False
    walk.get_by_role("button", name="Send now").tap()
    says(walk, "Sent")
    walk.get_by_role("button", name="Menu").tap()
    walk.get_by_role("link", name="Sign out").tap()
    walk.wait_for_url("**/logout/", wait_until="load")
    walk.get_by_role("button", name="Sign out").tap()
    walk.wait_for_url("**/accounts/login/**")
    assert Look.objects.count() == 1


def test_what_is_on_this_phone_is_said_and_saved_whole(walk, phone, office_loads):
    phone.set_offline(True)
    tap_look(walk)
    walk.locator("[data-part=find]:visible").first.tap()
    walk.locator("#finding input[value=harbourage]").tap()
    walk.set_input_files(
        "#finding-photo",
        {"name": "a.png", "mimeType": "image/png", "buffer": make_photo_bytes()},
    )
    walk.get_by_role("button", name="Save the finding").tap()
    says(walk, "2 not sent yet, 1 photo waiting")

    walk.get_by_role("button", name="Menu").tap()
    walk.get_by_role("button", name="What is on this phone").tap()
    kept = walk.get_by_role("dialog", name="What is on this phone")
    expect(kept).to_contain_text("2 records, 1 photo")
    assert [one["id"] for one in Axe().run(walk, options=RULES).response["violations"]] == []
    with walk.expect_download() as saved:
        kept.get_by_role("button", name="Save to a file").tap()

    told = office_loads(saved.value.path().read_bytes())
    assert ParkedOperation.objects.count() == 2, told
    assert ParkedPhoto.objects.count() == 1
    kept.get_by_role("button", name="Back").tap()
    phone.set_offline(False)
    says(walk, "Sent")
    assert ParkedOperation.objects.count() == 2  # the same answer, and nothing twice


@pytest.fixture
def office_loads(db: None) -> Callable[[bytes], str]:
    """The office loads a phone's file by its page."""

    def load(data: bytes) -> str:
        session = Client()
        session.force_login(make_office())
        file = SimpleUploadedFile("log.json", data, content_type="application/json")
        answer = session.post(reverse("visits:load_log"), {"file": file}, follow=True)
        return str(answer.content.decode())

    return load
