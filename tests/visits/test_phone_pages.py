"""The technician's pages: who gets them, what they say, and what they cost."""

from datetime import date, time, timedelta
from hashlib import sha256

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import make_photo_bytes
from tests.builders.phone import Phone
from tests.builders.sites import make_site
from tests.builders.visits import (
    local,
    look_everywhere,
    make_visit,
    record_some_of_all,
)
from visits.models import Visit
from visits.phone_pages import phone_pages
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
)

pytestmark = pytest.mark.django_db

TODAY = timezone.now().date()
OWN_PAGES = ("start", "walk", "close")


@pytest.fixture
def site():
    return make_site(
        zones=2,
        monitors=1,
        hazards="Low beam at the cellar stairs.",
        access_note="Ring at the yard gate.",
    )


@pytest.fixture
def visit(site, office, technician) -> Visit:
    return make_visit(
        site,
        state="booked",
        by=office,
        technician=technician,
        due_on=TODAY,
        kind="routine",
        time=time(9, 30),
        office_note="Ask about the delivery door.",
    )


@pytest.fixture
def signed_in(client, technician):
    client.force_login(technician)
    return client


def address(name: str, visit: Visit) -> str:
    return reverse(f"visits:{name}", args=[visit.pk])


# --- the pages ------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", OWN_PAGES)
@pytest.mark.parametrize("state", ["booked", "under_way", "closed"])
def test_a_page_of_a_visit_is_the_file_that_the_phone_keeps(
    client, site, office, technician, page, state
):
    """Byte for byte the same, whoever asks and whatever the visit: nothing of anybody is in it."""
    visit = make_visit(site, state=state, by=office, technician=technician, due_on=TODAY)
    client.force_login(technician)

    own = client.get(address(page, visit))

    assert own.content == Client().get(reverse("visits:phone_page", args=[page])).content
    assert site.name not in own.content.decode()


def test_the_day_is_a_file_as_well(signed_in):
    own = signed_in.get(reverse("visits:my_day"))

    assert own.content == Client().get(reverse("visits:phone_page", args=["day"])).content


@pytest.mark.parametrize("page", phone_pages())
def test_every_page_says_what_to_do_where_script_is_off(client, page):
    answer = client.get(reverse("visits:phone_page", args=[page]))

    said = answer.content.decode().partition("<noscript>")[2].partition("</noscript>")[0]
    assert "Turn script on" in said
    assert "call the office" in said


@pytest.mark.parametrize("page", OWN_PAGES)
@pytest.mark.parametrize("person", [make_office, make_technician, make_auditor])
def test_nobody_else_gets_a_technicians_pages(client, visit, page, person):
    client.force_login(person())

    assert client.get(address(page, visit)).status_code == 404


def test_a_colleague_at_the_same_site_gets_them_no_more_than_a_stranger(client, visit, office):
    colleague = make_technician()
    make_visit(visit.site, state="booked", by=office, technician=colleague, due_on=TODAY)
    client.force_login(colleague)

    hidden = client.get(address("start", visit))

    assert hidden.status_code == 404


# --- what it costs --------------------------------------------------------------------------------


@pytest.fixture(params=[1, 8], ids=["one", "eight"])
def many(request, office, technician) -> list[Visit]:
    """One visit, or eight, each with something of everything, after a visit that was closed."""
    visits = []
    for n in range(request.param):
        site = make_site(zones=2 * request.param, monitors=2)
        make_visit(
            site,
            state="closed",
            by=office,
            technician=technician,
            due_on=TODAY - timedelta(14),
        )
        visit = make_visit(
            site,
            state="under_way",
            by=office,
            technician=technician,
            due_on=TODAY,
            time=time(8 + n, 0),
        )
        record_some_of_all(visit)
        visits.append(visit)
    return visits


@pytest.mark.parametrize("page", OWN_PAGES)
def test_the_pages_cost_next_to_nothing(signed_in, many, page, django_assert_max_num_queries):
    with django_assert_max_num_queries(6):
        assert signed_in.get(address(page, many[0])).status_code == 200


def test_a_report_costs_the_same_for_more(client, office, many, django_assert_max_num_queries):
    visit = many[0]
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        contact=ContactGiven(no_signature_reason="Nobody there."),
    )
    client.force_login(office)

    with django_assert_max_num_queries(26):
        assert client.get(visit.get_absolute_url()).status_code == 200


# --- where the phone sends to ---------------------------------------------------------------------

SYNC = reverse("visits:sync")


def send(client, *operations, **more):
    return client.post(SYNC, {"operations": operations, **more}, content_type="application/json")


def test_the_phone_asks_who_is_signed_in_and_gets_a_token(signed_in, technician):
    answer = signed_in.get(SYNC).json()

    assert answer["person"] == {"id": str(technician.pk), "name": technician.name}
    assert answer["csrf"]


def test_a_batch_is_answered_operation_by_operation(signed_in, visit):
    phone = Phone(visit)

    answer = send(signed_in, phone.op("visit.start"), {"id": 7}, phone.op("look.add"))

    assert answer.status_code == 200
    verdicts = [one["verdict"] for one in answer.json()["answers"]]
    assert verdicts == ["applied", "refused", "parked"]


def test_a_post_without_the_token_is_refused_and_changes_nothing(technician, visit):
    client = Client(enforce_csrf_checks=True)
    client.force_login(technician)

    assert send(client, Phone(visit).op("visit.start")).status_code == 403
    token = client.get(SYNC).json()["csrf"]
    answer = client.post(
        SYNC,
        {"operations": [Phone(visit).op("visit.start")]},
        content_type="application/json",
        headers={"X-CSRFToken": token},
    )

    assert answer.json()["answers"][0]["verdict"] == "applied"


def test_nobody_signed_in_is_told_so_and_not_led_to_a_form(client, visit):
    """The queue must see that it has to sign in; a page of HTML would look like a line."""
    for answer in (client.get(SYNC), send(client, Phone(visit).op("visit.start"))):
        assert answer.status_code == 401
        assert answer["Content-Type"] == "application/json"


@pytest.mark.parametrize("person", [make_office, make_manager, make_auditor])
def test_others_are_told_that_this_is_for_technicians(client, visit, person):
    client.force_login(person())

    assert send(client, Phone(visit).op("visit.start")).status_code == 403
    assert client.get(reverse("visits:package")).status_code == 403


@pytest.mark.parametrize(
    "body",
    [b"", b"[]", b"7", b"null", b'{"operations": 7}', b'{"operations"', b"[" * 100_000, b"\xff"],
    ids=["empty", "list", "number", "null", "no list", "cut", "deep", "no text"],
)
def test_noise_is_an_error_of_the_sender(signed_in, body):
    answer = signed_in.post(SYNC, body, content_type="application/json")

    assert 400 <= answer.status_code < 500


def test_what_one_recorded_is_not_sent_in_the_name_of_another(client, visit):
    """Two people share a phone; the second is signed in when the first one's records are sent."""
    second = make_technician()
    client.force_login(second)

    answer = send(client, Phone(visit).op("visit.start"), person=str(visit.technician_id))

    assert (answer.status_code, answer.json()["code"]) == (409, "other_person")
    visit.refresh_from_db()
    assert visit.state == "booked"


def test_two_hundred_looks_in_two_requests(signed_in, office, technician):
    site = make_site(zones=40)
    visit = make_visit(site, state="booked", by=office, technician=technician, due_on=TODAY)
    phone = Phone(visit)
    looks = [
        phone.op("look.add", checkpoint=one)
        for zone in site.zones.all()
        for one in zone.checkpoints.all()
    ]

    for start in range(0, len(looks), 100):
        assert send(signed_in, *looks[start : start + 100]).status_code == 200

    assert visit.looks.count() == len(looks) == 120


# --- photos ---------------------------------------------------------------------------------------


def test_a_photo_is_known_by_the_hash_of_what_was_sent(signed_in, visit):
    data = make_photo_bytes()

    answer = signed_in.post(
        address("photo", visit),
        {"photo": SimpleUploadedFile("a.png", data), "taken_at": "2026-12-08T09:00:00Z"},
    )

    assert answer.status_code == 201
    assert answer.json()["sha256"] == sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("name", "data"),
    [("a.jpg", b"<svg/>"), ("a.png", b""), ("", b"")],
    ids=["svg", "empty", "none"],
)
def test_what_is_no_picture_is_refused(signed_in, visit, name, data):
    given = {"photo": SimpleUploadedFile(name, data)} if name else {}

    assert signed_in.post(address("photo", visit), given).status_code in {400, 422}


# --- the report -----------------------------------------------------------------------------------


@pytest.fixture
def closed(site, office, technician) -> Visit:
    visit = make_visit(
        site,
        state="under_way",
        by=office,
        technician=technician,
        due_on=date(2026, 11, 10),
        office_note="They still owe us for May.",
    )
    look_everywhere(visit)
    record_some_of_all(visit)
    return close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        contact=ContactGiven(
            contact_name="Ana Prior",
            signature=[[[0.1, 0.5], [0.9, 0.2]]],
            summary="Wasps at the store.",
        ),
    )


def report(client, person, visit):
    client.force_login(person)
    return client.get(visit.get_absolute_url())


def test_the_report_is_read_by_everybody_who_may_see_the_visit(client, closed, office, technician):
    manager = make_manager(client=closed.site.client)
    for person in (office, technician, manager):
        words = report(client, person, closed).content.decode()
        for told in ("Wasps at the store", "Ana Prior", closed.seal, "Wasp", "Locked"):
            assert told in words


def test_the_offices_note_is_for_the_office_alone(client, closed, office, technician):
    manager = make_manager(client=closed.site.client)

    assert "owe us for May" in report(client, office, closed).content.decode()
    for person in (technician, manager):
        assert "owe us for May" not in report(client, person, closed).content.decode()


def test_another_clients_manager_does_not_see_it(client, closed):
    assert report(client, make_manager(), closed).status_code == 404


def test_the_report_reads_as_it_did_that_day(client, closed, office):
    zone = closed.site.zones.order_by("walk_order").first()
    was = zone.name
    zone.name = "Renamed since"
    zone.save()

    words = report(client, office, closed).content.decode()

    assert was in words
    assert "Renamed since" not in words
    assert "Holds" in words


def test_the_report_says_that_its_seal_does_not_hold(client, closed, office):
    closed.findings.update(note="All well.")

    words = report(client, office, closed).content.decode()

    assert "The seal of this visit does not hold" in words
    assert "what is stored of the findings is not what was sealed" in words


def test_a_report_whose_sealed_words_cannot_be_read_is_still_a_page(client, closed, office):
    Visit.objects.filter(pk=closed.pk).update(sealed_record="{")

    answer = report(client, office, closed)

    assert answer.status_code == 200
    assert "its sealed words cannot be read" in answer.content.decode()


def test_an_amendment_stands_beside_the_report(client, closed, office):
    client.force_login(office)
    words = {"about": "Monitor 1", "correction": "Two wasps.", "reason": "Miscounted."}

    empty = client.post(address("amend", closed), {**words, "reason": " "})
    answer = client.post(address("amend", closed), words, follow=True)

    assert empty.status_code == 422
    assert "Two wasps." in answer.content.decode()
    assert closed.amendments.count() == 1


@pytest.mark.parametrize(
    ("person", "status"), [("manager", 403), ("stranger", 404), ("technician", 200)]
)
def test_who_may_amend(client, closed, technician, person, status):
    who = {
        "manager": lambda: make_manager(client=closed.site.client),
        "stranger": make_manager,
        "technician": lambda: technician,
    }[person]()
    client.force_login(who)

    assert client.get(address("amend", closed)).status_code == status
