"""Who gets through which door: every address, as everybody, at one's own and at a stranger's.

``tests/doors.py`` is the table. A page or operation that is not in it fails the first test here, so
that nothing is opened without somebody having said to whom.
"""

import re
from collections.abc import Callable, Iterable
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from tests.builders.accounts import make_office
from tests.builders.visits import make_competence_kind, make_product
from tests.builders.world import World, make_world
from tests.doors import DOORS
from tests.gate import METHODS, ROLES, STRANGERS, Caller, Route, address, body_of, plain, routes

pytestmark = [
    pytest.mark.django_db,
]

OWN, OTHER = "Amberley", "Quillback"
# What is on a site of the other client, in the words of its names: not the office's of a branch
# that the site does not belong to, although the client and its people are.
OF_THE_SITE = [f"{OTHER} {thing}" for thing in ("Grand", "kitchen", "gap", "inspection", "oven")]
# Opened to the office whatever its branch: clients, people and what belongs to them.
KNOWN_TO_ALL_OFFICE = (
    "accounts:",
    "api-clients",
    "api-competences",
    "api-imports",
    "api-people",
    "compliance:remedy",
    "sites:client",
    "visits:carried",
    "visits:leave",
    "sites:import",
    "sites:manager_sites",
)
# The library's pages for signing in, and the front door, take any method for a question.
NOT_OURS = ("account_", "mfa_", "usersessions_", "home")
# What shows figures that are learned from all like zones of the company together.
JUDGED_TOGETHER = {
    "compliance:site_trends",
    "compliance:site_trends_csv",
    "compliance:place_trend",
    "compliance:zone_trend",
    "compliance:trend_plan",
    "compliance:trend_review_new",
    "api-trends-list",
    "api-alarms-list",
    "api-alarms-detail",
    "visits:visit",
}
# Done to nobody but the one who asks, whatever the address names.
HARMLESS = {"accounts:token_end", "visits:photo", "visits:photo_part"}


@pytest.fixture
def office() -> Any:
    return make_office(is_administrator=True, name="The office")


@pytest.fixture
def build(office) -> Callable[[str], World]:
    """Builds clients of the same shape, with what all clients share."""
    shared = {"kind": make_competence_kind(), "product": make_product(by=office)}
    return lambda word: make_world(word, office=office, **shared)


@pytest.fixture
def own(build) -> World:
    return build(OWN)


@pytest.fixture
def other(build, own) -> World:
    return build(OTHER)


def test_every_door_is_in_the_table():
    there = {route.name: route for route in routes()}

    assert sorted(there.keys() - DOORS.keys()) == [], "say in tests/doors.py who gets what here"
    assert sorted(DOORS.keys() - there.keys()) == [], "gone: take these out of tests/doors.py"
    for name, route in there.items():
        said = set(DOORS[name].answers)
        assert not route.methods or said == set(route.methods), name


def test_the_table_itself_lets_no_stranger_in_and_nothing_fail():
    for name, door in DOORS.items():
        for method in door.answers:
            own_answers = door.expected(method, stranger=False)
            assert len(own_answers) == 4, name
            assert name == "health-jobs" or max(own_answers) < 500, name
            met = door.expected(method, stranger=True)
            assert not met or name in HARMLESS or set(met[1:]) <= {403, 404}, (name, method)
            office_too = name.startswith(KNOWN_TO_ALL_OFFICE)
            assert not met or office_too or met[0] in {403, 404}, (name, method)


@pytest.mark.parametrize("role", ROLES)
def test_at_ones_own(role, office, own):
    caller = Caller({"office": office, **own.people}[role])
    column = ROLES.index(role)

    def expected(door, method):
        return door.expected(method, stranger=False)[column]

    assert differences(caller, own, expected) == []


@pytest.mark.parametrize("role", STRANGERS)
def test_at_a_strangers(role, own, other):
    caller = Caller(own.people[role])
    column = STRANGERS.index(role)

    def expected(door, method):
        met = door.expected(method, stranger=True)
        return met[column] if met else None

    assert differences(caller, other, expected) == []


def test_nobody_gets_past_the_front_door(own):
    caller = Caller(None)
    wrong = []
    for route, door, path in doors_of(own):
        for method in METHODS:
            if method not in door.answers:
                continue
            answer = caller.ask(method, path)
            usual = 401 if route.is_operation else 302
            if answer.status_code != door.anonymous.get(method, usual):
                wrong.append((method, route.name, answer.status_code))
            elif ":" in route.name and method not in door.anonymous:
                assert answer.url.startswith("/accounts/login/"), route.name
    assert wrong == []


def test_a_door_answers_only_to_what_the_table_names(office, own):
    caller = Caller(office)
    wrong = []
    for route, door, path in doors_of(own):
        for method in ("POST", "DELETE"):
            if method in door.answers or route.name.startswith(NOT_OURS):
                continue
            answer = caller.ask(method, path)
            if answer.status_code != 405:
                wrong.append((method, route.name, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
def test_nothing_reads_differently_because_another_client_exists(role, own, build):
    """Not only no name: no count, no page more, no gap in a number either.

    What is usual is learned from all like zones of the company together, whoever's they are, so
    that judged figures may be others; no word, line or count of lines is.
    """
    caller = Caller(own.people[role])
    # Papers say when they were made, so the clock stands still in between.
    with time_machine.travel(timezone.now(), tick=False):
        alone = pages_of(caller, own)
        other = build(OTHER)
        beside = pages_of(caller, own)

    assert told(beside, [OTHER, *other.identifiers()]) == []
    differ = [name for name in alone if alone[name] != beside[name]]
    assert [name for name in differ if name not in JUDGED_TOGETHER] == []
    assert [name for name in differ if no_figures(alone[name]) != no_figures(beside[name])] == []


def no_figures(text: str) -> str:
    """A page without its figures, and without a picture's lines, which are drawn from them."""
    return re.sub(
        r"-?\d+(?:[.,]\d+)*(?:e-?\d+)?", "0", re.sub(r' [a-z0-9]+="[-MVHhvlmz\d .]+"', "", text)
    )


def test_the_office_of_a_branch_reads_nothing_of_another_branchs_sites(own, other):
    pages = pages_of(Caller(own.people["branch"]), own)

    assert told(pages, OF_THE_SITE) == []


@pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
def test_what_is_the_offices_stays_in_the_office(role, own):
    """The note on a visit is also its technician's, and prices are also the client's."""
    notes = [f"{OWN} {thing} note" for thing in ("client", "site", "contract", "action")]
    visit_note = [] if role == "technician" else [f"{OWN} visit note"]
    prices = [] if role == "manager" else ["4800", "4,800", "95.00"]

    pages = pages_of(Caller(own.people[role]), own)

    assert told(pages, [*notes, *visit_note, *prices]) == []


def told(pages: dict[str, str], words: Iterable[str]) -> list[tuple[str, str]]:
    """Which pages hold which of these words."""
    return [(name, word) for name, text in pages.items() for word in words if word in text]


def doors_of(world: World) -> list[tuple[Route, Any, str]]:
    """Every route with its row of the table and its address at one client's records."""
    return [
        (route, DOORS[route.name], address(route, world, DOORS[route.name].at))
        for route in routes()
        if route.name in DOORS
    ]


def differences(caller: Caller, world: World, expected: Callable[..., int | None]) -> list[str]:
    """Where an answer is not what the table says."""
    found = []
    for route, door, path in doors_of(world):
        for method in door.answers:
            wanted = expected(door, method)
            if wanted is None:
                continue
            status = caller.ask(method, path).status_code
            if status != wanted:
                found.append(f"{method} {route.name}: {status}, the table says {wanted}")
    return found


def pages_of(caller: Caller, world: World) -> dict[str, str]:
    """Everything that a person can read, by the name of its door."""
    pages = {}
    for route, door, path in doors_of(world):
        if "GET" in door.answers and not route.name.startswith("health"):
            answer = caller.ask("GET", path)
            if answer.status_code == 200:
                pages[route.name] = plain(body_of(answer))
    return pages
