"""Check and close, with a line and without: what is shown is sealed, and nothing typed is lost."""

import json
from collections.abc import Callable
from datetime import time, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, Route, expect

from accounts.models import User
from sites.services.contacts import add_contact
from tests.browser.phones import (
    PhoneInHand,
    answered,
    assert_record_is_the_log,
    assert_server_has_all_of,
    faults_of_page,
    low_targets,
    nameless,
    sign,
    until,
)
from tests.builders.accounts import make_office, make_technician
from tests.builders.compliance import make_photo_bytes
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import look_everywhere, make_visit, record_some_of_all
from visits.models import Finding, Operation, ParkedOperation, Visit
from visits.services.booking import call_off_visit
from visits.services.recording import start_visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NewPhone = Callable[..., PhoneInHand]
MINUTES = 52


@pytest.fixture
def office(db: None) -> User:
    return make_office()


@pytest.fixture
def visit(office: User) -> Visit:
    """Begun 52 minutes ago: two zones with three checkpoints and two monitors each."""
    site = make_site(zones=2, monitors=2, name="The Gilt Anchor")
    add_contact(
        site.pk, by=office, name="Ana Prior", job_title="Head chef", is_premises_manager=True
    )
    add_contact(site.pk, by=office, name="Bo Lund", job_title="Duty manager")
    technician = make_technician()
    now = timezone.now()
    booked = {"by": office, "technician": technician, "due_on": now.date()}
    visit = make_visit(site, state="booked", kind="routine", **booked)
    make_visit(make_site(name="Quay Bakery"), state="booked", time=time(23, 50), **booked)
    start_visit(visit.pk, by=technician, at=now - timedelta(minutes=MINUTES))
    visit.refresh_from_db()
    return visit


@pytest.fixture
def looked_at(visit: Visit) -> Visit:
    """Nothing is without a word."""
    look_everywhere(visit, at=timezone.now())
    return visit


def on_closing(phone: PhoneInHand, visit: Visit, *, page: Page | None = None) -> Page:
    page = phone.open("close", visit, page=page)
    expect(page.locator("#closing")).to_be_visible()
    return page


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).tap()


def choose(page: Page, way: str) -> None:
    page.get_by_role("radio", name=way).tap()


def say_nobody(page: Page, why: str = "Premises closed") -> None:
    choose(page, "Nobody signs")
    press(page, why)


TAPPED_TWICE = """() => {
  const close = document.getElementById("close-button");
  close.click();
  close.click();
}"""


def closings(phone: PhoneInHand) -> list[dict]:
    return [op for op in phone.log() if op["kind"] == "visit.close"]


# --- a whole visit --------------------------------------------------------------------------------


def walk_everything(page: Page, visit: Visit) -> None:
    """A word on each of the ten places, and a finding with a photo among them."""
    for zone in visit.site.zones.all():
        box = page.locator(f"#zone-{zone.pk}")
        expect(box).to_have_attribute("open", "")  # by itself, once the zone before it is done
        for place in box.locator("[data-part=look]").all():
            place.tap()
        for monitor in box.locator("[data-part=nothing]").all():
            monitor.tap()
    expect(page.locator("#coverage-words")).to_contain_text("10 of 10 looked at")
    first = page.locator("details.zone").first
    if first.get_attribute("open") is None:
        first.locator("summary").first.tap()
    first.locator("[data-part=miss]:visible").first.tap()
    page.locator("#not-reached input[value=locked]").tap()
    page.get_by_role("button", name="Save: not reached").tap()
    expect(page.locator("#coverage-words")).to_contain_text("1 not reached")
    first.locator("[data-part=find]:visible").nth(1).tap()
    page.locator("#finding input[value=harbourage]").tap()
    page.set_input_files(
        "#finding-photo", {"name": "a.png", "mimeType": "image/png", "buffer": make_photo_bytes()}
    )
    expect(page.locator("[data-part=photo-words]")).to_contain_text("ept on this phone")
    page.get_by_role("button", name="Save the finding").tap()
    expect(page.locator("#finding")).to_be_hidden()


def test_a_whole_visit_without_a_line_is_sealed_as_the_phone_has_it(new_phone, visit):
    phone = new_phone(visit.technician)
    phone.offline()
    phone.open("walk", visit)
    walk_everything(phone.page, visit)
    phone.page.get_by_role("link", name="Check and close").tap()
    page = phone.page
    expect(page.locator("#will-be-sent")).to_contain_text("10 records, 1 photo; ")
    expect(page.locator("#will-be-sent")).to_contain_text("12 not sent yet, 1 photo waiting")
    expect(page.locator("#missed")).to_contain_text("Locked; whose move: the client")
    expect(page.locator("#findings")).to_contain_text("1 photo: 1 not sent yet")
    page.get_by_label("Summary for the client").fill("Shelf to be moved.")
    press(page, "Ana Prior Head chef")
    sign(page, page.locator("#pad"))
    drawn = strokes(phone)
    assert len(drawn) == 2
    page.close()

    phone.page = page = phone.context.new_page()
    on_closing(phone, visit)
    expect(page.get_by_label("Summary for the client")).to_have_value("Shelf to be moved.")
    expect(page.get_by_role("button", name="Ana Prior")).to_have_attribute("aria-pressed", "true")
    press(page, "Close the visit")

    receipt = page.locator("#receipt")
    expect(receipt).to_contain_text("Closed on this phone")
    expect(receipt).to_contain_text("It is sealed when it reaches the server.")
    expect(receipt).to_contain_text("Still on this phone: 13 not sent yet, 1 photo waiting.")
    expect(page.get_by_role("link", name="Next: Quay Bakery, 23:50")).to_be_visible()
    assert phone.kept("drafts") == []
    page.reload()
    expect(receipt).to_contain_text("Closed on this phone")
    assert Visit.objects.get(pk=visit.pk).state == "under_way"
    phone.online()

    expect(receipt).to_contain_text("Sealed", timeout=20_000)
    expect(receipt).not_to_contain_text("Still on this phone", timeout=20_000)
    visit.refresh_from_db()
    assert visit.state == "closed"
    assert visit.signature == drawn
    assert (visit.minutes_on_site, visit.minutes_reason) in {(MINUTES, ""), (MINUTES + 1, "")}
    assert Finding.objects.get().shown_by.count() == 1
    assert_server_has_all_of(phone.log())
    assert {op["answer"]["verdict"] for op in phone.log()} == {"applied"}
    assert_record_is_the_log(phone, visit)
    page.get_by_role("link", name="Open the sealed visit").tap()
    expect(page.locator("main")).to_contain_text("Seal 1 of this site")
    expect(page.locator("main")).to_contain_text("Shelf to be moved.")


def strokes(phone: PhoneInHand) -> list[list[list[float]]]:
    """What the pad holds, as the draft of the form has it; waits until it is kept."""
    until(lambda: any(one.get("signature") for one in phone.kept("drafts")))
    [found] = [one["signature"] for one in phone.kept("drafts") if "way" in one]
    return found


# --- once and no more -----------------------------------------------------------------------------


def test_tapping_twice_going_back_and_reloading_never_closes_twice(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    phone.open("walk", looked_at)
    phone.offline()
    page = phone.page
    page.get_by_role("link", name="Check and close").tap()
    say_nobody(page)
    page.evaluate(TAPPED_TWICE)
    expect(page.locator("#receipt")).to_contain_text("Closed on this phone")
    assert page.locator("h1").inner_text() == "Closed"
    expect(page.locator("#close-button")).to_be_hidden()

    page.go_back()
    page.wait_for_timeout(500)
    on_receipt(phone, looked_at)
    page.reload()
    expect(page.locator("#receipt")).to_be_visible()
    expect(page.locator("#closing")).to_be_hidden()

    assert len(closings(phone)) == 1
    phone.online()
    expect(page.locator("#receipt")).to_contain_text("Sealed", timeout=20_000)
    assert Operation.objects.filter(kind="visit.close").count() == 1


def on_receipt(phone: PhoneInHand, visit: Visit, *, page: Page | None = None) -> Page:
    page = phone.open("close", visit, page=page)
    expect(page.locator("#receipt")).to_be_visible()
    return page


def test_two_tabs_close_once_and_the_other_sees_it(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    other = on_closing(phone, looked_at, page=phone.context.new_page())
    phone.offline()
    for tab in (page, other):
        say_nobody(tab)
    # Both before either has heard of the other.
    other.evaluate("setTimeout(() => document.getElementById('close-button').click(), 300)")
    page.evaluate("setTimeout(() => document.getElementById('close-button').click(), 300)")

    for tab in (page, other):
        expect(tab.locator("#receipt")).to_contain_text("Closed on this phone")
        expect(tab.locator("#closing")).to_be_hidden()

    assert len(closings(phone)) == 1
    phone.online()
    expect(other.locator("#receipt")).to_contain_text("Sealed", timeout=20_000)
    expect(page.locator("#receipt")).to_contain_text("Sealed", timeout=20_000)


# --- what stands in the way -----------------------------------------------------------------------


def test_places_without_a_word_are_asked_about_once(new_phone, visit):
    phone = new_phone(visit.technician)
    page = on_closing(phone, visit)
    expect(page.locator("#open-section")).to_contain_text("5 places")
    say_nobody(page)
    page.evaluate(TAPPED_TWICE)
    expect(page.locator("#ask")).to_have_text("10 places are without a word.")
    assert closings(phone) == []

    page.wait_for_timeout(700)  # a double tap is no answer
    press(page, "Close all the same")

    expect(page.locator("#receipt")).to_contain_text("Sealed")
    expect(page.locator("#receipt")).to_contain_text("0 of 10 looked at, 10 open")
    visit.refresh_from_db()
    assert visit.coverage["checkpoints_due"] == 6


def test_what_is_missing_is_a_tap_away_in_the_walk(new_phone, visit):
    phone = new_phone(visit.technician)
    page = on_closing(phone, visit)
    last = visit.site.zones.order_by("-walk_order")[0]
    page.locator("#open").get_by_text("Which ones").last.tap()
    expect(page.locator("#open")).to_contain_text("Monitor 4")

    page.get_by_role("link", name=f"Go there: {last.name}: 5 places").tap()

    page.wait_for_url(f"**/walk/#{last.pk}")
    expect(page.locator(f"#zone-{last.pk}")).to_have_attribute("open", "")


def test_a_slip_of_the_glove_is_no_signature(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    press(page, "Ana Prior Head chef")
    pad = page.locator("#pad")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box
    page.mouse.move(box["x"] + 30, box["y"] + 30)
    page.mouse.down()
    page.mouse.move(box["x"] + 60, box["y"] + 30, steps=3)
    page.mouse.up()
    press(page, "Close the visit")

    summary = page.get_by_role("alert").filter(has_text="This needs another look")
    expect(summary).to_contain_text("There is hardly any ink.")
    expect(summary).to_be_focused()
    assert page.title().startswith("Error: ")
    assert (closings(phone), nameless(page)) == ([], [])

    press(page, "Wipe and sign again")
    sign(page, pad)
    press(page, "Close the visit")
    expect(page.locator("#receipt")).to_contain_text("Ana Prior, by hand")
    expect(page.locator("#receipt")).to_contain_text("Sealed")


def test_who_signs_by_hand_is_named(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    sign(page, page.locator("#pad"))
    press(page, "Close the visit")
    expect(page.locator("#close-form [data-part=faults]")).to_contain_text("Say who signs.")
    page.get_by_role("link", name="Say who signs.").tap()
    expect(page.get_by_label("Their name", exact=True)).to_be_focused()

    page.get_by_label("Their name", exact=True).fill("Cy Hale")
    page.get_by_label("Their job title").fill("Porter")
    press(page, "Close the visit")

    expect(page.locator("#receipt")).to_contain_text("Sealed")
    looked_at.refresh_from_db()
    assert (looked_at.contact_name, looked_at.contact_job_title) == ("Cy Hale", "Porter")


# --- ways to sign ---------------------------------------------------------------------------------


def test_a_name_that_was_written_counts_and_a_drawing_of_before_does_not(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    press(page, "Bo Lund Duty manager")
    sign(page, page.locator("#pad"))
    choose(page, "They write their name")
    expect(page.locator("#pad")).to_be_hidden()
    expect(page.get_by_label("Why does nobody sign?")).to_be_hidden()
    page.get_by_label("Their name, written by them").fill("B. Lund")
    press(page, "Close the visit")

    expect(page.locator("#receipt")).to_contain_text("B. Lund, by writing their name")
    expect(page.locator("#receipt")).to_contain_text("Sealed")
    looked_at.refresh_from_db()
    assert (looked_at.contact_name, looked_at.signature_typed) == ("Bo Lund", "B. Lund")
    assert not looked_at.signature


def test_nobody_signed_takes_two_taps(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    say_nobody(page, "Nobody on the premises")
    expect(page.locator("#pad")).to_be_hidden()
    press(page, "Close the visit")

    expect(page.locator("#receipt")).to_contain_text("Nobody: Nobody on the premises")
    expect(page.locator("#receipt")).to_contain_text("Sealed")
    looked_at.refresh_from_db()
    assert looked_at.no_signature_reason == "Nobody on the premises"


def test_a_finger_signs_without_scrolling_and_a_turned_phone_keeps_the_ink(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    press(page, "Ana Prior Head chef")
    pad = page.locator("#pad")
    pad.scroll_into_view_if_needed()
    top = page.evaluate("scrollY")
    box = pad.bounding_box()
    assert box
    up = [(box["x"] + 20, box["y"] + 90 - 8 * i) for i in range(10)]
    finger(page, [*up, *((box["x"] + 20 + 20 * i, box["y"] + 18) for i in range(1, 10))])
    assert page.evaluate("scrollY") == top
    drawn = strokes(phone)
    assert len(drawn) == 1
    assert len(drawn[0]) >= 10

    page.set_viewport_size({"width": 844, "height": 390})
    assert pad.evaluate(INKED)
    page.reload()
    expect(page.locator("#closing")).to_be_visible()
    until(lambda: pad.evaluate(INKED))
    press(page, "Close the visit")

    expect(page.locator("#receipt")).to_contain_text("Sealed")
    looked_at.refresh_from_db()
    assert looked_at.signature == drawn


INKED = """pad => pad.width && pad.getContext("2d")
  .getImageData(0, 0, pad.width, pad.height).data.some(Boolean)"""


def finger(page: Page, points: list[tuple[float, float]]) -> None:
    """One stroke of a finger, as the screen reports it."""
    session = page.context.new_cdp_session(page)

    def touch(kind: str, *at: tuple[float, float]) -> None:
        touches = [{"x": x, "y": y} for x, y in at]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    touch("touchStart", points[0])
    for point in points[1:]:
        touch("touchMove", point)
    touch("touchEnd")


# --- time on site ---------------------------------------------------------------------------------


def test_other_minutes_need_a_reason_and_the_office_sees_both(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    expect(page.locator("#on-site")).to_contain_text(f"{MINUTES} minutes, from ")
    say_nobody(page)
    press(page, "Correct it")
    page.get_by_label("Minutes on site").fill("20")
    press(page, "Close the visit")
    expect(page.locator("#close-form [data-part=faults]")).to_contain_text("Say why it is not 5")
    page.reload()
    expect(page.get_by_label("Minutes on site")).to_have_value("20")

    press(page, "Closed after leaving")
    press(page, "Close the visit")

    receipt = page.locator("#receipt")
    expect(receipt).to_contain_text(f"20 minutes, as corrected; worked out: {MINUTES} minutes")
    expect(receipt).to_contain_text("Sealed")
    looked_at.refresh_from_db()
    assert (looked_at.minutes_on_site, looked_at.minutes_reason) == (20, "Closed after leaving")


# --- when the office has said something meanwhile -------------------------------------------------


def test_a_closing_of_a_visit_that_was_called_off_is_with_the_office(new_phone, looked_at, office):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    phone.offline()
    Visit.objects.filter(pk=looked_at.pk).update(state="booked")
    call_off_visit(looked_at.pk, by=office, reason="Shut today.")
    say_nobody(page)
    press(page, "Close the visit")
    expect(page.locator("#receipt")).to_contain_text("Closed on this phone")
    phone.online()

    told = page.locator("#not-closed:visible")
    expect(told).to_contain_text("was not taken", timeout=20_000)
    expect(told).to_contain_text("The office has called this visit off.")
    expect(told).to_contain_text("The office has it whole")
    expect(told).to_contain_text("Nothing more can be recorded here.", timeout=20_000)
    expect(page.locator("#receipt")).to_be_hidden()
    expect(page.locator("#close-button")).to_be_hidden()
    expect(page.get_by_role("link", name="My day").last).to_be_visible()
    assert ParkedOperation.objects.get().sent["kind"] == "visit.close"
    page.reload()
    expect(told).to_contain_text("The office has it whole")


def test_a_closing_of_a_visit_that_was_given_away_is_with_the_office(new_phone, looked_at):
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)
    phone.offline()
    Visit.objects.filter(pk=looked_at.pk).update(technician=make_technician())
    say_nobody(page)
    press(page, "Close the visit")
    phone.online()

    told = page.locator("#not-closed:visible")
    expect(told).to_contain_text("This visit is not on your list.", timeout=20_000)
    expect(told).to_contain_text("Nothing more can be recorded here.", timeout=20_000)
    expect(page.locator("#closing")).to_be_hidden()


def test_a_closing_that_the_server_could_not_take_opens_the_visit_again(new_phone, looked_at):
    """As when a fault of the server's own parks it: the visit is still under way."""
    phone = new_phone(looked_at.technician)
    page = on_closing(phone, looked_at)

    def park(route: Route) -> None:
        [op] = json.loads(route.request.post_data or "")["operations"]
        message = "Kickplate could not apply this."
        answer = {"id": op["id"], "verdict": "parked", "code": "fault", "message": message}
        route.fulfill(json={"answers": [answer]})

    answered(page, park)
    page.get_by_label("Summary for the client").fill("All clean.")
    press(page, "Ana Prior Head chef")
    sign(page, page.locator("#pad"))
    press(page, "Close the visit")

    told = page.locator("#not-closed:visible")
    expect(told).to_contain_text("Kickplate could not apply this. The office has it whole")
    expect(told).to_contain_text("The visit is open again on this phone")
    expect(page.locator("h1")).to_have_text("Check and close")
    page.unroute("**/visits/sync/")
    page.reload()
    expect(page.get_by_label("Summary for the client")).to_have_value("All clean.")
    until(lambda: page.locator("#pad").evaluate(INKED))
    press(page, "Close the visit")

    expect(page.locator("#receipt")).to_contain_text("Sealed")
    expect(told).to_be_hidden()
    looked_at.refresh_from_db()
    assert (looked_at.contact_name, looked_at.summary) == ("Ana Prior", "All clean.")


@pytest.mark.parametrize("line", ["with a line", "without"])
def test_there_is_nothing_to_close_on_a_visit_that_was_called_off(new_phone, visit, office, line):
    Visit.objects.filter(pk=visit.pk).update(state="booked")
    call_off_visit(visit.pk, by=office, reason="Shut today.")
    phone = new_phone(visit.technician)
    if line == "without":
        phone.offline()
    page = phone.open("close", visit)

    told = page.locator("#not-closed:visible")
    expect(told).to_contain_text("called this visit off: Shut today.")
    expect(page.locator("#closing")).to_be_hidden()
    page.get_by_role("link", name="My day").last.tap()
    page.wait_for_url("**/my-day/")


def test_a_visit_of_somebody_else_is_not_on_the_list(new_phone, visit):
    stranger = make_technician()
    make_visit(make_site(), state="booked", technician=stranger, due_on=timezone.now().date())
    phone = new_phone(stranger)
    page = phone.open("close", visit)
    expect(page.locator("#notices")).to_contain_text("not, or no longer, on your list")
    expect(page.locator("#close-button")).to_be_hidden()
    press(page, "My day")
    page.wait_for_url("**/my-day/")


def test_a_visit_that_was_not_begun_opens_at_the_door(new_phone, visit):
    Visit.objects.filter(pk=visit.pk).update(state="booked", started_at=None)
    phone = new_phone(visit.technician)
    phone.page.goto(f"{phone.url}/visits/{visit.pk}/close/")
    phone.page.wait_for_url("**/start/")


def test_a_visit_that_the_server_closed_shows_its_receipt(new_phone, visit, office):
    closed = make_visit(
        make_site(zones=1),
        state="closed",
        by=office,
        technician=visit.technician,
        due_on=timezone.now().date(),
    )
    phone = new_phone(visit.technician)
    page = on_receipt(phone, closed)
    expect(page.locator("#receipt")).to_contain_text("It is sealed.")
    expect(page.locator("#receipt")).to_contain_text("60 minutes, from 09:00 to 10:00")
    expect(page.locator("#receipt")).to_contain_text("Nobody: Nobody of the premises was there.")


# --- redrawing ------------------------------------------------------------------------------------


def test_what_others_record_is_drawn_round_the_hand_that_writes(new_phone, visit):
    phone = new_phone(visit.technician)
    page = on_closing(phone, visit)
    other = phone.open("walk", visit, page=phone.context.new_page())
    page.bring_to_front()
    for fold in page.locator("#open").get_by_text("Which ones").all():
        fold.tap()
    sign(page, page.locator("#pad"))
    summary = page.get_by_label("Summary for the client")
    summary.press_sequentially("Half a sen")
    top = summary.evaluate("one => one.getBoundingClientRect().top")

    other.locator("[data-part=look]:visible").first.dispatch_event("click")

    expect(page.locator("#coverage-words")).to_contain_text("1 of 10 looked at")
    expect(page.locator("#will-be-sent")).to_contain_text("1 record; all of it is sent")
    expect(summary).to_be_focused()
    summary.press_sequentially("tence")
    expect(summary).to_have_value("Half a sentence")
    assert page.locator("#pad").evaluate(INKED)
    assert abs(summary.evaluate("one => one.getBoundingClientRect().top") - top) < 2
    expect(page.locator("#open details[open]")).to_have_count(2)
    expect(page.locator("#open > li").first).not_to_contain_text("Place low")


# --- how it reads ---------------------------------------------------------------------------------


@pytest.fixture
def eventful(visit: Visit) -> Visit:
    """Something of every kind, and a whole zone without a word."""
    make_zone(visit.site)
    record_some_of_all(visit)
    return visit


def test_all_that_will_be_sealed_is_said_in_words(new_phone, eventful):
    phone = new_phone(eventful.technician)
    page = on_closing(phone, eventful)
    main = page.locator("#closing")
    for words in (
        "This visit has 6 records; all of it is sent.",
        "the whole zone Locked; whose move: us",
        "Signs of pests",
        "2 monitors read.",
        "Monitor 1: 1 Wasp",
        ", 2.5 g",
        "Hinges of the left oven",
        "The label: Keep off food.",
        "The record does not say:",
        "The product label and safety data sheet come first;",
        "gloves",
    ):
        expect(main).to_contain_text(words)
    codes = ("live_pests", "third_party", "not_reached", "german-cockroach", "gel,")
    said = main.inner_text()
    assert [code for code in codes if code in said] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "text"), [(390, "16px"), (320, "16px"), (320, "32px")])
def test_closing_reads_and_fits(new_phone, eventful, width, text, scheme):
    phone = new_phone(eventful.technician, color_scheme=scheme)
    page = phone.page
    page.set_viewport_size({"width": width, "height": 844})
    on_closing(phone, eventful)
    page.evaluate(f"document.documentElement.style.fontSize = '{text}'")
    press(page, "Correct it")
    for way in ("Nobody signs", "They write their name", "By hand, here"):
        choose(page, way)
        assert (faults_of_page(page), low_targets(page), nameless(page)) == ([], [], [])
    press(page, "Close the visit")
    assert (faults_of_page(page), low_targets(page), nameless(page)) == ([], [], [])
    say_nobody(page)
    press(page, "Leave it as worked out")
    press(page, "Close the visit")
    expect(page.locator("#ask")).not_to_be_empty()
    assert (faults_of_page(page), low_targets(page), nameless(page)) == ([], [], [])
    page.wait_for_timeout(700)
    press(page, "Close all the same")
    expect(page.locator("#receipt")).to_contain_text("Sealed")
    assert (faults_of_page(page), low_targets(page), nameless(page)) == ([], [], [])
