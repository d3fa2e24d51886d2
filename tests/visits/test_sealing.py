"""Whatever is changed of a closed visit behind the services' backs is found, and named."""

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from hashlib import sha256

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import F

from accounts.models import TrailEntry
from accounts.sealing import NOTHING_BEFORE, canonical, chained
from accounts.trail import record
from sites.models import Photo, Zone
from sites.services.photos import add_photo
from tests.builders.accounts import make_office, make_technician
from tests.builders.compliance import make_photo, make_photo_bytes
from tests.builders.sites import make_monitor, make_site
from tests.builders.visits import (
    local,
    look_everywhere,
    make_product,
    make_visit,
    treatment_given,
)
from visits.coverage import as_counts
from visits.models import (
    Amendment,
    Finding,
    FindingPhoto,
    Look,
    NotReached,
    Reading,
    ReadingCount,
    Treatment,
    Visit,
)
from visits.queries.places import coverage_now
from visits.services.amendments import amend_visit
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    add_visit_photo,
    apply_treatment,
    record_finding,
    record_not_reached,
    record_readings,
)
from visits.verification import breaks_of_site, breaks_of_visit
from visits.visit_record import FORM, WITHOUT_MINUTES, facts_of, record_of, rows_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def site(office, technician):
    """Two sealed visits; the second has one of everything, and two amendments."""
    site = make_site(zones=2, monitors=1)
    make_visit(site, state="closed", by=office, technician=technician)
    visit = make_visit(site, state="under_way", by=office, technician=technician)
    say = {"by": technician, "at": local(visit, 9, 30)}
    kitchen, cellar = site.zones.order_by("walk_order")
    look_everywhere(visit)
    record_readings(
        visit.pk,
        **say,
        readings=[ReadingGiven(kitchen.monitors.get().pk, counts={"german-cockroach": 4})],
    )
    record_not_reached(
        visit.pk,
        **say,
        not_reached=NotReachedGiven(
            "locked", "client", checkpoint_id=cellar.checkpoints.first().pk
        ),
    )
    place = kitchen.checkpoints.first()
    record_finding(
        visit.pk,
        **say,
        finding=FindingGiven(
            zone_id=kitchen.pk,
            checkpoint_id=place.pk,
            kind="live_pests",
            pest="german-cockroach",
            photo_ids=[make_photo(site).pk],
            x=0.25,
            y=0.123456789,
        ),
    )
    apply_treatment(visit.pk, **say, treatment=treatment_given(kitchen, make_product()))
    close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        contact=ContactGiven(
            contact_name="Ana Prior",
            signature=[[[0.1, 0.123456], [0.9, 0.5]]],
            summary="Cockroaches behind the ovens.",
        ),
    )
    for by in (office, technician):
        amend_visit(
            visit.pk, by=by, about="Monitor 1", correction="Five, not four.", reason="Recount."
        )
    return site


def last(site) -> Visit:
    return Visit.objects.filter(site=site).order_by("seal_number").last()


def whats(site) -> list[str]:
    return [one.what for one in breaks_of_site(site)]


def test_an_untouched_site_holds(site):
    assert whats(site) == []
    call_command("verify_visits")


def test_the_record_says_everything_in_words_of_the_day(site, technician):
    sealed = json.loads(last(site).sealed_record)

    assert sealed["technician"]["words"]["name"] == technician.name
    said = {one["words"]["monitor"]: one["counts"] for one in sealed["readings"]}
    assert said == {1: {"german-cockroach": 4}, 2: {}}
    assert sealed["findings"][0]["photos"][0]["kept"] == Photo.objects.get().sha256
    assert sealed["contact"]["signature"] == "M30.0 12.3L270.0 50.0"
    assert sealed["coverage"]["totals"]["checkpoints_not_reached"] == 1
    assert [zone["words"]["name"] for zone in sealed["coverage"]["zones"]] == list(
        site.zones.order_by("walk_order").values_list("name", flat=True)
    )
    elements = {key: value for key, _, value in sealed["treatments"][0]["words"]["elements"]}
    assert elements["quantity_product"] == "2.5 g"


def test_a_zone_may_be_renamed_and_a_monitor_moved_without_breaking_a_seal(site):
    """The words of the day are sealed; the names of today are free."""
    zone = site.zones.first()
    zone.monitors.update(zone=site.zones.last(), place="By the back door")
    Zone.objects.filter(pk=zone.pk).update(name="Old kitchen", retired_on="2026-12-30")
    make_monitor(site.zones.last())

    assert whats(site) == []


LATER = datetime(2027, 1, 1, tzinfo=UTC)

# Each: what somebody with the database in their hands might do, and what is then said of it.
TAMPERINGS = {
    "a look is deleted": (lambda v: v.looks.first().delete(), "what was looked at"),
    "a look is added": (
        lambda v: Look.objects.create(
            visit=v, checkpoint=v.not_reached.first().checkpoint, at=LATER
        ),
        "what was looked at",
    ),
    "a look is put back in time": (
        lambda v: v.looks.update(at=F("at") - timedelta(hours=1)),
        "what was looked at",
    ),
    "a count is changed": (
        lambda v: ReadingCount.objects.filter(reading__visit=v).update(count=1),
        "the readings",
    ),
    "a count is deleted": (
        lambda v: ReadingCount.objects.filter(reading__visit=v).delete(),
        "the readings",
    ),
    "a reading is deleted": (
        lambda v: Reading.objects.filter(visit=v, counts=None).first().delete(),
        "the readings",
    ),
    "days are stretched": (lambda v: v.readings.update(stood_days=90), "the readings"),
    "a finding is softened": (lambda v: v.findings.update(kind="signs"), "the findings"),
    "a remedy is added": (
        lambda v: v.findings.update(remedy_kind="advice", whose_move="client"),
        "the findings",
    ),
    "a photo is exchanged": (
        lambda v: FindingPhoto.objects.filter(finding__visit=v).update(photo=make_photo(v.site)),
        "the findings",
    ),
    "a photo's file is exchanged": (
        lambda v: exchange_file(Photo.objects.get()),
        "another picture",
    ),
    "a photo's file is lost": (lambda v: Photo.objects.get().image.delete(save=False), "is gone"),
    "not reached is deleted": (
        lambda v: NotReached.objects.filter(visit=v).delete(),
        "what was not reached",
    ),
    "not reached changes its owner": (
        lambda v: v.not_reached.update(whose_move="us"),
        "what was not reached",
    ),
    "an amount is changed": (
        lambda v: v.treatments.update(amount=Decimal("2.4")),
        "the treatments",
    ),
    "a product is changed": (lambda v: v.treatments.update(product_name="Gel"), "the treatments"),
    "a treatment is deleted": (
        lambda v: Treatment.objects.filter(visit=v).delete(),
        "the treatments",
    ),
    "the closing is put back": (
        lambda v: Visit.objects.filter(pk=v.pk).update(closed_at=F("closed_at") - timedelta(1)),
        "when and how it was made",
    ),
    "the minutes are stretched": (
        lambda v: Visit.objects.filter(pk=v.pk).update(minutes_on_site=F("minutes_on_site") + 30),
        "when and how it was made",
    ),
    "the minutes are wiped": (
        lambda v: Visit.objects.filter(pk=v.pk).update(minutes_on_site=None),
        "when and how it was made",
    ),
    "a reason for the minutes is added": (
        lambda v: Visit.objects.filter(pk=v.pk).update(minutes_reason="Waited for the key."),
        "when and how it was made",
    ),
    "it is said to be sealed in the first form": (
        lambda v: Visit.objects.filter(pk=v.pk).update(
            sealed_record=v.sealed_record.replace(FORM, WITHOUT_MINUTES)
        ),
        "its sealed words were changed",
    ),
    "it is said to be sealed in a form to come": (
        lambda v: Visit.objects.filter(pk=v.pk).update(
            sealed_record=v.sealed_record.replace(FORM, "kickplate-visit-9")
        ),
        "a form that is not known",
    ),
    "the technician is exchanged": (
        lambda v: Visit.objects.filter(pk=v.pk).update(technician=make_technician()),
        "its technician",
    ),
    "the summary is changed": (
        lambda v: Visit.objects.filter(pk=v.pk).update(summary="All well."),
        "the summary",
    ),
    "the signature is changed": (
        lambda v: Visit.objects.filter(pk=v.pk).update(signature=[[[0, 0], [1, 1]]]),
        "who signed",
    ),
    "the coverage is changed": (
        lambda v: Visit.objects.filter(pk=v.pk).update(coverage={"checkpoints_due": 0}),
        "its coverage",
    ),
    "the visit is opened again": (
        lambda v: Visit.objects.filter(pk=v.pk).update(state="under_way"),
        "no longer counts as closed",
    ),
    "the sealed words are changed": (
        lambda v: Visit.objects.filter(pk=v.pk).update(
            sealed_record=v.sealed_record.replace("Cockroaches", "Crumbs")
        ),
        "its sealed words were changed",
    ),
    "the sealed words are wiped": (
        lambda v: Visit.objects.filter(pk=v.pk).update(sealed_record=""),
        "cannot be read",
    ),
    "everything is sealed anew": (lambda v: reseal(v), "the trail knows of another seal"),
    "the visit is moved to another site": (
        lambda v: Visit.objects.filter(pk=v.pk).update(site=make_site()),
        "it is gone",
    ),
    "an amendment is changed": (
        lambda v: v.amendments.filter(number=1).update(correction="Four."),
        "amendment 1 is stored otherwise than sealed",
    ),
    "an amendment is deleted": (
        lambda v: Amendment.objects.filter(visit=v, number=1).delete(),
        "amendment 1 is missing",
    ),
    "an amendment is sealed anew": (
        lambda v: v.amendments.filter(number=1).update(seal="0" * 64),
        "amendment 1 was changed after it was sealed",
    ),
    "amendments change places": (
        lambda v: v.amendments.filter(number=2).update(previous_seal=v.seal),
        "amendment 2 does not follow what it amends",
    ),
}


def exchange_file(photo: Photo) -> None:
    with photo.image.storage.open(photo.image.name, "wb") as file:
        file.write(make_photo_bytes())


def reseal(visit: Visit) -> None:
    """Forge the words and the seal together, as somebody who knows how seals are made would."""
    sealed = json.loads(visit.sealed_record)
    sealed["summary"] = visit.summary = "All well."
    visit.sealed_record = canonical(sealed)
    visit.seal = chained(visit.previous_seal, visit.sealed_record)
    visit.save()


@pytest.mark.parametrize("how", TAMPERINGS)
def test_tampering_is_found_and_named(site, how, capsys):
    tamper, named = TAMPERINGS[how]
    tamper(last(site))

    assert any(named in what for what in whats(site)), whats(site)
    with pytest.raises(CommandError, match="do not hold"):
        call_command("verify_visits")


def close_as_before(visit: Visit) -> None:
    """As a visit was sealed before visits said how long they took."""
    with transaction.atomic():
        covered, rows = coverage_now(visit), rows_of([visit])[visit.pk]
        visit.state, visit.closed_at = Visit.State.CLOSED, local(visit, 10)
        visit.received_at, visit.coverage = local(visit, 10, 5), as_counts(covered)
        visit.no_signature_reason = "Nobody there."
        visit.seal_number, visit.previous_seal = 1, NOTHING_BEFORE
        said = record_of(visit, rows, coverage=covered)
        first = facts_of(visit, rows, form=WITHOUT_MINUTES)
        visit.sealed_record = canonical({**said, **first})
        visit.seal = chained(visit.previous_seal, visit.sealed_record)
        visit.save()
        record(visit.technician, "visit.closed", visit, at=visit.closed_at, seal=visit.seal)


@pytest.fixture
def of_the_first_form(office, technician) -> Visit:
    visit = make_visit(state="under_way", zones=1, monitors=1, by=office, technician=technician)
    look_everywhere(visit)
    close_as_before(visit)
    assert "minutes_on_site" not in visit.sealed_record
    return visit


def test_a_record_of_the_first_form_holds_and_so_does_the_next_one_after_it(
    of_the_first_form, office, technician
):
    site = of_the_first_form.site

    make_visit(site, state="closed", by=office, technician=technician)

    assert json.loads(last(site).sealed_record)["form"] == FORM
    assert whats(site) == []
    call_command("verify_visits")


@pytest.mark.parametrize(
    "change",
    [
        {"minutes_on_site": 0},
        {"minutes_on_site": 60},
        {"minutes_on_site": 60, "minutes_reason": "Made up."},
        {"closed_at": LATER},
    ],
    ids=str,
)
def test_what_is_added_to_a_record_of_the_first_form_is_found(of_the_first_form, change):
    Visit.objects.filter(pk=of_the_first_form.pk).update(**change)

    (what,) = whats(of_the_first_form.site)
    assert "when and how it was made" in what


def test_the_minutes_are_in_the_seal(site):
    sealed = json.loads(last(site).sealed_record)["visit"]

    assert (sealed["minutes_on_site"], sealed["minutes_reason"]) == (60, "")


def test_a_seal_that_is_left_out_is_found(site):
    first = Visit.objects.get(site=site, seal_number=1)
    Visit.objects.filter(pk=first.pk).update(seal_number=7)

    found = whats(site)
    assert any("seal 1 is missing" in what for what in found)
    assert any("does not follow" in what for what in found)


def test_a_trail_that_was_cut_is_found(site):
    """The trail has its own check; this one only sees that it no longer tells of the seal."""
    TrailEntry.objects.filter(verb="visit.closed")._raw_delete("default")

    assert whats(site).count("the trail knows of another seal") == 2


def test_the_report_of_one_visit_finds_the_same(site):
    visit = last(site)
    assert breaks_of_visit(visit, rows_of([visit])[visit.pk]) == []

    visit.treatments.update(amount=Decimal("2.4"))

    (found,) = breaks_of_visit(visit, rows_of([visit])[visit.pk])
    assert "the treatments" in found.what


def test_a_photo_may_arrive_after_the_seal_but_only_the_one_that_was_taken(office, technician):
    visit = make_visit(state="under_way", zones=1, by=office, technician=technician)
    data = make_photo_bytes()
    record_finding(
        visit.pk,
        by=technician,
        at=local(visit, 9, 5),
        finding=FindingGiven(visit.site.zones.get().pk, kind="signs", awaits=[given_hash(data)]),
    )
    close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody there."),
    )
    assert whats(visit.site) == []

    add_visit_photo(visit, by=technician, data=data)

    assert Finding.objects.get().shown_by.count() == 1
    assert whats(visit.site) == []
    FindingPhoto.objects.update(photo=make_photo(visit.site))
    assert any("the findings" in what for what in whats(visit.site))


def given_hash(data: bytes) -> str:
    """The hash of a file as it is sent, which is all that a phone without a signal knows."""
    return sha256(data).hexdigest()


def test_a_photo_that_was_sent_before_its_finding_hangs_there_at_the_close(office, technician):
    visit = make_visit(state="under_way", zones=1, by=office, technician=technician)
    data = make_photo_bytes()
    record_finding(
        visit.pk,
        by=technician,
        at=local(visit, 9, 5),
        finding=FindingGiven(visit.site.zones.get().pk, kind="signs", awaits=[given_hash(data)]),
    )
    add_photo(visit.site_id, by=make_office(), data=data)

    close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody there."),
    )

    assert Finding.objects.get().shown_by.count() == 1


@pytest.mark.parametrize("visits", [2, 8])
def test_checking_a_site_costs_the_same_for_more_visits(
    office, technician, django_assert_num_queries, visits
):
    site = make_site(zones=1, monitors=1)
    for _ in range(visits):
        make_visit(site, state="closed", by=office, technician=technician)

    with django_assert_num_queries(9):
        breaks_of_site(site)
