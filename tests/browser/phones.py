"""A phone in Chromium: signed in, with the service worker in control, and its log read back."""

import time
from collections.abc import Callable
from typing import Any

from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page, Route, expect

from accounts.models import User
from visits.models import Operation, Visit

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
