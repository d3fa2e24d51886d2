"""The office books, and Kickplate says what stands in the way."""

from datetime import date, datetime, time, timedelta
from threading import Barrier, Thread
from zoneinfo import ZoneInfo

import pytest
from django.db import connections

from accounts.models import TrailEntry, User
from accounts.refusals import Changed, NotAllowed, Refused, Unusable, WrongState
from sites.models import AccessWindow, Site
from tests.builders.accounts import make_client, make_manager, make_office, make_technician
from tests.builders.sites import make_site
from tests.builders.visits import (
    make_competence,
    make_competence_kind,
    make_contract,
    make_line,
    make_visit,
)
from visits.models import Visit
from visits.queries.objections import open_spans
from visits.services.booking import (
    add_visit,
    ask_call_out,
    book_visit,
    book_visits,
    call_off_visit,
    change_visit_note,
    miss_visit,
    move_visit,
    take_call_out,
    unbook_visit,
)

DUE = date(2026, 12, 8)  # a Tuesday
NOON = datetime(2026, 12, 8, 12, 0, tzinfo=ZoneInfo("Europe/London"))


@pytest.fixture
def visit(office) -> Visit:
    return make_visit(by=office, due_on=DUE)


def facts_of(verb: str) -> dict:
    return TrailEntry.objects.filter(verb=verb).latest("pk").facts


def standing(visit: Visit) -> tuple:
    visit.refresh_from_db()
    return visit.state, visit.technician_id, visit.booked_on, visit.booked_at_time, visit.version


class TestBooking:
    def test_a_planned_visit_is_booked_and_the_trail_says_for_whom(
        self, visit, office, technician, trail
    ):
        book_visit(visit.pk, by=office, technician=technician, day=DUE, time=time(9, 30))

        assert standing(visit) == ("booked", technician.pk, DUE, time(9, 30), 2)
        assert trail()[-1] == "visit.booked"
        assert facts_of("visit.booked")["new"] == {
            "technician": technician.name,
            "day": "2026-12-08",
            "time": "09:30:00",
        }

    def test_booking_anew_keeps_the_old_booking_on_the_trail(self, visit, office, technician):
        other = make_technician()
        book_visit(visit.pk, by=office, technician=technician, day=DUE)

        book_visit(visit.pk, by=office, technician=other, day=DUE + timedelta(days=1))

        assert standing(visit) == ("booked", other.pk, date(2026, 12, 9), None, 3)
        assert facts_of("visit.booked")["old"] == {
            "technician": technician.name,
            "day": "2026-12-08",
            "time": None,
        }

    @pytest.mark.parametrize(
        ("day", "on_time"), [(DUE + timedelta(days=3), True), (DUE + timedelta(days=4), False)]
    )
    def test_outside_the_due_window_is_allowed_and_said(
        self, visit, office, technician, day, on_time
    ):
        book_visit(visit.pk, by=office, technician=technician, day=day)

        assert facts_of("visit.booked")["on_time"] is on_time

    @pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
    def test_nobody_but_the_office_books(self, visit, technician, role, request, trail):
        somebody = request.getfixturevalue(role)
        before = standing(visit), trail()

        with pytest.raises(NotAllowed):
            book_visit(visit.pk, by=somebody, technician=technician, day=DUE)

        assert (standing(visit), trail()) == before

    def test_a_version_that_was_seen_is_booked_and_an_older_one_is_not(
        self, visit, office, technician
    ):
        book_visit(visit.pk, by=office, technician=technician, day=DUE, seen_version=1)

        with pytest.raises(Changed, match=f"booked for {technician.name} on Tue 8 Dec 2026"):
            book_visit(visit.pk, by=office, technician=make_technician(), day=DUE, seen_version=1)

        assert standing(visit)[1] == technician.pk

    def test_a_withdrawn_visit_is_changed_not_missing(self, visit, office, technician):
        gone = visit.pk
        Visit.objects.filter(pk=gone).delete()

        with pytest.raises(Changed, match="no longer on the plan"):
            book_visit(gone, by=office, technician=technician, day=DUE)

    @pytest.mark.parametrize("verb", [call_off_visit, miss_visit])
    def test_what_is_called_off_or_missed_is_not_booked(self, visit, office, technician, verb):
        more = {"at": NOON} if verb is miss_visit else {}
        verb(visit.pk, by=office, reason="The site was flooded.", **more)

        with pytest.raises(WrongState):
            book_visit(visit.pk, by=office, technician=technician, day=DUE)

    @pytest.mark.parametrize(
        ("closed_on", "refused"), [(None, False), (date(2026, 12, 9), False), (DUE, True)]
    )
    def test_a_closed_site(self, visit, office, technician, closed_on, refused):
        Site.objects.filter(pk=visit.site_id).update(closed_on=closed_on)

        if refused:
            with pytest.raises(Refused, match="closed on Tue 8 Dec 2026") as no:
                book_visit(visit.pk, by=office, technician=technician, day=DUE)
            assert no.value.code == "site_closed"
        else:
            book_visit(visit.pk, by=office, technician=technician, day=DUE)
        assert (standing(visit)[0] == "planned") is refused


class TestTechnician:
    @pytest.mark.parametrize("works_here", [True, False])
    def test_only_one_who_works_here(self, visit, office, works_here):
        technician = make_technician(is_active=works_here)

        if works_here:
            book_visit(visit.pk, by=office, technician=technician, day=DUE)
            return
        with pytest.raises(Refused, match="no longer works here"):
            book_visit(visit.pk, by=office, technician=technician, day=DUE)

    def test_only_a_technician(self, visit, office):
        with pytest.raises(Refused, match="is not a technician") as no:
            book_visit(visit.pk, by=office, technician=make_office(), day=DUE)

        assert no.value.code == "not_a_technician"


class TestCompetences:
    @pytest.mark.parametrize(
        ("held", "why"),
        [
            pytest.param(None, "does not hold", id="never held"),
            pytest.param({}, None, id="valid without an end"),
            pytest.param({"valid_until": DUE}, None, id="valid on its last day"),
            pytest.param(
                {"valid_until": date(2026, 12, 7)},
                "held only until Mon 7 Dec 2026",
                id="lapsed the day before",
            ),
            pytest.param({"valid_from": DUE}, None, id="valid from that day on"),
            pytest.param(
                {"valid_from": date(2026, 12, 9)},
                "holds only from Wed 9 Dec 2026",
                id="a day too early",
            ),
            pytest.param(
                {"withdrawn_on": DUE}, "held only until Tue 8 Dec 2026", id="withdrawn that day"
            ),
        ],
    )
    def test_what_the_line_needs_counts_on_the_day(self, office, technician, held, why):
        kind = make_competence_kind(name="Rodenticide certificate")
        line = make_line(by=office, title="Rodent check", competences=[kind])
        visit = line.visits.earliest("due_on")
        if held is not None:
            make_competence(technician, kind, **held)

        if why is None:
            book_visit(visit.pk, by=office, technician=technician, day=DUE)
            assert standing(visit)[0] == "booked"
            return
        with pytest.raises(Refused) as no:
            book_visit(visit.pk, by=office, technician=technician, day=DUE)
        assert no.value.code == "competence_missing"
        assert str(no.value) == (
            f"Rodent check needs “Rodenticide certificate”, which {technician} {why}."
        )
        assert standing(visit)[0] == "planned"

    def test_a_renewed_certificate_counts(self, office, technician):
        kind = make_competence_kind()
        visit = make_line(by=office, competences=[kind]).visits.earliest("due_on")
        make_competence(technician, kind, valid_until=date(2026, 6, 30))
        make_competence(technician, kind, valid_from=date(2026, 7, 1))

        book_visit(visit.pk, by=office, technician=technician, day=DUE)

        assert standing(visit)[0] == "booked"

    def test_every_competence_counts(self, office, technician):
        first, second = make_competence_kind(), make_competence_kind()
        visit = make_line(by=office, competences=[first, second]).visits.earliest("due_on")
        make_competence(technician, first)

        with pytest.raises(Refused, match=second.name):
            book_visit(visit.pk, by=office, technician=technician, day=DUE)


class TestAccess:
    @pytest.fixture
    def guarded(self, visit) -> Visit:
        """Open on Tuesdays 06:00–10:00, and over the night from Tuesday to Wednesday."""
        for weekday, opens, closes in [
            (1, time(6), time(10)),
            (1, time(22), time(23, 59)),
            (2, time(0), time(2)),
        ]:
            AccessWindow.objects.create(
                site=visit.site, weekday=weekday, opens=opens, closes=closes
            )
        return visit

    @pytest.mark.parametrize(
        ("day", "at", "inside"),
        [
            pytest.param(DUE, None, True, id="a day on which it opens, no time yet"),
            pytest.param(DUE, time(6), True, id="as it opens"),
            pytest.param(DUE, time(9, 15), True, id="ends as it closes"),
            pytest.param(DUE, time(9, 16), False, id="ends a minute late"),
            pytest.param(DUE, time(5, 59), False, id="a minute early"),
            pytest.param(DUE, time(23, 30), True, id="over midnight"),
            pytest.param(date(2026, 12, 9), time(1, 15), True, id="the small hours"),
            pytest.param(date(2026, 12, 10), None, False, id="a day on which it stays shut"),
        ],
    )
    def test_outside_access_hours_needs_a_second_yes(
        self, guarded, office, technician, day, at, inside
    ):
        booking = {"by": office, "technician": technician, "day": day, "time": at}
        if not inside:
            with pytest.raises(Refused) as no:
                book_visit(guarded.pk, **booking)
            assert no.value.code == "outside_access"
            assert standing(guarded)[0] == "planned"

        book_visit(guarded.pk, **booking, despite_access=not inside)

        assert standing(guarded)[0] == "booked"
        assert facts_of("visit.booked")["despite_access"] is not inside

    def test_no_hours_on_file_means_any_time(self):
        assert open_spans([], DUE) == []

    def test_the_second_yes_does_not_answer_a_final_no(self, guarded, office):
        with pytest.raises(Refused, match="is not a technician"):
            book_visit(
                guarded.pk,
                by=office,
                technician=office,
                day=date(2026, 12, 10),
                despite_access=True,
            )


class TestTwoAtOnce:
    @pytest.mark.parametrize(
        ("at", "free"),
        [
            pytest.param(time(10, 45), True, id="right after"),
            pytest.param(time(10, 44), False, id="a minute before the other ends"),
            pytest.param(time(9, 15), True, id="right before"),
            pytest.param(time(9, 16), False, id="a minute into the other"),
            pytest.param(None, True, id="no time yet"),
        ],
    )
    def test_a_technician_is_at_one_place_at_a_time(self, visit, office, technician, at, free):
        other = make_visit(
            state="booked", by=office, technician=technician, due_on=DUE, time=time(10)
        )

        if free:
            book_visit(visit.pk, by=office, technician=technician, day=DUE, time=at)
            return
        with pytest.raises(Refused) as no:
            book_visit(visit.pk, by=office, technician=technician, day=DUE, time=at)

        assert no.value.code == "double_booked"
        assert other.site.name in str(no.value)
        assert visit.site.name in str(no.value)

    def test_another_technician_is_free(self, visit, office, technician):
        make_visit(state="booked", by=office, technician=technician, due_on=DUE, time=time(10))

        book_visit(visit.pk, by=office, technician=make_technician(), day=DUE, time=time(10))

        assert standing(visit)[0] == "booked"

    def test_a_visit_does_not_stand_in_its_own_way(self, office, technician):
        visit = make_visit(
            state="booked", by=office, technician=technician, due_on=DUE, time=time(10)
        )

        book_visit(visit.pk, by=office, technician=technician, day=DUE, time=time(10, 15))

        assert standing(visit)[3] == time(10, 15)

    @pytest.mark.parametrize(("at", "free"), [(time(10), True), (time(9), False)])
    def test_hours_are_compared_across_zones(self, visit, office, technician, at, free):
        """Ten in Lisbon is ten in London; ten in Madrid is nine."""
        madrid = make_site(time_zone="Europe/Madrid")
        make_visit(
            madrid, state="booked", by=office, technician=technician, due_on=DUE, time=time(10)
        )

        if free:
            book_visit(visit.pk, by=office, technician=technician, day=DUE, time=at)
        else:
            with pytest.raises(Refused, match="is booked at"):
                book_visit(visit.pk, by=office, technician=technician, day=DUE, time=at)

    def test_a_visit_that_was_called_off_frees_the_hour(self, visit, office, technician):
        other = make_visit(
            state="booked", by=office, technician=technician, due_on=DUE, time=time(10)
        )
        call_off_visit(other.pk, by=office, reason="The client asked.")

        book_visit(visit.pk, by=office, technician=technician, day=DUE, time=time(10))

        assert standing(visit)[0] == "booked"


class TestManyAtOnce:
    def test_one_no_stops_no_other(self, office, technician):
        first, second, third = (make_visit(by=office) for _ in range(3))
        call_off_visit(second.pk, by=office, reason="Closed for works.")
        seen = [(one.pk, 1) for one in (first, second, third)]

        outcomes = book_visits(seen, by=office, technician=technician, day=DUE)

        assert [outcome.refusal is None for outcome in outcomes] == [True, False, True]
        assert isinstance(outcomes[1].refusal, Changed)
        assert [standing(one)[0] for one in (first, second, third)] == [
            "booked",
            "called_off",
            "booked",
        ]

    def test_more_than_a_page_is_refused_whole(self, visit, office, technician, trail):
        before = trail()

        with pytest.raises(Unusable, match="at most 200"):
            book_visits([(visit.pk, 1)] * 201, by=office, technician=technician, day=DUE)

        assert (standing(visit)[0], trail()) == ("planned", before)


class TestTakingOff:
    def test_an_unbooked_visit_stays_due(self, visit, office, technician, trail):
        book_visit(visit.pk, by=office, technician=technician, day=DUE, time=time(9))

        unbook_visit(visit.pk, by=office, seen_version=2)

        assert standing(visit) == ("planned", None, None, None, 3)
        assert trail()[-1] == "visit.unbooked"

    def test_what_is_not_booked_is_not_unbooked(self, visit, office):
        with pytest.raises(WrongState):
            unbook_visit(visit.pk, by=office)

    @pytest.mark.parametrize("reason", ["", "   ", "x" * 301])
    def test_calling_off_needs_a_reason(self, visit, office, reason, trail):
        before = trail()

        with pytest.raises(Unusable, match="reason"):
            call_off_visit(visit.pk, by=office, reason=reason)

        assert (standing(visit)[0], trail()) == ("planned", before)

    @pytest.mark.parametrize(
        ("at", "refused"),
        [
            pytest.param(datetime(2026, 12, 4, 23, 59), True, id="the night before it opens"),
            pytest.param(datetime(2026, 12, 5, 0, 1), False, id="the day it opens"),
        ],
    )
    def test_a_visit_is_missed_only_once_it_was_due_at_its_site(self, office, at, refused):
        auckland = ZoneInfo("Pacific/Auckland")
        visit = make_visit(make_site(time_zone=auckland.key), by=office, due_on=DUE)
        at = at.replace(tzinfo=auckland)

        if refused:
            with pytest.raises(WrongState, match="call it off instead"):
                miss_visit(visit.pk, by=office, reason="Nobody came.", at=at)
        else:
            miss_visit(visit.pk, by=office, reason="Nobody came.", at=at)
        assert standing(visit)[0] == ("planned" if refused else "missed")


class TestMoving:
    def test_this_visit_only(self, visit, office, trail):
        move_visit(
            visit.pk,
            by=office,
            due_on=date(2026, 12, 15),
            opens_on=date(2026, 12, 14),
            closes_on=date(2026, 12, 16),
        )

        visit.refresh_from_db()
        assert (visit.due_on, visit.opens_on, visit.closes_on) == (
            date(2026, 12, 15),
            date(2026, 12, 14),
            date(2026, 12, 16),
        )
        assert visit.moved_by_hand
        assert trail()[-1] == "visit.moved"

    def test_days_out_of_order_are_refused(self, visit, office):
        with pytest.raises(Unusable, match="between"):
            move_visit(
                visit.pk,
                by=office,
                due_on=date(2026, 12, 15),
                opens_on=date(2026, 12, 16),
                closes_on=date(2026, 12, 17),
            )

    def test_minutes_and_the_word_for_the_technician(self, visit, office, trail):
        change_visit_note(visit.pk, by=office, minutes=90, office_note=" Bring the ladder. ")

        visit.refresh_from_db()
        assert (visit.minutes, visit.office_note) == (90, "Bring the ladder.")
        assert trail()[-1] == "visit.changed"


class TestAdding:
    def test_a_follow_up_is_tied_to_what_it_follows(self, visit, office, trail):
        follow_up = add_visit(
            visit.site_id,
            by=office,
            kind="follow_up",
            due_on=DUE,
            opens_on=DUE,
            closes_on=DUE,
            follows_id=visit.pk,
        )

        assert (follow_up.follows, trail()[-1]) == (visit, "visit.added")

    def test_it_does_not_follow_a_visit_to_another_site(self, visit, office):
        elsewhere = make_site()

        with pytest.raises(Unusable, match="another site"):
            add_visit(
                elsewhere.pk,
                by=office,
                kind="follow_up",
                due_on=DUE,
                opens_on=DUE,
                closes_on=DUE,
                follows_id=visit.pk,
            )
        assert not elsewhere.visits.exists()

    def test_a_call_out_has_its_own_verb(self, visit, office):
        with pytest.raises(Unusable, match="deadline"):
            add_visit(
                visit.site_id,
                by=office,
                kind="call_out",
                due_on=DUE,
                opens_on=DUE,
                closes_on=DUE,
            )


class TestCallOuts:
    @pytest.mark.parametrize(
        ("contracts", "hours"),
        [
            pytest.param([], 24, id="no contract: a day"),
            pytest.param([{"response_hours": 4}], 4, id="as promised"),
            pytest.param(
                [{"response_hours": 48}, {"response_hours": 8}], 8, id="the strictest promise"
            ),
            pytest.param(
                [{"response_hours": 4, "ends_on": date(2026, 12, 7)}], 24, id="it has ended"
            ),
        ],
    )
    def test_the_deadline_counts_from_when_it_was_reported(self, office, contracts, hours):
        site = make_site()
        for contract in contracts:
            make_contract(site, by=office, **contract)

        visit = take_call_out(
            site.pk, by=office, reported_at=NOON, problem="Rat in the yard", reported_by="Ines"
        )

        assert visit.respond_by == NOON + timedelta(hours=hours)
        assert (visit.opens_on, visit.closes_on) == (DUE, visit.respond_by.date())

    def test_the_days_are_those_of_the_site(self, office):
        """Noon in London is one in the morning of the next day in Auckland."""
        site = make_site(time_zone="Pacific/Auckland")

        visit = take_call_out(
            site.pk, by=office, reported_at=NOON, problem="Rat in the yard", reported_by="Ines"
        )

        assert (visit.opens_on, visit.closes_on) == (date(2026, 12, 9), date(2026, 12, 10))

    def test_the_manager_asks_for_their_own_site(self, trail):
        client = make_client()
        manager = make_manager(client=client)
        site = make_site(client=client)

        visit = ask_call_out(site.pk, by=manager, at=NOON, problem="Flies at the bar")

        assert (visit.reported_by, trail()[-1]) == (manager.name, "call_out.asked")

    def test_nobody_asks_for_a_strangers_site(self, manager, office, trail):
        site = make_site()
        told = trail()

        for somebody in (manager, office):
            with pytest.raises(NotAllowed):
                ask_call_out(site.pk, by=somebody, at=NOON, problem="Flies at the bar")

        assert (site.visits.count(), trail()) == (0, told)

    def test_a_call_out_keeps_its_promise(self, office):
        visit = take_call_out(
            make_site().pk, by=office, reported_at=NOON, problem="Rats", reported_by="Ines"
        )

        with pytest.raises(WrongState, match="deadline"):
            move_visit(visit.pk, by=office, due_on=DUE, opens_on=DUE, closes_on=DUE)

    def test_it_says_what_was_seen(self, office, trail):
        site = make_site()
        told = trail()

        with pytest.raises(Unusable, match="what was seen"):
            take_call_out(site.pk, by=office, reported_at=NOON, problem=" ", reported_by="Ines")

        assert (site.visits.count(), trail()) == (0, told)


@pytest.mark.django_db(transaction=True)
def test_of_two_bookings_of_one_hour_at_once_the_second_is_refused():
    """Two office people book two visits for one technician at the same instant."""
    office, technician = make_office(), make_technician()
    visits = [make_visit(by=office, due_on=DUE) for _ in range(2)]
    start = Barrier(2)
    answers: list[str] = []

    def book(visit: Visit, by: User) -> None:
        start.wait()
        try:
            book_visit(visit.pk, by=by, technician=technician, day=DUE, time=time(10))
            answers.append("booked")
        except Refused as no:
            answers.append(no.code)
        finally:
            connections.close_all()

    threads = [Thread(target=book, args=(visit, office)) for visit in visits]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(answers) == ["booked", "double_booked"]
    assert Visit.objects.filter(state="booked").count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_bookings_of_one_visit_at_once_the_second_must_look_again():
    office = make_office()
    technicians = [make_technician(), make_technician()]
    visit = make_visit(by=office, due_on=DUE)
    start = Barrier(2)
    answers: list[str] = []

    def book(technician: User) -> None:
        start.wait()
        try:
            book_visit(visit.pk, by=office, technician=technician, day=DUE, seen_version=1)
            answers.append("booked")
        except Refused as no:
            answers.append(no.code)
        finally:
            connections.close_all()

    threads = [Thread(target=book, args=(technician,)) for technician in technicians]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(answers) == ["booked", "changed"]
    assert TrailEntry.objects.filter(verb="visit.booked").count() == 1
