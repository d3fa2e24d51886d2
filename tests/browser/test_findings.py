"""Findings on the phone: photos in a cellar, a mark drawn on one, the place on the plan."""

import re
from collections.abc import Callable
from datetime import timedelta
from hashlib import sha256
from io import BytesIO
from itertools import count
from random import Random
from typing import Any

import pytest
from django.utils import timezone
from PIL import Image, ImageDraw
from playwright.sync_api import Locator, Page, Route, expect

from sites.models import Photo
from sites.services.monitors import mark_monitor
from sites.services.plans import add_plan
from sites.services.zones import draw_zone
from tests.browser.phones import (
    PhoneInHand,
    assert_record_is_the_log,
    assert_server_has_all_of,
    faults_of_page,
    low_targets,
    nameless,
    until,
)
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import keeper, make_site, make_zone
from tests.builders.visits import make_visit
from visits.models import Finding, Operation, Visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NewPhone = Callable[..., PhoneInHand]
_numbers = count(1)


def jpeg(width: int = 64, height: int = 48, *, grain: bool = False) -> bytes:
    """A photo unlike any before it; with ``grain`` it does not get small."""
    random = Random(next(_numbers))
    picture = Image.new("RGB", (width, height), tuple(random.randrange(60, 200) for _ in range(3)))
    if grain:
        picture = Image.frombytes("RGB", (width, height), random.randbytes(width * height * 3))
    ImageDraw.Draw(picture).rectangle([2, 2, width // 2, height // 3], fill=(240, 235, 220))
    file = BytesIO()
    picture.save(file, "JPEG", quality=90)
    return file.getvalue()


def file(data: bytes, name: str = "photo.jpg", mime: str = "image/jpeg") -> Any:
    return {"name": name, "mimeType": mime, "buffer": data}


@pytest.fixture
def visit(db: None) -> Visit:
    """A kitchen that is drawn on a plan with its two monitors, and a yard that is not."""
    site = make_site(zones=1, monitors=2)
    kitchen = site.zones.get()
    plan = add_plan(site.pk, by=keeper(), title="Ground floor", data=plan_picture())
    draw_zone(
        kitchen.pk,
        by=keeper(),
        plan_id=plan.pk,
        corners=[(0.1, 0.2), (0.5, 0.2), (0.5, 0.8), (0.1, 0.8)],
    )
    for n, monitor in enumerate(kitchen.monitors.order_by("number")):
        mark_monitor(monitor.pk, by=keeper(), plan_id=plan.pk, x=0.2 + n / 5, y=0.3)
    make_zone(site, name="Yard")
    return make_visit(
        site,
        state="under_way",
        by=make_office(),
        technician=make_technician(),
        due_on=timezone.now().date(),
        kind="routine",
    )


def plan_picture() -> bytes:
    picture = Image.new("RGB", (800, 600), "white")
    pen = ImageDraw.Draw(picture)
    for room in ([80, 120, 400, 480], [400, 120, 700, 480]):
        pen.rectangle(room, outline="black", width=3)
    data = BytesIO()
    picture.save(data, "PNG")
    return data.getvalue()


@pytest.fixture
def phone(new_phone: NewPhone, visit: Visit) -> PhoneInHand:
    """In the cellar of the kitchen, with the walk open."""
    found = new_phone(visit.technician)
    on_walk(found, visit)
    found.offline()
    return found


@pytest.fixture
def sheet(phone: PhoneInHand) -> Locator:
    """The sheet of a finding at the first checkpoint, where harbourage was found."""
    return open_sheet(phone.page)


def on_walk(phone: PhoneInHand, visit: Visit) -> Page:
    page = phone.open("walk", visit)
    expect(page.locator("#coverage-words")).to_contain_text("of 8")
    # The plan is fetched after the day is drawn.
    until(lambda: phone.kept("plans"))
    page.locator(".zone:not([open]) > summary").tap()
    return page


def open_sheet(page: Page, number: int = 0) -> Locator:
    page.locator(".check [data-part=find]:visible").nth(number).tap()
    sheet = page.locator("#finding")
    expect(sheet).to_be_visible()
    sheet.locator("input[value=harbourage]").tap()
    return sheet


def take(sheet: Locator, *pictures: bytes) -> None:
    """One from the camera, several from the gallery."""
    one = sheet.locator("#finding-photo" if len(pictures) == 1 else "#finding-gallery")
    one.set_input_files([file(picture) for picture in pictures])


def save(sheet: Locator) -> None:
    sheet.get_by_role("button", name="Save the finding").tap()
    expect(sheet).to_be_hidden()


def photos_of(finding: Finding) -> list[str]:
    """The hashes of its photos, in their order, as they were sent."""
    return [one.photo.given_sha256 for one in finding.shown_by.order_by("position")]


def named(phone: PhoneInHand) -> list[str]:
    """The photos that the last operation names."""
    found: list[str] = phone.log()[-1]["body"]["photos"]
    return found


# --- photos ---------------------------------------------------------------------------------------


def test_photos_taken_without_a_signal_reach_their_finding_in_their_order(phone, sheet, visit):
    take(sheet, jpeg())
    expect(sheet.locator("[data-part=photo-words]")).to_have_text("Kept on this phone.")
    take(sheet, jpeg(), jpeg())
    expect(sheet.locator("[data-part=photo-words]")).to_have_text("2 photos kept on this phone.")
    expect(sheet.locator(".photo-kept [data-part=name]")).to_have_text(
        ["Photo 1 of 3", "Photo 2 of 3", "Photo 3 of 3"]
    )
    expect(sheet.locator(".photo-kept img:visible")).to_have_count(3)
    save(sheet)
    phone.says("1 not sent yet, 3 photos waiting")

    phone.online()

    phone.says("Sent")
    assert photos_of(Finding.objects.get()) == named(phone)
    for photo in Photo.objects.all():
        assert photo.taken_at
        assert abs(timezone.now() - photo.taken_at) < timedelta(minutes=1)
    assert phone.kept("photos") == []
    assert_server_has_all_of(phone.log())
    assert_record_is_the_log(phone, visit)


def test_a_photo_is_sent_only_once_a_record_names_it(phone, sheet):
    take(sheet, jpeg())
    expect(sheet.locator(".photo-kept")).to_have_count(1)
    phone.online()
    phone.says("Nothing waits to be sent")
    assert not Photo.objects.exists()

    save(sheet)

    phone.says("Sent")
    assert Photo.objects.count() == 1


def test_a_photo_that_is_left_out_can_be_put_back_until_the_sheet_is_left(phone, sheet):
    take(sheet, jpeg(), jpeg())
    expect(sheet.locator(".photo-kept")).to_have_count(2)
    first = sheet.locator(".photo-kept").first.get_attribute("data-sha256")

    sheet.get_by_role("button", name="Leave it out (photo 1)").tap()
    expect(sheet.locator(".photo-kept")).to_have_count(1)
    sheet.get_by_role("button", name="Put it back").tap()
    expect(sheet.locator(".photo-kept")).to_have_count(2)
    assert sheet.locator(".photo-kept").first.get_attribute("data-sha256") == first
    sheet.get_by_role("button", name="Leave it out (photo 1)").tap()
    phone.page.go_back()

    until(lambda: len(phone.kept("photos")) == 1)
    open_sheet(phone.page)
    expect(sheet.locator(".photo-kept")).to_have_count(1)
    save(sheet)
    assert named(phone) == [phone.kept("photos")[0]["sha256"]] != [first]


def test_a_photo_that_another_finding_names_stays_when_it_is_left_out_here(phone, sheet):
    both = jpeg()
    take(sheet, both)
    expect(sheet.locator(".photo-kept")).to_have_count(1)
    save(sheet)
    open_sheet(phone.page, 1)
    take(sheet, both)
    expect(sheet.locator(".photo-kept")).to_have_count(1)

    sheet.get_by_role("button", name="Leave it out (photo 1)").tap()
    phone.page.go_back()
    expect(sheet).to_be_hidden()
    phone.online()

    phone.says("Sent")
    assert photos_of(Finding.objects.get()) == named(phone)


def test_a_picture_that_the_phone_cannot_read_is_kept_as_it_is_and_what_the_server_says_is_said(
    phone, sheet
):
    data = b"\x00\x00\x00\x18ftypheic" + b"no browser here reads this" * 20
    sheet.locator("#finding-gallery").set_input_files(file(data, "a.heic", "image/heic"))
    expect(sheet.locator("[data-part=photo-words]")).to_contain_text("kept as it came")
    assert phone.kept("photos")[0]["sha256"] == sha256(data).hexdigest()
    expect(sheet.locator(".photo-kept")).to_contain_text("this phone cannot show it")
    expect(sheet.get_by_role("button", name="Draw on it")).to_be_hidden()
    save(sheet)

    phone.online()

    phone.says("Sent")
    phone.page.locator(".check [data-part=find]:visible").first.tap()
    expect(sheet.locator(".photo-kept")).to_contain_text("The server cannot read this one")
    assert len(phone.kept("photos")) == 1


def test_more_photos_than_a_finding_takes_are_said_not_dropped_in_silence(phone, sheet):
    take(sheet, *(jpeg() for _ in range(14)))

    words = sheet.locator("[data-part=photo-words]")
    expect(words).to_contain_text("12 photos kept on this phone.")
    expect(words).to_contain_text("A finding takes at most 12 photos.")
    expect(sheet.locator(".photo-kept")).to_have_count(12)


def test_a_finding_that_is_saved_while_photos_are_being_kept_names_them_all(phone, sheet):
    take(sheet, *(jpeg(1200, 900, grain=True) for _ in range(4)))
    save(sheet)

    assert len(named(phone)) == len(phone.kept("photos")) == len(phone.kept("sending")) == 4


def test_photos_and_words_are_there_again_after_the_page_was_closed(phone, sheet, visit):
    take(sheet, jpeg(), jpeg())
    sheet.locator("#finding-note").fill("Droppings behind the oven")
    expect(sheet.locator(".photo-kept")).to_have_count(2)
    phone.page.wait_for_timeout(500)  # longer than the page waits before it keeps a draft
    phone.page.close()
    phone.page = phone.context.new_page()
    phone.open("walk", visit)

    phone.page.locator(".check [data-part=find]:visible").first.tap()

    sheet = phone.page.locator("#finding")
    expect(sheet.locator("#finding-note")).to_have_value("Droppings behind the oven")
    expect(sheet.locator(".photo-kept img:visible")).to_have_count(2)


def test_what_was_typed_last_is_kept_for_its_own_finding_however_quickly_one_moves_on(phone, sheet):
    sheet.locator("#finding-note").fill("Behind the oven")
    phone.page.go_back()
    open_sheet(phone.page, 1)
    expect(sheet.locator("#finding-note")).to_have_value("")
    phone.page.wait_for_timeout(500)  # longer than the page waits before it keeps a draft
    phone.page.go_back()

    open_sheet(phone.page, 0)

    expect(sheet.locator("#finding-note")).to_have_value("Behind the oven")


def test_sixty_photos_of_one_visit_arrive_each_once_and_are_counted_down(phone, visit):
    page = phone.page
    for number in range(5):
        sheet = open_sheet(page, number)
        take(sheet, *(jpeg() for _ in range(12)))
        expect(sheet.locator("[data-part=photo-words]")).to_contain_text(
            "12 photos kept", timeout=30_000
        )
        save(sheet)
    phone.says("5 not sent yet, 60 photos waiting")
    seen: list[str] = []
    page.expose_function("saying", lambda words: seen.append(words))
    page.evaluate(
        """() => new MutationObserver(([{ target }]) => saying(target.textContent))
          .observe(document.querySelector("#saved"), { childList: true })"""
    )

    phone.online()

    expect(page.locator("#saved")).to_contain_text("Sent", timeout=90_000)
    assert any("58 photos waiting" in words for words in seen)
    assert any("1 photo waiting" in words for words in seen)
    findings = Finding.objects.order_by("at")
    sent = [op["body"]["photos"] for op in phone.log() if op["kind"] == "finding.set"]
    assert [photos_of(one) for one in findings] == sent
    assert Photo.objects.count() == len({one for some in sent for one in some}) == 60
    assert (phone.kept("photos"), phone.kept("sending")) == ([], [])
    assert_server_has_all_of(phone.log())
    assert_record_is_the_log(phone, visit)


def test_an_upload_that_is_cut_goes_on_where_the_server_has_it(phone, sheet):
    take(sheet, jpeg(1200, 900, grain=True))
    expect(sheet.locator(".photo-kept img:visible")).to_have_count(1)
    save(sheet)
    (kept,) = phone.kept("photos")
    assert kept["size"] > 3 * 128 * 1024  # so that there are pieces to lose
    sent: list[str] = []

    def cut_the_second(route: Route) -> None:
        if route.request.method != "PUT":
            route.continue_()
            return
        sent.append(route.request.headers["content-range"])
        if len(sent) == 2:
            route.abort()
        else:
            route.continue_()

    phone.page.route("**/photos/*/", cut_the_second)
    phone.online()

    phone.says("Sent")
    assert Finding.objects.get().shown_by.count() == 1
    ranges = [one.removeprefix("bytes ").split("/")[0].split("-") for one in sent]
    begins = [int(first) for first, _ in ranges]
    assert begins[1] == begins[2] > 0, "the piece that was cut is sent again, and none before it"
    assert begins == sorted(begins)
    bytes_sent = sum(int(last) - int(first) + 1 for first, last in ranges)
    assert bytes_sent == kept["size"] + 128 * 1024


def test_a_server_without_room_today_turns_no_photo_away_for_good(phone, sheet):
    take(sheet, jpeg())
    save(sheet)
    (kept,) = named(phone)
    open_sheet(phone.page, 1)
    take(sheet, jpeg())
    save(sheet)
    no = {"code": "no_room", "message": "You have sent 500 MB of files within a day.", "facts": {}}
    phone.page.route(f"**/photos/{kept}/", lambda route: route.fulfill(status=413, json=no))

    phone.online()

    phone.says("1 photo waiting (You have sent 500 MB")
    assert Photo.objects.count() == 1, "the other one does not wait for it"
    assert [one.get("refused") for one in phone.kept("sending")] == [None]
    phone.page.unroute(f"**/photos/{kept}/")
    phone.says("Sent")
    assert Photo.objects.count() == 2


def test_what_nothing_names_any_more_goes_in_time_and_what_a_record_names_stays(phone, sheet):
    """A page that dies between two steps leaves a photo behind, which nobody would ever send."""
    take(sheet, jpeg())
    save(sheet)
    open_sheet(phone.page, 1)
    take(sheet, jpeg())
    expect(sheet.locator(".photo-kept")).to_have_count(1)
    by_record, by_draft = (
        named(phone)[0],
        sheet.locator(".photo-kept").get_attribute("data-sha256"),
    )

    left = phone.page.evaluate(LEFT_BEHIND)

    assert left == {
        "at once": sorted([by_record, by_draft, "new", "old"]),
        "later": sorted([by_record, by_draft, "new"]),
    }


# Two photos that lost their draft, one just now and one long ago; then the phone tidies up.
LEFT_BEHIND = """async () => {
  const store = await import("/static/js/phone/store.js");
  const person = /who=([^;]+)/.exec(document.cookie)[1];
  const keys = async () => (await Promise.all((await shas()).map(store.photo)))
    .filter(Boolean).map(one => one.sha256).sort();
  const shas = () => new Promise(done => {
    const asked = indexedDB.open("kickplate");
    asked.onsuccess = () => {
      const found = asked.result.transaction("photos").objectStore("photos").getAllKeys();
      found.onsuccess = () => { asked.result.close(); done(found.result); };
    };
  });
  for (const [sha256, kept_at] of [["old", "2020-01-01"], ["new", new Date().toISOString()]]) {
    await store.keepPhoto({ sha256, blob: new Blob(["x"]), taken_at: "", kept_at }, sha256, {});
    await store.forgetDraft(sha256);
  }
  const found = { "at once": await keys() };
  await store.tidy(person, new Date(Date.now() - 8 * 86400e3).toISOString());
  return { ...found, later: await keys() };
}"""


def test_a_full_phone_says_so_and_keeps_all_that_was_typed(new_phone, visit):
    phone = new_phone(visit.technician, ready=False)
    devtools = phone.context.new_cdp_session(phone.page)
    devtools.send("Storage.overrideQuotaForOrigin", {"origin": phone.url, "quotaSize": 5_000_000})
    phone.get_ready()
    page = on_walk(phone, visit)
    phone.offline()
    sheet = open_sheet(page)
    take(sheet, jpeg())
    expect(sheet.locator("[data-part=photo-words]")).to_contain_text("Kept on this phone.")
    sheet.locator("#finding-note").fill("Rub marks along the pipe")

    take(sheet, *(jpeg(1600, 1200, grain=True) for _ in range(4)))

    expect(sheet.locator("[data-part=photo-words]")).to_contain_text(
        "This phone is full: not every photo was kept."
    )
    there = phone.kept("photos")
    expect(sheet.locator(".photo-kept")).to_have_count(len(there))
    expect(sheet.locator("#finding-note")).to_have_value("Rub marks along the pipe")
    save(sheet)
    phone.online()
    phone.says("Sent")
    finding = Finding.objects.get()
    assert finding.note == "Rub marks along the pipe"
    assert finding.awaits == []
    assert set(photos_of(finding)) == {one["sha256"] for one in there}


def test_little_room_is_said_in_the_sheet_before_it_is_none(phone, sheet):
    phone.page.evaluate(
        "navigator.storage.estimate = async () => ({ quota: 100e6, usage: 60e6 })",
    )

    take(sheet, jpeg())

    expect(sheet.locator("[data-part=photo-words]")).to_contain_text("room for about 100 more")


# --- a mark ---------------------------------------------------------------------------------------


@pytest.fixture
def mark(phone: PhoneInHand, sheet: Locator) -> Locator:
    """A photo, open to be drawn on."""
    take(sheet, jpeg(800, 600))
    sheet.get_by_role("button", name="Draw on it (photo 1)").tap()
    found = phone.page.locator("#mark")
    expect(found).to_be_visible()
    expect(found).not_to_have_class(re.compile("is-moving"))  # a bounced press does nothing
    return found


def middle_of(place: Locator) -> tuple[float, float]:
    box = place.bounding_box()
    assert box
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def shot(sheet: Locator) -> str:
    found = sheet.locator(".photo-kept").first.get_attribute("data-sha256")
    assert found
    return found


def brick_in(photo: Photo) -> tuple[float, float]:
    """The middle of all that is of the mark's colour, as shares of the picture."""
    picture = Image.open(photo.image).convert("RGB")
    spots = [
        (x, y)
        for x in range(0, picture.width, 4)
        for y in range(0, picture.height, 4)
        if max(
            abs(a - b) for a, b in zip(picture.getpixel((x, y)), (0x9C, 0x2F, 0x22), strict=True)
        )
        < 40
    ]
    assert spots, "there is no mark on it"
    xs, ys = zip(*spots, strict=True)
    return (
        (min(xs) + max(xs)) / 2 / picture.width,
        (min(ys) + max(ys)) / 2 / picture.height,
    )


def test_a_line_drawn_with_a_finger_is_part_of_the_photo_that_arrives(phone, sheet, mark):
    plain = shot(sheet)
    x, y = middle_of(mark.locator("canvas"))
    phone.page.mouse.move(x - 60, y)
    phone.page.mouse.down()
    phone.page.mouse.move(x + 60, y, steps=6)
    phone.page.mouse.up()
    expect(mark.locator("[data-part=marks]")).to_have_text("1 mark on it")

    mark.get_by_role("button", name="Keep the mark").tap()

    expect(mark).to_be_hidden()
    expect(sheet.get_by_role("img", name="Photo 1, with a mark")).to_be_visible()
    marked = shot(sheet)
    assert marked != plain
    save(sheet)
    assert named(phone) == [marked]
    assert [one["sha256"] for one in phone.kept("photos")] == [marked]
    phone.online()
    phone.says("Sent")
    assert photos_of(Finding.objects.get()) == [marked]
    photo = Photo.objects.get()
    assert (photo.width, photo.height) == (800, 600)
    assert brick_in(photo) == (pytest.approx(0.5, abs=0.02), pytest.approx(0.5, abs=0.02))


def test_a_ring_needs_one_tap_and_no_drag(phone, sheet, mark):
    canvas = mark.locator("canvas")
    box = canvas.bounding_box()
    assert box
    canvas.tap(position={"x": box["width"] * 0.25, "y": box["height"] * 0.75})
    mark.get_by_role("button", name="Keep the mark").tap()
    save(sheet)

    phone.online()

    phone.says("Sent")
    place = brick_in(Photo.objects.get())
    assert place == (pytest.approx(0.25, abs=0.03), pytest.approx(0.75, abs=0.03))


def test_a_ring_is_put_by_arrow_keys_where_the_cross_is(phone, sheet, mark):
    cross = mark.get_by_role("slider")
    cross.focus()
    for _ in range(2):
        phone.page.keyboard.press("Shift+ArrowRight")
    phone.page.keyboard.press("ArrowUp")
    expect(cross).to_have_attribute("aria-valuetext", "70 % across, 49 % down")
    phone.page.keyboard.press("Enter")
    mark.get_by_role("button", name="Keep the mark").press("Enter")
    save(sheet)

    phone.online()

    phone.says("Sent")
    place = brick_in(Photo.objects.get())
    assert place == (pytest.approx(0.7, abs=0.02), pytest.approx(0.49, abs=0.02))


def test_marks_are_taken_back_one_by_one_and_none_is_no_mark(sheet, mark):
    plain = shot(sheet)
    for _ in range(2):
        mark.get_by_role("button", name="Ring at the cross").tap()
    expect(mark.locator("[data-part=marks]")).to_have_text("2 marks on it")
    for words in ("1 mark on it", "Nothing is drawn yet"):
        mark.get_by_role("button", name="Undo").tap()
        expect(mark.locator("[data-part=marks]")).to_have_text(words)

    mark.get_by_role("button", name="Keep the mark").tap()

    expect(mark.locator("[data-part=faults]")).to_contain_text("Draw something first")
    mark.get_by_role("button", name="The finding").tap()
    expect(mark).to_be_hidden()
    expect(sheet).to_be_visible()
    assert shot(sheet) == plain


def test_a_mark_comes_off_while_the_sheet_is_open(phone, sheet, mark):
    plain = shot(sheet)
    mark.get_by_role("button", name="Ring at the cross").tap()
    mark.get_by_role("button", name="Keep the mark").tap()
    expect(sheet.get_by_role("img", name="Photo 1, with a mark")).to_be_visible()

    sheet.get_by_role("button", name="Take the mark off (photo 1)").tap()

    expect(sheet.get_by_role("img", name="Photo 1", exact=True)).to_be_visible()
    save(sheet)
    assert named(phone) == [plain]
    assert [one["sha256"] for one in phone.kept("photos")] == [plain]


# --- the plan -------------------------------------------------------------------------------------


def unfold(sheet: Locator) -> Locator:
    sheet.get_by_text("Place on the plan").tap()
    plan = sheet.locator("[data-part=plan]")
    expect(plan).to_be_visible()
    return plan


def test_a_tap_on_the_plan_is_the_place_on_record(phone, sheet, visit):
    plan = unfold(sheet)
    expect(plan.locator(".pin")).to_have_count(2)
    sheet.get_by_role("button", name="Further away").tap()
    box = plan.bounding_box()
    assert box
    plan.tap(position={"x": box["width"] * 0.4, "y": box["height"] * 0.6})
    expect(sheet.locator("[data-part=plan-words]")).to_contain_text("40 % across, 60 % down")
    plan.tap(position={"x": box["width"] * 0.3, "y": box["height"] * 0.7})
    save(sheet)

    phone.online()

    phone.says("Sent")
    finding = Finding.objects.get()
    assert (finding.x, finding.y) == (pytest.approx(0.3, abs=0.01), pytest.approx(0.7, abs=0.01))
    assert_record_is_the_log(phone, visit)


def test_arrow_keys_move_the_pin_and_say_where_it_is(phone, sheet, visit):
    unfold(sheet)
    sheet.get_by_role("button", name="Mark the middle").press("Enter")
    pin = sheet.get_by_role("slider", name="Place of the finding")
    expect(pin).to_be_focused()
    expect(pin).to_have_attribute("aria-valuetext", "30 % across, 50 % down")

    phone.page.keyboard.press("Shift+ArrowRight")
    phone.page.keyboard.press("ArrowDown")

    expect(pin).to_have_attribute("aria-valuetext", "40 % across, 51 % down")
    save(sheet)
    phone.online()
    phone.says("Sent")
    finding = Finding.objects.get()
    assert (finding.x, finding.y) == (0.4, 0.51)


def test_another_phone_shows_the_pin_and_can_take_it_off(phone, sheet, visit, new_phone):
    unfold(sheet)
    sheet.get_by_role("button", name="Mark the middle").tap()
    save(sheet)
    phone.online()
    phone.says("Sent")
    other = new_phone(visit.technician)
    page = on_walk(other, visit)
    page.locator(".check [data-part=find]:visible").first.tap()
    sheet = page.locator("#finding")
    unfold(sheet)
    pin = sheet.get_by_role("slider", name="Place of the finding")
    expect(pin).to_have_attribute("aria-valuetext", "30 % across, 50 % down")

    sheet.get_by_role("button", name="Take it off the plan").tap()

    expect(pin).to_be_hidden()
    save(sheet)
    until(lambda: Operation.objects.count() == 2)
    finding = Finding.objects.get()
    assert (finding.x, finding.y) == (None, None)


def test_a_plan_is_looked_at_more_closely_by_buttons(sheet):
    plan = unfold(sheet)
    widths = [plan.bounding_box()["width"]]
    for _ in range(2):
        sheet.get_by_role("button", name="Closer").tap()
        widths.append(plan.bounding_box()["width"])
    for _ in range(3):
        sheet.get_by_role("button", name="Further away").tap()
        widths.append(plan.bounding_box()["width"])

    assert [round(one / widths[-1]) for one in widths] == [2, 4, 4, 2, 1, 1]


def test_a_zone_without_a_plan_asks_for_no_place(phone, sheet):
    expect(sheet.get_by_text("Place on the plan")).to_be_visible()
    phone.page.go_back()
    expect(sheet).to_be_hidden()

    phone.page.locator(".zone").nth(1).get_by_role("button", name="Finding here").tap()

    expect(sheet).to_be_visible()
    phone.page.wait_for_timeout(300)  # as long as a plan would take
    expect(sheet.get_by_text("Place on the plan")).to_be_hidden()
    sheet.locator("input[value=harbourage]").tap()
    save(sheet)
    body = phone.log()[-1]["body"]
    assert (body["checkpoint"], body["x"], body["y"]) == (None, None, None)


# --- the sheet as a whole -------------------------------------------------------------------------


def test_a_finding_with_a_photo_and_a_remedy_takes_six_taps(phone):
    page, taps = phone.page, []

    def tap(place: Locator) -> None:
        place.tap()
        taps.append(place)

    sheet = page.locator("#finding")
    tap(page.locator(".check [data-part=find]:visible").first)
    tap(sheet.locator("input[value=entry_point]"))
    taps.append("Take a photo")
    take(sheet, jpeg())
    tap(sheet.locator("input[value=proofing]"))
    tap(sheet.locator(".suggestion").first)
    tap(sheet.get_by_role("button", name="Save the finding"))
    expect(sheet).to_be_hidden()

    assert len(taps) == 6
    body = phone.log()[-1]["body"]
    assert body["remedy"]
    assert body["whose_move"]
    assert len(body["photos"]) == 1


@pytest.mark.parametrize("width", [390, 320])
def test_the_sheet_reads_fits_and_is_made_for_a_gloved_thumb(phone, sheet, width):
    page = phone.page
    page.set_viewport_size({"width": width, "height": 700})
    take(sheet, jpeg(800, 600), jpeg(600, 800))
    expect(sheet.locator(".photo-kept img:visible")).to_have_count(2)
    sheet.get_by_role("button", name="Leave it out (photo 2)").tap()
    unfold(sheet)
    sheet.get_by_role("button", name="Mark the middle").tap()
    assert faults_of_page(page) == []
    assert low_targets(page, "#finding") == []
    assert nameless(page) == []
    assert sheet.evaluate("sheet => sheet.scrollWidth") <= width

    sheet.get_by_role("button", name="Draw on it (photo 1)").tap()

    mark = page.locator("#mark")
    mark.get_by_role("button", name="Ring at the cross").tap()
    assert faults_of_page(page) == []
    assert low_targets(page, "#mark") == []
    assert mark.evaluate("sheet => sheet.scrollWidth") <= width
    # Step by step back: the phone's own way from the mark to the finding, and on to the walk.
    page.go_back()
    expect(mark).to_be_hidden()
    expect(sheet).to_be_visible()
    page.go_back()
    expect(sheet).to_be_hidden()
    expect(page.locator("#coverage-words")).to_be_visible()
