"""A record that was sealed before treatments named their labels holds, and can still be read.

``data/sealed-form-2.json`` is the exact text that the program sealed in that form, with its seal.
The rows it tells of are put back from its facts: no service makes such records any more.
"""

import importlib
import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.urls import reverse
from django.utils.dateparse import parse_datetime

from accounts.trail import record
from sites.models import Checkpoint, Monitor, Site, Zone
from tests.builders.accounts import make_client, make_technician
from tests.builders.visits import make_product
from visits.models import Finding, Look, Pest, Product, Reading, Treatment, Visit
from visits.queries.application_register import Narrowed, applications, rows_of
from visits.verification import breaks_of_site
from visits.visit_record import WITHOUT_LABELS

pytestmark = pytest.mark.django_db

STORED = json.loads((Path(__file__).parent / "data" / "sealed-form-2.json").read_text("utf-8"))
SEALED = json.loads(STORED["sealed_record"])
INSTANTS = ("at", "started_at", "finished_at", "closed_at", "received_at", "reported_at")
DAYS = ("read_on", "due_on", "opens_on", "closes_on", "booked_on")


def fields(facts: dict[str, Any], *left_out: str) -> dict[str, Any]:
    """The facts of one record as fields of its row."""
    given = {name: value for name, value in facts.items() if name not in {"words", *left_out}}
    for name in INSTANTS:
        if given.get(name):
            given[name] = parse_datetime(given[name])
    for name in DAYS:
        if given.get(name):
            given[name] = date.fromisoformat(given[name])
    return given


def by_id(facts: dict[str, Any], *names: str) -> dict[str, Any]:
    return {f"{name}_id": facts[name] for name in names}


@pytest.fixture
def visit(db) -> Visit:
    site_words, visit_facts = SEALED["site"]["words"], SEALED["visit"]
    site = Site.objects.create(
        id=SEALED["site"]["id"],
        client=make_client(name=site_words["client"]),
        **{name: value for name, value in site_words.items() if name != "client"},
    )
    technician = make_technician(id=SEALED["technician"]["id"], name="Sam Okafor")
    totals = SEALED["coverage"]
    for order, zone in enumerate(totals["zones"]):
        kind, name = zone["words"]["kind"], zone["words"]["name"]
        Zone.objects.create(id=zone["zone"], site=site, name=name, kind=kind, walk_order=order)
    zones = {zone.name: zone for zone in Zone.objects.all()}
    for look in SEALED["looks"]:
        words = look["words"]
        Checkpoint.objects.create(
            id=look["checkpoint"],
            zone=zones[words["zone"]],
            label=words["place"],
            height=words["height"].lower(),
        )
    for reading in SEALED["readings"]:
        words = reading["words"]
        Monitor.objects.create(
            id=reading["monitor"],
            site=site,
            zone=zones[words["zone"]],
            number=words["monitor"],
            kind="bait_station",
            place=words["place"],
            placed_on=date(2026, 10, 6),
        )
    contact = SEALED["contact"]
    visit = Visit.objects.create(
        **fields(visit_facts),
        site=site,
        technician=technician,
        state=Visit.State.CLOSED,
        summary=SEALED["summary"],
        contact_name=contact["name"],
        contact_job_title=contact["job_title"],
        signature_typed=contact["signature_typed"],
        no_signature_reason=contact["no_signature_reason"],
        coverage=totals["totals"],
        **STORED,
    )
    for one in SEALED["looks"]:
        Look.objects.create(visit=visit, **fields(one, "checkpoint"), **by_id(one, "checkpoint"))
    for one in SEALED["readings"]:
        given = fields(one, "monitor", "counts")
        Reading.objects.create(visit=visit, **given, **by_id(one, "monitor"))
    for one in SEALED["findings"]:
        given = fields(one, "zone", "checkpoint", "pest", "photos")
        Finding.objects.create(visit=visit, **given, **by_id(one, "zone", "checkpoint"))
    for one in SEALED["treatments"]:
        product = make_product(
            name=one["product_name"], registration_number=one["registration_number"]
        )
        Product.objects.filter(pk=product.pk).update(id=one["product"])
        product.labels.update(product=one["product"])
        given = fields(one, "zone", "checkpoint", "monitor", "product", "target", "amount", "area")
        Treatment.objects.create(
            visit=visit,
            **given,
            **by_id(one, "zone", "checkpoint", "monitor", "product"),
            target=Pest.objects.get(slug=one["target"]),
            amount=Decimal(one["amount"]),
            area=Decimal(one["area"]) if one["area"] else None,
        )
    record(technician, "visit.closed", visit, at=visit.closed_at, seal=visit.seal)
    return visit


def test_its_seal_holds(visit):
    assert SEALED["form"] == WITHOUT_LABELS
    assert breaks_of_site(visit.site, with_photos=False) == []


@pytest.mark.parametrize(
    "change",
    [
        {"amount": Decimal("2.5001")},
        {"finished_amount": Decimal(1), "finished_unit": "l"},
        {"explanation": "The label was out of date."},
        {"against_label": [{"code": "over_most", "forbidden": True, "words": "Over."}]},
        {"surface": "crack"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_what_is_added_to_it_later_is_found(visit, change):
    visit.treatments.filter(position=1).update(**change)

    (found,) = breaks_of_site(visit.site, with_photos=False)

    assert found.what == "what is stored of the treatments is not what was sealed"


def test_weighed_bait_that_is_added_to_it_later_is_found(visit):
    visit.readings.update(bait_taken_g=Decimal(5))

    (found,) = breaks_of_site(visit.site, with_photos=False)

    assert found.what == "what is stored of the readings is not what was sealed"


@pytest.mark.parametrize("name", ["visits:visit", "visits:applied", "compliance:visit_report_pdf"])
def test_its_report_its_copy_and_its_paper_can_still_be_had(visit, office, client, name):
    client.force_login(office)

    answer = client.get(reverse(name, args=[visit.pk]))

    assert answer.status_code == 200
    if name != "compliance:visit_report_pdf":
        assert "Demo gel 0.5" in answer.content.decode()


def test_the_register_finds_what_its_seal_says_that_it_leaves_unsaid(visit, office):
    """As the migration does for all that were sealed before; twice, as any may run again."""
    migration = importlib.import_module("visits.migrations.0010_what_older_records_leave_unsaid")
    for _ in range(2):
        migration.take_from_seals(apps, None)

    rows = rows_of(applications(office, Narrowed(show="incomplete")))

    (row,) = rows
    named = [key for key, _ in SEALED["treatments"][1]["words"]["missing"]]
    assert named
    assert (row.product_name, row.unsaid, row.rule_set) == ("Demo block B", named, "")
