"""A phone in Chromium: signed in, with the service worker in control, and its log read back."""

import time
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, Route, expect

from accounts.models import User
from visits.models import Operation, Visit
from visits.queries.package import package_of

SOON = 10_000  # as long as the page may take to try again, in milliseconds

READ_STORE = """async name => {
  const opened = await new Promise((done, fail) => {
    const asked = indexedDB.open("kickplate");
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
  const found = await new Promise(done => {
    const asked = opened.transaction(name).objectStore(name).getAll();
    asked.onsuccess = () => done(asked.result);
  });
  opened.close();
  return found.map(({blob, ...one}) => blob ? {...one, size: blob.size} : one);
}"""


class PhoneInHand:
    """One person's phone: its own cookies, store and worker."""

    def __init__(self, browser: Browser, live_server: Any, **more: Any) -> None:
        self.url = live_server.url
        self.context = browser.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, **more
        )
        self.context.set_default_timeout(SOON)
        self.page = self.context.new_page()

    def sign_in(self, person: User) -> None:
        """As if by the form: the session's cookie, and the page's next look finds out who."""
        session = Client()
        session.force_login(person)
        value = session.cookies["sid"].value
        self.context.add_cookies([{"name": "sid", "value": value, "url": self.url}])

    def open(self, name: str, visit: Visit | None = None, *, page: Page | None = None) -> Page:
        """A page of the phone by the name of its address."""
        page = page or self.page
        page.goto(self.url + reverse(f"visits:{name}", args=[visit.pk] if visit else []))
        return page

    def get_ready(self) -> Page:
        """Open the day once where there is a line: the worker, the package and plans are kept."""
        self.open("my_day")
        until(lambda: self.page.evaluate("Boolean(navigator.serviceWorker.controller)"))
        until(lambda: self.kept("visits"))
        expect(self.page.locator("#saved")).to_contain_text("Nothing waits")
        return self.page

    def offline(self) -> None:
        self.context.set_offline(True)

    def online(self) -> None:
        self.context.set_offline(False)

    def kept(self, store: str) -> list[dict[str, Any]]:
        """What lies in one of the phone's stores, blobs by their size."""
        found: list[dict[str, Any]] = self.page.evaluate(READ_STORE, store)
        return found

    def log(self) -> list[dict[str, Any]]:
        """Every operation on the phone, in the order in which it was made."""
        return self.kept("operations")

    def says(self, words: str, *, page: Page | None = None) -> None:
        """What the line at the bottom says, soon."""
        expect((page or self.page).locator("#saved")).to_contain_text(words, timeout=SOON)

    def close(self) -> None:
        self.context.close()


def until(holds: Callable[[], Any], seconds: float = 20) -> None:
    """Wait until something holds. The page's policy forbids Playwright's own way of asking."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.05)


def answered(page: Page, answer: Callable[[Route], None]) -> None:
    """Let something else answer what the page sends to the sync endpoint."""
    page.route(
        "**/visits/sync/",
        lambda route: answer(route) if route.request.method == "POST" else route.continue_(),
    )


def assert_server_has_all_of(log: list[dict[str, Any]]) -> None:
    """The server's receipts equal the log: each operation once, with its content, in its order."""
    rows = Operation.objects.filter(device__in={op["device"] for op in log})
    received = {
        str(row.pk): (row.device, row.seq, row.kind, row.body, str(row.visit_named)) for row in rows
    }
    assert received == {
        op["id"]: (op["device"], op["seq"], op["kind"], op["body"], op["visit"]) for op in log
    }
    assert len({(row.device, row.seq) for row in rows}) == len(log)
    verdicts = {str(row.pk): row.verdict for row in rows}
    assert verdicts == {op["id"]: op["answer"]["verdict"] for op in log}


# --- the record against the log -------------------------------------------------------------------

# What the log alone says of a visit, by the phone's own rules.
SAID = """async ({ rules, log }) => {
  const { withLog } = await import(rules);
  const nothing = { started_at: null, contact: {} };
  for (const sort of ["looks", "readings", "findings", "not_reached", "treatments"]) {
    nothing[sort] = {};
  }
  return withLog(nothing, -1, log);
}"""


def assert_record_is_the_log(phone: PhoneInHand, visit: Visit) -> None:
    """The record says of the visit what the phone's log says of it, word for word.

    For a visit that was recorded by this phone alone, from its first place on.
    """
    log = [op for op in phone.log() if op["visit"] == str(visit.pk)]
    said = phone.page.evaluate(SAID, {"rules": "/static/js/phone/rules.js", "log": log})
    assert visit.technician
    package = package_of(visit.technician, now=timezone.now(), visit_id=visit.pk)
    [record] = [one["said"] for one in package["visits"]]
    for sort in ("looks", "readings", "findings", "not_reached", "treatments"):
        assert said[sort].keys() == record[sort].keys()
        for key, word in record[sort].items():
            own = said[sort][key]
            # The record dates a treatment by when it was applied, the log by the tap.
            names = word.keys() & own.keys() - ({"at"} if sort == "treatments" else set())
            assert {name: _plain(word[name]) for name in names} == {
                name: _plain(own[name]) for name in names
            }
    for name, value in record["contact"].items():
        assert (value or None) == (said["contact"].get(name) or None), name


def _plain(value: Any) -> Any:
    """The same instant or figure, however it is written."""
    for read in (datetime.fromisoformat, Decimal) if isinstance(value, str) else ():
        try:
            return read(value)
        except (ValueError, ArithmeticError):
            continue
    return value


# --- how a page reads and feels -------------------------------------------------------------------

RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
}

# What can be pressed and is lower than 48 pixels; links within sentences are no targets of a thumb.
LOW_TARGETS = """within => [...document.querySelector(within).querySelectorAll(
  `button, a.button, summary, select, textarea, label.tap, label.choice,
   input:not([type=checkbox], [type=radio], [type=file])`
)].filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 47.9)
  .map(one => `${one.textContent.trim() || one.name}: ${one.getBoundingClientRect().height}`)"""

NAMELESS = """() => [...document.querySelectorAll(
  "button, a[href], input, select, textarea, summary"
)].filter(one => one.checkVisibility() && !one.textContent.trim() && !one.labels?.length
    && !one.ariaLabel && !one.hasAttribute("aria-labelledby") && !one.querySelector("[aria-label]"))
  .map(one => one.outerHTML.slice(0, 120))"""


# A bar that sticks covers what lies under it at the moment, which is no fault of what is covered.
STICKS = """sticks => document.querySelectorAll(".bottom-bar, .sheet-bar, .walk-coverage")
  .forEach(one => one.style.position = sticks ? "" : "static")"""


def faults_of_page(page: Page) -> list[str]:
    """What axe finds wrong, and what runs over the edge of the screen."""
    page.evaluate(STICKS, False)
    found = [
        f"{one['id']}: {one['nodes'][0]['html'][:160]}"
        for one in Axe().run(page, options=RULES).response["violations"]
    ]
    page.evaluate(STICKS, True)
    wide, room = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    return found + ([f"{wide} pixels wide where there is room for {room}"] if wide > room else [])


def low_targets(page: Page, within: str = "body") -> list[str]:
    """What is too low for a gloved thumb."""
    found: list[str] = page.evaluate(LOW_TARGETS, within)
    return found


def nameless(page: Page) -> list[str]:
    """Controls that a screen reader has no name for."""
    found: list[str] = page.evaluate(NAMELESS)
    return found


def sign(page: Page, pad: Locator) -> None:
    """Draw a name on a signature pad, in two strokes."""
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box
    for stroke in ([(0.1, 0.6), (0.3, 0.2), (0.4, 0.8), (0.6, 0.3)], [(0.65, 0.7), (0.9, 0.4)]):
        first, *rest = (
            (box["x"] + x * box["width"], box["y"] + y * box["height"]) for x, y in stroke
        )
        page.mouse.move(*first)
        page.mouse.down()
        for point in rest:
            page.mouse.move(*point, steps=5)
        page.mouse.up()
