"""What phones may also do as programs: fetch the day, send what was recorded."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils.timezone import now

from sites.models import Document
from tests.builders.files import pdf_bytes
from tests.builders.phone import Phone
from visits.models import Look, ParkedOperation, Visit

pytestmark = pytest.mark.django_db


def test_the_same_operation_is_taken_once_and_answered_twice(world, program):
    client = program(world.people["technician"])
    phone = Phone(Visit.objects.get(pk=world["under_way"].pk))
    sent = {"operations": [phone.op("look.add", at=now(), checkpoint=world["checkpoint"]), "noise"]}
    before = client.post("/api/operations/", sent).json()["answers"]

    after = client.post("/api/operations/", sent).json()["answers"]

    assert [one["verdict"] for one in before] == ["applied", "refused"]
    assert after[0] == {**before[0], "again": True}
    assert Look.objects.filter(visit=phone.visit, checkpoint=world["checkpoint"]).count() == 1


@pytest.mark.parametrize("role", ["manager", "auditor", "branch"])
def test_only_technicians_send_visits(world, program, role):
    client = program(world.people[role])

    assert client.post("/api/operations/", {"operations": []}).status_code == 403
    assert client.get("/api/package/").status_code == 403


def test_a_phone_gets_its_own_visits_and_no_others(world, other, program):
    client = program(world.people["technician"])

    named = {visit["id"] for visit in client.get("/api/package/").json()["visits"]}

    assert str(world["booked"].pk) in named
    assert client.get(f"/api/package/?visit={other['booked'].pk}").status_code == 404


def test_a_package_that_has_not_changed_is_not_sent_again(world, program):
    client = program(world.people["technician"])
    tag = client.get("/api/package/")["ETag"]

    assert client.get("/api/package/", headers={"If-None-Match": tag}).status_code == 304
    assert client.get("/api/package/", headers={"If-None-Match": 'W/"other"'}).status_code == 200


def test_the_office_places_what_could_not_be_applied(world, office, program):
    parked = world["parked"]

    answer = program(office).post(
        f"/api/parked/{parked.pk}/place/", {"visit": str(world["closed"].pk), "note": "His."}
    )

    assert answer.status_code == 200, answer.json()
    assert ParkedOperation.objects.get(pk=parked.pk).settled_by == office
    assert world["closed"].amendments.count() == 2


def test_it_is_placed_on_no_visit_of_another_branch(world, other, program):
    answer = program(world.people["branch"]).post(
        f"/api/parked/{world['parked'].pk}/place/", {"visit": str(other["closed"].pk)}
    )

    assert list(answer.json()["facts"]["fields"]) == ["visit"]


def test_a_paper_is_put_on_file_and_replaced(world, office, program):
    client = program(office)
    added = client.post(
        "/api/documents/",
        {
            "site": str(world["site"].pk),
            "kind": "insurance",
            "title": "Liability",
            "file": SimpleUploadedFile("a.pdf", pdf_bytes()),
        },
        format="multipart",
    )
    assert added.status_code == 201, added.json()

    newer = client.post(
        f"/api/documents/{added.json()['id']}/replace/",
        {"file": SimpleUploadedFile("b.pdf", pdf_bytes(2)), "expires_on": "2027-12-31"},
        format="multipart",
    )

    kept = Document.objects.get(pk=newer.json()["id"])
    assert (newer.status_code, str(kept.replaces_id)) == (201, added.json()["id"])
    assert kept.title == "Liability"


def test_what_is_no_paper_is_refused(world, office, program):
    answer = program(office).post(
        "/api/documents/",
        {"kind": "insurance", "title": "X", "file": SimpleUploadedFile("a.pdf", b"MZ...")},
        format="multipart",
    )

    assert answer.status_code == 422
    assert set(answer.json()) == {"code", "message", "facts"}
