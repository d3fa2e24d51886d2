"""The office's month: what it finds, what it costs, and booking many visits at once."""

import csv
import io
from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from django.urls import reverse

from accounts.models import Branch
from sites.models import AccessWindow, Site
from tests.builders.accounts import make_technician
from tests.builders.sites import make_site
from tests.builders.visits import make_visit
from visits.models import Visit
from visits.queries.month import SHOWN_A_DAY
from visits.services.booking import book_visit, call_off_visit, take_call_out

NOW = datetime(2026, 12, 10, 12, 0, tzinfo=UTC)
DUE = date(2026, 12, 15)


@pytest.fixture(autouse=True)
def today():
    """Thursday 10 December 2026, noon in London."""
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def month(client, office):
    client.force_login(office)

    def ask(**query):
        return client.get(reverse("visits:month"), {"month": "2026-12", **query})

    return ask


def listed(response) -> list[Visit]:
    return list(response.context["page"].object_list)


def counts(response) -> dict[str, int]:
    return {one["label"]: one["value"] for one in response.context["counts"]}


class TestWhatItFinds:
    def test_what_is_due_or_booked_in_the_month_and_nothing_else(self, month, office, technician):
        due = make_visit(by=office, due_on=DUE)
        in_from_november = make_visit(by=office, due_on=date(2026, 11, 30))
        book_visit(in_from_november.pk, by=office, technician=technician, day=date(2026, 12, 11))
        out_to_january = make_visit(by=office, due_on=date(2026, 12, 31))
        book_visit(out_to_january.pk, by=office, technician=technician, day=date(2027, 1, 2))
        make_visit(by=office, due_on=date(2026, 11, 30))
        make_visit(by=office, due_on=date(2027, 1, 1))

        assert set(listed(month())) == {due, in_from_november, out_to_january}

    def test_what_is_to_be_booked_comes_first_then_by_day_and_hour(self, month, office, technician):
        late_hour, early_hour = (make_visit(by=office, due_on=DUE) for _ in range(2))
        book_visit(late_hour.pk, by=office, technician=technician, day=DUE, time=time(15))
        book_visit(early_hour.pk, by=office, technician=technician, day=DUE, time=time(9))
        to_book_later = make_visit(by=office, due_on=date(2026, 12, 30))
        to_book_soon = make_visit(by=office, due_on=date(2026, 12, 16))

        assert listed(month()) == [to_book_soon, to_book_later, early_hour, late_hour]

    def test_states_are_counted_whatever_state_is_asked_for(self, month, office, technician):
        make_visit(by=office, due_on=DUE)
        make_visit(by=office, due_on=DUE, state="booked", technician=technician)
        off = make_visit(by=office, due_on=DUE)
        call_off_visit(off.pk, by=office, reason="Closed for works.")

        response = month(state="booked")

        assert [visit.state for visit in listed(response)] == ["booked"]
        wanted = {"This month": 3, "To book": 1, "Booked": 1, "Called off": 1, "Closed": 0}
        assert wanted.items() <= counts(response).items()

    def test_what_is_late_is_found_from_any_month(self, month, office):
        late = make_visit(by=office, due_on=date(2026, 10, 5))
        make_visit(by=office, due_on=DUE)

        assert counts(month())["Late, any month"] == 1
        assert late not in listed(month())
        assert listed(month(state="late")) == [late]

    @pytest.mark.parametrize(("zone", "late"), [("Pacific/Auckland", True), ("UTC", False)])
    def test_late_by_the_calendar_of_the_site(self, month, office, zone, late):
        """At noon in UTC on the 10th it is the 11th in Auckland."""
        make_visit(make_site(time_zone=zone), by=office, due_on=date(2026, 12, 7))

        assert counts(month())["Late, any month"] == int(late)

    def test_a_call_out_is_late_once_its_deadline_has_passed(self, month, office):
        for hours in (23, 25):
            take_call_out(
                make_site().pk,
                by=office,
                reported_at=NOW - timedelta(hours=hours),
                problem="Rats",
                reported_by="Ines",
            )

        assert counts(month())["Late, any month"] == 1

    def test_narrowed_to_a_technician_a_client_a_branch_and_a_day(self, month, office, technician):
        branch = Branch.objects.create(name="North")
        site = make_site()
        Site.objects.filter(pk=site.pk).update(branch=branch)
        mine = make_visit(site, by=office, due_on=DUE, state="booked", technician=technician)
        make_visit(by=office, due_on=DUE, state="booked", technician=make_technician())
        make_visit(by=office, due_on=date(2026, 12, 16))

        for query in (
            {"technician": technician.pk},
            {"client": site.client_id},
            {"branch": branch.pk},
            {"day": "2026-12-15", "technician": technician.pk},
        ):
            assert listed(month(**query)) == [mine], query

    @pytest.mark.parametrize(
        "query", [{"month": "soon"}, {"technician": "me"}, {"state": "fine"}, {"page": "last"}]
    )
    def test_an_address_that_makes_no_sense_is_answered(self, month, office, query):
        make_visit(by=office, due_on=DUE)

        response = month(**query)

        assert response.status_code == 200

    def test_the_first_few_of_a_day_stand_in_the_grid_with_the_number_of_the_rest(
        self, month, office
    ):
        site = make_site()
        for _ in range(SHOWN_A_DAY + 3):
            make_visit(site, by=office, due_on=DUE)

        weeks = month().context["weeks"]
        days = {day.on: day for week in weeks for day in week}
        assert (len(days[DUE].visits), days[DUE].count, days[DUE].more) == (
            SHOWN_A_DAY,
            SHOWN_A_DAY + 3,
            3,
        )
        assert [len(week) for week in weeks] == [7] * 5
        assert weeks[0][0].on == date(2026, 11, 30)

    def test_minutes_add_up_by_technician_and_day(self, month, office, technician):
        for hour in (9, 11):
            make_visit(
                by=office,
                due_on=DUE,
                state="booked",
                technician=technician,
                time=time(hour),
                minutes=50,
            )
        off = make_visit(by=office, due_on=DUE, state="booked", technician=technician)
        call_off_visit(off.pk, by=office, reason="Closed for works.")

        (load,) = month().context["load"]

        assert (load.technician, load.total) == (technician, 100)
        assert load.minutes[DUE.day - 1] == 100

    def test_people_of_a_branch_see_its_visits_and_those_of_none(self, month, office):
        north, south = (Branch.objects.create(name=name) for name in ("North", "South"))
        ours, theirs, nobodys = (make_visit(by=office, due_on=DUE) for _ in range(3))
        Site.objects.filter(pk=ours.site_id).update(branch=north)
        Site.objects.filter(pk=theirs.site_id).update(branch=south)
        office.branches.add(north)

        assert set(listed(month())) == {ours, nobodys}


class TestFile:
    def test_the_file_holds_what_the_list_holds(self, month, client, office, technician):
        site = make_site(name="=Bakery")
        make_visit(site, by=office, due_on=DUE, state="booked", technician=technician)
        make_visit(by=office, due_on=date(2026, 12, 3))

        response = client.get(reverse("visits:month_csv"), {"month": "2026-12", "state": "booked"})

        text = b"".join(response.streaming_content).decode("utf-8-sig")
        (row,) = csv.DictReader(io.StringIO(text))
        assert row["day"] == "2026-12-15"
        assert row["site"] == "'=Bakery"
        assert row["technician"] == technician.name
        assert response["Content-Type"].startswith("text/csv")


@pytest.mark.parametrize("count", [3, 30])
def test_the_page_costs_the_same_at_ten_times_the_visits(
    month, office, count, django_assert_num_queries
):
    technicians = [make_technician() for _ in range(2 + count // 10)]
    for n in range(count):
        visit = make_visit(by=office, due_on=DUE + timedelta(days=n % 10))
        if n % 3:
            book_visit(visit.pk, by=office, technician=technicians[n % 2], day=visit.due_on)
    month()

    # Session and person (2), technicians, clients, branches, zones, states, late, the length of the
    # list and its rows, the grid, the load.
    with django_assert_num_queries(13):
        month()


class TestManyAtOnce:
    @pytest.fixture
    def send(self, client, office):
        client.force_login(office)

        def post(visits, **data):
            ticked = [f"{visit.pk}.{visit.version}" for visit in visits]
            return client.post(
                reverse("visits:book_many"), {"visit": ticked, "back": "month=2026-12", **data}
            )

        return post

    def test_looking_books_nothing(self, send, office, technician):
        visits = [make_visit(by=office, due_on=DUE) for _ in range(2)]

        response = send(visits, technician=technician.pk, day="2026-12-15")

        assert response.context["bookable"] == 2
        assert Visit.objects.filter(state="booked").count() == 0

    def test_booking_what_was_looked_at(self, send, office, technician):
        visits = [make_visit(by=office, due_on=DUE) for _ in range(2)]
        looked_at = f"{technician.pk} 2026-12-15"

        response = send(
            visits, technician=technician.pk, day="2026-12-15", step="book", looked_at=looked_at
        )

        assert response.context["result"] == f"Booked 2 of 2 for {technician.name}"
        assert Visit.objects.filter(state="booked", booked_on=DUE).count() == 2

    def test_a_day_that_nobody_looked_at_is_looked_at_first(self, send, office, technician):
        visit = make_visit(by=office, due_on=DUE)
        looked_at = f"{technician.pk} 2026-12-14"

        response = send(
            [visit], technician=technician.pk, day="2026-12-15", step="book", looked_at=looked_at
        )

        assert "bookable" in response.context
        assert Visit.objects.filter(state="booked").count() == 0

    def test_each_no_is_said_and_stops_no_other(self, send, office, technician):
        shut, open_ = (make_visit(by=office, due_on=DUE) for _ in range(2))
        AccessWindow.objects.create(site=shut.site, weekday=0, opens=time(6), closes=time(9))
        looked_at = f"{technician.pk} 2026-12-15"
        booking = {"technician": technician.pk, "day": "2026-12-15", "looked_at": looked_at}

        response = send([shut, open_], **booking, step="book")

        outcomes = {one["visit"]: one["refusal"] for one in response.context["outcomes"]}
        assert outcomes[open_] is None
        assert "cannot be entered on a Tuesday" in str(outcomes[shut])

        send([shut], **booking, step="book", despite_access="on")
        assert Visit.objects.filter(state="booked").count() == 2

    def test_what_was_booked_together_is_taken_off_together(self, send, client, office, technician):
        visits = [make_visit(by=office, due_on=DUE) for _ in range(2)]
        looked_at = f"{technician.pk} 2026-12-15"
        response = send(
            visits, technician=technician.pk, day="2026-12-15", step="book", looked_at=looked_at
        )

        client.post(reverse("visits:unbook_many"), {"visit": response.context["undo"]})

        assert Visit.objects.filter(state="planned", technician=None).count() == 2

    @pytest.mark.parametrize("ticked", [[], ["nonsense"], ["0.1"]])
    def test_nothing_ticked_goes_back_to_the_same_month(self, client, office, ticked):
        client.force_login(office)

        response = client.post(
            reverse("visits:book_many"), {"visit": ticked, "back": "month=2026-12"}
        )

        assert response.url == reverse("visits:month") + "?month=2026-12"

    def test_hidden_visits_are_not_booked(self, send, office, technician):
        north, south = (Branch.objects.create(name=name) for name in ("North", "South"))
        visit = make_visit(by=office, due_on=DUE)
        Site.objects.filter(pk=visit.site_id).update(branch=south)
        office.branches.add(north)

        response = send([visit], technician=technician.pk, day="2026-12-15")

        assert response.status_code == 302

    @pytest.mark.parametrize("count", [2, 20])
    def test_the_preview_costs_the_same_for_many(
        self, send, office, technician, count, django_assert_num_queries
    ):
        visits = [make_visit(by=office, due_on=DUE) for _ in range(count)]
        send(visits, technician=technician.pk, day="2026-12-15")

        # Session and person (2), the visits ticked, technicians; what stands in the way: visits,
        # access windows, competences held.
        with django_assert_num_queries(8):
            send(visits, technician=technician.pk, day="2026-12-15")


@pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
@pytest.mark.parametrize("name", ["month", "month_csv"])
def test_the_month_is_the_offices(client, request, role, name):
    client.force_login(request.getfixturevalue(role))

    assert client.get(reverse(f"visits:{name}")).status_code == 403


@pytest.mark.parametrize("name", ["month", "month_csv"])
def test_strangers_are_asked_to_sign_in(client, name, db):
    assert client.get(reverse(f"visits:{name}")).status_code == 302
