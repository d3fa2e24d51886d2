"""A trend review in a browser: read, written, refused with every word kept, signed, read again."""

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from compliance.models import Alarm, TrendReview
from compliance.quarters import ended_quarters
from tests.browser.test_pages import SIZES, _faults, _picture, opened
from tests.builders.accounts import PASSWORD
from tests.builders.world import World

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

__all__ = ["opened"]

SEEN = "More German cockroaches behind the range since the summer, from one nest."


@pytest.mark.parametrize("size", SIZES)
def test_a_review_is_written_refused_signed_and_read(
    world: World, opened: Callable[..., Page], live_server: Any, size: str
) -> None:
    site, now = world["site"], timezone.now()
    quarter = ended_quarters(site.day_of(now), 1)[0]
    # The rise came with the quarter that is reviewed, whatever the day on which this runs.
    Alarm.objects.filter(site=site).update(state="open", month=quarter.last.replace(day=1))
    page = opened(world.people["technician"], size)
    stopped: list[str] = []
    page.on("console", lambda said: said.type == "error" and stopped.append(said.text))
    page.on("pageerror", lambda error: stopped.append(str(error)))
    wrong: list[str] = []

    def look(name: str, status: int = 200) -> None:
        page.wait_for_load_state("networkidle")
        page.screenshot(path=_picture(f"review-{size}-{name}"), full_page=True)
        wrong.extend(f"{name}: {said}" for said in _faults(page, status))

    page.goto(live_server.url + reverse("compliance:trend_reviews", args=[site.pk]))
    look("quarters")
    page.get_by_role("link", name=f"further review of {quarter}").click()
    look("new")

    why = page.get_by_label("Why there was more").first
    why.fill("A nest in the motor housing of the fridge.")
    page.get_by_label("An outbreak").first.check()
    page.get_by_label("What the counts show").fill(SEEN)
    page.get_by_label("What is done about it").fill("Gel, and the gap is sealed by Friday.")
    page.get_by_label("Your password").fill("not it")
    page.get_by_role("button", name="Sign the review").click()

    expect(page.locator("[data-error-summary]")).to_be_focused()
    look("refused")
    expect(why).to_have_value("A nest in the motor housing of the fridge.")
    expect(page.get_by_label("An outbreak").first).to_be_checked()
    expect(page.get_by_label("What the counts show")).to_have_value(SEEN)
    page.locator("[data-error-summary] a").click()
    expect(page.get_by_label("Your password")).to_be_focused()

    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign the review").click()

    expect(page.get_by_text("Stands as signed")).to_be_visible()
    look("signed")
    review = TrendReview.objects.get(seen=SEEN)
    expect(page.locator("main")).to_contain_text(SEEN)
    expect(page.locator("main")).to_contain_text("A nest in the motor housing")
    page.get_by_text("The figures that were read").click()
    page.get_by_text("Text and hash").click()
    expect(page.get_by_text(review.content_hash, exact=True)).to_be_visible()
    look("text")
    assert wrong == []
    assert [one for one in stopped if "422" not in one] == []
