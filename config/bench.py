"""How far the pages and papers are from the least that their work could take; ratios only.

Seconds belong to a machine, ratios to the program: a page against its own SQL sent bare, the site
file against the same words laid out once by WeasyPrint alone, the application register as CSV
against its own SQL, and every page with four sites on file against the same page with forty.
``bin/bench`` runs it on the demo; ``config.bench_register`` has the register at its full size.
"""

import argparse
import json
import os
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import django

Measured = dict[str, dict[str, float]]

ROUNDS = 7
PAGES = {
    "office": (
        "compliance:today",
        "visits:month",
        "visits:inbox",
        "visits:products",
        "visits:applications",
        "sites:list",
        "sites:clients",
        "sites:monitors",
        "sites:documents",
        "compliance:actions",
        "compliance:flags",
    ),
    "technician": ("visits:my_day", "visits:package"),
    "client manager": ("compliance:your_sites", "compliance:actions", "visits:applications"),
    "auditor": ("compliance:the_file", "visits:applications"),
}


def seconds(work: Callable[[], object], *, rounds: int = ROUNDS) -> float:
    """The median of a few rounds, after one that warms up."""
    work()
    took = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return statistics.median(took)


def measure_pages() -> Measured:
    """For each page its queries, its seconds, and the seconds of its SQL sent bare."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import NoReverseMatch, reverse

    from accounts.models import User
    from config.demo import cast, town
    from config.demo.load import manager_email

    emails = {
        "office": cast.COORDINATOR[0],
        "technician": cast.TECHNICIANS[0][0],
        "client manager": manager_email(town.sites(1)[0].client),
        "auditor": cast.AUDITOR[0],
    }
    measured: Measured = {}
    for who, names in PAGES.items():
        browser = Client(headers={"host": "localhost"})
        browser.force_login(User.objects.get(email=emails[who]))
        for name in names:
            try:
                address = reverse(name)
            except NoReverseMatch:
                address = reverse(name, args=[_first_site()])
            took = seconds(partial(_page, browser, address))
            with CaptureQueriesContext(connection) as captured:
                _page(browser, address)
            statements = [
                query["sql"] for query in captured if query["sql"].startswith(("SELECT", "WITH"))
            ]
            floor = seconds(partial(bare, statements))
            measured[f"{who}: {name}"] = {
                "queries": len(captured),
                "seconds": took,
                "floor": floor,
            }
    return measured


def _first_site() -> Any:
    from sites.models import Site

    return Site.objects.order_by("reference").values_list("pk", flat=True)[0]


def _page(browser: Any, address: str) -> None:
    answer = browser.get(address)
    if answer.status_code != 200:
        raise SystemExit(f"{address} answers {answer.status_code}, so there is nothing to measure")


def bare(statements: list[str]) -> None:
    """Send the statements as they are, and take every row."""
    from django.db import connection

    for statement in statements:
        with connection.cursor() as cursor:
            cursor.execute(statement)
            cursor.fetchall()


def measure_paper() -> Measured:
    """The site file from the record to the PDF, and its words laid out once, without the rest."""
    from datetime import timedelta

    from django.template.loader import render_to_string
    from django.utils import timezone

    from accounts.models import Role, User
    from compliance.queries.site_file import site_file_of
    from compliance.sitefile.build import build_site_file
    from compliance.sitefile.press import VARIANT, Press
    from config.demo import cast
    from sites.models import Site

    site = Site.objects.select_related("client").get(pk=_first_site())
    now = timezone.now()
    office = User.objects.get(email=cast.COORDINATOR[0])
    words: dict[int, str] = {}
    made: dict[str, Any] = {}

    def render(template: str, context: Any) -> str:
        text = render_to_string(template, context)
        words[id(context["part"])] = text
        return text

    def whole() -> None:
        words.clear()
        gathered = site_file_of(
            site,
            first=now.date() - timedelta(days=365),
            last=now.date(),
            by=office,
            role=Role.OFFICE,
            now=now,
        )
        pictures = made["pictures"] = gathered.pictures
        made["pages"] = build_site_file(gathered.file, media=pictures, render=render).pages

    def bare() -> None:
        with Press(made["pictures"], "A4") as press:
            laid_out = [press.lay_out(text) for text in words.values()]
            sheets = [page for part in laid_out for page in part.pages]
            laid_out[0].copy(sheets).write_pdf(pdf_variant=VARIANT)

    took = seconds(whole, rounds=1)
    floor = seconds(bare, rounds=1)
    return {"site file": {"seconds": took, "floor": floor, "pages": made["pages"]}}


def measure_register() -> Measured:
    """The application register as CSV, sent to nowhere, and its SQL read by the driver alone."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    from accounts.models import User
    from config.demo import cast

    browser = Client(headers={"host": "localhost"})
    browser.force_login(User.objects.get(email=cast.COORDINATOR[0]))
    address = reverse("visits:applications_csv")

    def whole() -> int:
        answer: Any = browser.get(address)
        return sum(1 for _ in answer.streaming_content) - 1

    with CaptureQueriesContext(connection) as captured:
        rows = whole()
    statements = [query["sql"] for query in captured if query["sql"].startswith("SELECT")]
    measured = {
        "rows": float(rows),
        "queries": float(len(captured)),
        "seconds": seconds(whole),
        "floor": seconds(partial(bare, statements)),
    }
    return {"register as CSV": measured}


def compare(small: Measured, large: Measured) -> list[str]:
    """The lines of the report: ratios, and the number of queries where it is not the same."""
    lines = [
        f"{'page':38}{'against bare SQL':>18}{'10 times the sites':>20}{'queries':>12}",
    ]
    for name, more in large.items():
        if name not in small:
            continue
        less = small[name]
        same = less["queries"] == more["queries"]
        queries = (
            f"{more['queries']:.0f}" if same else f"{less['queries']:.0f} → {more['queries']:.0f}"
        )
        lines.append(
            f"{name:38}{more['seconds'] / more['floor']:16.1f} ×"
            f"{more['seconds'] / less['seconds']:18.1f} ×{queries:>12}"
        )
    paper = large["site file"]
    lines.append("")
    lines.append(
        f"The site file ({paper['pages']:.0f} pages) takes "
        f"{paper['seconds'] / paper['floor']:.2f} × what WeasyPrint alone takes for the same words."
    )
    sheet = large["register as CSV"]
    lines.append(
        f"The application register as CSV ({sheet['rows']:.0f} rows, {sheet['queries']:.0f} "
        f"queries) takes {sheet['seconds'] / sheet['floor']:.1f} × its own SQL sent bare."
    )
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("measure", nargs="?", choices=("pages", "paper"))
    parser.add_argument("--compare", nargs=2, metavar=("SMALL", "LARGE"), type=Path)
    parser.add_argument("--into", type=Path, help="the file that the measures are added to")
    asked = parser.parse_args()
    if asked.compare:
        small, large = (json.loads(path.read_text()) for path in asked.compare)
        print("\n".join(compare(small, large)))
        return
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    if asked.measure == "pages":
        measured = measure_pages()
    else:
        measured = {**measure_paper(), **measure_register()}
    if asked.into is None:
        json.dump(measured, sys.stdout, indent=2)
        return
    before = json.loads(asked.into.read_text()) if asked.into.exists() else {}
    asked.into.write_text(json.dumps({**before, **measured}, indent=2))


if __name__ == "__main__":
    main()
