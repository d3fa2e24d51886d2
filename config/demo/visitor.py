"""Somebody with a browser, as far as pages without script need one: cookies, forms, files, links.

Only the standard library, so that what it does over HTTP is all there is to it.
"""

import json
import mimetypes
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from http.cookiejar import CookieJar
from typing import Any
from urllib.parse import urlencode, urljoin, urlsplit
from uuid import uuid4

PATIENCE_SECONDS = 90
REQUEST_SECONDS = 60


class Unexpected(Exception):
    """A page answered otherwise than it should; the sentence says which and how."""


@dataclass(frozen=True)
class Upload:
    """A file that is sent with a form."""

    name: str
    data: bytes

    @property
    def mime(self) -> str:
        return mimetypes.guess_type(self.name)[0] or "application/octet-stream"


Value = str | Upload
Fields = Sequence[tuple[str, Value]]


@dataclass(frozen=True)
class Form:
    """A form as it stands in a page: where it goes, and what it would send unchanged."""

    action: str
    method: str
    fields: tuple[tuple[str, str], ...]
    options: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def option(self, name: str, words: str) -> str:
        """The value of the choice whose words begin so."""
        for label, value in self.options.get(name, {}).items():
            if label.startswith(words):
                return value
        raise Unexpected(f"“{words}” cannot be chosen as {name} in the form to {self.action}")


@dataclass(frozen=True)
class Answer:
    """What came back, and from where in the end."""

    url: str
    status: int
    mime: str
    body: bytes
    token: str = ""

    @property
    def text(self) -> str:
        return self.body.decode(errors="replace")

    def json(self) -> Any:
        return json.loads(self.body)

    def form(self, action_ends: str) -> Form:
        """The form of this page whose address ends so."""
        for one in self.forms():
            if urlsplit(one.action).path.endswith(action_ends):
                return one
        raise Unexpected(f"{self.url} has no form to …{action_ends}: {self.words()[:300]}")

    def has_form(self, action_ends: str) -> bool:
        return any(urlsplit(one.action).path.endswith(action_ends) for one in self.forms())

    def forms(self) -> list[Form]:
        reader = _Reader(self.url)
        reader.feed(self.text)
        return reader.forms

    def links(self) -> list[tuple[str, str]]:
        """Address and words of every link, in the order of the page."""
        reader = _Reader(self.url)
        reader.feed(self.text)
        return [(href, " ".join(words.split())) for href, words in reader.links]

    def link(self, words: str) -> str:
        """Where the first link with these words leads."""
        for href, said in self.links():
            if words in said:
                return href
        raise Unexpected(f"{self.url} has no link “{words}”")

    def words(self) -> str:
        """What the page says, without its markup."""
        reader = _Reader(self.url)
        reader.feed(self.text)
        return " ".join(" ".join(reader.said).split())


class Visitor:
    """One person at one browser."""

    def __init__(self, base_url: str, who: str) -> None:
        self.base_url, self.who = base_url, who
        self._opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))

    def get(self, address: str, expect: int = 200) -> Answer:
        """A page, its redirects followed."""
        return self._ask(urllib.request.Request(self._full(address)), expect)  # noqa: S310

    def submit(self, form: Form, *changed: tuple[str, Value], expect: int = 200) -> Answer:
        """Send a form with some fields filled in; the rest go as they stand in the page."""
        names = {name for name, _ in changed}
        fields = [*((name, value) for name, value in form.fields if name not in names), *changed]
        if form.method == "get":
            query = urlencode([(name, value) for name, value in fields if isinstance(value, str)])
            return self.get(f"{form.action}?{query}", expect)
        data, mime = _as_parts(fields)
        return self.post(form.action, data, mime, expect=expect)

    def post_json(self, address: str, value: Any, token: str, expect: int = 200) -> Answer:
        """Send a program's words, with the token that pages carry against forged requests."""
        data = json.dumps(value).encode()
        return self.post(address, data, "application/json", token=token, expect=expect)

    def post_fields(self, address: str, fields: Fields, token: str, expect: int = 200) -> Answer:
        """Send fields as a script of a page would."""
        data, mime = _as_parts(fields)
        return self.post(address, data, mime, token=token, expect=expect)

    def post(
        self, address: str, data: bytes, mime: str, *, token: str = "", expect: int = 200
    ) -> Answer:
        headers = {"Content-Type": mime, "Referer": self.base_url + "/"}
        if token:
            headers["X-CSRFToken"] = token
        request = urllib.request.Request(  # noqa: S310
            self._full(address), data=data, headers=headers, method="POST"
        )
        return self._ask(request, expect)

    def wait_for(self, address: str, wanted: Callable[[Answer], bool], what: str) -> Answer:
        """Look at a page again and again until it is as wanted."""
        end = time.monotonic() + PATIENCE_SECONDS
        while True:
            page = self.get(address)
            if wanted(page):
                return page
            if time.monotonic() > end:
                raise Unexpected(f"{what} did not come: {page.url} says {page.words()[-400:]}")
            time.sleep(0.5)

    def _full(self, address: str) -> str:
        full = urljoin(self.base_url + "/", address)
        if not full.startswith(self.base_url):
            raise Unexpected(f"{address} leads away from {self.base_url}")
        return full

    def _ask(self, request: urllib.request.Request, expect: int) -> Answer:
        try:
            with self._opener.open(request, timeout=REQUEST_SECONDS) as reply:
                answer = Answer(
                    reply.url, reply.status, reply.headers.get_content_type(), reply.read()
                )
        except urllib.error.HTTPError as error:
            mime = error.headers.get_content_type()
            answer = Answer(request.full_url, error.code, mime, error.read())
        if answer.status != expect:
            said = answer.words() if answer.mime == "text/html" else answer.text
            raise Unexpected(
                f"{request.get_method()} {request.full_url} answered {answer.status}: {said[:600]}"
            )
        return answer


def _as_parts(fields: Fields) -> tuple[bytes, str]:
    """Fields and files as multipart/form-data (RFC 7578)."""
    boundary = uuid4().hex
    parts = []
    for name, value in fields:
        head = f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"'
        if isinstance(value, Upload):
            head += f'; filename="{value.name}"\r\nContent-Type: {value.mime}'
        body = value.data if isinstance(value, Upload) else value.encode()
        parts.append(head.encode() + b"\r\n\r\n" + body + b"\r\n")
    parts.append(f"--{boundary}--\r\n".encode())
    return b"".join(parts), f"multipart/form-data; boundary={boundary}"


class _Reader(HTMLParser):
    """Collects the forms, links and words of a page."""

    def __init__(self, url: str) -> None:
        super().__init__()
        self.url = url
        self.forms: list[Form] = []
        self.links: list[tuple[str, str]] = []
        self.said: list[str] = []
        self._by_id: dict[str, int] = {}
        self._open: int | None = None
        self._link: str | None = None
        self._area: tuple[str, int | None] | None = None
        self._select: tuple[str, int | None] | None = None
        self._choice: tuple[int | None, str, str] | None = None
        self._option: tuple[str, bool] | None = None
        self._chosen = False
        self._first: str | None = None
        self._words = ""
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append(
                Form(
                    urljoin(self.url, given.get("action") or self.url),
                    given.get("method", "get").lower(),
                    (),
                    {},
                )
            )
            self._open = len(self.forms) - 1
            if "id" in given:
                self._by_id[given["id"]] = self._open
        elif tag == "a" and "href" in given:
            self._link, self._words = urljoin(self.url, given["href"]), ""
        elif tag == "input":
            self._input(given)
        elif tag == "label":
            self._choice, self._words = None, ""
        elif tag == "textarea" and given.get("name"):
            self._area, self._words = (given["name"], self._owner(given)), ""
        elif tag == "select" and given.get("name"):
            self._select = (given["name"], self._owner(given))
            self._chosen, self._first = False, None
        elif tag == "option" and self._select:
            self._option = (given.get("value", ""), "selected" in given)
            self._words = ""
        elif tag in {"script", "style"}:
            self._silent += 1

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = None
        elif tag == "a" and self._link:
            self.links.append((self._link, self._words))
            self._link = None
        elif tag == "textarea" and self._area:
            name, owner = self._area
            self._add(owner, name, self._words.removeprefix("\n"))
            self._area = None
        elif tag == "option" and self._option and self._select:
            name, owner = self._select
            value, selected = self._option
            self._offer(owner, name, value)
            if self._first is None:
                self._first = value
            if selected:
                self._chosen = True
                self._add(owner, name, value)
            self._option = None
        elif tag == "select" and self._select:
            name, owner = self._select
            if not self._chosen and self._first is not None:
                self._add(owner, name, self._first)
            self._select = None
        elif tag == "label" and self._choice:
            self._offer(*self._choice)
            self._choice = None
        elif tag in {"script", "style"}:
            self._silent -= 1

    def handle_data(self, data: str) -> None:
        if self._silent:
            return
        self._words += data
        if not self._area and not self._option:
            self.said.append(data)

    def _input(self, given: dict[str, str]) -> None:
        kind, name = given.get("type", "text"), given.get("name", "")
        if not name or "disabled" in given or kind in {"submit", "button", "file", "image"}:
            return
        value = given.get("value", "")
        if kind in {"checkbox", "radio"}:
            value = given.get("value", "on")
            self._choice = (self._owner(given), name, value)
            if "checked" not in given:
                return
        self._add(self._owner(given), name, value)

    def _offer(self, owner: int | None, name: str, value: str) -> None:
        """Remember what can be chosen, by the words beside it."""
        if owner is not None:
            form = self.forms[owner]
            words = " ".join(self._words.split())
            known = {**form.options.get(name, {}), words: value}
            self.forms[owner] = replace(form, options={**form.options, name: known})

    def _owner(self, given: dict[str, str]) -> int | None:
        return self._by_id.get(given["form"]) if "form" in given else self._open

    def _add(self, owner: int | None, name: str, value: str) -> None:
        if owner is not None:
            form = self.forms[owner]
            self.forms[owner] = replace(form, fields=(*form.fields, (name, value)))
