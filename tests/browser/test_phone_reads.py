"""Every page and sheet of the phone, for who sees little, presses with gloves, or only hears it."""

from datetime import time

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from tests.browser.phones import faults_of_page, low_targets, nameless
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import make_product, make_visit
from visits.models import Visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SHEETS = {
    "finding": "[data-part=find]:visible",
    "not-reached": "[data-part=miss]:visible",
    "reading": ".monitor [data-part=read]:visible",
    "treatment": "[data-part=treat]:visible",
    "seek": "#seek-button",
}


@pytest.fixture
def visit(db: None) -> Visit:
    """Under way, with another booked for later, on sites with something to say."""
    office, technician = make_office(), make_technician()
    make_product(by=office)
    facts = {"hazards": "Low beam at the cellar stairs.", "access_note": "Ring at the yard gate."}
    day = {"by": office, "technician": technician, "due_on": timezone.now().date()}
    make_visit(
        make_site(zones=1, monitors=1, name="Quay Bakery", **facts),
        state="booked",
        kind="routine",
        time=time(23, 50),
        **day,
    )
    site = make_site(zones=2, monitors=5, name="The Gilt Anchor", **facts)
    return make_visit(site, state="under_way", kind="routine", **day)


@pytest.mark.parametrize(
    ("width", "text", "scheme"),
    [(390, "16px", "light"), (320, "16px", "dark"), (390, "32px", "light"), (390, "32px", "dark")],
)
def test_every_page_and_sheet_reads_and_fits(new_phone, visit, width, text, scheme):
    phone = new_phone(visit.technician, color_scheme=scheme, reduced_motion="reduce")
    page = phone.page
    page.set_viewport_size({"width": width, "height": 844})
    phone.context.add_init_script(
        f"addEventListener('DOMContentLoaded', () => "
        f"document.documentElement.style.fontSize = '{text}')"
    )
    wrong: list[str] = []

    def look(where: str) -> None:
        found = faults_of_page(page) + low_targets(page) + nameless(page)
        wrong.extend(f"{where}: {one}" for one in found)

    for name in ("my_day", "start", "walk"):
        phone.open(name, None if name == "my_day" else visit)
        expect(page.locator("#saved")).to_contain_text("Nothing waits")
        look(name)
    for sheet, opens in SHEETS.items():
        page.locator(opens).first.tap()
        expect(page.locator(f"#{sheet}")).to_be_visible()
        page.wait_for_timeout(450)  # as long as a bounced press does nothing
        look(sheet)
        page.go_back()
        expect(page.locator(f"#{sheet}")).to_be_hidden()
    page.get_by_role("button", name="Menu").tap()
    # The checker knows no top layer: buttons that the menu covers would count as in its way.
    main = page.locator("main")
    main.evaluate("it => { it.style.visibility = 'hidden' }")
    look("menu")
    main.evaluate("it => { it.style.visibility = '' }")
    page.get_by_role("button", name="What is on this phone").tap()
    look("kept")

    assert wrong == []
