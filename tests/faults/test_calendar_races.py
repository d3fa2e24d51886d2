"""Calendars read by several at once, beside planning, and by somebody who guesses."""

import secrets
from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.test import Client as Browser
from django.urls import reverse

from accounts.models import TrailEntry
from accounts.refusals import WrongState
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import make_contract, make_line, make_visit
from tests.faults.test_compliance_races import at_once, refusals
from visits.models import CalendarAddress, CalendarEntry, Visit
from visits.services.booking import book_visit, call_off_visit
from visits.services.calendar import (
    end_calendar_address,
    events_on_calendar,
    keep_calendar,
    make_calendar_address,
    renew_calendar_address,
)
from visits.services.lines import end_line

pytestmark = pytest.mark.django_db(transaction=True)

NOW = datetime(2026, 12, 1, 9, tzinfo=UTC)
LATER = NOW + timedelta(hours=1)
TUESDAY = date(2026, 12, 8)


def test_a_change_is_counted_once_however_many_read_it_at_once():
    office, technician = make_office(), make_technician()
    visits = [
        make_visit(state="booked", technician=technician, due_on=TUESDAY, by=office)
        for _ in range(5)
    ]
    read = [lambda: events_on_calendar(technician, now=LATER)] * 3

    first = at_once(*read)
    for visit in visits:
        call_off_visit(visit.pk, by=office, reason="Shut")
    second = at_once(*read, lambda: keep_calendar(now=LATER))

    assert [len(events) for events in first] == [5] * 3
    assert {event.sequence for events in second[:3] for event in events} == {1}
    assert set(CalendarEntry.objects.values_list("sequence", flat=True)) == {1}


def test_reading_while_the_office_books_never_says_less_than_it_counted():
    office, technician = make_office(), make_technician()
    visit = make_visit(state="booked", technician=technician, due_on=TUESDAY, by=office)
    events_on_calendar(technician, now=NOW)

    for hour in range(8, 14):
        at_once(
            lambda: events_on_calendar(technician, now=LATER),
            lambda hour=hour: book_visit(
                visit.pk, by=office, technician=technician, day=TUESDAY, time=time(hour)
            ),
        )
        [event] = events_on_calendar(technician, now=LATER)
        assert (event.starts.hour, event.sequence) == (hour, hour - 7)


def test_reading_while_visits_are_withdrawn_stops_neither():
    office = make_office()
    for _ in range(4):
        line = make_line(make_contract(make_site(), by=office), by=office, now=NOW)

        answers = at_once(
            lambda: events_on_calendar(office, now=NOW),
            lambda line=line: end_line(
                line.pk, by=office, last_on=date(2026, 12, 1), reason="Sold", now=NOW
            ),
        )

        assert refusals(answers) == []
        assert Visit.objects.filter(line=line).count() == 1
    told = {event.uid for event in events_on_calendar(office, now=NOW)}
    assert told == {str(pk) for pk in Visit.objects.values_list("pk", flat=True)}


def test_two_clicks_at_once_make_one_address():
    technician = make_technician()

    made = at_once(*[lambda: make_calendar_address(by=technician, at=NOW)] * 3)

    assert refusals(made) == [WrongState] * 2
    assert CalendarAddress.objects.filter(ended_at=None).count() == 1


def test_renewing_and_ending_at_once_leaves_at_most_one_address_and_tells_of_each():
    technician = make_technician()
    old = make_calendar_address(by=technician, at=NOW)

    answers = at_once(
        lambda: renew_calendar_address(by=technician, at=LATER),
        lambda: renew_calendar_address(by=technician, at=LATER),
        lambda: end_calendar_address(by=technician, at=LATER),
    )

    working = CalendarAddress.objects.filter(ended_at=None)
    assert working.count() <= 1
    assert not working.filter(pk=old.address.pk).exists()
    ended = TrailEntry.objects.filter(verb="calendar.address_ended").count()
    renewed = TrailEntry.objects.filter(verb="calendar.address_renewed").count()
    assert len(refusals(answers)) == 2 - renewed
    assert CalendarAddress.objects.exclude(ended_at=None).count() == ended + renewed


@pytest.mark.parametrize(
    "guess",
    [
        lambda secret: secrets.token_urlsafe(32),
        lambda secret: secret[:-1],
        lambda secret: secret + "=",
        lambda secret: secret.swapcase(),
        lambda secret: "x" * 5000,
        lambda secret: "%00",
        lambda secret: "é",
    ],
    ids=[
        "another",
        "short",
        "longer",
        "in other case",
        "very long",
        "nothing",
        "no letter of ours",
    ],
)
def test_guesses_all_get_the_same_answer(guess):
    made = make_calendar_address(by=make_technician(), at=NOW)
    right = reverse("visits:calendar_feed", args=[made.secret])
    wrong = Browser().get("/visits/calendar/never-made.ics")

    answer = Browser().get(right.replace(made.secret, guess(made.secret)))

    assert (answer.status_code, answer.content) == (404, wrong.content)
    assert Browser().get(right).status_code == 200
