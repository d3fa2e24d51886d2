"""A person's calendar: its address, what it shows to whom, and what changes are told as changes."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from django.core.management import call_command
from django.test import Client as Browser
from django.urls import reverse

from accounts.models import Branch, TrailEntry
from accounts.refusals import NotAllowed, WrongState
from accounts.services.people import change_person, restore_person, stop_person
from config.logs import HIDDEN, safe_path
from sites.models import Site, SiteGrant
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.calendars import read_strictly
from tests.builders.sites import make_site
from tests.builders.visits import local, make_contract, make_line, make_visit
from visits.calendar_file import Status, calendar_file
from visits.models import CalendarAddress, CalendarEntry, Visit
from visits.queries import calendar as queries
from visits.services.booking import (
    book_visit,
    call_off_visit,
    change_visit_note,
    miss_visit,
    move_visit,
    unbook_visit,
)
from visits.services.calendar import (
    end_calendar_address,
    events_on_calendar,
    keep_calendar,
    make_calendar_address,
    note_reading,
    renew_calendar_address,
)
from visits.services.lines import end_line
from visits.services.recording import start_visit
from visits.views.calendar import PerAddress

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 12, 1, 9, 0, 0, 400_000, tzinfo=UTC)
LATER = NOW + timedelta(hours=3)
TUESDAY = date(2026, 12, 8)


@pytest.fixture(autouse=True)
def _the_first_of_december():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site():
    return make_site(
        name="Harbour Bakery", address="1 Quay Street\nPort Marlow", postcode="PM1 1AA"
    )


@pytest.fixture
def client_manager(site):
    return make_manager(client=site.client)


def address_for(person, at=NOW):
    return make_calendar_address(by=person, at=at)


def path_of(made):
    return reverse("visits:calendar_feed", args=[made.secret])


def read(made, **headers):
    """What a calendar program gets, which nobody has signed in."""
    return Browser().get(path_of(made), headers=headers)


def shown_to(person, now=NOW):
    return events_on_calendar(person, now=now)


# --- the address ----------------------------------------------------------------------------------


def test_an_address_is_shown_once_and_kept_as_a_hash(technician, client, trail):
    client.force_login(technician)

    answer = client.post(reverse("visits:calendar"))

    address = CalendarAddress.objects.get(person=technician)
    [shown] = [
        word
        for word in answer.content.decode().split()
        if "/visits/calendar/" in word and ".ics" in word
    ]
    secret = shown.partition("/visits/calendar/")[2].partition(".ics")[0]
    assert len(secret) == 43  # 256 bits, six to a letter
    assert secret not in client.get(reverse("visits:calendar")).content.decode()
    assert secret not in str(vars(address))
    assert trail()[-1] == "calendar.address_made"
    assert secret not in str(TrailEntry.objects.latest("pk").facts)
    assert Browser().get(f"/visits/calendar/{secret}.ics").status_code == 200


def test_a_second_address_is_not_made_over_the_first(technician):
    address_for(technician)

    with pytest.raises(WrongState, match="has an address"):
        address_for(technician)

    assert CalendarAddress.objects.count() == 1


def test_renewing_stops_the_old_address_at_once(technician, trail):
    old = address_for(technician)

    new = renew_calendar_address(by=technician, at=LATER)

    assert read(old).status_code == 404
    assert read(new).status_code == 200
    assert trail()[-2:] == ["calendar.address_made", "calendar.address_renewed"]


def test_an_ended_address_is_answered_like_one_that_never_was(technician, trail):
    made = address_for(technician)
    assert read(made).status_code == 200

    end_calendar_address(by=technician, at=LATER)
    end_calendar_address(by=technician, at=LATER)

    never = Browser().get(reverse("visits:calendar_feed", args=["never-made"]))
    assert (read(made).status_code, read(made).content) == (404, never.content)
    assert trail().count("calendar.address_ended") == 1


def test_there_is_nothing_to_renew_where_there_is_none(technician, trail):
    with pytest.raises(WrongState, match="no address"):
        renew_calendar_address(by=technician, at=NOW)

    assert trail() == []


def test_an_auditor_has_no_calendar(auditor):
    with pytest.raises(NotAllowed):
        address_for(auditor)


def test_who_may_not_sign_in_any_more_is_not_read_and_does_not_come_back(office, technician):
    made = address_for(technician)

    stop_person(technician.pk, by=office, reason="Left")
    while_stopped = read(made).status_code
    keep_calendar(now=LATER)
    restore_person(technician.pk, by=office)

    assert (while_stopped, read(made).status_code) == (404, 404)
    entry = TrailEntry.objects.get(verb="calendar.address_ended")
    assert (entry.actor, entry.facts["because"]) == (None, "may not sign in")


def test_when_it_was_last_read_is_known_to_the_hour(technician, django_assert_num_queries):
    address = address_for(technician).address

    note_reading(address, at=NOW)
    address.refresh_from_db()

    assert address.last_read_at == datetime(2026, 12, 1, 9, tzinfo=UTC)
    with django_assert_num_queries(0):
        note_reading(address, at=NOW + timedelta(minutes=50))


def test_the_page_leads_through_making_renewing_and_ending(manager, client):
    client.force_login(manager)
    page = reverse("visits:calendar")

    made = client.post(page)
    renewed = client.post(reverse("visits:calendar_renew"))
    ended = client.post(reverse("visits:calendar_end"), follow=True)

    assert "It is shown this once" in made.content.decode()
    assert "It is shown this once" in renewed.content.decode()
    assert "No address yet" in ended.content.decode()
    assert [one["Cache-Control"].count("no-store") for one in (made, renewed)] == [1, 1]


# --- the answer -----------------------------------------------------------------------------------


def test_the_answer_is_a_calendar_that_nobody_keeps_for_others(technician):
    make_visit(technician=technician, state="booked", due_on=TUESDAY)

    answer = read(address_for(technician))

    read_strictly(answer.content)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer["Cache-Control"] == "private, no-cache"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert not answer.cookies


def test_what_has_not_changed_is_not_sent_again(office, technician):
    visit = make_visit(technician=technician, state="booked", due_on=TUESDAY, by=office)
    made = address_for(technician)
    first = read(made)

    again = read(made, if_none_match=first["ETag"])
    call_off_visit(visit.pk, by=office, reason="Closed for the day")
    changed = read(made, if_none_match=first["ETag"])

    assert (again.status_code, again.content) == (304, b"")
    assert (changed.status_code, changed["ETag"] == first["ETag"]) == (200, False)


def test_a_calendar_that_is_read_too_often_is_told_to_wait(technician, monkeypatch):
    monkeypatch.setattr(PerAddress, "rate", "2/hour", raising=False)
    made, other = address_for(technician), address_for(make_technician())

    answers = [read(made).status_code for _ in range(2)]
    answer = read(made)

    assert answers == [200, 200]
    assert (answer.status_code, int(answer["Retry-After"]) > 0) == (429, True)
    assert read(other).status_code == 200


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_a_calendar_is_only_read(technician, method):
    assert getattr(Browser(), method)(path_of(address_for(technician))).status_code == 405


def test_no_log_line_holds_an_address(technician):
    made = address_for(technician)

    assert safe_path(path_of(made)) == f"/visits/calendar/{HIDDEN}.ics"
    assert made.secret not in safe_path(path_of(made) + "x")
    assert made.secret not in safe_path(path_of(made).removesuffix(".ics"))


# --- who sees what --------------------------------------------------------------------------------


def test_a_technician_sees_their_own_visits_and_nobody_elses(office, technician, site):
    mine = make_visit(site, technician=technician, state="booked", due_on=TUESDAY, time=time(9))
    make_visit(site, state="booked", due_on=TUESDAY)
    make_visit(site, due_on=TUESDAY)

    [event] = shown_to(technician)

    assert event.uid == str(mine.pk)
    assert event.summary == "Follow-up, Harbour Bakery"
    assert event.location == "1 Quay Street, Port Marlow, PM1 1AA"
    assert event.url.endswith(mine.get_absolute_url())
    assert event.busy


@pytest.mark.parametrize(
    ("days", "is_shown", "opens"),
    [
        (-32, False, False),
        (-31, True, True),
        (31, True, True),
        (32, True, False),
        (92, True, False),
        (93, False, False),
    ],
)
def test_a_technicians_calendar_has_ends_and_leads_to_sites_that_are_open(
    technician, days, is_shown, opens
):
    make_visit(technician=technician, state="booked", due_on=NOW.date() + timedelta(days=days))

    events = shown_to(technician)

    assert len(events) == is_shown
    assert [bool(event.url) for event in events] == [opens] * is_shown


def test_a_client_manager_sees_the_visits_of_their_own_sites(client_manager, site):
    due = make_visit(site, due_on=TUESDAY, office_note="Alarm code 1234")
    booked = make_visit(site, state="booked", due_on=TUESDAY, time=time(9))
    make_visit(make_site(), due_on=TUESDAY)

    events = {event.uid: event for event in shown_to(client_manager)}

    assert events.keys() == {str(due.pk), str(booked.pk)}
    waits, comes = events[str(due.pk)], events[str(booked.pk)]
    assert (waits.status, waits.starts, waits.ends) == (
        Status.TENTATIVE,
        date(2026, 12, 5),
        date(2026, 12, 12),
    )
    assert waits.summary == "Due: Follow-up, Harbour Bakery"
    assert (comes.status, comes.starts) == (
        Status.CONFIRMED,
        datetime(2026, 12, 8, 9, tzinfo=UTC),
    )
    assert not comes.busy
    assert (waits.url, comes.url) == ("", "")


def test_a_client_manager_of_named_sites_sees_those(site):
    manager, other = make_manager(client=site.client), make_site(client=site.client)
    SiteGrant.objects.create(person=manager, site=other)
    make_visit(site, due_on=TUESDAY)
    visit = make_visit(other, due_on=TUESDAY)

    assert [event.uid for event in shown_to(manager)] == [str(visit.pk)]


def test_a_client_reads_who_came_but_not_who_is_to_come(client_manager, site):
    technician = make_technician(name="Ida Brook")
    came = make_visit(site, state="closed", technician=technician, due_on=date(2026, 11, 24))
    make_visit(site, state="booked", technician=technician, due_on=TUESDAY)

    closed, coming = shown_to(client_manager)

    assert "Ida Brook" in closed.description
    assert closed.url.endswith(came.get_absolute_url())
    assert "Ida Brook" not in repr(coming)


def test_a_closed_visit_stands_where_it_was_made(technician):
    visit = make_visit(state="closed", technician=technician, due_on=date(2026, 11, 24))

    [event] = shown_to(technician)

    assert (event.starts, event.ends) == (local(visit, 9), local(visit, 10))
    assert event.description == "Closed."


def test_the_office_sees_its_branches_and_who_goes(branch_office, technician, site):
    mine = make_visit(site, state="booked", technician=technician, due_on=TUESDAY)
    elsewhere = make_site(branch=Branch.objects.create(name="South depot"))
    make_visit(elsewhere, due_on=TUESDAY)

    [event] = shown_to(branch_office)

    assert event.uid == str(mine.pk)
    assert event.description.endswith(f"Technician: {technician.name}.")
    assert not event.busy


@pytest.fixture
def branch_office(site):
    branch = Branch.objects.create(name="North depot")
    Site.objects.filter(pk=site.pk).update(branch=branch)
    person = make_office()
    person.branches.add(branch)
    return person


def test_an_auditor_sees_nothing(auditor, site):
    make_visit(site, due_on=TUESDAY)

    assert shown_to(auditor) == []


@pytest.mark.parametrize("role", ["office", "technician", "client_manager"])
def test_what_somebody_wrote_stays_out_of_every_calendar(request, role, site, office):
    Site.objects.filter(pk=site.pk).update(
        access_note="Key under the mat", hazards="Loose stair", internal_note="Pays late"
    )
    technician = request.getfixturevalue("technician")
    visit = make_visit(
        site, state="booked", technician=technician, due_on=TUESDAY, office_note="Alarm code 1234"
    )
    reader = request.getfixturevalue(role)
    before = read(address_for(reader))
    call_off_visit(visit.pk, by=office, reason="The chef quarrelled")

    texts = (before.content + events_bytes(reader)).decode()

    assert "Harbour Bakery" in texts
    words = ["Key under", "Loose stair", "Pays late", "1234", "quarrelled"]
    assert [word for word in words if word in texts] == []


def events_bytes(person):
    return calendar_file("Visits", shown_to(person, LATER))


def test_a_calendar_has_an_end(client_manager, site, monkeypatch):
    monkeypatch.setattr(queries, "MOST_EVENTS", 2)
    for days in (3, 1, 2):
        make_visit(site, due_on=TUESDAY + timedelta(days=days))

    assert [event.starts for event in shown_to(client_manager)] == [
        date(2026, 12, 6),
        date(2026, 12, 7),
    ]


# --- times ----------------------------------------------------------------------------------------


def test_a_booking_without_a_time_takes_its_day(technician):
    make_visit(state="booked", technician=technician, due_on=TUESDAY)

    [event] = shown_to(technician)

    assert (event.starts, event.ends, event.busy) == (TUESDAY, date(2026, 12, 9), False)


def test_today_is_today_where_the_reader_is():
    """At nine in London it is already the second of December in Auckland (UTC+13)."""
    technician = make_technician(time_zone="Pacific/Auckland")
    with time_machine.travel(NOW.replace(hour=12), tick=False):
        make_visit(state="booked", technician=technician, due_on=date(2027, 3, 4))

        assert len(shown_to(technician, NOW.replace(hour=12))) == 1
        assert shown_to(technician, NOW.replace(hour=10)) == []


# --- changes --------------------------------------------------------------------------------------


@pytest.fixture
def booked(office, technician, site):
    return make_visit(
        site, state="booked", technician=technician, due_on=TUESDAY, time=time(9), by=office
    )


CHANGES = {
    "another day": lambda visit, office: book_visit(
        visit.pk, by=office, technician=visit.technician, day=date(2026, 12, 9), time=time(9)
    ),
    "another time": lambda visit, office: book_visit(
        visit.pk, by=office, technician=visit.technician, day=TUESDAY, time=time(10)
    ),
    "longer": lambda visit, office: change_visit_note(
        visit.pk, by=office, minutes=90, office_note=""
    ),
    "begun": lambda visit, office: start_visit(visit.pk, by=visit.technician, at=local(visit, 9)),
    "another name of the site": lambda visit, office: Site.objects.filter(pk=visit.site_id).update(
        name="Quayside Bakery"
    ),
    "another name of the technician": lambda visit, office: change_person(
        visit.technician_id, by=office, name="Ida Stone"
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_that_is_shown_is_told_as_one(office, booked, change):
    [before] = shown_to(office)

    CHANGES[change](booked, office)

    [after] = shown_to(office, LATER)
    assert (after.uid, after.sequence) == (before.uid, before.sequence + 1)
    assert (before.changed_at, after.changed_at) == (
        NOW.replace(microsecond=0),
        LATER.replace(microsecond=0),
    )


UNSEEN = {
    "nothing": lambda visit, office: None,
    "a note for the technician": lambda visit, office: change_visit_note(
        visit.pk, by=office, minutes=visit.minutes, office_note="Ring twice"
    ),
    "its due window, once it is booked": lambda visit, office: move_visit(
        visit.pk,
        by=office,
        due_on=TUESDAY,
        opens_on=TUESDAY,
        closes_on=TUESDAY + timedelta(days=9),
    ),
    "the same booking again": lambda visit, office: book_visit(
        visit.pk, by=office, technician=visit.technician, day=TUESDAY, time=time(9)
    ),
    "a hazard at the site": lambda visit, office: Site.objects.filter(pk=visit.site_id).update(
        hazards="Loose stair"
    ),
}


@pytest.mark.parametrize("change", UNSEEN)
def test_a_change_that_is_not_shown_is_not_told(office, booked, change):
    before = shown_to(office)

    UNSEEN[change](booked, office)

    assert shown_to(office, LATER) == before


def test_there_and_back_again_are_two_changes_for_whoever_read_both(office, booked):
    told = [shown_to(office)[0].sequence]
    for at in (time(10), time(9)):
        book_visit(booked.pk, by=office, technician=booked.technician, day=TUESDAY, time=at)
        told.append(shown_to(office, LATER)[0].sequence)

    assert told == [0, 1, 2]


@pytest.mark.parametrize(
    ("word", "take_off"),
    [
        ("Called off", lambda visit, by: call_off_visit(visit.pk, by=by, reason="Shut")),
        (
            "Missed",
            lambda visit, by: miss_visit(
                visit.pk, by=by, reason="Nobody there", at=NOW + timedelta(days=9)
            ),
        ),
    ],
)
def test_a_visit_that_is_off_is_told_to_be_off_for_a_month(
    office, booked, client_manager, word, take_off
):
    readers = [office, booked.technician, client_manager]
    before = [shown_to(reader)[0] for reader in readers]

    take_off(booked, office)

    for reader, [was, [off]] in zip(
        readers, zip(before, [shown_to(one, LATER) for one in readers], strict=True), strict=True
    ):
        assert (off.uid, off.status) == (was.uid, Status.CANCELLED)
        assert off.sequence == was.sequence + 1
        assert off.summary == f"{word}: Follow-up, Harbour Bakery"
        assert (off.starts, off.ends, off.busy) == (was.starts, was.ends, False), reader
    assert len(shown_to(client_manager, LATER + timedelta(days=30))) == 1
    assert shown_to(client_manager, LATER + timedelta(days=32)) == []


def test_what_was_off_before_any_calendar_told_of_it_is_not_brought_up(office, site):
    visit = make_visit(site, due_on=TUESDAY, by=office)
    call_off_visit(visit.pk, by=office, reason="Shut")

    assert shown_to(office) == []


def test_a_visit_given_to_somebody_else_changes_calendars(office, booked):
    first, second = booked.technician, make_technician()
    [before] = shown_to(first)

    book_visit(booked.pk, by=office, technician=second, day=TUESDAY, time=time(9))

    assert shown_to(first, LATER) == []
    [after] = shown_to(second, LATER)
    assert (after.uid, after.sequence) == (before.uid, before.sequence + 1)


def test_a_visit_off_the_plan_is_due_again_to_the_client(office, booked, client_manager):
    shown_to(client_manager)

    unbook_visit(booked.pk, by=office)

    [event] = shown_to(client_manager, LATER)
    assert (event.status, event.sequence) == (Status.TENTATIVE, 1)


def test_planning_still_withdraws_a_visit_of_which_calendars_told(office, site):
    line = make_line(make_contract(site, by=office), by=office, now=NOW)
    told = len(shown_to(office))

    end_line(line.pk, by=office, last_on=date(2026, 12, 1), reason="Sold", now=NOW)

    left = Visit.objects.get()
    assert (told, CalendarEntry.objects.count()) == (3, 1)
    assert [event.uid for event in shown_to(office, LATER)] == [str(left.pk)]


def test_the_sweep_counts_changes_that_nobody_read_and_makes_up_nothing(office, booked):
    assert keep_calendar(now=NOW) == 0
    shown_to(office)
    book_visit(booked.pk, by=office, technician=booked.technician, day=TUESDAY, time=time(10))

    assert [keep_calendar(now=LATER), keep_calendar(now=LATER)] == [1, 0]

    assert CalendarEntry.objects.get().sequence == 1
    call_command("keep_calendar")


# --- cost -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("many", [2, 20])
def test_a_reading_asks_as_often_however_many_visits(
    office, technician, many, django_assert_num_queries
):
    visits = [
        make_visit(technician=technician, state="booked", due_on=TUESDAY, by=office)
        for _ in range(many)
    ]
    with django_assert_num_queries(7):
        shown_to(technician)
    with django_assert_num_queries(1):
        shown_to(technician)
    for visit in visits:
        call_off_visit(visit.pk, by=office, reason="Shut")
    with django_assert_num_queries(7):
        shown_to(technician, LATER)
