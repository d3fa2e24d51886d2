"""The world of browser tests, and the phones in it."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from accounts.models import User
from tests.browser.phones import PhoneInHand
from tests.builders.accounts import make_office
from tests.builders.visits import make_competence_kind, make_product
from tests.builders.world import World, make_world

HERE = Path(__file__).parent

# Several browsers at once make a machine slow now and then; nothing waits longer than it must.
expect.set_options(timeout=20_000)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let what drives a browser try once more; the summary counts each rerun, as one to mend."""
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.flaky(reruns=1))


@pytest.fixture
def world(db: None) -> World:
    """One client with one of everything, and somebody of the office who may do anything."""
    office = make_office(is_administrator=True, name="Office Person")
    made = make_world(
        "Amberley", office=office, kind=make_competence_kind(), product=make_product(by=office)
    )
    made.people["office"] = office
    return made


@pytest.fixture
def new_phone(browser: Browser, live_server: Any) -> Iterator[Callable[..., PhoneInHand]]:
    """Hands out phones: ``new_phone(person)`` is signed in and ready to go into a cellar."""
    phones: list[PhoneInHand] = []

    def make(person: User, *, ready: bool = True, **more: Any) -> PhoneInHand:
        phone = PhoneInHand(browser, live_server, **more)
        phones.append(phone)
        phone.sign_in(person)
        if ready:
            phone.get_ready()
        return phone

    yield make
    for phone in phones:
        phone.close()
