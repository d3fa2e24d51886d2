"""What a server really hands out: hashed names, packed scripts, a process of its own.

Everything else in the suite runs on the files as they were written. Here a technician's phone gets
what ``prepare`` has made of them.
"""

from types import SimpleNamespace
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, expect

from tests.browser.phones import PhoneInHand, assert_server_has_all_of
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import make_product, make_rate, make_visit
from tests.faults.conftest import free_port, wait_until
from visits.models import Carried, Treatment, Visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def visit(db: None) -> Visit:
    """Booked for today at a site with a kitchen, with a gel in the technician's van."""
    office, technician = make_office(), make_technician()
    visit = make_visit(
        make_site(zones=1, monitors=1),
        state="booked",
        by=office,
        technician=technician,
        due_on=timezone.now().date(),
    )
    gel = make_product(
        by=office,
        name="Demo gel",
        pest_groups=["cockroach"],
        places=["food_premises", "voids"],
        methods=["gel"],
        rates=[make_rate()],
    )
    Carried.objects.create(person=technician, product=gel)
    return visit


@pytest.fixture
def served(processes: Any, settings: Any) -> SimpleNamespace:
    """The address of a prepared installation that takes the tests' sessions as its own."""
    own = {"KICKPLATE_SECRET_KEY": settings.SECRET_KEY}
    assert processes.manage("prepare", **own).wait(timeout=120) == 0
    port = free_port()
    supervisor = processes.manage("serve", "--port", str(port), **own)
    wait_until(lambda: "Ctrl-C stops it" in processes.said(supervisor))
    return SimpleNamespace(url=f"http://127.0.0.1:{port}")


def test_a_phone_gets_scripts_that_work(browser: Browser, served: SimpleNamespace, visit: Visit):
    phone = PhoneInHand(browser, served)
    faults: list[str] = []
    phone.context.on("weberror", lambda one: faults.append(f"{one.error}"))
    phone.sign_in(visit.technician)

    page = phone.get_ready()
    names = page.locator("script[src]").evaluate_all("all => all.map(one => one.src)")
    assert all(".js" in name and len(name.split(".")[-2]) == 12 for name in names), names
    expect(page.get_by_text(visit.site.name).first).to_be_visible()

    phone.offline()
    page.reload()
    expect(page.get_by_text(visit.site.name).first).to_be_visible()
    phone.open("start", visit)
    page.get_by_role("button", name="Start the visit").tap()
    page.locator("[data-part=treat]:visible").first.tap()
    sheet = page.locator("#treatment")
    sheet.get_by_label("Against").select_option("german-cockroach")
    page.wait_for_timeout(450)  # as long as a bounced press does nothing
    sheet.locator("[data-part=suggestions] .offer", has_text="Gel: gel").first.tap()
    sheet.locator("[data-part=products] .offer", has_text="Demo gel").tap()
    sheet.get_by_role("button", name="10 points").tap()
    sheet.get_by_role("button", name="Save the treatment").tap()
    expect(page.locator("#treatment-list")).to_contain_text("2 g, Gel placement")
    phone.open("close", visit)
    expect(page.locator("#treatments, [data-list=treatments]").first).to_be_attached()

    phone.online()
    phone.says("Sent")
    assert_server_has_all_of(phone.log())
    assert Treatment.objects.filter(visit=visit).count() == 1
    assert faults == []
    phone.close()
