"""Every no has one shape, and tells nothing of what may not be seen."""

from uuid import uuid4

import pytest

from accounts.models import Client
from compliance.models import CorrectiveAction
from sites.models import Contact, Monitor, Site
from visits.models import Visit

pytestmark = pytest.mark.django_db


def refused(answer, status: int, code: str) -> dict:
    assert answer.status_code == status, answer.content
    assert set(answer.json()) == {"code", "message", "facts"}
    assert answer.json()["code"] == code
    return answer.json()


def test_a_shape_that_is_wrong_names_its_fields(office, program):
    told = refused(program(office).post("/api/clients/", {"name": ""}), 400, "invalid")

    assert set(told["facts"]["fields"]) == {"name", "reference"}


@pytest.mark.parametrize("body", ["{", "[]", '"x"', "null", "\x00"])
def test_what_is_no_record_is_refused(office, program, body):
    answer = program(office).post("/api/clients/", body, content_type="application/json")

    assert answer.status_code == 400
    assert answer.json()["code"] in {"parse_error", "invalid"}


def test_a_method_or_a_form_of_body_that_is_not_known_is_said(office, program):
    client = program(office)

    refused(client.delete("/api/clients/"), 405, "method_not_allowed")
    answer = client.post("/api/clients/", "<a/>", content_type="application/xml")
    refused(answer, 415, "unsupported_media_type")


def test_a_refusal_of_a_service_keeps_its_code_and_facts(world, office, program):
    path = f"/api/actions/{world['withdrawn_action'].pk}/withdraw/"

    told = refused(program(office).post(path, {"reason": "Again."}), 409, "wrong_state")

    assert told["facts"]["state"] == "withdrawn"


@pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
@pytest.mark.parametrize("kind", ["sites/site", "visits/closed", "actions/priced_action"])
def test_a_strangers_record_is_answered_as_one_that_does_not_exist(
    world, other, program, role, kind
):
    path, _, name = kind.partition("/")
    client = program(world.people[role])

    hidden = client.get(f"/api/{path}/{other[name].pk}/")
    absent = client.get(f"/api/{path}/{uuid4()}/")

    refused(hidden, 404, "not_found")
    assert hidden.content == absent.content


@pytest.mark.parametrize("pk", ["x", "1", "%00", "..%2f"])
def test_an_identifier_of_the_wrong_form_is_absent(office, program, pk):
    assert program(office).get(f"/api/sites/{pk}/").status_code == 404


def test_a_field_may_not_name_what_the_caller_does_not_see(world, other, program):
    planner = program(world.people["branch"])
    given = {"kind": "sticky", "placed_on": "2026-06-01"}

    answers = {
        pk: planner.post("/api/monitors/", {**given, "zone": pk})
        for pk in (str(other["zone"].pk), str(uuid4()))
    }

    told = {answer.content.replace(pk.encode(), b"") for pk, answer in answers.items()}
    assert len(told) == 1, "a hidden zone is answered as one that does not exist"
    for answer in answers.values():
        assert list(refused(answer, 400, "invalid")["facts"]["fields"]) == ["zone"]
    assert not Monitor.objects.filter(zone=other["zone"], placed_on="2026-06-01").exists()


@pytest.mark.parametrize(
    ("path", "given"),
    [
        ("contacts/", {"name": "Ana"}),
        ("visits/call-outs/", {"problem": "Rats in the yard."}),
        ("site-files/", {"period_from": "2026-01-01", "period_to": "2026-02-01"}),
    ],
)
def test_nothing_is_made_at_a_strangers_site(world, other, program, path, given):
    person = "branch" if path == "contacts/" else "manager"
    before = [Contact.objects.count(), Visit.objects.count(), other["site"].site_files.count()]

    answer = program(world.people[person]).post(
        f"/api/{path}", {**given, "site": str(other["site"].pk)}
    )

    assert list(refused(answer, 400, "invalid")["facts"]["fields"]) == ["site"]
    assert before == [
        Contact.objects.count(),
        Visit.objects.count(),
        other["site"].site_files.count(),
    ]


def test_photos_of_another_site_do_not_show_work_done(world, other, office, program):
    action = world["decided_action"]
    answer = program(office).post(
        f"/api/actions/{action.pk}/done/",
        {"note": "Sealed.", "photos": [str(other["photo"].pk)]},
    )

    refused(answer, 422, "photo_elsewhere")
    assert CorrectiveAction.objects.get(pk=action.pk).state == "decided"


def test_what_an_operation_does_not_take_is_passed_over(office, program):
    given = {
        "reference": "R1",
        "name": "Harbour Hotels",
        "id": str(uuid4()),
        "closed_on": "2020-01-01",
        "created_at": "2020-01-01T00:00:00Z",
    }

    answer = program(office).post("/api/clients/", given)

    made = Client.objects.get(reference="R1")
    assert answer.status_code == 201
    assert made.closed_on is None
    assert str(made.pk) != given["id"]


def test_a_record_is_not_moved_to_somebody_else(world, other, office, program):
    path = f"/api/sites/{world['site'].pk}/"

    answer = program(office).patch(
        path,
        {"name": "Amberley Palace", "client": str(other["client"].pk), "closed_on": "2026-01-01"},
    )

    site = Site.objects.get(pk=world["site"].pk)
    assert answer.status_code == 200
    assert (site.name, site.client_id, site.closed_on) == (
        "Amberley Palace",
        world["client"].pk,
        None,
    )


def test_nobody_makes_themselves_more_than_they_are(manager, program):
    answer = program(manager).post(
        "/api/people/",
        {"email": "x@example.org", "name": "X", "role": "office", "is_administrator": True},
    )

    refused(answer, 403, "not_allowed")
