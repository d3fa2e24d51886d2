"""Photos in pieces: a line that breaks off costs one piece, and no photo is ever dropped."""

from datetime import timedelta
from hashlib import sha256
from io import BytesIO
from threading import Barrier, Thread
from typing import Any

import pytest
import time_machine
from django.db import connections
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from accounts.ids import uuid7
from accounts.models import User
from sites.media import MOST_PHOTO_BYTES
from sites.models import Photo
from tests.builders.accounts import make_office, make_technician
from tests.builders.phone import Phone
from tests.builders.sites import make_site
from tests.builders.visits import make_visit
from visits.models import Finding, ParkedOperation, ParkedPhoto, PhotoPart, Visit
from visits.services.booking import call_off_visit
from visits.services.parked import place_parked
from visits.services.photo_parts import Piece, sweep_photo_parts, take_part
from visits.services.sync import apply_operation

pytestmark = pytest.mark.django_db


def _jpeg() -> bytes:
    """Some kilobytes of a picture."""
    out = BytesIO()
    Image.effect_noise((64, 64), 60).convert("RGB").save(out, "JPEG")
    return out.getvalue()


DATA = _jpeg()
GIVEN = sha256(DATA).hexdigest()
LENGTH = len(DATA)


@pytest.fixture
def visit(office, technician) -> Visit:
    site = make_site(zones=1)
    return make_visit(
        site,
        state="under_way",
        by=office,
        technician=technician,
        due_on=timezone.now().date(),
        kind="routine",
    )


class Line:
    """What a phone sends and hears about one photo."""

    def __init__(self, client: Any, visit_id: Any, person: User, data: bytes = DATA) -> None:
        client.force_login(person)
        self.client, self.person, self.data = client, person, data
        self.address = reverse("visits:photo_part", args=[visit_id, sha256(data).hexdigest()])

    def put(self, start: int, end: int, *, total: int | None = None, **headers: str) -> Any:
        body = self.data[start:end]
        return self.client.put(
            self.address,
            body,
            content_type="application/octet-stream",
            headers={
                "Content-Range": f"bytes {start}-{end - 1}/{total or len(self.data)}",
                "X-Person": str(self.person.pk),
                **headers,
            },
        )

    def get(self) -> dict[str, Any]:
        answer = self.client.get(self.address)
        assert answer.status_code == 200
        return dict(answer.json())


@pytest.fixture
def line(client, visit) -> Line:
    return Line(client, visit.pk, visit.technician)


def kept() -> tuple[int, int, int]:
    return Photo.objects.count(), ParkedPhoto.objects.count(), PhotoPart.objects.count()


def a_finding(visit: Visit, *, phone: Phone | None = None) -> dict[str, Any]:
    phone = phone or Phone(visit)
    zone = visit.site.zones.get()
    return phone.op("finding.set", finding=str(uuid7()), zone=zone, kind="signs", photos=[GIVEN])


# --- pieces ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.1, 0.5, 0.99])
def test_a_photo_that_was_cut_goes_on_from_where_it_was(line, share):
    cut = int(LENGTH * share)

    first = line.put(0, cut)
    assert (first.status_code, first.json()) == (200, {"held": cut, "whole": False})
    assert line.get() == {"held": cut, "whole": False}
    assert kept() == (0, 0, 1)  # nothing of it is a photo yet
    last = line.put(cut, LENGTH, **{"X-Taken-At": "2026-11-25T09:00:00Z"})

    assert (last.status_code, last.json()) == (201, {"whole": True, "sha256": GIVEN})
    assert kept() == (1, 0, 0)
    photo = Photo.objects.get()
    assert (photo.given_sha256, photo.uploaded_by) == (GIVEN, line.person)
    assert photo.taken_at.isoformat() == "2026-11-25T09:00:00+00:00"


def test_the_same_piece_again_changes_nothing(line):
    assert line.put(0, 100).json() == line.put(0, 100).json() == {"held": 100, "whole": False}
    assert kept() == (0, 0, 1)


def test_a_lost_answer_to_the_last_piece_costs_nothing(line):
    line.put(0, LENGTH)

    assert line.put(0, LENGTH).status_code == 201
    assert line.get()["whole"]
    assert kept() == (1, 0, 0)


@pytest.mark.parametrize(("start", "end"), [(200, 300), (50, 150)], ids=["gap", "overlap"])
def test_a_piece_that_is_not_the_next_is_told_where_to_go_on(line, start, end):
    line.put(0, 100)

    answer = line.put(start, end)

    assert (answer.status_code, answer.json()["code"]) == (409, "not_the_next")
    assert answer.json()["facts"]["held"] == 100


def test_another_length_from_the_start_begins_anew(line):
    line.put(0, 100, total=LENGTH + 7)

    assert line.put(0, 200).json()["held"] == 200
    assert line.put(200, LENGTH).status_code == 201


def test_a_photo_that_was_damaged_is_not_kept_and_can_be_sent_again(client, visit):
    line = Line(client, visit.pk, visit.technician)
    line.data = DATA[:-1] + bytes([DATA[-1] ^ 1])
    answer = line.put(0, LENGTH)
    assert (answer.status_code, answer.json()["code"]) == (422, "damaged")
    assert kept() == (0, 0, 0)

    line.data = DATA
    assert line.put(0, LENGTH).status_code == 201


def test_what_is_no_picture_is_refused_and_nothing_of_it_stays(client, visit):
    line = Line(client, visit.pk, visit.technician, b"no picture at all")

    line.put(0, 5)
    answer = line.put(5, 17)

    assert answer.status_code == 422
    assert kept() == (0, 0, 0)


@pytest.mark.parametrize(
    ("range_", "why"),
    [
        ("", "malformed"),
        ("bytes 0-9", "malformed"),
        ("bytes 0-9/x", "malformed"),
        ("bytes 5-4/10", "malformed"),
        ("bytes 0-99/50", "malformed"),
        (f"bytes 0-99/{MOST_PHOTO_BYTES + 1}", "too_large"),
        ("bytes 0-1999999/3000000", "too_large"),
    ],
)
def test_a_range_that_is_none_is_an_error_of_the_sender(line, range_, why):
    answer = line.put(0, 100, **{"Content-Range": range_})

    assert (answer.status_code, answer.json()["code"]) == (422, why)
    assert kept() == (0, 0, 0)


def test_nobody_sends_a_photo_in_anothers_name(line):
    answer = line.put(0, 100, **{"X-Person": str(make_technician().pk)})

    assert answer.json()["code"] == "other_person"
    assert kept() == (0, 0, 0)


def test_pieces_of_two_people_are_never_mixed(client, visit):
    Line(client, visit.pk, visit.technician).put(0, 100)

    assert Line(client, visit.pk, make_technician()).get() == {"held": 0, "whole": False}


def test_unfinished_photos_go_after_thirty_days_and_not_before(line):
    line.put(0, 100)
    now = timezone.now()

    assert sweep_photo_parts(now + timedelta(days=29)) == 0
    assert sweep_photo_parts(now + timedelta(days=31)) == 1
    assert sweep_photo_parts(now + timedelta(days=31)) == 0
    assert kept() == (0, 0, 0)


def test_a_photo_of_which_something_came_lately_stays_whole(line):
    with time_machine.travel(timezone.now() - timedelta(days=40)):
        line.put(0, 100)
    line.put(100, 200)

    assert sweep_photo_parts() == 0
    assert line.get()["held"] == 200


# --- whose visit it is ----------------------------------------------------------------------------


def reassigned(visit: Visit) -> Any:
    Visit.objects.filter(pk=visit.pk).update(technician=make_technician())
    return visit.pk


def called_off(visit: Visit) -> Any:
    Visit.objects.filter(pk=visit.pk).update(state="booked")
    call_off_visit(visit.pk, by=make_office(), reason="Shut.")
    return visit.pk


def unknown(visit: Visit) -> Any:
    return uuid7()


@pytest.mark.parametrize("turn", [reassigned, called_off, unknown])
def test_a_photo_is_kept_whatever_became_of_its_visit(client, visit, technician, turn):
    line = Line(client, turn(visit), technician)

    answer = line.put(0, LENGTH)

    assert (answer.status_code, answer.json()) == (201, {"whole": True, "sha256": GIVEN})
    assert Photo.objects.count() + ParkedPhoto.objects.count() == 1
    assert line.put(0, LENGTH).content == answer.content


def test_a_strangers_visit_is_answered_like_one_that_does_not_exist(client, visit):
    stranger = make_technician()
    hidden, absent = Line(client, visit.pk, stranger), Line(client, uuid7(), stranger)

    told = [(hidden.get(), hidden.put(0, 50).content) for hidden in (hidden, absent)]

    assert told[0][1] == told[1][1]
    assert told[0][0] == {"held": 0, "whole": False}


@pytest.mark.parametrize("order", ["before", "after"])
def test_a_parked_photo_follows_its_finding_when_the_office_places_it(
    client, visit, technician, office, order
):
    op = a_finding(visit)
    reassigned(visit)
    if order == "before":
        Line(client, visit.pk, technician).put(0, LENGTH)
    apply_operation(op, by=technician)
    if order == "after":
        Line(client, visit.pk, technician).put(0, LENGTH)
    assert kept() == (0, 1, 0)

    place_parked(ParkedOperation.objects.get().pk, by=office, visit_id=visit.pk)

    assert kept() == (1, 0, 0)
    finding = Finding.objects.get()
    assert [one.photo.given_sha256 for one in finding.shown_by.all()] == [GIVEN]
    assert finding.awaits == []


def test_the_office_sees_a_parked_photo_beside_its_record_and_others_do_not(
    client, visit, technician, office
):
    op = a_finding(visit)
    reassigned(visit)
    apply_operation(op, by=technician)
    Line(client, visit.pk, technician).put(0, LENGTH)
    address = reverse("visits:parked_photo", args=[ParkedPhoto.objects.get().pk])
    item = reverse("visits:inbox_item", args=[ParkedOperation.objects.get().pk])

    assert client.get(address).status_code == 403  # their own record, but the office's page
    client.force_login(make_technician())
    assert client.get(address).status_code == 404
    client.force_login(office)
    assert client.get(address).status_code == 200
    assert address in client.get(item).content.decode()


def test_a_photo_hangs_on_its_finding_before_or_after_it(client, visit, technician):
    Line(client, visit.pk, technician).put(0, LENGTH)
    apply_operation(a_finding(visit), by=technician)

    assert Finding.objects.get().shown_by.count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_piece_that_comes_twice_at_once_is_kept_once():
    technician = make_technician()
    visit = make_visit(state="under_way", zones=1, by=make_office(), technician=technician)
    barrier = Barrier(2)
    held: list[int] = []

    def send() -> None:
        try:
            barrier.wait(10)
            piece = Piece(0, LENGTH, DATA[:100])
            held.append(take_part(visit.pk, GIVEN, by=technician, piece=piece).held)
        finally:
            connections.close_all()

    threads = [Thread(target=send) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)

    assert held == [100, 100]
    assert PhotoPart.objects.count() == 1
