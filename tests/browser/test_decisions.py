"""A manager decides several actions at one sitting, on a phone, up to the checked end of one.

What is decided is followed on: the work is reported done with a photo, checked, and told in the
site file that an auditor gets. The manager's part is walked without any script.
"""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from compliance.models import CorrectiveAction, Decision, SignOff
from compliance.services.site_files import build_site_files, request_site_file
from tests.browser.test_paths import DESK, PHONE, keep, photo, walk  # noqa: F401
from tests.builders.accounts import PASSWORD
from tests.builders.compliance import make_action, make_photo

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TOO_DEAR = "The kitchen is rebuilt in the autumn anyway."
QUESTION = "Does the bristle strip last longer than a year?"
ANSWER = "Three years, where nothing heavy is dragged over it."
DONE = "The chase is meshed and mortared from end to end."


def test_three_actions_at_one_sitting_and_one_of_them_to_its_checked_end(
    world: Any,
    walk: Callable[..., Page],  # noqa: F811
) -> None:
    office, manager, site = world.people["office"], world.people["manager"], world["site"]
    yes = world["priced_action"]
    no, asks = (
        make_action("priced", site=site, by=office, title=title, photo_ids=[shown.pk])
        for title, shown in [
            ("Fit a screen to the larder window", make_photo(site, by=office)),
            ("Hang a bristle strip at the dock", make_photo(site, by=office)),
        ]
    )

    # The manager answers two of three, and signs once.
    phone = walk(manager, **PHONE, java_script_enabled=False)
    phone.get_by_role("link", name="All 3 at one sitting").click()
    expect(phone.get_by_role("heading", name="Decide at one sitting", level=1)).to_be_visible()
    keep(phone, "sitting-1-answers")
    choose(answers_to(phone, yes), "1. Lasting work")
    choose(answers_to(phone, no), "Turn it down")
    answers_to(phone, no).get_by_label("Your reason").fill(TOO_DEAR)
    phone.get_by_role("button", name="Read what you will sign").click()
    expect(phone.get_by_role("heading", name="Sign your decisions", level=1)).to_be_visible()
    expect(phone.get_by_text(f"Your reason: {TOO_DEAR}")).to_be_visible()
    expect(phone.get_by_text(asks.title)).to_have_count(0)
    keep(phone, "sitting-2-sign")
    sign_all(phone)
    expect(phone.get_by_text("Signed, 2 decided.")).to_be_visible()
    keep(phone, "sitting-3-signed")
    told = Decision.objects.order_by("action__number")
    assert [
        (one.action, one.outcome)
        for one in told.filter(sign_off__person=manager, action__in=[yes, no])
    ] == [(yes, "go_ahead"), (no, "declined")]

    # About the third there is a question first, which the office answers.
    answers_to(phone, asks).get_by_role("link", name="All of it").click()
    phone.get_by_role("link", name="Ask about it").click()
    phone.get_by_label("Your question or answer").fill(QUESTION)
    phone.get_by_role("button", name="Send it").click()
    expect(phone.get_by_text(QUESTION)).to_be_visible()

    desk = walk(office, **DESK)
    expect(desk.get_by_role("heading", name="Today", level=1)).to_be_visible()
    desk.goto(asks.get_absolute_url())
    expect(desk.get_by_text(QUESTION)).to_be_visible()
    desk.get_by_role("link", name="Write to the client").click()
    desk.get_by_label("Your question or answer").fill(ANSWER)
    desk.get_by_role("button", name="Send it").click()
    expect(desk.get_by_text(ANSWER)).to_be_visible()

    phone.goto(asks.get_absolute_url())
    expect(phone.get_by_text(ANSWER)).to_be_visible()
    phone.goto("/compliance/decisions/")
    choose(answers_to(phone, asks), "2. Carry on treating")
    phone.get_by_role("button", name="Read what you will sign").click()
    expect(phone.get_by_role("heading", name="Sign your decisions", level=1)).to_be_visible()
    sign_all(phone)
    expect(phone.get_by_text("Signed, 1 decided.")).to_be_visible()
    expect(phone.get_by_text("Nothing waits for your decision")).to_be_visible()
    assert Decision.objects.get(action=asks).option.kind == "carry_on"

    # What was ordered is done, shown, and checked.
    desk.goto(yes.get_absolute_url())
    desk.get_by_role("link", name="Report it done").click()
    desk.get_by_label("What was done").fill(DONE)
    desk.get_by_label("Photos of the finished work").set_input_files(photo("meshed.jpg"))
    desk.get_by_role("button", name="Report it done").click()
    expect(desk.get_by_text("It was reported done and waits to be checked")).to_be_visible()
    desk.get_by_role("link", name="Check the work").click()
    desk.get_by_label("What you saw").fill("Not a gap left.")
    desk.get_by_label("Your password").fill(PASSWORD)
    desk.get_by_role("button", name="Sign the check").click()
    expect(desk.get_by_text(f"Signed: action {yes.number} is checked.")).to_be_visible()
    keep(desk, "sitting-4-checked")
    yes.refresh_from_db()
    assert (yes.state, yes.checked_by) == (CorrectiveAction.State.CHECKED, office)

    # All of it is in the auditor's file, and stands.
    text = text_of_the_site_file(site, by=office)
    for words in (yes.title, no.title, TOO_DEAR, DONE, "Orders the work described", manager.name):
        assert words in text, words
    for signed in SignOff.objects.filter(action__in=[yes, no, asks]):
        assert signed.content_hash in text.replace(" ", "")
    call_command("verify_decisions")


def answers_to(page: Page, action: CorrectiveAction) -> Locator:
    """The answers of one action among those of others."""
    return page.get_by_role("group", name=f"{action.number}. {action.title}", exact=True)


def choose(answers: Locator, words: str) -> None:
    answers.locator("label").filter(has_text=words).click()


def sign_all(page: Page) -> None:
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign all of them").click()


def text_of_the_site_file(site: Any, *, by: Any) -> str:
    """What an auditor reads in the file of the last thirty days, in one line."""
    today = site.day_of(timezone.now())
    asked = request_site_file(
        site.pk, by=by, period_from=today - timedelta(days=30), period_to=today
    )
    while build_site_files():
        pass
    asked.refresh_from_db()
    with asked.file.open() as file:
        pages = [page.extract_text() for page in PdfReader(file).pages]
    return re.sub(r"\s+", " ", " ".join(pages))
