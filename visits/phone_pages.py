"""The technician's pages as files: the same for everybody, kept by the phone's service worker.

A page holds nothing of a person or a visit; script draws it from what the phone keeps. The worker
keeps each page and every file that it names under the hash of its content, so that a phone never
meets a new page with old scripts.
"""

import re
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.template.loader import render_to_string
from django.urls import reverse

from accounts.sealing import digest
from sites.models import Monitor
from visits.models import (
    Finding,
    NotReached,
    Product,
    Reading,
    RemedyKind,
    Treatment,
    WhoseMove,
)

# Stands in an address for whichever visit it will be.
ANY_VISIT = UUID(int=0)
WORKER_SCRIPT = "js/phone/worker.js"
INDENT = re.compile(r"\s*\n\s*")
IMPORTED = re.compile(r'^(?:import|export)\b[^;]*?"(\.[^"]+)";', re.MULTILINE)

# What is round a place, in words that fit a thumb. The guide's own are longer, and stand in
# ``dosing.vocabulary.SURROUNDINGS``; being outdoors, and whose the place is, is known.
AROUND = {
    "openings": "Openings, vents",
    "diners": "People eating",
    "electrics": "Electrics",
    "food_contact": "Food surfaces",
    "height": "At height",
    "children": "Children, animals",
    "stored_goods": "Goods in front",
    "flames": "Flames, burners",
    "droppings": "Droppings, nests",
    "wet": "Drains, flood water",
    "sealed_ventilation": "Air handling only",
    "old_building": "Old boards, lagging",
    "sensitive": "School, care, ward",
}

# The choices that the forms of the walk offer, in the words of the records.
WORDS = {
    "conditions": Reading.Condition.choices,
    "bait": Reading.Bait.choices,
    "findings": Finding.Kind.choices,
    "urgencies": Finding.Urgency.choices,
    "remedies": RemedyKind.choices,
    "moves": WhoseMove.choices,
    "reasons": NotReached.Reason.choices,
    "methods": Treatment.Method.choices,
    "formulations": Product.Formulation.choices,
    "surfaces": Treatment.Surface.choices,
    "surroundings": list(AROUND.items()),
    "area_units": Treatment.AreaUnit.choices,
    "units": Treatment.AmountUnit.choices,
    "monitors": Monitor.Kind.choices,
}


@dataclass(frozen=True, slots=True)
class PhonePage:
    """A page by its template and script; ``addresses`` are the patterns at which it is shown.

    ``later`` are scripts that it only loads once they are needed: they do not make the page wait,
    and the worker keeps them all the same.
    """

    script: str
    addresses: tuple[str, ...] = ()
    later: tuple[str, ...] = ()


def _of_a_visit(name: str) -> str:
    """The pattern of a visit's page, whichever visit it is."""
    address = re.escape(reverse(f"visits:{name}", args=[ANY_VISIT]))
    return f"^{address.replace(re.escape(str(ANY_VISIT)), '[0-9a-f-]{36}')}$"


def phone_pages() -> dict[str, PhonePage]:
    """The pages by name."""
    label = re.escape(reverse("sites:label", args=["CODE"])).replace("CODE", "[^/]+")
    return {
        "day": PhonePage("day", (f"^{re.escape(reverse('visits:my_day'))}$",)),
        "start": PhonePage("start", (_of_a_visit("start"),)),
        "walk": PhonePage("walk", (_of_a_visit("walk"),), later=("treatment",)),
        "close": PhonePage("close", (_of_a_visit("close"),)),
        # A printed label spells its address in capitals.
        "label": PhonePage("label", (f"^{label}$", f"^{label.upper()}$")),
        # Shown instead of any other page when there is no line.
        "no_line": PhonePage("no_line"),
    }


def page_html(name: str) -> str:
    """One page, the same bytes whoever asks. No query."""
    page = phone_pages()[name]
    modules = _modules_of(page.script)
    context = {
        "words": WORDS,
        "any_visit": ANY_VISIT,
        "own": f"js/phone/{page.script}.js",
        "modules": modules,
        "later": [one for one in _modules_of(*page.later) if one not in modules],
    }
    html = render_to_string(f"visits/phone/{name}.html", context)
    return INDENT.sub("\n", html).strip()  # nothing on these pages keeps its line ends


def _modules_of(*scripts: str) -> list[str]:
    """Every module that a page's scripts need, so that none is found out about late."""
    root = Path(settings.BASE_DIR) / "static"
    found: dict[str, None] = {}
    waiting = [f"js/phone/{script}.js" for script in scripts]
    while waiting:
        name = waiting.pop(0)
        if name in found:
            continue
        found[name] = None
        source = root / name
        waiting += [
            str((source.parent / imported).resolve().relative_to(root))
            for imported in IMPORTED.findall(source.read_text())
        ]
    return list(found)


class _Named(HTMLParser):
    """The static files that a page names."""

    def __init__(self) -> None:
        super().__init__()
        self.files: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in {"src", "href"} and value and value.startswith(settings.STATIC_URL):
                self.files.add(value)


def release() -> dict[str, Any]:
    """What the worker keeps: pages and files with the hashes of their content. No query.

    ``files`` are pairs of address and SHA-256, ``pages`` pairs of a pattern and the address of the
    page that is shown there, ``no_line`` the page for all other addresses without a line.
    """
    files: dict[str, str] = {}
    shown: list[tuple[str, str]] = []
    named = _Named()
    for name, page in phone_pages().items():
        html, address = page_html(name), reverse("visits:phone_page", args=[name])
        files[address] = digest(html)
        shown += [(pattern, address) for pattern in page.addresses]
        named.feed(html)
    files |= {address: digest(_static_content(address)) for address in sorted(named.files)}
    return {
        "files": sorted(files.items()),
        "pages": shown,
        "no_line": reverse("visits:phone_page", args=["no_line"]),
    }


def _static_content(address: str) -> bytes:
    name = address.removeprefix(settings.STATIC_URL)
    found = finders.find(name)
    if isinstance(found, str):
        return Path(found).read_bytes()
    with staticfiles_storage.open(name) as file:
        return bytes(file.read())


def worker_source() -> str:
    """The service worker's own script."""
    found = finders.find(WORKER_SCRIPT)
    if not isinstance(found, str):
        raise FileNotFoundError(WORKER_SCRIPT)
    return Path(found).read_text()
