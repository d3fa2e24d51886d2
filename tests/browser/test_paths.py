"""The whole path of each role, in a browser, from signing in to what is then on the record.

Each path asks for what the person reads, not for how the page is made. The office and the client
need no script, so the client's path is walked without any. Pictures stay in ``test-pictures/``.
"""

from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser as Chromium
from playwright.sync_api import BrowserContext, FilePayload, Locator, Page, expect
from pypdf import PdfReader

from accounts.models import User
from compliance.models import ActionPhoto, CorrectiveAction, Decision, SignOff
from compliance.services.signing import is_whole
from compliance.services.site_files import build_site_files
from sites.models import Site
from sites.services.imports import work_imports
from tests.builders.accounts import PASSWORD
from tests.builders.compliance import CARRY_ON, LASTING
from tests.builders.files import picture_bytes
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_visit
from visits.models import Finding, NotReached, Reading, Treatment, Visit, WhoseMove
from visits.verification import breaks_of_site

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PICTURES = Path(__file__).parents[2] / "test-pictures"
DESK = {"viewport": {"width": 1440, "height": 900}}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
PATIENCE = 15_000  # milliseconds; only a path that has gone wrong waits so long
SITES = b"""\
site_reference,client_reference,site_name,address,postcode
QUAY-1,REF-Amberley,Amberley Quay,"1 Quay Street, Port Marlow",PM1 1AA
QUAY-2,REF-Amberley,Amberley Steps,"2 Quay Street, Port Marlow",PM1 1AB
"""

Walk = Callable[..., Page]


@pytest.fixture
def walk(browser: Chromium, live_server: Any) -> Iterator[Walk]:
    """Opens a window of somebody who has just signed in; no script may fail on their way."""
    contexts: list[BrowserContext] = []
    faults: list[str] = []

    def sign_in(person: User, **window: Any) -> Page:
        context = browser.new_context(base_url=live_server.url, **window)
        context.set_default_timeout(PATIENCE)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.goto("/")
        page.get_by_label("E-mail").fill(person.email)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        return page

    yield sign_in
    for context in contexts:
        context.close()
    assert faults == []


def test_the_office_imports_sites_books_a_visit_and_prices_an_action(world, walk):
    technician = world.people["technician"]
    annexe = make_site(client=world["client"], name="Amberley Annexe")
    today = annexe.day_of(timezone.now())
    visit = make_visit(annexe, due_on=today)

    page = walk(world.people["office"], **DESK)
    expect(page.get_by_role("heading", name="Today", level=1)).to_be_visible()
    keep(page, "office-1-today")

    # Two new sites from a spreadsheet, which is shown before anything is written.
    main_menu(page).get_by_role("link", name="Sites").click()
    page.get_by_role("link", name="Import").click()
    page.locator("input[type=file]").set_input_files(
        FilePayload(name="quay.csv", mimeType="text/csv", buffer=SITES)
    )
    page.get_by_role("button", name="Check the spreadsheet").click()
    expect(page.get_by_role("heading", name="quay.csv")).to_be_visible()
    assert work_imports()
    page.reload()
    expect(page.get_by_text("All rows are well.")).to_be_visible()
    keep(page, "office-2-import")
    assert not Site.objects.filter(reference__startswith="QUAY").exists()
    page.get_by_role("button", name="Import 2 rows").click()
    expect(page.get_by_role("button", name="Import 2 rows")).to_have_count(0)
    assert work_imports()
    page.reload()
    page.get_by_role("link", name="See the sites").click()
    page.get_by_role("link", name="Amberley Quay").click()
    expect(page.get_by_role("heading", name="Amberley Quay", level=1)).to_be_visible()
    expect(page.get_by_text("1 Quay Street, Port Marlow").first).to_be_visible()
    keep(page, "office-3-site")

    # A visit that is due this month gets a technician and a day.
    main_menu(page).get_by_role("link", name="Month").click()
    month = page.get_by_role("table", name="Visits of")
    expect(month).to_be_visible()
    keep(page, "office-4-month")
    month.get_by_role("link", name="Amberley Annexe").click()
    page.get_by_label("Technician").select_option(technician.name)
    page.get_by_label("Day").fill(today.isoformat())
    page.get_by_role("button", name="Book the visit").click()
    expect(page.get_by_role("heading", name="Book it anew")).to_be_visible()
    keep(page, "office-5-booked")
    visit.refresh_from_db()
    assert (visit.state, visit.technician, visit.booked_on) == ("booked", technician, today)

    # A proofing action gets its lasting work put beside carrying on.
    action = world["raised_action"]
    page.goto(action.get_absolute_url())
    page.get_by_role("link", name="Price it").click()
    for number, option in enumerate((LASTING, CARRY_ON), start=1):
        part = page.get_by_role("group", name=f"Option {number}")
        part.get_by_label("Kind").select_option(option.kind)
        part.get_by_label("What would be done").fill(option.description)
        part.get_by_label("Cost now").fill(str(option.cost_once))
        part.get_by_label("Cost each month").fill(str(option.cost_monthly))
        part.get_by_label("Lasts, in years").fill(str(option.life_years or ""))
        part.get_by_label("What stays at risk").fill(option.remaining_risk)
    keep(page, "office-6-price")
    page.get_by_role("button", name="Put them to the client").click()
    expect(page.get_by_text("It waits for the client's decision.")).to_be_visible()
    keep(page, "office-7-priced")
    action.refresh_from_db()
    assert action.state == CorrectiveAction.State.PRICED
    assert [one.cost_once for one in action.options.order_by("position")] == [4800, 0]


def test_the_technician_walks_a_site_and_closes_the_visit(world, walk):
    technician, product = world.people["technician"], world["product"]
    annexe = make_site(client=world["client"], name="Amberley Annexe")
    bakehouse = make_zone(annexe, name="Bakehouse")
    monitor = make_monitor(bakehouse, place="Behind the oven")
    today = annexe.day_of(timezone.now())
    visit = make_visit(annexe, state=Visit.State.BOOKED, technician=technician, due_on=today)

    page = walk(technician, **PHONE)
    expect(page.get_by_role("heading", name="My day", level=1)).to_be_visible()
    keep(page, "technician-1-my-day")
    page.get_by_role("link", name="Amberley Annexe", exact=True).click()
    keep(page, "technician-2-at-the-door")
    page.get_by_role("button", name="Start the visit").click()
    expect(page.get_by_text("0 of 4").first).to_be_visible()

    place(page, "Place low").get_by_role("button", name="Looked, nothing").click()

    place(page, "Behind the oven").get_by_role("button", name="Count").click()
    sheet = page.get_by_role("dialog")
    sheet.get_by_role("spinbutton", name="German cockroach").fill("3")
    keep(page, "technician-3-count")
    sheet.get_by_role("button", name="Save the reading").click()
    expect(sheet).to_have_count(0)

    place(page, "Place reach").get_by_role("button", name="Finding").click()
    tap(sheet, "Entry point")
    sheet.get_by_label("What you saw").fill("A finger's width open round the gas pipe.")
    sheet.get_by_label("Take a photo").set_input_files(photo("gap.jpg"))
    expect(sheet.get_by_role("button", name="Leave it out")).to_be_visible()
    tap(sheet, "Proofing")
    sheet.get_by_label("In words").fill("Seal round the gas pipe.")
    tap(sheet.get_by_role("group", name="Whose move is it?"), "Us")
    keep(page, "technician-4-finding")
    sheet.get_by_role("button", name="Save the finding").click()
    expect(sheet).to_have_count(0)

    place(page, "Place overhead").get_by_role("button", name="Not reached").click()
    tap(sheet, "Locked")
    tap(sheet, "The client")
    sheet.get_by_label("Note").fill("The chef has the key.")
    keep(page, "technician-5-not-reached")
    sheet.get_by_role("button", name="Save: not reached").click()
    expect(sheet).to_have_count(0)

    page.locator("summary", has_text="Bakehouse").click()  # done, and so folded by itself
    page.get_by_role("button", name="Treatment").click()
    expect(sheet.get_by_text("The product label and safety data sheet come first;")).to_be_visible()
    sheet.get_by_role("button", name="All fields").click()
    sheet.get_by_label("Product", exact=True).select_option(product.name)
    expect(sheet.get_by_text(product.label.cautions)).to_be_visible()
    tap(sheet, "Gel placement")
    sheet.get_by_label("Against").select_option("German cockroach")
    sheet.get_by_label("Place treated").fill("Hinges of the left oven")
    sheet.get_by_label("Product used").fill("2.5")
    ticks = sheet.get_by_role("group", name="Before you begin").get_by_role("checkbox")
    for tick in ticks.all():
        tick.check()
    keep(page, "technician-6-treatment")
    sheet.get_by_role("button", name="Save the treatment").click()
    expect(sheet).to_have_count(0)
    keep(page, "technician-7-walk")

    page.get_by_role("link", name="Check and close").click()
    expect(page.locator("#missed")).to_contain_text("The chef has the key.")
    page.get_by_label("Their name", exact=True).fill("Ana Prior")
    tap(page, "They write their name")
    page.get_by_label("Their name, written by them").fill("Ana Prior")
    keep(page, "technician-8-check")
    page.get_by_role("button", name="Close the visit").click()
    expect(page.locator("#receipt")).to_contain_text("Sealed")
    keep(page, "technician-9-receipt")
    page.goto(page.url.removesuffix("close/"))
    keep(page, "technician-10-report")

    visit.refresh_from_db()
    assert (visit.state, visit.seal_number) == (Visit.State.CLOSED, 1)
    assert (visit.contact_name, visit.signature_typed) == ("Ana Prior", "Ana Prior")
    assert breaks_of_site(annexe) == []
    assert visit.looks.get().checkpoint.label == "Place low"
    reading = Reading.objects.get(visit=visit)
    assert (reading.monitor, reading.counts.get().pest.slug) == (monitor, "german-cockroach")
    assert reading.counts.get().count == 3
    finding = Finding.objects.get(visit=visit)
    assert (finding.kind, finding.whose_move) == (Finding.Kind.ENTRY_POINT, WhoseMove.US)
    assert finding.shown_by.count() == 1
    not_reached = NotReached.objects.get(visit=visit)
    assert (not_reached.reason, not_reached.whose_move) == ("locked", WhoseMove.CLIENT)
    treatment = Treatment.objects.get(visit=visit)
    assert (treatment.product, treatment.amount) == (product, Decimal("2.5"))


def test_the_client_decides_and_reports_done_without_any_script(world, walk):
    manager = world.people["manager"]
    priced, theirs = world["priced_action"], world["theirs_action"]

    page = walk(manager, **PHONE, java_script_enabled=False)
    expect(page.get_by_role("heading", name="Your sites", level=1)).to_be_visible()
    keep(page, "client-1-your-sites")

    page.get_by_role("link", name=priced.title, exact=True).click()
    answers = page.get_by_role("group", name="What do you decide?")
    answers.locator("label").filter(has_text="1. Lasting work").click()
    page.get_by_label("Your password").fill(PASSWORD)
    keep(page, "client-2-decide")
    page.get_by_role("button", name="Sign the decision").click()
    expect(page.get_by_role("heading", name="Signed")).to_be_visible()
    keep(page, "client-3-signed")
    decision = Decision.objects.get(action=priced)
    assert (decision.outcome, decision.option.cost_once) == (Decision.Outcome.GO_AHEAD, 4800)
    signed = decision.sign_off
    assert (signed.person, signed.meaning) == (manager, SignOff.Meaning.GO_AHEAD)
    assert is_whole(signed)

    page.goto(reverse("compliance:your_sites"))
    page.get_by_role("link", name=theirs.title, exact=True).click()
    page.get_by_role("link", name="Report it done").click()
    page.get_by_label("What was done").fill("The floor under the oven is cleaned every night.")
    page.get_by_label("Photos of the finished work").set_input_files(photo("clean.jpg"))
    keep(page, "client-4-report-done")
    page.get_by_role("button", name="Report it done").click()
    expect(page.get_by_text("It was reported done and waits to be checked")).to_be_visible()
    keep(page, "client-5-done")
    theirs.refresh_from_db()
    assert (theirs.state, theirs.done_by) == (CorrectiveAction.State.DONE, manager)
    assert theirs.shown_by.get().moment == ActionPhoto.Moment.AFTER


def test_the_auditor_reads_the_file_and_takes_it_away(world, walk):
    strange = make_site(name="Birchwood Mill")

    page = walk(world.people["auditor"], **DESK)
    expect(page.get_by_role("heading", name="The file", level=1)).to_be_visible()
    keep(page, "auditor-1-the-file")
    page.get_by_role("link", name="Site file of Amberley Grand").click()
    keep(page, "auditor-2-site-files")
    page.get_by_role("button", name="Make the site file").click()
    expect(page.get_by_text("You may leave this page; it goes on without you.")).to_be_visible()
    keep(page, "auditor-3-waiting")
    while build_site_files():
        pass
    page.reload()
    keep(page, "auditor-4-ready")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Download the PDF").click()
    taken = Path(waiting.value.path())
    assert taken.read_bytes().startswith(b"%PDF")
    assert "Amberley Grand" in PdfReader(taken).pages[0].extract_text()

    for name in ("sites:site", "compliance:evidence", "compliance:site_files"):
        answer = page.goto(reverse(name, args=[strange.pk]))
        assert (answer.status, "Birchwood" in page.content()) == (404, False), name


def keep(page: Page, name: str) -> None:
    """A picture of the whole page, or of the window where a sheet lies over the page."""
    PICTURES.mkdir(exist_ok=True)
    whole = not page.get_by_role("dialog").count()
    page.screenshot(path=str(PICTURES / f"path-{name}.png"), full_page=whole)


def main_menu(page: Page) -> Locator:
    return page.get_by_role("navigation", name="Main")


def place(page: Page, name: str) -> Locator:
    """A checkpoint or a monitor of the walk, by what is written beside its buttons."""
    return page.locator(".check").filter(has_text=name)


def tap(part: Locator, words: str) -> None:
    part.get_by_role("radio", name=words, exact=True).check()


def photo(name: str) -> FilePayload:
    return FilePayload(name=name, mimeType="image/jpeg", buffer=picture_bytes(size=(1200, 900)))
