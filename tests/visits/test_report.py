"""What the page of a visit says of how long it took, and of a phone whose clock was wrong."""

from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
import time_machine
from django.urls import reverse
from pypdf import PdfReader

from accounts.models import Role, User
from tests.builders.accounts import make_manager
from tests.builders.phone import Phone
from tests.builders.visits import local, make_visit
from visits.models import Visit
from visits.services.sync import apply_operations

pytestmark = pytest.mark.django_db

EVENING = datetime(2026, 12, 8, 18, 0, tzinfo=UTC)
FAST = timedelta(days=3)
CLOCK = "The phone's clock was 3 days fast; times here are corrected."


@pytest.fixture
def visit(office, technician) -> Visit:
    return make_visit(state="booked", zones=1, by=office, technician=technician)


@pytest.fixture
def people(visit, office, technician) -> dict[str, User]:
    return {
        Role.OFFICE: office,
        Role.TECHNICIAN: technician,
        Role.CLIENT_MANAGER: make_manager(client=visit.site.client),
    }


def send(visit: Visit, *, close: bool = True, shift: timedelta = timedelta(), **said) -> None:
    """A visit of 52 minutes as its phone sends it in the evening, or only its start."""
    phone = Phone(visit)
    phone.ahead = shift // timedelta(seconds=1)
    operations = [phone.op("visit.start", at=local(visit, 9) + shift)]
    if close:
        operations.append(phone.close(**said))
        operations[-1]["made_at"] = (local(visit, 9, 52) + shift).isoformat()
    with time_machine.travel(EVENING):
        answers = apply_operations(operations, by=visit.technician)
    assert {answer["verdict"] for answer in answers} == {"applied"}


def page(client, person: User, visit: Visit) -> str:
    """Its words, or those of who may not see it yet, with apostrophes as they are read."""
    client.force_login(person)
    answer = client.get(visit.get_absolute_url())
    return " ".join(answer.content.decode().replace("&#x27;", "'").split())


def paper(client, person: User, visit: Visit) -> str:
    client.force_login(person)
    answer = client.get(reverse("compliance:visit_report_pdf", args=[visit.pk]))
    pages = PdfReader(BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_everybody_reads_how_long_a_visit_took(client, visit, people):
    send(visit)

    for role, person in people.items():
        assert "<dd>52 minutes</dd>" in page(client, person, visit), role
        assert "Time on site 52 minutes" in paper(client, person, visit), role


def test_corrected_minutes_stand_with_their_reason(client, visit, people):
    send(visit, minutes_on_site=90, minutes_reason="Waited for the key.")

    words = "90 minutes (corrected: Waited for the key.)"
    for role, person in people.items():
        assert words in page(client, person, visit), role
        assert words in paper(client, person, visit), role


def test_programs_read_them_as_well(client, visit, people):
    send(visit, minutes_on_site=90, minutes_reason="Waited for the key.")
    client.force_login(people[Role.CLIENT_MANAGER])

    told = client.get(f"/api/visits/{visit.pk}/").json()

    assert (told["minutes_on_site"], told["minutes_reason"]) == (90, "Waited for the key.")


def test_a_visit_that_is_under_way_does_not_say_how_long_it_took(client, visit, people):
    send(visit, close=False)

    assert "Time on site" not in page(client, people[Role.OFFICE], visit)


@pytest.mark.parametrize("close", [False, True], ids=["under way", "closed"])
def test_the_office_is_told_of_a_wrong_clock_and_nobody_else(client, visit, people, close):
    send(visit, shift=FAST, close=close)

    read = {role for role, person in people.items() if CLOCK in page(client, person, visit)}
    assert read == {Role.OFFICE}
    if close:
        assert "Tue 8 Dec 2026, 09:00" in page(client, people[Role.OFFICE], visit)


@pytest.mark.parametrize("close", [False, True], ids=["under way", "closed"])
@pytest.mark.parametrize(("hours", "words"), [(3, "3 hours fast"), (-3, "3 hours slow")])
def test_a_clock_that_was_wrong_by_less_than_the_way_took_is_told(
    client, visit, people, hours, words, close
):
    send(visit, shift=timedelta(hours=hours), close=close)

    assert f"The phone's clock was {words};" in page(client, people[Role.OFFICE], visit)


@pytest.mark.parametrize("close", [False, True], ids=["under way", "closed"])
def test_of_a_right_clock_nothing_is_said(client, visit, people, close):
    send(visit, close=close)

    assert "The phone's clock" not in page(client, people[Role.OFFICE], visit)


@pytest.mark.parametrize("close", [False, True], ids=["under way", "closed"])
def test_a_clock_that_nobody_measured_is_told_as_far_as_is_known(client, visit, people, close):
    phone = Phone(visit)
    operations = [phone.op("visit.start", at=EVENING + timedelta(days=2))]
    if close:
        operations.append(phone.close())
        operations[-1]["made_at"] = (EVENING + timedelta(days=2, minutes=5)).isoformat()
    with time_machine.travel(EVENING):
        apply_operations(operations, by=visit.technician)

    assert "The phone's clock was at least 2 days fast;" in page(client, people[Role.OFFICE], visit)
