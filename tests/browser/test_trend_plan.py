"""The plan month by month in a browser: by keyboard, by eye and without script."""

import re
from datetime import date
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client as Browser
from django.urls import reverse
from playwright.sync_api import Browser as Chromium
from playwright.sync_api import Page, expect

from compliance.models import PlaceMonth
from sites.models import Site
from sites.services.monitors import mark_monitor
from sites.services.plans import add_plan
from sites.services.zones import draw_zone
from tests.browser.test_pages import PICTURES, RULES, SIZES
from tests.builders.accounts import make_office
from tests.builders.compliance import make_photo_bytes
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.compliance.test_trend_plan import counted, month_of
from visits.models import Pest

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MONTHS = [date(2026, month, 1) for month in (7, 8, 9, 10)]
KITCHEN = [1, 4, 2, 9]


@pytest.fixture
def site(db: None) -> Site:
    """Four months of a kitchen, which ends in an alarm, and of a bar that nobody read in August."""
    pest, office = Pest.objects.get(slug="german-cockroach"), make_office()
    site = make_site(name="Quay Hotel")
    plan = add_plan(site.pk, by=office, title="Ground floor", data=make_photo_bytes())
    for place, name in enumerate(("Kitchen", "Bar")):
        zone = make_zone(site, name=name)
        left = 0.05 + 0.47 * place
        corners = [(left, 0.1), (left + 0.4, 0.1), (left + 0.4, 0.9), (left, 0.9)]
        draw_zone(zone.pk, by=office, plan_id=plan.pk, corners=corners)
        monitor = make_monitor(zone)
        mark_monitor(monitor.pk, by=office, plan_id=plan.pk, x=left + 0.2, y=0.5)
        for number, month in enumerate(MONTHS):
            count, days = (KITCHEN[number], 310) if name == "Kitchen" else (1, 300)
            if name == "Bar" and number == 1:
                count = days = 0
            alarm = {"state": PlaceMonth.State.ALARM} if count == KITCHEN[-1] else {}
            month_of(zone, pest, month, count, days, **alarm)
            if days:
                counted(monitor, pest, month, count, days)
    return site


def opened(chromium: Chromium, live_server: Any, site: Site, size: str, **more: Any) -> Page:
    width, height = SIZES[size]
    context = chromium.new_context(viewport={"width": width, "height": height}, **more)
    session = Browser()
    session.force_login(make_office())
    cookie = session.cookies["sid"]
    context.add_cookies([{"name": "sid", "value": cookie.value, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + reverse("compliance:trend_plan", args=[site.pk]))
    return page


def test_the_months_go_by_under_the_arrow_keys(browser, live_server, site):
    page = opened(browser, live_server, site, "desk")
    slider = page.get_by_role("slider", name="Month by month")
    kitchen = page.locator("[data-zone-row]", has_text="Kitchen")
    expect(kitchen).to_contain_text("more than usual")
    slider.focus()
    page.keyboard.press("ArrowLeft")
    expect(slider).to_have_attribute(
        "aria-valuetext", "September 2026: 3 in 610 trap-days, 0.49 per 100 trap-days."
    )
    expect(kitchen).to_contain_text("as usual")
    expect(kitchen).to_contain_text("2 in 310 trap-days")
    page.keyboard.press("ArrowLeft")
    bar = page.locator("[data-zone-row]", has_text="Bar")
    expect(bar).to_contain_text("not read")
    expect(page.locator("polygon.tint-unread")).to_have_count(1)
    expect(page.locator(".zone-rate", has_text="not read")).to_be_visible()
    expect(page.get_by_label("Bar: not read")).to_have_count(1)
    expect(page).to_have_url(re.compile("month=2026-08"))
    page.keyboard.press("End")
    expect(page.locator("polygon.is-alarm")).to_have_count(1)
    page.keyboard.press("Home")
    expect(page.get_by_label("Month", exact=True)).to_have_value("2026-07")
    page.reload()
    expect(page.locator("[data-month-words]")).to_contain_text("July 2026")


def test_a_month_chosen_from_the_list_moves_the_slider(browser, live_server, site):
    page = opened(browser, live_server, site, "desk")
    page.get_by_label("Month", exact=True).select_option("2026-08")
    expect(page.get_by_role("slider")).to_have_value("1")
    expect(page.locator("[data-month-words]")).to_have_attribute("aria-live", "polite")
    expect(page.locator("[data-month-words]")).to_contain_text("August 2026: 4 in 310 trap-days")


def test_without_script_months_are_pages(browser, live_server, site):
    page = opened(browser, live_server, site, "phone", java_script_enabled=False)
    expect(page.get_by_role("slider")).to_have_count(0)
    page.get_by_role("link", name="September 2026").click()
    expect(page.get_by_text("September 2026: 3 in 610 trap-days")).to_be_visible()
    page.get_by_label("Month", exact=True).select_option("2026-07")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_text("July 2026: 2 in 610 trap-days")).to_be_visible()


@pytest.mark.parametrize("size", SIZES)
def test_the_plan_is_readable(browser, live_server, site, size):
    page = opened(browser, live_server, site, size)
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    page.reload()
    expect(page.get_by_role("slider")).to_be_visible()
    PICTURES.mkdir(exist_ok=True)
    page.screenshot(path=str(PICTURES / f"trend-plan-{size}.png"), full_page=True)
    found = Axe().run(page, options=RULES).response["violations"]
    assert not found, found
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert not told
