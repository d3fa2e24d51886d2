"""A phone's log that was saved to a file: loaded whole, once, and placed by a person."""

import base64
import io
import json
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from threading import Barrier, Thread
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, connections
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from accounts.ids import uuid7
from accounts.models import Branch, TrailEntry
from accounts.refusals import NotAllowed
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import make_photo_bytes
from tests.builders.phone import Phone
from tests.builders.sites import make_site
from tests.builders.visits import make_visit
from visits.models import Finding, Look, Operation, ParkedOperation, ParkedPhoto, Visit
from visits.services import log_files
from visits.services.booking import call_off_visit
from visits.services.log_files import REASON, NoLog, load_log
from visits.services.parked import place_all_parked, set_aside_parked
from visits.services.sync import apply_operation, apply_operations
from visits.verification import breaks_of_site

pytestmark = [
    pytest.mark.django_db,
]

EVENING = datetime(2026, 12, 8, 18, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def evening():
    """Six on the day of the visits."""
    with time_machine.travel(EVENING):
        yield


@pytest.fixture
def visit(office, technician) -> Visit:
    return make_visit(state="booked", zones=1, monitors=1, by=office, technician=technician)


@pytest.fixture
def phone(visit) -> Phone:
    return Phone(visit)


@pytest.fixture
def signed_in(client, office):
    client.force_login(office)
    return client


def saved(phone, operations=(), photos=(), **changes) -> dict[str, Any]:
    """What a phone writes into its file."""
    person = phone.visit.technician
    return {
        "form": "kickplate-log-1",
        "person": {"id": str(person.pk), "name": person.name},
        "device": phone.device,
        "saved_at": "2026-12-08T11:00:00.000Z",
        "operations": list(operations),
        "photos": list(photos),
        **changes,
    }


def as_file(log: Any) -> io.BytesIO:
    return io.BytesIO(log if isinstance(log, bytes) else json.dumps(log).encode())


def a_photo(visit, data=None, **changes) -> dict[str, Any]:
    data = make_photo_bytes() if data is None else data
    return {
        "sha256": sha256(data).hexdigest(),
        "visit": str(visit.pk),
        "taken_at": "2026-12-08T09:12:00.000Z",
        "type": "image/jpeg",
        "data": base64.b64encode(data).decode(),
        **changes,
    }


def a_walk(phone) -> list[dict[str, Any]]:
    """A visit from its start to its closing, five records."""
    site = phone.visit.site
    low, reach, _ = site.zones.get().checkpoints.order_by("walk_order")
    return [
        phone.op("visit.start"),
        phone.op("look.add", checkpoint=low),
        phone.op("look.add", checkpoint=reach),
        phone.op("reading.set", monitor=site.monitors.get(), counts={"wasp": 2}),
        phone.close(),
    ]


def numbers(loaded) -> tuple[int, ...]:
    return (
        loaded.to_place,
        loaded.here_before,
        loaded.unreadable,
        loaded.photos,
        loaded.photos_here,
        len(loaded.photos_left),
    )


def kept() -> tuple[int, ...]:
    return (
        ParkedOperation.objects.count(),
        ParkedPhoto.objects.count(),
        TrailEntry.objects.filter(verb="log.loaded").count(),
    )


# --- loaded whole, and once -----------------------------------------------------------------------


def test_every_record_is_parked_whole_for_who_recorded_it(phone, visit, technician, office):
    operations = a_walk(phone)

    loaded = load_log(as_file(saved(phone, operations)), by=office)

    assert numbers(loaded) == (5, 0, 0, 0, 0, 0)
    parked = sorted(ParkedOperation.objects.all(), key=lambda one: one.sent["seq"])
    assert [one.sent for one in parked] == operations
    assert {(one.person, one.visit, one.code, one.reason) for one in parked} == {
        (technician, visit, "by_file", REASON)
    }
    assert not Operation.objects.exists()
    visit.refresh_from_db()
    assert visit.state == "booked"


def test_the_trail_says_who_loaded_what_in_numbers(phone, technician, office):
    data = json.dumps(saved(phone, a_walk(phone), [a_photo(phone.visit)])).encode()

    load_log(io.BytesIO(data), by=office)

    entry = TrailEntry.objects.get(verb="log.loaded")
    assert (entry.actor, entry.target_id) == (office, str(technician.pk))
    assert entry.facts == {
        "file": sha256(data).hexdigest(),
        "device": phone.device,
        "saved_at": "2026-12-08T11:00:00Z",
        "to_place": 5,
        "here_before": 0,
        "unreadable": 0,
        "photos": 1,
        "photos_here": 0,
        "photos_left": 0,
    }


def test_the_same_file_twice_adds_nothing(phone, office):
    log = saved(phone, a_walk(phone), [a_photo(phone.visit)])
    load_log(as_file(log), by=office)

    again = load_log(as_file(log), by=office)

    assert numbers(again) == (0, 5, 0, 0, 1, 0)
    assert kept() == (5, 1, 2)


def test_the_same_record_twice_in_one_file_is_one(phone, office):
    operation = phone.op("visit.start")

    loaded = load_log(as_file(saved(phone, [operation, operation])), by=office)

    assert numbers(loaded) == (1, 0, 0, 0, 0, 0)


def test_what_was_settled_is_not_brought_back(phone, office):
    log = saved(phone, [phone.op("visit.start")])
    load_log(as_file(log), by=office)
    set_aside_parked(ParkedOperation.objects.get().pk, by=office, note="A practice run.")

    assert numbers(load_log(as_file(log), by=office)) == (0, 1, 0, 0, 0, 0)


def test_what_the_phone_had_sent_before_is_here_already(phone, technician, office):
    operations = a_walk(phone)
    apply_operations(operations[:3], by=technician)

    loaded = load_log(as_file(saved(phone, operations)), by=office)

    assert numbers(loaded) == (2, 3, 0, 0, 0, 0)
    assert Look.objects.count() == 2


def test_what_the_phone_sends_after_all_is_told_that_it_is_here(phone, visit, technician, office):
    operations = a_walk(phone)
    load_log(as_file(saved(phone, operations)), by=office)

    answers = apply_operations(json.loads(json.dumps(operations)), by=technician)

    assert [answer["id"] for answer in answers] == [op["id"] for op in operations]
    assert {(answer["verdict"], answer["code"], answer["again"]) for answer in answers} == {
        ("parked", "by_file", True)
    }
    assert ParkedOperation.objects.count() == 5
    visit.refresh_from_db()
    assert visit.state == "booked"


def test_a_closing_does_not_wait_for_what_came_in_a_file(phone, visit, technician, office):
    """The file was saved in mid-visit; the phone came back to life and closed it."""
    *operations, close = a_walk(phone)
    apply_operation(operations[0], by=technician)
    apply_operation(operations[1], by=technician)
    load_log(as_file(saved(phone, operations)), by=office)

    assert apply_operation(close, by=technician)["verdict"] == "applied"

    visit.refresh_from_db()
    assert visit.state == "closed"


def test_a_closing_still_waits_for_what_is_nowhere(phone, technician, office):
    *operations, close = a_walk(phone)
    load_log(as_file(saved(phone, operations[:2])), by=office)
    apply_operation(operations[2], by=technician)

    assert apply_operation(close, by=technician)["verdict"] == "wait"


def test_a_changed_file_stands_in_the_way_of_no_phone(phone, technician, office):
    """What a file says is only parked: the phone's own words are applied all the same."""
    operation = phone.op("reading.set", monitor=phone.visit.site.monitors.get(), counts={"wasp": 2})
    forged = {**operation, "body": {**operation["body"], "counts": {"wasp": 900}}}
    load_log(as_file(saved(phone, [forged])), by=office)

    assert apply_operation(operation, by=technician)["verdict"] == "applied"

    loaded = load_log(as_file(saved(phone, [{**forged, "seq": 9}])), by=office)
    assert numbers(loaded) == (1, 0, 0, 0, 0, 0)
    assert ParkedOperation.objects.filter(reason__contains="same id came before").count() == 1


def test_a_file_made_out_to_somebody_else_is_nobodys_own_record(phone, technician, office):
    operations = a_walk(phone)
    apply_operations(operations, by=technician)
    other = make_technician()
    named = {"id": str(other.pk), "name": other.name}

    load_log(as_file(saved(phone, operations, person=named)), by=office)

    reasons = ParkedOperation.objects.values_list("reason", "person").distinct()
    assert list(reasons) == [(log_files.OTHER_CONTENT, other.pk)]


def test_who_may_sign_in_no_more_has_recorded_it_all_the_same(phone, technician, office):
    technician.is_active = False
    technician.save()

    loaded = load_log(
        as_file(saved(phone, [phone.op("visit.start")], [a_photo(phone.visit)])), by=office
    )

    assert numbers(loaded) == (1, 0, 0, 1, 0, 0)


def test_a_visit_of_another_branch_is_as_unknown_as_one_that_never_was(visit, phone, office):
    own, other = Branch.objects.create(name="North"), Branch.objects.create(name="South")
    visit.site.branch = other
    visit.site.save()
    limited, at_home = make_office(), make_office()
    limited.branches.set([own])
    at_home.branches.set([other])
    absent = {**phone.op("visit.start"), "visit": str(uuid7())}

    load_log(as_file(saved(phone, [phone.op("visit.start"), absent])), by=limited)
    assert set(ParkedOperation.objects.values_list("visit", flat=True)) == {None}

    load_log(as_file(saved(phone, [phone.op("visit.start")])), by=at_home)
    assert ParkedOperation.objects.filter(visit=visit).count() == 1


# --- photos ---------------------------------------------------------------------------------------


def a_finding(phone, photo) -> dict[str, Any]:
    zone = phone.visit.site.zones.get()
    return phone.op(
        "finding.set", finding=str(uuid7()), zone=zone, kind="signs", photos=[photo["sha256"]]
    )


def test_a_photo_waits_beside_its_record_and_is_placed_with_it(phone, visit, technician, office):
    photo = a_photo(visit)

    loaded = load_log(as_file(saved(phone, [a_finding(phone, photo)], [photo])), by=office)

    assert numbers(loaded) == (1, 0, 0, 1, 0, 0)
    parked = ParkedPhoto.objects.get()
    assert (parked.person, parked.given_sha256) == (technician, photo["sha256"])
    assert parked.taken_at == datetime(2026, 12, 8, 9, 12, tzinfo=UTC)
    assert TrailEntry.objects.get(verb="photo.parked").actor == office
    place_all_parked([ParkedOperation.objects.get().pk], by=office, visit_id=visit.pk)
    finding = Finding.objects.get()
    assert (finding.shown_by.count(), finding.awaits) == (1, [])


def test_a_photo_that_a_finding_on_record_waits_for_is_hung_there(phone, visit, technician, office):
    """Its hash is on record: nobody has to take the file at its word."""
    photo = a_photo(visit)
    apply_operation(a_finding(phone, photo), by=technician)

    loaded = load_log(as_file(saved(phone, [], [photo])), by=office)

    assert numbers(loaded) == (0, 0, 0, 1, 0, 0)
    finding = Finding.objects.get()
    assert (finding.shown_by.count(), finding.awaits) == (1, [])
    again = load_log(as_file(saved(phone, [], [photo])), by=office)
    assert numbers(again) == (0, 0, 0, 0, 1, 0)


SVG = b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><script>1</script></svg>'


BAD_PHOTOS = {
    "an SVG": (lambda good, visit: a_photo(visit, SVG), "not a picture"),
    "half a picture": (lambda good, visit: a_photo(visit, make_photo_bytes()[:60]), "damaged"),
    "no base64": (lambda good, visit: {**good, "data": "§§§"}, "damaged in the file"),
    "more than base64": (lambda good, visit: {**good, "data": good["data"] + "\n"}, "damaged in"),
    "another picture": (lambda good, visit: {**good, "sha256": "a" * 64}, "its hash is another"),
    "a hash of words": (lambda good, visit: {**good, "sha256": "../../etc"}, "which photo"),
    "no visit": (lambda good, visit: {**good, "visit": "kitchen"}, "which photo of which visit"),
    "visit is a list": (lambda good, visit: {**good, "visit": [1]}, "which photo of which visit"),
    "no data": (lambda good, visit: {**good, "data": None}, "no picture in it"),
    "data is a number": (lambda good, visit: {**good, "data": 7}, "no picture in it"),
    "too large": (lambda good, visit: {**good, "data": "A" * 21_000_000}, "too large"),
    "a number": (lambda good, visit: 7, "which photo of which visit"),
    "a list": (lambda good, visit: [good], "which photo of which visit"),
}


@pytest.mark.parametrize("how", BAD_PHOTOS)
def test_a_photo_that_cannot_be_kept_is_named_and_stops_nothing(phone, visit, office, how):
    bad, why = BAD_PHOTOS[how]
    photos = [bad(a_photo(visit), visit), a_photo(visit)]

    loaded = load_log(as_file(saved(phone, [phone.op("visit.start")], photos)), by=office)

    assert numbers(loaded) == (1, 0, 0, 1, 0, 1)
    (left,) = loaded.photos_left
    assert left.name.startswith("Photo 1")
    assert why in left.why


@pytest.mark.parametrize(
    "taken_at", [None, 7, "teatime", "2026-02-30T09:00:00Z", "2026-12-08T09:00"]
)
def test_a_photo_without_a_time_is_a_photo(phone, visit, office, taken_at):
    loaded = load_log(as_file(saved(phone, [], [a_photo(visit, taken_at=taken_at)])), by=office)

    assert numbers(loaded) == (0, 0, 0, 1, 0, 0)
    assert ParkedPhoto.objects.get().taken_at is None


def test_a_photo_for_which_there_is_no_room_is_named(phone, visit, office, settings):
    settings.PERSON_DAY_MEGABYTES = 0

    loaded = load_log(as_file(saved(phone, [phone.op("visit.start")], [a_photo(visit)])), by=office)

    assert numbers(loaded) == (1, 0, 0, 0, 0, 1)
    assert loaded.photos_left[0].name == "Photo 1, taken Tue 8 Dec 2026, 09:12"


# --- bad files ------------------------------------------------------------------------------------

DEEP = b'{"form": "kickplate-log-1", "operations": ' + b"[" * 100_000 + b"]" * 100_000 + b"}"


BAD_FILES = {
    "empty": lambda good: b"",
    "not JSON": lambda good: b"%PDF-1.7 this is something else",
    "half a file": lambda good: json.dumps(good).encode()[:-40],
    "not UTF-8": lambda good: json.dumps(good).encode("utf-16"),
    "a list": lambda good: [good],
    "a number": lambda good: 7,
    "no form": lambda good: {**good, "form": None},
    "another form": lambda good: {**good, "form": "kickplate-log-2"},
    "deep": lambda good: DEEP,
    "not a number": lambda good: json.dumps({**good, "saved_at": float("nan")}).encode(),
    "a huge number": lambda good: json.dumps(good).encode()[:-1] + b', "n": ' + b"9" * 5000 + b"}",
    "no person": lambda good: {**good, "person": None},
    "person is a word": lambda good: {**good, "person": "Ada"},
    "person is a list": lambda good: {**good, "person": {"id": ["x"]}},
    "person unknown": lambda good: {**good, "person": {"id": str(uuid7()), "name": "Ada"}},
    "person is no technician": lambda good: {**good, "person": {"id": str(make_manager().pk)}},
    "operations are a word": lambda good: {**good, "operations": "many"},
    "operations are nothing": lambda good: {**good, "operations": None},
    "photos are an object": lambda good: {**good, "photos": {"0": {}}},
    "more records than a phone keeps": lambda good: {**good, "operations": [None] * 5001},
    "more photos than a phone keeps": lambda good: {**good, "photos": [None] * 501},
    "more parts than a phone makes": lambda good: (
        json.dumps(good).encode()[:-1] + b', "x": [' + b"[]," * 600_000 + b"[]]}"
    ),
}


@pytest.mark.parametrize("how", BAD_FILES)
def test_a_bad_file_is_refused_and_nothing_of_it_is_kept(phone, visit, office, how):
    good = saved(phone, [phone.op("visit.start")], [a_photo(visit)])

    with pytest.raises(NoLog) as refused:
        load_log(as_file(BAD_FILES[how](good)), by=office)

    assert str(refused.value).endswith(".")
    assert kept() == (0, 0, 0)


def test_a_file_beyond_all_size_is_refused(phone, office):
    class Endless(io.RawIOBase):
        def read(self, size=-1):
            assert 0 < size <= log_files.MOST_LOG_BYTES + 1
            return b" " * size

    with pytest.raises(NoLog, match="larger than 60 MB"):
        load_log(Endless(), by=office)


BENT = {
    "kind unknown": ({"kind": "visit.abolish"}, 1),
    "visit is a word": ({"visit": "kitchen"}, 1),
    "seq is a word": ({"seq": "first"}, 1),
    "a nul": ({"body": {"note": "a\x00b"}}, 1),
    "half a character": ({"body": {"note": "\ud800"}}, 1),
    "a number beyond all numbers": ({"body": {"count": 1e999}}, 1),
    "a long number": ({"body": {"count": 10**4000}}, 1),
    "no id": ({"id": None}, 0),
    "id is a word": ({"id": "one"}, 0),
    "deep": ({"body": {"a": [[[[[[[[[[[[[]]]]]]]]]]]]]}}, 0),
    "huge": ({"body": {"note": "x" * 70_000}}, 0),
}


@pytest.mark.parametrize("how", BENT)
def test_a_bent_record_is_kept_if_it_can_be_and_counted_if_not(phone, technician, office, how):
    change, is_kept = BENT[how]
    bent = {**phone.op("visit.start"), **change}
    text = json.dumps(saved(phone, [bent, phone.op("visit.start")])).replace("Infinity", "1e999")

    loaded = load_log(as_file(text.encode()), by=office)

    assert numbers(loaded) == (1 + is_kept, 0, 1 - is_kept, 0, 0, 0)
    if is_kept:
        (answer,) = apply_operations([json.loads(json.dumps(bent))], by=technician)
        assert (answer["code"], answer["again"]) == ("by_file", True)


def test_device_and_time_are_told_only_where_they_are_such(phone, office):
    log = saved(phone, [], device={"a": "\ud800"}, saved_at="\x00")

    load_log(as_file(log), by=office)

    facts = TrailEntry.objects.get(verb="log.loaded").facts
    assert (facts["device"], facts["saved_at"]) == ("", None)


@pytest.mark.parametrize("person", [make_technician, make_manager, make_auditor])
def test_only_the_office_loads(phone, person):
    with pytest.raises(NotAllowed):
        load_log(as_file(saved(phone, [phone.op("visit.start")])), by=person())

    assert kept() == (0, 0, 0)


def test_what_a_file_costs_does_not_grow_with_its_records(phone, office):
    load_log(as_file(saved(phone)), by=office)  # begins a chain of the trail
    costs = []
    for many in (10, 90):
        log = saved(phone, [phone.op("visit.start") for _ in range(many)])
        with CaptureQueriesContext(connection) as captured:
            load_log(as_file(log), by=office)
        costs.append(len(captured.captured_queries))

    assert costs[1] <= costs[0] + 1 <= 15  # SQLite takes so many values at once, and no more


@pytest.mark.django_db(transaction=True)
def test_a_file_that_is_loaded_while_the_phone_sends_the_same_takes_each_record_once():
    technician, office = make_technician(), make_office()
    visit = make_visit(state="booked", zones=8, by=office, technician=technician)
    phone = Phone(visit)
    operations = [
        phone.op("look.add", checkpoint=one)
        for zone in visit.site.zones.all()
        for one in zone.checkpoints.all()
    ]
    operations.append({**phone.op("visit.start"), "visit": str(uuid7())})
    log = json.dumps(saved(phone, operations))
    barrier, answers = Barrier(2), []

    def send() -> None:
        try:
            barrier.wait(10)
            answers.extend(apply_operations(operations, by=technician))
        finally:
            connections.close_all()

    def load() -> None:
        try:
            barrier.wait(10)
            load_log(io.BytesIO(log.encode()), by=office)
        finally:
            connections.close_all()

    threads = [Thread(target=send), Thread(target=load)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)

    applied = set(Operation.objects.filter(verdict="applied").values_list("pk", flat=True))
    parked = set(ParkedOperation.objects.values_list("operation_id", flat=True))
    assert len(answers) == len(operations) == 25
    assert not applied & parked
    assert {str(one) for one in applied | parked} == {op["id"] for op in operations}
    assert Look.objects.count() == len(applied)


# --- placed from start to closing -----------------------------------------------------------------


def test_a_lost_phones_whole_visit_is_loaded_and_placed(office, technician, signed_in):
    """By its two pages, as the office does it."""
    site = make_site(zones=20, monitors=6)
    visit = make_visit(site, state="booked", by=office, technician=technician)
    phone = Phone(visit)
    operations = [phone.op("visit.start")]
    for zone in site.zones.order_by("walk_order"):
        operations += [phone.op("look.add", checkpoint=one) for one in zone.checkpoints.all()]
        operations += [
            phone.op("reading.set", monitor=one, counts={"wasp": 1}) for one in zone.monitors.all()
        ]
    operations = [*operations, *(phone.op("visit.start") for _ in range(18)), phone.close()]
    log = json.dumps(saved(phone, operations)).encode()

    page = signed_in.post(reverse("visits:load_log"), {"file": SimpleUploadedFile("log.json", log)})
    first = page.context["waiting"][0].first
    placed = signed_in.post(
        reverse("visits:inbox_item", args=[first.pk]),
        {"step": "place", "place-visit": str(visit.pk), "place-together": "on"},
    )

    assert len(operations) == 200
    assert "200 records to place" in page.content.decode()
    assert placed.status_code == 302
    visit.refresh_from_db()
    assert (visit.state, visit.looks.count(), visit.readings.count()) == ("closed", 60, 120)
    assert not ParkedOperation.objects.filter(settled_at=None).exists()
    assert breaks_of_site(site) == []


# --- the page -------------------------------------------------------------------------------------


def post(client, log: Any):
    data = log if isinstance(log, bytes) else json.dumps(log).encode()
    return client.post(reverse("visits:load_log"), {"file": SimpleUploadedFile("log.json", data)})


def test_the_page_says_in_numbers_what_became_of_it(signed_in, phone, visit, technician):
    operations = a_walk(phone)
    apply_operations(operations[:2], by=technician)
    photos = [a_photo(visit), a_photo(visit, SVG)]

    html = post(signed_in, saved(phone, operations, photos)).content.decode()

    text = " ".join(html.split())
    assert "3 records to place" in text
    assert "2 were here already" in text
    assert "1 photo kept with them" in text
    assert "1 photo could not be kept" in text
    assert "Photo 2, taken Tue 8 Dec 2026, 09:12" in text
    assert (
        reverse("visits:inbox_item", args=[ParkedOperation.objects.earliest("created_at").pk])
        in html
    )


def test_the_page_warns_that_a_file_is_taken_at_its_word(signed_in):
    html = signed_in.get(reverse("visits:load_log")).content.decode()

    assert "Place it only if you know where it came from." in html
    assert reverse("visits:load_log") in signed_in.get(reverse("visits:inbox")).content.decode()


@pytest.mark.parametrize("is_known", [True, False])
def test_what_is_placed_together_stands_in_one_line_of_the_inbox(
    signed_in, phone, technician, visit, is_known
):
    operations = a_walk(phone)
    other = Phone(make_visit(state="booked", by=make_office(), technician=technician))
    if not is_known:
        absent = str(uuid7())
        operations = [{**one, "visit": absent} for one in operations]
    post(signed_in, saved(phone, [*operations, other.op("visit.start")]))

    page = signed_in.get(reverse("visits:inbox"))

    assert [one.together for one in page.context["page"]] == [5, 1]
    assert "the first of 5 records that are placed together" in page.content.decode()
    settle = ParkedOperation.objects.order_by("created_at")
    for parked in settle[:2]:
        set_aside_parked(parked.pk, by=make_office(), note="Seen.")
    page = signed_in.get(reverse("visits:inbox"), {"settled": "on"})
    assert [one.together for one in page.context["page"]] == [3, 1, 1, 1]


def test_a_file_that_comes_months_late_still_finds_its_visit(signed_in, phone, visit):
    """Its visit is not known by that id; what it may be is found by the day it was made."""
    log = saved(phone, [{**phone.op("visit.start"), "visit": str(uuid7())}])
    with time_machine.travel(EVENING + timedelta(days=120)):
        signed_in.force_login(make_office())
        post(signed_in, log)
        parked = ParkedOperation.objects.get()
        page = signed_in.get(reverse("visits:inbox_item", args=[parked.pk]))

    offered = [value for value, _ in page.context["place"].fields["visit"].choices]
    assert offered == [str(visit.pk)]


def test_a_wrong_file_is_refused_in_words_on_the_page(signed_in, phone):
    answer = post(signed_in, b"%PDF-1.7")

    assert answer.status_code == 422
    assert "it is no file that a phone has saved" in answer.content.decode()
    assert kept() == (0, 0, 0)


def test_a_large_file_gets_through_and_a_larger_one_is_told_so(signed_in, phone, monkeypatch):
    """A file is larger than what a form may hold in memory."""
    log = saved(phone, [phone.op("visit.start")], padding="x" * 9_000_000)

    assert post(signed_in, log).status_code == 200
    assert kept()[0] == 1

    monkeypatch.setattr("visits.views.inbox.LoadLog.base_fields", {**base_fields(4_000_000)})
    answer = post(signed_in, log)
    assert answer.status_code == 422
    assert "at most 4 MB" in answer.content.decode()


def base_fields(most_bytes: int) -> dict[str, Any]:
    from visits.forms.inbox import LoadLog, UploadField

    return {**LoadLog.base_fields, "file": UploadField(most_bytes=most_bytes, kinds=".json")}


def test_what_waits_for_a_visit_that_was_called_off_is_placed_on_another(
    signed_in, phone, visit, office, technician
):
    call_off_visit(visit.pk, by=office, reason="The site is shut.")
    page = post(signed_in, saved(phone, [phone.op("visit.start")]))
    other = make_visit(visit.site, state="booked", by=office, technician=technician)
    (waiting,) = page.context["waiting"]

    signed_in.post(
        reverse("visits:inbox_item", args=[waiting.first.pk]),
        {"step": "place", "place-visit": str(other.pk)},
    )

    other.refresh_from_db()
    assert (waiting.visit, other.state) == (visit, "under_way")
