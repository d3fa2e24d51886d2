"""The application register at its full size: 5,000 products and half a million applications.

Fills a throw-away database and measures the register's page (first, deep and narrowed) against its
own SQL sent bare, and its CSV, row by row, against the same SQL read without the program. Run by
``bin/bench register``; figures of a machine are ratios in the end.

The rows are written straight into the tables, as no service could write them in an evening: they
are plausible to the register and to nobody else, and such a database is never to be used.
"""

import argparse
import os
import random
import resource
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

import django

PRODUCTS, ROWS, SITES, CLIENTS, TECHNICIANS, ZONES = 5_000, 500_000, 500, 50, 25, 4
A_VISIT, TIMES = 4, 25
BATCH = 2_000
LAST = date(2026, 11, 20)
DAYS = 5 * 365
OFFICE = "bench-office@example.test"
MANAGER = "bench-manager@example.test"


def fill(*, rows: int = ROWS, products: int = PRODUCTS) -> None:
    """Write everything, in one transaction. The same figures make the same database."""
    from django.db import transaction

    from accounts.models import Client, Company, User
    from sites.models import Site, Zone
    from visits.models import Pest, Product, ProductLabel, Treatment, Visit

    chance = random.Random(4)
    with transaction.atomic():
        if not Company.objects.exists():
            Company.objects.create(name="Bench Site Hygiene", address="1 Bench Row, Port Marlow")
        clients = [Client(name=f"Client {n:03}", reference=f"BENCH-{n:03}") for n in range(CLIENTS)]
        Client.objects.bulk_create(clients)
        User.objects.create_user(OFFICE, name="Bench Office", role=User.Role.OFFICE)
        User.objects.create_user(
            MANAGER, name="Bench Manager", role=User.Role.CLIENT_MANAGER, client=clients[0]
        )
        people = [
            User.objects.create_user(
                f"bench-{n}@example.test", name=f"Technician {n:02}", role=User.Role.TECHNICIAN
            )
            for n in range(TECHNICIANS)
        ]
        sites = [
            Site(
                client=clients[n % CLIENTS],
                reference=f"BENCH-{n:04}",
                name=f"Premises {n:04}",
                address=f"{n} Bench Street, Port Marlow",
                time_zone="Europe/London" if n % 10 else "Europe/Paris",
            )
            for n in range(SITES)
        ]
        Site.objects.bulk_create(sites, batch_size=BATCH)
        zones = {
            site.pk: [
                Zone(site=site, name=f"Kitchen {n}", kind="kitchen", walk_order=n)
                for n in range(ZONES)
            ]
            for site in sites
        }
        Zone.objects.bulk_create([zone for found in zones.values() for zone in found], BATCH)
        shelf = [
            Product(
                name=f"Bench gel {n:04}",
                registration_number=f"BENCH-{n:05}",
                formulation="gel",
                unit="g",
                found_by=f"bench gel {n:04} bench-{n:05} indoxacarb german-cockroach",
                is_demo=True,
            )
            for n in range(products)
        ]
        labels = [
            ProductLabel(
                product=one,
                number=1,
                in_force_from=date(2020, 1, 1),
                issued_on=date(2019, 11, 1),
                actives=[{"name": "indoxacarb", "strength": "0.6", "basis": "w/w"}],
                re_entry_minutes=30,
            )
            for one in shelf
        ]
        for one, label in zip(shelf, labels, strict=True):
            one.label = label
        Product.objects.bulk_create(shelf, batch_size=BATCH)
        ProductLabel.objects.bulk_create(labels, batch_size=BATCH)
        pests = list(Pest.objects.order_by("slug"))
        visits = list(_visits(rows // A_VISIT, sites, people))
        Visit.objects.bulk_create(visits, batch_size=BATCH)
        batch: list[Treatment] = []
        for visit in visits:
            for position in range(1, A_VISIT + 1):
                product = chance.choice(shelf)
                batch.append(_treatment(visit, position, product, zones, pests, chance))
            if len(batch) >= BATCH:
                Treatment.objects.bulk_create(batch)
                batch = []
        Treatment.objects.bulk_create(batch)


def multiply(times: int) -> None:
    """The visits and applications of ``fill`` again and again, each time a day further back.

    By the database itself, which takes a minute for what Python takes a quarter of an hour; in
    SQLite's words, as ``bin/bench`` uses no other.
    """
    from django.db import connection, transaction

    from visits.models import Treatment, Visit

    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("CREATE TEMP TABLE again (old TEXT, new TEXT, back INTEGER)")
        cursor.execute(
            "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %s) "
            "INSERT INTO again SELECT v.id, lower(hex(randomblob(16))), i FROM n, visits_visit v",
            [times - 1],
        )
        cursor.execute("CREATE INDEX again_old ON again (old)")
        seals = Visit.objects.count()
        visit = {
            "id": "again.new",
            "seal_number": f"seal_number + again.back * {seals}",
            "started_at": "datetime(started_at, '-' || again.back || ' days')",
            "closed_at": "datetime(closed_at, '-' || again.back || ' days')",
            "received_at": "datetime(received_at, '-' || again.back || ' days')",
        }
        _copy(cursor, Visit, visit, "again.old = row.id")
        treatment = {
            "id": "lower(hex(randomblob(16)))",
            "visit_id": "again.new",
            "started_at": "datetime(started_at, '-' || again.back || ' days')",
            "finished_at": "datetime(finished_at, '-' || again.back || ' days')",
            "received_at": "datetime(received_at, '-' || again.back || ' days')",
        }
        _copy(cursor, Treatment, treatment, "again.old = row.visit_id")


def _copy(cursor: Any, model: Any, otherwise: dict[str, str], where: str) -> None:
    """Every row once for each row of ``again`` that belongs to it, with some columns otherwise."""
    columns = [field.column for field in model._meta.concrete_fields]
    said = ", ".join(otherwise.get(name, f"row.{name}") for name in columns)
    table = model._meta.db_table
    # Made of names of our own tables and columns, and of nothing that anybody typed.
    cursor.execute(
        f"INSERT INTO {table} ({', '.join(columns)}) "  # noqa: S608 (names of our own)
        f"SELECT {said} FROM again CROSS JOIN {table} row ON {where}"
    )


def _visits(many: int, sites: list[Any], people: list[Any]) -> Iterator[Any]:
    from visits.models import Visit

    first = LAST - timedelta(days=DAYS)
    for n in range(many):
        on = first + timedelta(days=n * DAYS // many)
        began = datetime(on.year, on.month, on.day, 8, tzinfo=UTC) + timedelta(minutes=n % 480)
        yield Visit(
            site=sites[n % SITES],
            kind="routine",
            state=Visit.State.CLOSED,
            due_on=on,
            opens_on=on,
            closes_on=on,
            technician=people[n % TECHNICIANS],
            booked_on=on,
            started_at=began,
            closed_at=began + timedelta(hours=1),
            received_at=began + timedelta(hours=1, minutes=2),
            no_signature_reason="Nobody was there.",
            sealed_record="{}",
            seal=f"{n:064x}",
            previous_seal=f"{n:064x}",
            seal_number=n // SITES + 1,
        )


def _treatment(
    visit: Any, position: int, product: Any, zones: Any, pests: Any, chance: random.Random
) -> Any:
    from visits.models import Treatment

    started = visit.started_at + timedelta(minutes=10 * position)
    incomplete, forbidden = chance.random() < 0.03, chance.random() < 0.002
    return Treatment(
        visit=visit,
        zone=zones[visit.site_id][position - 1],
        position=position,
        product=product,
        label=product.label,
        product_name=product.name,
        registration_number=product.registration_number,
        actives="indoxacarb 0.6 % w/w",
        batch_number="" if incomplete else f"L{visit.due_on:%y%m}",
        target=chance.choice(pests),
        method="gel",
        equipment="Bait gun",
        place="Hinges of the left oven",
        situation="Painted steel",
        amount=Decimal(chance.randint(5, 60)) / 10,
        unit="g",
        product_amount=Decimal("2.5"),
        dilution="Ready to use, 0.2 g a point",
        area=Decimal(chance.randint(4, 40)),
        area_unit="points",
        started_at=started,
        finished_at=started + timedelta(minutes=8),
        precautions="Told the head chef to keep the placements dry.",
        re_entry="At once; keep off the placements.",
        applicator_name=visit.technician.name,
        applicator_licence="Pest control licence PM-104",
        received_at=visit.received_at,
        rule_set="union",
        unsaid=["batch_number"] if incomplete else [],
        is_incomplete=incomplete,
        against_label=[{"code": "over_most", "forbidden": True, "words": "Over the label."}]
        if forbidden
        else [],
        was_forbidden=forbidden,
        keep_until=visit.due_on + timedelta(days=3 * 365),
    )


def measure() -> list[str]:
    """The lines of the report."""
    from django.db import connection
    from django.test import Client as Browser
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    from accounts.models import User
    from config.bench import bare, seconds
    from sites.models import Site
    from visits.models import Pest, Treatment
    from visits.queries.application_register import Narrowed, applications, slice_of

    office = User.objects.get(email=OFFICE)
    pest = Pest.objects.order_by("slug").values_list("pk", flat=True)[0]
    middle = applications(office, Narrowed(last=LAST - timedelta(days=DAYS - 30)))
    deep = slice_of(middle).older
    site = Site.objects.order_by("reference").values_list("pk", flat=True)[0]
    company = reverse("visits:applications")
    pages = {
        "register, first page": (OFFICE, company),
        "register, five years back": (OFFICE, f"{company}?older={deep}"),
        "register, one product": (OFFICE, f"{company}?product=BENCH-00042"),
        "register, every product": (OFFICE, f"{company}?product=bench"),
        "register, one pest": (OFFICE, f"{company}?pest={pest}"),
        "register, one technician": (OFFICE, f"{company}?technician=Technician+07"),
        "register, one client": (OFFICE, f"{company}?where=Client+007"),
        "register, a month": (OFFICE, f"{company}?first=2024-03-01&last=2024-03-31"),
        "register, incomplete": (OFFICE, f"{company}?show=incomplete"),
        "register, made late (none is)": (OFFICE, f"{company}?show=late"),
        "register, forbidden": (OFFICE, f"{company}?show=forbidden"),
        "register, found nothing": (OFFICE, f"{company}?product=no+such+product"),
        "register of a site": (OFFICE, reverse("visits:site_applications", args=[site])),
        "register, client manager": (MANAGER, company),
        "products": (OFFICE, reverse("visits:products")),
        "products, found": (OFFICE, f"{reverse('visits:products')}?q=indoxacarb"),
    }
    lines = [f"{Treatment.objects.count():,} applications", ""]
    lines.append(f"{'page':36}{'seconds':>10}{'against bare SQL':>18}{'queries':>9}")
    for name, (email, address) in pages.items():
        browser = Browser(headers={"host": "localhost"})
        browser.force_login(User.objects.get(email=email))
        took = seconds(partial(_answered, browser, address), rounds=3)
        with CaptureQueriesContext(connection) as captured:
            _answered(browser, address)
        statements = [one["sql"] for one in captured if one["sql"].startswith("SELECT")]
        floor = seconds(partial(bare, statements), rounds=3)
        lines.append(f"{name:36}{took:10.3f}{took / floor:16.1f} ×{len(captured):9}")
    lines += ["", *_measure_csv(company)]
    return lines


def _answered(browser: Any, address: str) -> None:
    answer = browser.get(address)
    if answer.status_code != 200:
        raise SystemExit(f"{address} answers {answer.status_code}, so there is nothing to measure")


def _measure_csv(company: str) -> list[str]:
    """The CSV, sent to nowhere, and its own SQL read to its end by the driver alone."""
    from django.db import connection
    from django.test import Client as Browser
    from django.test.utils import CaptureQueriesContext

    from accounts.models import User

    browser = Browser(headers={"host": "localhost"})
    browser.force_login(User.objects.get(email=OFFICE))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began = time.perf_counter()
    with CaptureQueriesContext(connection) as captured:
        answer: Any = browser.get(f"{company.rstrip('/')}.csv")
        first_at, rows, size = 0.0, -1, 0
        for line in answer.streaming_content:
            first_at = first_at or time.perf_counter() - began
            rows, size = rows + 1, size + len(line)
    took = time.perf_counter() - began
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    longest = max((one["sql"] for one in captured), key=len)
    began = time.perf_counter()
    with connection.cursor() as cursor:
        cursor.execute(longest)
        while cursor.fetchmany(BATCH):
            pass
    floor = time.perf_counter() - began
    return [
        f"CSV: {rows:,} rows, {size / 1e6:.0f} MB in {took:.0f} s, "
        f"{took / rows * 1e6:.0f} µs each,",
        f"first line after {first_at:.2f} s, {len(captured)} queries, memory grown by "
        f"{grown / 1024:.0f} MB;",
        f"{took / floor:.1f} × the same SQL read to its end by the driver alone.",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("step", choices=("fill", "measure"))
    parser.add_argument("--rows", type=int, default=ROWS)
    parser.add_argument("--products", type=int, default=PRODUCTS)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    if asked.step == "fill":
        fill(rows=asked.rows // TIMES, products=asked.products)
        multiply(TIMES)
    else:
        print("\n".join(measure()))


if __name__ == "__main__":
    main()
