"""Every page that somebody opens on the way of their role: readable, reachable, nothing cut off.

Each is opened at desk and phone size, with the rules of axe-core for WCAG 2.2 level AA (it
names the success criterion of each), no sideways scrolling, and nothing that the policy of scripts
and styles had to stop. Pictures stay in ``test-pictures/``.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser as Chromium
from playwright.sync_api import BrowserContext, Page

from compliance.quarters import quarter_of
from tests.browser.phones import STICKS
from tests.builders.phone import Phone
from tests.builders.visits import make_visit
from visits.models import ParkedOperation
from visits.services.sync import apply_operation

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PICTURES = Path(__file__).parents[2] / "test-pictures"
SIZES = {"desk": (1440, 900), "phone": (390, 844)}
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
}

# Role, then the names of pages with the record of the world each one shows.
PAGES: dict[str, list[tuple[str, str]]] = {
    "office": [
        ("compliance:today", ""),
        ("visits:month", ""),
        ("visits:visit", "planned"),
        ("visits:visit", "closed"),
        ("visits:inbox", ""),
        ("visits:inbox_item", "parked"),
        ("visits:load_log", ""),
        ("visits:readings_enter", "site"),
        ("visits:calendar", ""),
        ("visits:traps", "site"),
        ("visits:trap_sender", "trap_sender"),
        ("visits:products", ""),
        ("visits:product_add", ""),
        ("visits:call_out", "site"),
        ("visits:line", "line"),
        ("sites:list", ""),
        ("sites:site", "site"),
        ("sites:site_edit", "site"),
        ("sites:site_new", ""),
        ("sites:clients", ""),
        ("sites:client", "client"),
        ("sites:zones", "site"),
        ("sites:zone", "zone"),
        ("sites:plan", "plan"),
        ("sites:monitors", "site"),
        ("sites:monitor", "monitor"),
        ("sites:labels", "site"),
        ("sites:documents", ""),
        ("sites:import", ""),
        ("sites:passes", ""),
        ("compliance:actions", ""),
        ("compliance:ageing", ""),
        ("compliance:action", "priced_action"),
        ("compliance:action_ask", "priced_action"),
        ("compliance:action_price", "raised_action"),
        ("compliance:flags", ""),
        ("compliance:thresholds", ""),
        ("compliance:site_thresholds", "site"),
        ("compliance:site_threshold_new", "site"),
        ("compliance:breaches", ""),
        ("compliance:breach_answer", "breach"),
        ("compliance:evidence", "site"),
        ("compliance:site_files", "site"),
        ("compliance:review_quarters", "client"),
        ("compliance:review", "client"),
        ("compliance:review_pack", "review_pack"),
        ("compliance:trends", ""),
        ("compliance:site_trends", "site"),
        ("notices:list", ""),
        ("notices:wishes", ""),
        ("sites:contract_edit", "contract"),
        ("accounts:people", ""),
        ("accounts:invite", ""),
        ("accounts:competences", ""),
        ("accounts:tokens", ""),
        ("accounts:company", ""),
        ("accounts:trail", ""),
        ("mfa_index", ""),
    ],
    "technician": [
        ("visits:my_day", ""),
        ("visits:walk", "under_way"),
        ("visits:visit", "closed"),
        ("sites:site", "site"),
        ("compliance:site_trends", "site"),
        ("visits:calendar", ""),
        ("accounts:my_competences", ""),
    ],
    "manager": [
        ("compliance:your_sites", ""),
        ("notices:list", ""),
        ("notices:wishes", ""),
        ("sites:site", "site"),
        ("visits:visit", "closed"),
        ("compliance:actions", ""),
        ("compliance:ageing", ""),
        ("compliance:action", "priced_action"),
        ("compliance:action", "theirs_action"),
        ("compliance:action_ask", "priced_action"),
        ("compliance:decisions", ""),
        ("compliance:action_done", "theirs_action"),
        ("compliance:site_thresholds", "site"),
        ("compliance:breaches", ""),
        ("compliance:site_files", "site"),
        ("compliance:review_quarters", "client"),
        ("compliance:review", "client"),
        ("compliance:site_trends", "site"),
        ("sites:passes", ""),
    ],
    "auditor": [
        ("compliance:the_file", ""),
        ("sites:site", "site"),
        ("visits:visit", "closed"),
        ("compliance:evidence", "site"),
        ("compliance:site_files", "site"),
    ],
}


@pytest.fixture
def opened(browser: Chromium, live_server: Any) -> Callable[..., Page]:
    """A page of a window of some size, signed in as somebody."""
    contexts: list[BrowserContext] = []

    def open_as(person: Any, size: str) -> Page:
        width, height = SIZES[size]
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        session = Browser()
        session.force_login(person)
        cookie = session.cookies["sid"]
        context.add_cookies([{"name": "sid", "value": cookie.value, "url": live_server.url}])
        return context.new_page()

    yield open_as
    for context in contexts:
        context.close()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("role", PAGES)
def test_every_page_on_the_way_reads_and_fits(world, opened, live_server, role, size):
    page = opened(world.people[role], size)
    stopped: list[str] = []
    page.on("console", lambda said: said.type == "error" and stopped.append(said.text))
    page.on("pageerror", lambda error: stopped.append(str(error)))
    wrong: list[str] = []

    for name, record in PAGES[role]:
        more = [quarter_of(timezone.now().date()).key] if name == "compliance:review" else []
        address = reverse(name, args=[world[record].pk, *more] if record else [])
        answer = page.goto(live_server.url + address)
        page.wait_for_load_state("networkidle")
        page.screenshot(path=_picture(f"{role}-{size}-{name}-{record}"), full_page=True)
        wrong += [f"{name}: {said}" for said in _faults(page, answer.status if answer else 0)]

    assert wrong == []
    assert stopped == []


def _picture(name: str) -> str:
    PICTURES.mkdir(exist_ok=True)
    return str(PICTURES / f"{name.strip('-').replace(':', '-')}.png")


def _faults(page: Page, status: int) -> list[str]:
    found = [] if status == 200 else [f"answered {status}"]
    wide, seen = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    if wide > seen:
        found.append(f"{wide} px wide in a window of {seen}")
    page.evaluate(STICKS, False)  # what a bar covers at the moment can be scrolled to
    violations = Axe().run(page, options=RULES).response["violations"]
    page.evaluate(STICKS, True)
    for violation in violations:
        where = violation["nodes"][0]["html"][:120]
        found.append(f"{violation['id']}: {violation['help']}: {where}")
    return found


@pytest.mark.parametrize("size", SIZES)
def test_two_phones_side_by_side_read_and_fit_and_are_settled(world, opened, live_server, size):
    visit = make_visit(
        world["site"],
        state="under_way",
        by=world.people["office"],
        technician=world.people["technician"],
    )
    for phone, count in ((Phone(visit), 14), (Phone(visit), 9)):
        said = phone.op("reading.set", monitor=world["monitor"], counts={"german-cockroach": count})
        apply_operation(said, by=world.people["technician"])
    parked = ParkedOperation.objects.get(visit=visit)
    page = opened(world.people["office"], size)

    answer = page.goto(live_server.url + reverse("visits:inbox_item", args=[parked.pk]))
    page.screenshot(path=_picture(f"office-{size}-two-phones"), full_page=True)
    assert _faults(page, answer.status) == []
    page.get_by_role("button", name="Place this phone’s word").click()
    page.wait_for_url("**" + reverse("visits:inbox"))

    assert visit.readings.get().counts.get().count == 9


@pytest.mark.parametrize("size", SIZES)
def test_a_phones_file_is_loaded_and_the_answer_reads_and_fits(world, opened, live_server, size):
    technician = world.people["technician"]
    visit = make_visit(
        world["site"], state="booked", by=world.people["office"], technician=technician
    )
    phone = Phone(visit)
    log = {
        "form": "kickplate-log-1",
        "person": {"id": str(technician.pk), "name": technician.name},
        "operations": [phone.op("visit.start"), phone.close()],
        "photos": [{}],
    }
    page = opened(world.people["office"], size)
    page.goto(live_server.url + reverse("visits:load_log"))

    page.get_by_label("The phone’s file").set_input_files(
        {"name": "log.json", "mimeType": "application/json", "buffer": json.dumps(log).encode()}
    )
    with page.expect_response("**" + reverse("visits:load_log")) as answered:
        page.get_by_role("button", name="Load the file").click()

    page.get_by_text("2 records to place").wait_for()
    page.screenshot(path=_picture(f"office-{size}-log-loaded"), full_page=True)
    assert _faults(page, answered.value.status) == []
    page.get_by_role("link", name=str(visit)).click()
    page.get_by_text("Place the one other record").wait_for()


@pytest.mark.parametrize("address", ["account_login", "account_reset_password"])
def test_the_pages_before_signing_in_read_and_fit(page, live_server, db, address):
    page.set_viewport_size({"width": 390, "height": 844})

    answer = page.goto(live_server.url + reverse(address))

    assert _faults(page, answer.status) == []
