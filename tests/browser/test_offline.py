"""The phone when things go wrong around it: no line, two tabs, two phones, a new release, a wrong
clock, a server that fails in the middle. After each, the server holds the log, each operation once.
"""

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from django.utils import timezone
from playwright.sync_api import Error, Page, Route, expect

from tests.browser.phones import PhoneInHand, answered, assert_server_has_all_of, until
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import make_product, make_visit
from visits.models import Look, Operation, ParkedOperation, Reading, Visit
from visits.services.booking import call_off_visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NewPhone = Callable[..., PhoneInHand]


@pytest.fixture
def visit(db: None) -> Visit:
    office = make_office()
    make_product(by=office)
    return make_visit(
        make_site(zones=2, monitors=2),
        state="under_way",
        by=office,
        technician=make_technician(),
        due_on=timezone.now().date(),
        kind="routine",
    )


def on_walk(phone: PhoneInHand, visit: Visit, *, page: Page | None = None) -> Page:
    page = phone.open("walk", visit, page=page)
    expect(page.locator("#coverage-words")).to_contain_text("of 10")
    return page


def look(page: Page, number: int = 0) -> None:
    page.locator("[data-part=look]:visible").nth(number).tap()


def test_every_page_opens_without_a_line_and_a_tap_survives_the_tab(new_phone, visit):
    phone = new_phone(visit.technician)
    phone.offline()
    for name in ("my_day", "start", "walk", "close"):
        phone.open(name, None if name == "my_day" else visit)
        expect(phone.page.locator("#saved")).to_contain_text("no signal")
    page = on_walk(phone, visit)
    look(page)
    phone.says("1 not sent yet (no signal)")
    page.close()

    page = phone.page = phone.context.new_page()
    on_walk(phone, visit)
    expect(page.locator("#coverage-words")).to_contain_text("1 of 10")
    phone.online()

    phone.says("Sent")
    assert Look.objects.count() == 1
    assert_server_has_all_of(phone.log())


def test_what_was_sent_is_still_known_in_the_cellar(new_phone, visit):
    """The package is older than the taps; the log is not."""
    phone = new_phone(visit.technician)
    page = on_walk(phone, visit)
    look(page)
    phone.says("Sent")
    phone.offline()

    page.reload()

    expect(page.locator("#coverage-words")).to_contain_text("1 of 10")
    page.locator("#undo").tap()
    expect(page.locator("#coverage-words")).to_contain_text("0 of 10")
    phone.online()
    until(lambda: not Look.objects.exists())
    phone.says("Sent")


def test_a_page_that_needs_a_line_says_so_without_one(new_phone, visit):
    phone = new_phone(visit.technician)
    phone.offline()

    phone.page.goto(phone.url + "/sites/")

    expect(phone.page.get_by_role("heading", name="No signal")).to_be_visible()
    phone.page.get_by_role("link", name="My day").first.tap()
    expect(phone.page.get_by_role("heading", name="My day")).to_be_visible()


def test_a_server_that_fails_in_the_middle_of_a_batch_gets_the_rest_later(new_phone, visit):
    phone = new_phone(visit.technician)
    page = on_walk(phone, visit)
    phone.offline()
    for number in range(3):
        look(page, number)
    phone.says("3 not sent yet")
    failed: list[int] = []

    def fail_after_two(route: Route) -> None:
        if failed:
            return route.continue_()
        failed.append(1)
        sent = json.loads(route.request.post_data or "")
        sent["operations"] = sent["operations"][:2]
        route.fetch(post_data=json.dumps(sent))  # two are kept, and then
        return route.fulfill(status=500, body="out of order")

    answered(page, fail_after_two)
    phone.online()

    phone.says("Sent")
    assert failed
    assert Operation.objects.count() == 3
    assert_server_has_all_of(phone.log())


def test_two_tabs_write_and_send_at_once(new_phone, visit):
    phone = new_phone(visit.technician)
    one, two = phone.page, phone.context.new_page()
    on_walk(phone, visit, page=one)
    on_walk(phone, visit, page=two)
    monitors = ".monitor [data-part=nothing]:visible"

    for number in range(2):
        one.bring_to_front()
        look(one, number)
        two.bring_to_front()
        two.locator(monitors).nth(number).tap()

    phone.says("Sent", page=one)
    until(lambda: len([op for op in phone.log() if "answer" in op]) == 4)
    log = phone.log()
    assert [op["seq"] for op in log] == [1, 2, 3, 4]
    assert_server_has_all_of(log)
    assert (Look.objects.count(), Reading.objects.count()) == (2, 2)
    expect(one.locator("#coverage-words")).to_contain_text("4 of 10")
    expect(two.locator("#coverage-words")).to_contain_text("4 of 10")


def test_two_phones_on_one_visit_merge_and_what_clashes_is_kept(new_phone, visit):
    one, two = new_phone(visit.technician), new_phone(visit.technician)
    for phone in (one, two):
        on_walk(phone, visit)
        phone.offline()
    look(one.page, 0)
    look(two.page, 1)
    one.page.locator(".monitor [data-part=nothing]:visible").first.tap()
    two.page.locator(".monitor [data-part=miss]:visible").first.tap()
    two.page.locator("#not-reached input[value=locked]").tap()
    two.page.get_by_role("button", name="Save: not reached").tap()
    one.says("2 not sent yet")
    two.says("2 not sent yet")

    one.online()
    one.says("Sent")
    two.online()
    two.says("Sent")

    assert_server_has_all_of(one.log())
    assert_server_has_all_of(two.log())
    assert (Look.objects.count(), Reading.objects.count()) == (2, 1)
    parked = ParkedOperation.objects.get()
    assert (parked.code, parked.sent["kind"]) == ("changed_elsewhere", "not_reached.set")
    expect(two.page.locator("#notices")).to_contain_text("Another phone has recorded")
    expect(two.page.locator("#coverage-words")).to_contain_text("3 of 10")


def test_a_new_release_waits_while_a_form_is_open_and_loses_nothing(
    new_phone, visit, settings, tmp_path
):
    phone = new_phone(visit.technician)
    page = on_walk(phone, visit)
    page.locator("[data-part=miss]:visible").first.tap()
    page.fill("#not-reached-note", "The key is with Bo")
    release_anew(settings, tmp_path)
    page.evaluate("navigator.serviceWorker.getRegistration().then(found => found.update())")

    expect(page.locator("[data-notice=release]")).to_have_count(1)
    expect(page.locator("#not-reached-note")).to_have_value("The key is with Bo")
    page.locator("#not-reached input[value=locked]").tap()
    page.get_by_role("button", name="Save: not reached").tap()
    phone.says("Sent")
    page.locator("[data-part=miss]:visible").nth(1).tap()
    page.fill("#not-reached-note", "Stacked full")
    page.wait_for_timeout(500)  # longer than the page waits before it keeps a draft
    page.go_back()
    with loaded_anew(page):
        page.get_by_role("button", name="Load it now").tap()

    assert "second release" in styles(page)
    expect(page.locator("#coverage-words")).to_contain_text("1 not reached")
    page.locator("[data-part=miss]:visible").nth(1).tap()
    expect(page.locator("#not-reached-note")).to_have_value("Stacked full")
    assert_server_has_all_of(phone.log())


def test_a_new_release_loads_by_itself_where_no_visit_is_open(new_phone, visit, settings, tmp_path):
    phone = new_phone(visit.technician)
    assert "second release" not in styles(phone.page)
    release_anew(settings, tmp_path)

    with loaded_anew(phone.page):
        phone.page.evaluate(
            "navigator.serviceWorker.getRegistration().then(found => found.update())"
        )

    assert "second release" in styles(phone.page)
    phone.offline()
    on_walk(phone, visit)
    assert "second release" in styles(phone.page)


def release_anew(settings, folder: Path) -> None:
    """The same site with another style sheet: what a deployment does."""
    shutil.copytree(django_settings.BASE_DIR / "static", folder / "static")
    sheet = folder / "static/css/tokens.css"
    sheet.write_text(sheet.read_text() + "\n/* second release */\n")
    settings.STATICFILES_DIRS = [folder / "static"]


@contextmanager
def loaded_anew(page: Page) -> Iterator[None]:
    """Wait until the page has been loaded anew.

    A mark on the page tells it. Nothing is fetched meanwhile: a newer worker takes over only once
    the one before it has nothing to answer.
    """
    page.evaluate("window.loadedBefore = true")
    yield
    until(lambda: not is_marked(page), seconds=90)
    page.wait_for_load_state()


def is_marked(page: Page) -> bool:
    try:
        return bool(page.evaluate("Boolean(window.loadedBefore)"))
    except Error:  # the page is just being loaded anew
        return True


def styles(page: Page) -> str:
    """The style sheet that this page gets."""
    found: str = page.evaluate("fetch('/static/css/tokens.css').then(found => found.text())")
    return found


def test_a_clock_that_is_three_days_fast_is_said_and_corrected(new_phone, visit):
    phone = new_phone(visit.technician, ready=False)
    phone.page.clock.install(time=timezone.now() + timedelta(days=3))
    on_walk(phone, visit)
    expect(phone.page.locator("#notices")).to_contain_text("3 days fast")

    look(phone.page)

    phone.says("Sent")
    (op,) = phone.log()
    kept = Operation.objects.get()
    assert abs(kept.made_at - timezone.now() - timedelta(days=3)) < timedelta(minutes=1)
    assert kept.clock_ahead_seconds == op["clock_ahead"]
    assert abs(Look.objects.get().at - timezone.now()) < timedelta(minutes=1)
    assert_server_has_all_of([op])


def test_the_day_is_the_servers_on_a_phone_whose_clock_is_wrong(new_phone, visit):
    phone = new_phone(visit.technician, ready=False)
    phone.page.clock.install(time=timezone.now() + timedelta(days=3))

    phone.open("my_day")

    expect(phone.page.get_by_role("link", name=visit.site.name).first).to_be_visible()


def test_a_line_that_comes_back_without_a_word_is_found_by_the_clock(new_phone, visit):
    """No event tells of it: the timer alone must send what waits."""
    phone = new_phone(visit.technician)
    phone.page.clock.install()
    page = on_walk(phone, visit)
    blocked = [True]
    answered(page, lambda route: route.abort() if blocked[0] else route.continue_())
    look(page)
    phone.says("no signal")
    blocked[0] = False

    page.clock.fast_forward("01:30")

    phone.says("Sent")
    assert_server_has_all_of(phone.log())


def test_a_storage_that_is_full_keeps_what_was_there_and_says_so(new_phone, visit):
    phone = new_phone(visit.technician, ready=False)
    devtools = phone.context.new_cdp_session(phone.page)
    devtools.send("Storage.overrideQuotaForOrigin", {"origin": phone.url, "quotaSize": 3_000_000})
    phone.get_ready()
    page = on_walk(phone, visit)
    phone.offline()
    look(page)
    phone.says("1 not sent yet")
    page.evaluate(FILL)

    look(page, 1)

    expect(page.locator("#notices")).to_contain_text("This phone is full")
    expect(page.locator("#coverage-words")).to_contain_text("1 of 10")
    page.reload()
    expect(page.locator("#coverage-words")).to_contain_text("1 of 10")
    phone.online()
    phone.says("Sent")
    (op,) = phone.log() or [None]
    assert Look.objects.count() == Operation.objects.count() == 1
    if op:
        assert_server_has_all_of([op])


# Fills what is left of the phone's storage, down to a few bytes.
FILL = """async () => {
  const opened = await new Promise(done => {
    const asked = indexedDB.open("kickplate");
    asked.onsuccess = () => done(asked.result);
  });
  for (let size = 1 << 20, key = 0; size > 16; key += 1) {
    const random = crypto.getRandomValues(new Uint8Array(Math.min(size, 65536)));
    const fits = await new Promise(done => {
      const writing = opened.transaction("drafts", "readwrite", {durability: "strict"});
      const pieces = new Array(Math.ceil(size / 65536)).fill(random);
      writing.objectStore("drafts").put(pieces, `fill-${key}`);
      writing.oncomplete = () => done(true);
      writing.onabort = () => done(false);
    });
    if (!fits) size >>= 1;
  }
  opened.close();
}"""


def test_somebody_else_on_the_same_phone_sees_and_sends_nothing_of_the_first(new_phone, visit):
    phone = new_phone(visit.technician)
    page = on_walk(phone, visit)
    phone.offline()
    look(page)
    phone.says("1 not sent yet")
    other = make_technician(name="Second Person")
    theirs = make_visit(
        make_site(name="Second Site"),
        state="booked",
        by=make_office(),
        technician=other,
        due_on=timezone.now().date(),
    )
    phone.sign_in(other)
    phone.online()

    expect(page.locator("#notices")).to_contain_text("Somebody else is signed in")
    expect(page.locator("main")).not_to_contain_text(visit.site.name)
    page.get_by_role("button", name="Open your day").tap()
    expect(page.get_by_role("link", name=theirs.site.name).first).to_be_visible()
    expect(page.locator("body")).not_to_contain_text(visit.site.name)
    on_foot = phone.open("walk", visit)
    expect(on_foot.locator("#notices")).to_contain_text("not, or no longer, on your list")
    assert not Operation.objects.exists()
    assert len(phone.log()) == 1

    phone.sign_in(visit.technician)
    phone.page.goto(phone.url)  # as after the form: the server's answer says who it is
    phone.says("Sent")
    assert Operation.objects.get().person == visit.technician
    assert_server_has_all_of(phone.log())


def test_a_visit_that_was_called_off_meanwhile_is_kept_whole_and_said_beside_the_record(
    new_phone, visit
):
    phone = new_phone(visit.technician)
    page = on_walk(phone, visit)
    phone.offline()
    look(page)
    phone.says("1 not sent yet")
    Visit.objects.filter(pk=visit.pk).update(state="booked")
    call_off_visit(visit.pk, by=make_office(), reason="Shut today.")

    phone.online()

    expect(page.locator("#notices")).to_contain_text("The office has called this visit off")
    phone.says("Sent")
    assert_server_has_all_of(phone.log())
    assert ParkedOperation.objects.get().sent["kind"] == "look.add"
