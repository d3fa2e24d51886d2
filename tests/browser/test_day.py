"""My day and the door: drawn on the phone, with and without a line."""

from collections.abc import Callable
from datetime import time, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from tests.browser.phones import PhoneInHand, assert_server_has_all_of, faults_of_page
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import make_product, make_visit
from visits.models import Visit
from visits.services.booking import call_off_visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NewPhone = Callable[..., PhoneInHand]
TODAY = timezone.now().date()


@pytest.fixture
def booked(db: None) -> Callable[..., Visit]:
    """Books visits of one technician."""
    office = make_office()
    make_product(by=office)
    technician = make_technician()

    def book(name: str, *, days: int = 0, at: time | None = None, **site: object) -> Visit:
        return make_visit(
            make_site(zones=1, monitors=1, name=name, **site),
            state="booked",
            by=office,
            technician=technician,
            due_on=TODAY + timedelta(days),
            kind="routine",
            time=at,
        )

    return book


def test_the_stops_stand_in_the_order_of_their_times(new_phone, booked):
    late, early, any_time = (
        booked("Late", at=time(9, 30)),
        booked("Early", at=time(8, 0)),
        booked("Any"),
    )
    booked("Tomorrow", days=1)
    phone = new_phone(late.technician)
    phone.offline()

    page = phone.open("my_day")

    stops = page.locator("#stops .stop-title")
    expect(stops).to_have_text([early.site.name, late.site.name, any_time.site.name])
    expect(page.locator(".is-next .stop-title")).to_have_text("Early")
    expect(page.locator("#today")).to_contain_text("3 stops")
    expect(page.locator("#fetched")).to_contain_text("Fetched")
    tomorrow = page.locator("#later summary")
    expect(tomorrow).to_contain_text(": 1 stop")
    tomorrow.tap()
    expect(page.get_by_role("link", name="Tomorrow")).to_be_visible()


def test_a_visit_is_started_at_the_door_without_a_line(new_phone, booked):
    visit = booked("Cellar Bar", hazards="Low beam at the stairs.", access_note="Ring twice.")
    phone = new_phone(visit.technician)
    phone.offline()
    page = phone.open("my_day")

    page.get_by_role("link", name="Cellar Bar").tap()
    expect(page.locator("#hazards")).to_contain_text("Low beam at the stairs.")
    expect(page.locator("#access-facts")).to_contain_text("Ring twice.")
    page.get_by_role("button", name="Start the visit").tap()
    expect(page.locator("#coverage-words")).to_contain_text("of 4")
    phone.open("my_day")

    expect(page.locator("#stops")).to_contain_text("Under way")
    expect(page.locator("#stops")).to_contain_text("1 not sent yet")
    phone.online()
    phone.says("Sent")
    visit.refresh_from_db()
    assert visit.state == "under_way"
    assert_server_has_all_of(phone.log())


def test_what_the_office_called_off_is_said(new_phone, booked):
    visit = booked("Closed Today")
    call_off_visit(visit.pk, by=make_office(), reason="Burst pipe.")
    phone = new_phone(visit.technician)

    expect(phone.page.locator("#stops")).to_contain_text("Called off")
    expect(phone.page.locator("#stops")).to_contain_text("Burst pipe.")
    phone.open("start", visit)
    expect(phone.page.locator("#off")).to_contain_text("Burst pipe.")
    expect(phone.page.get_by_role("button", name="Start the visit")).to_be_hidden()


def test_a_day_without_visits_says_so(new_phone, db):
    phone = new_phone(make_technician(), ready=False)

    phone.open("my_day")

    expect(phone.page.locator("#none")).to_be_visible()


@pytest.mark.parametrize("width", [320, 390])
@pytest.mark.parametrize("name", ["my_day", "start"])
def test_the_day_and_the_door_read_and_fit(new_phone, booked, name, width):
    visit = booked("Cellar Bar", at=time(9, 30), hazards="Low beam.")
    booked("Far", days=2)
    phone = new_phone(visit.technician)
    phone.page.set_viewport_size({"width": width, "height": 844})

    page = phone.open(name, None if name == "my_day" else visit)
    expect(page.locator("#saved")).to_contain_text("Nothing waits")

    assert faults_of_page(page) == []
