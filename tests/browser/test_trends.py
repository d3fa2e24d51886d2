"""Pages of trends in a browser: with every table open they read, fit, and lead to one another."""

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from tests.browser.test_pages import PICTURES, SIZES, _faults, opened
from tests.builders.world import World

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

__all__ = ["opened"]


def unfold(page: Page) -> None:
    """Open every table on the page."""
    page.evaluate("document.querySelectorAll('main details').forEach((one) => one.open = true)")


@pytest.mark.parametrize("size", SIZES)
def test_charts_and_their_tables_read_and_fit(
    world: World, opened: Callable[..., Page], live_server: Any, size: str
) -> None:
    site, zone = world["site"].pk, world["alarm"].zone_id
    page = opened(world.people["office"], size)
    stopped: list[str] = []
    page.on("console", lambda said: said.type == "error" and stopped.append(said.text))
    addresses = {
        "site": reverse("compliance:site_trends", args=[site]),
        "place": reverse("compliance:zone_trend", args=[site, "german-cockroach", zone]),
        "whole": reverse("compliance:place_trend", args=[site, "german-cockroach"]),
        "monitor": reverse("sites:monitor", args=[world["monitor"].pk]),
        "wrong-month": reverse("compliance:trends") + "?month=banana",
        "all-months": reverse("compliance:trends") + "?month=all&state=all",
    }
    wrong = []

    for name, address in addresses.items():
        answer = page.goto(live_server.url + address)
        unfold(page)
        PICTURES.mkdir(exist_ok=True)
        page.screenshot(path=str(PICTURES / f"trends-{size}-{name}.png"), full_page=True)
        wrong += [f"{name}: {said}" for said in _faults(page, answer.status if answer else 0)]

    assert wrong == []
    assert stopped == []


def test_from_the_alarm_to_the_monitor_by_keyboard(
    world: World, opened: Callable[..., Page], live_server: Any
) -> None:
    page = opened(world.people["office"], "desk")
    page.goto(live_server.url + reverse("compliance:trends") + "?month=all")

    place = page.locator("tbody th a").first
    place.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("German cockroach")
    summary = page.get_by_text("The table behind it")
    summary.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("region", name="Months of")).to_be_visible()
    monitor = page.locator("#monitors tbody th a").first
    monitor.focus()
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", name="What it showed over time")).to_be_visible()
