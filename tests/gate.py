"""How tests go round all doors: every address of the whole URLconf, as everybody, both ways."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from typing import Any

from django.db import transaction
from django.http import StreamingHttpResponse
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone
from django.utils.regex_helper import normalize

from accounts.models import User
from compliance.quarters import quarter_of
from tests.builders.world import World

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
ROLES = ("office", "technician", "manager", "auditor")
STRANGERS = ("branch", "technician", "manager", "auditor")

# Which record a part of an address names, unless the table says otherwise.
USUAL = {
    "action_id": "priced_action",
    "batch_id": "batch",
    "breach_id": "breach",
    "checkpoint_id": "checkpoint",
    "client_id": "client",
    "code": "label",
    "competence_id": "competence",
    "contact_id": "contact",
    "contract_id": "contract",
    "decision_id": "decision",
    "document_id": "document",
    "flag_id": "flag",
    "follow_up_id": "follow_up",
    "guide_line_id": "guide_line",
    "job_id": "import",
    "line_id": "line",
    "monitor_id": "monitor",
    "notice_id": "notice",
    "pack_id": "review_pack",
    "parked_id": "parked",
    "parked_photo_id": "parked_photo",
    "pass_id": "pass",
    "person_id": "newcomer",
    "photo_id": "photo",
    "plan_id": "plan",
    "product_id": "product",
    "remedy_id": "remedy",
    "review_id": "trend_review",
    "site_file_id": "site_file",
    "site_id": "site",
    "threshold_id": "threshold",
    "token_key": "token",
    "trap_sender_id": "trap_sender",
    "visit_id": "closed",
    "zone_id": "zone",
}
# Parts of addresses that name no record of a client.
FIXED = {
    "first_month": quarter_of(timezone.now().date()).key,
    "key": "MQ:1tA2bC:nothing",
    "month": "2020-01",
    "number": "1",
    "page": "walk",
    "pest_slug": "german-cockroach",
    "secret": "no-such-invitation",
    "sha256": "a" * 64,
    "sheet": "3x8",
    "slug": "german-cockroach",
    "uidb36": "1",
}


@dataclass(frozen=True, slots=True)
class Route:
    """One address: its name, its path with named gaps, and the methods of an operation."""

    name: str
    path: str
    gaps: tuple[str, ...]
    methods: tuple[str, ...] = ()

    @property
    def is_operation(self) -> bool:
        return self.name.startswith("api-")


@dataclass(frozen=True, slots=True)
class Door:
    """What the table says of one route.

    ``answers`` holds, for each method, the status for office, technician, client manager and
    auditor, and after a bar those at a stranger's record, where the office is one of the other
    branch. ``at`` names the record, ``anonymous`` the status for nobody where it is not the usual.
    """

    answers: Mapping[str, str]
    at: str = ""
    anonymous: Mapping[str, int] = field(default_factory=dict)

    def expected(self, method: str, *, stranger: bool) -> list[int]:
        """Four statuses, empty where there is no record to be a stranger at."""
        own, _, others = self.answers[method].partition("|")
        return [int(one) for one in (others if stranger else own).split()]


def routes() -> Iterator[Route]:
    """Every address that Kickplate answers at, by the URLconf itself."""
    for name, path, pattern in _walk(get_resolver(), "", ""):
        actions = getattr(pattern.callback, "actions", None) or {}
        # HEAD follows GET, and the framework adds it to the list only once a view was asked.
        methods = tuple(one.upper() for one in actions if one != "head")
        (text, gaps), *_ = normalize(path)
        yield Route(name, "/" + text, tuple(gaps), methods)


def _walk(resolver: URLResolver, space: str, path: str) -> Iterator[tuple[str, str, URLPattern]]:
    for pattern in resolver.url_patterns:
        # Both kinds of pattern say what they match as a regular expression.
        here = path + pattern.pattern.regex.pattern.removeprefix("^").removesuffix("\\Z")
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from _walk(pattern, inner, here)
        else:
            yield f"{space}{pattern.name}", here.removesuffix("$"), pattern


def address(route: Route, world: World, at: str) -> str:
    """The route with its gaps filled in from one client's records."""
    return route.path % {gap: _filling(route, gap, world, at) for gap in route.gaps}


def _filling(route: Route, gap: str, world: World, at: str) -> str:
    if gap in FIXED or at == "nothing":
        return FIXED.get(gap, "1")
    name = at if at and gap == route.gaps[-1] else USUAL.get(gap, at)
    if not name:
        raise AssertionError(f"the table does not say which record {route.name} is tried at")
    if name in world.people:
        return str(world.people[name].pk)
    if name == "label":
        return str(world["monitor"].label_code)
    if name == "token":
        return str(world["token"].token_key)
    return str(world[name].pk)


class Caller:
    """Asks as one person. Every request is undone afterwards; nothing that it wrote stays."""

    def __init__(self, person: User | None) -> None:
        self.cookies = SimpleCookie()
        if person:
            browser = Browser()
            browser.force_login(person)
            self.cookies = browser.cookies

    def ask(self, method: str, path: str, **given: Any) -> Any:
        """One request with an empty body, or with what is given."""
        browser = Browser(raise_request_exception=False)
        browser.cookies = SimpleCookie(self.cookies.output(attrs=[], header="", sep=";"))
        if method == "POST" and not path.startswith("/api/"):
            given = {"data": {"csrfmiddlewaretoken": "as every form has"}, **given}
        elif method != "GET":
            given = {"content_type": "application/json", "data": "{}", **given}
        with transaction.atomic():
            response = getattr(browser, method.lower())(path, **given)
            body_of(response)
            transaction.set_rollback(True)
        return response


def body_of(response: Any) -> str:
    """All of an answer as text; what streams is read once and kept."""
    if isinstance(response, StreamingHttpResponse):
        if not hasattr(response, "read_whole"):
            response.read_whole = b"".join(response.streaming_content)
        return response.read_whole.decode("utf-8", "replace")
    return response.content.decode("utf-8", "replace")


# The token that a form, a page or the phone sends back is another each time.
TOKENS = re.compile(
    r'name="csrfmiddlewaretoken" value="[^"]*"|csrf-token" content="[^"]*"|"csrf": ?"[^"]*"'
)


def plain(text: str) -> str:
    """An answer without what differs each time it is asked for."""
    return TOKENS.sub("", text)
