"""How many taps a visit takes when nothing is found, from My day to the seal, without a line."""

from datetime import time

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from sites.models import Height
from sites.services.contacts import add_contact
from sites.services.monitors import place_monitors
from sites.services.zones import ZoneFacts, add_zone
from tests.browser.phones import assert_record_is_the_log, assert_server_has_all_of, sign
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import PLACED_ON, make_site
from tests.builders.visits import make_visit
from visits.models import Visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ZONES, MONITORS = 8, 5
MOST_TAPS = 70

# Counts every press of a finger in whatever page it comes; a signature is counted apart.
COUNT = """addEventListener("pointerdown", ({pointerType, target}) => {
  if (target.tagName === "CANVAS") return;
  sessionStorage.taps = Number(sessionStorage.taps ?? 0) + 1;
}, true);"""


def a_visit(places_a_height: int) -> Visit:
    """Forty monitors in eight zones, with so many places at each of the three heights."""
    office = make_office()
    site = make_site(name="The Long Quay")
    add_contact(site.pk, by=office, name="Ana Prior", is_premises_manager=True)
    for number in range(1, ZONES + 1):
        places = [
            (height, f"Place {height} {nth}")
            for height in Height.values
            for nth in range(places_a_height)
        ]
        facts = ZoneFacts(name=f"Zone {number}", kind="kitchen")
        zone = add_zone(site.pk, by=office, places=places, **facts)
        place_monitors(zone.pk, by=office, kind="sticky", placed_on=PLACED_ON, how_many=MONITORS)
    return make_visit(
        site,
        state="booked",
        by=office,
        technician=make_technician(),
        due_on=timezone.now().date(),
        kind="routine",
        time=time(9, 0),
    )


@pytest.mark.parametrize("places_a_height", [1, 3], ids=["24 places", "72 places"])
def test_a_visit_of_forty_monitors_takes_at_most_seventy_taps(new_phone, places_a_height):
    visit = a_visit(places_a_height)
    looks = ZONES * 3 * places_a_height
    phone = new_phone(visit.technician)
    phone.context.add_init_script(COUNT)
    phone.offline()
    page = phone.open("my_day")

    page.get_by_role("link", name="The Long Quay").tap()
    page.get_by_role("button", name="Start the visit").tap()
    look = "[data-part=look]" if places_a_height == 1 else "[data-part=all]"
    for zone in visit.site.zones.order_by("walk_order", "name"):
        box = page.locator(f"#zone-{zone.pk}")
        expect(box).to_have_attribute("open", "")  # by itself
        for place in box.locator(look).all():
            place.tap()
        for monitor in box.locator("[data-part=nothing]").all():
            monitor.tap()
    expect(page.locator("#coverage-words")).to_have_text(f"{looks + 40} of {looks + 40} looked at")
    page.get_by_role("link", name="Check and close").tap()
    page.get_by_role("button", name="Ana Prior").tap()
    sign(page, page.locator("#pad"))
    page.get_by_role("button", name="Close the visit").tap()
    expect(page.locator("#receipt")).to_contain_text("Closed on this phone")

    taps = int(page.evaluate("sessionStorage.taps")) + 1  # and the signature
    assert taps <= MOST_TAPS

    phone.online()
    expect(page.locator("#receipt")).to_contain_text("Sealed", timeout=30_000)
    visit.refresh_from_db()
    assert visit.state == "closed"
    assert (visit.looks.count(), visit.readings.count()) == (looks, 40)
    assert visit.coverage["checkpoints_looked"] == visit.coverage["checkpoints_due"] == looks
    assert_server_has_all_of(phone.log())
    assert_record_is_the_log(phone, visit)
