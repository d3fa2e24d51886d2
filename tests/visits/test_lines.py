"""Agreeing, changing and ending what recurs; what was made is never touched."""

from datetime import date, timedelta

import pytest

from accounts.models import TrailEntry
from accounts.refusals import Changed, NotAllowed, Refused, Unusable, WrongState
from sites.keeping import Taken, fingerprint
from sites.models import ServiceLine
from sites.services.sites import close_site
from tests.builders.accounts import make_technician
from tests.builders.visits import NOW, make_competence_kind, make_contract, make_line
from visits.models import Visit
from visits.services.booking import book_visit, call_off_visit, move_visit, unbook_visit
from visits.services.lines import (
    agree_service_line,
    change_line,
    change_rule_from,
    end_line,
    preview_rule_change,
)
from visits.services.planning import plan_due_visits

pytestmark = pytest.mark.django_db

JANUARY = date(2027, 1, 5)  # the second visit of the line below


@pytest.fixture
def line(office) -> ServiceLine:
    """The first Tuesday of every month from December 2026."""
    return make_line(by=office)


def visit_of(line: ServiceLine, on: date) -> Visit:
    return line.visits.get(occurrence_on=on)


def rows(line: ServiceLine) -> list[dict]:
    return list(line.visits.order_by("occurrence_on", "pk").values())


def booked(line: ServiceLine, on: date, office) -> Visit:
    visit = visit_of(line, on)
    return book_visit(visit.pk, by=office, technician=make_technician(), day=visit.due_on)


class TestAgreeing:
    def test_a_line_is_agreed_and_its_visits_are_planned(self, office, trail):
        contract = make_contract(by=office)
        kind = make_competence_kind(name="Ladder training")

        line = agree_service_line(
            contract.pk,
            by=office,
            title="Fly light service",
            rule="rrule:freq=monthly;interval=3;byday=1mo",
            first_on=date(2026, 12, 1),
            competences=[kind],
            now=NOW,
        )

        assert line.rule == "FREQ=MONTHLY;INTERVAL=3;BYDAY=1MO"
        assert list(line.competences.all()) == [kind]
        assert line.visits.count() == 5
        assert trail()[-2:] == ["line.agreed", "visits.planned"]

    @pytest.mark.parametrize(
        ("facts", "field"),
        [
            pytest.param({"rule": "every full moon"}, "rule", id="no rule"),
            pytest.param({"rule": "FREQ=MONTHLY;BYMONTH=2;BYMONTHDAY=30"}, "rule", id="no day"),
            pytest.param({"first_on": date(2025, 12, 31)}, "first_on", id="before the contract"),
            pytest.param({"first_on": date(2028, 1, 1)}, "first_on", id="after the contract"),
            pytest.param({"kind": "call_out"}, "kind", id="call-outs do not recur"),
        ],
    )
    def test_what_cannot_be_agreed(self, office, trail, facts, field):
        contract = make_contract(by=office, ends_on=date(2027, 12, 31))
        before = trail()

        with pytest.raises(Unusable) as no:
            make_line(contract, by=office, **facts)

        assert no.value.facts["field"] == field
        assert (contract.lines.count(), trail()) == (0, before)

    def test_a_form_that_is_sent_twice_agrees_one_line(self, office, trail):
        contract = make_contract(by=office)
        make_line(contract, by=office, title="Fly lights")
        before = trail()

        with pytest.raises(Taken, match="of this title already"):
            make_line(contract, by=office, title="fly lights")

        assert (contract.lines.count(), trail()) == (1, before)

    def test_a_title_is_free_again_once_its_line_has_an_end(self, office):
        contract = make_contract(by=office)
        make_line(contract, by=office, title="Fly lights", last_on=date(2026, 12, 31))

        make_line(contract, by=office, title="Fly lights", first_on=date(2027, 1, 1))

        assert contract.lines.count() == 2

    def test_not_at_a_closed_site(self, office):
        contract = make_contract(by=office)
        close_site(contract.site_id, by=office, on=date(2026, 11, 1), reason="Sold.")

        with pytest.raises(WrongState, match="was closed"):
            make_line(contract, by=office)

    @pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
    def test_nobody_but_the_office_agrees(self, office, role, request):
        contract = make_contract(by=office)

        with pytest.raises(NotAllowed):
            make_line(contract, by=request.getfixturevalue(role))

        assert not contract.lines.exists()


class TestChanging:
    def test_planned_visits_follow_and_booked_ones_do_not(self, line, office, trail):
        booked(line, JANUARY, office)

        change_line(line.pk, by=office, minutes=90, days_after=10, now=NOW)

        january, february = visit_of(line, JANUARY), visit_of(line, date(2027, 2, 2))
        assert (january.minutes, january.closes_on) == (45, date(2027, 1, 8))
        assert (february.minutes, february.closes_on) == (90, date(2027, 2, 12))
        assert trail()[-2:] == ["line.changed", "visits.planned"]

    def test_competences_are_on_the_trail_with_old_and_new(self, line, office):
        kind = make_competence_kind(name="Ladder training")

        change_line(line.pk, by=office, competences=[kind], now=NOW)

        facts = TrailEntry.objects.get(verb="line.changed").facts
        assert facts["changed"] == {"competences": [[], ["Ladder training"]]}

    def test_changing_nothing_leaves_no_entry(self, line, office, trail):
        before = trail()

        change_line(line.pk, by=office, title=line.title, competences=[], now=NOW)

        assert trail() == before

    def test_what_changed_since_it_was_seen_is_not_overwritten(self, line, office):
        seen, title = fingerprint(line, ["title", "minutes"]), line.title
        change_line(line.pk, by=office, minutes=60, now=NOW)

        with pytest.raises(Changed):
            change_line(line.pk, by=office, seen=seen, title="Other", minutes=45, now=NOW)

        line.refresh_from_db()
        assert (line.title, line.minutes) == (title, 60)


class TestEnding:
    def test_planned_visits_go_and_booked_ones_stay(self, line, office, trail):
        booked(line, date(2027, 2, 2), office)

        end_line(line.pk, by=office, last_on=date(2027, 1, 31), reason="Asked to.", now=NOW)

        assert [row["occurrence_on"] for row in rows(line)] == [
            date(2026, 12, 1),
            JANUARY,
            date(2027, 2, 2),
        ]
        assert trail()[-2:] == ["line.ended", "visits.planned"]

    @pytest.mark.parametrize(
        ("last_on", "refusal"), [(date(2026, 11, 30), Unusable), (date(2027, 3, 1), WrongState)]
    )
    def test_not_before_it_starts_nor_twice(self, line, office, last_on, refusal):
        end_line(line.pk, by=office, last_on=date(2027, 1, 31), reason="Asked to.", now=NOW)

        with pytest.raises(refusal):
            end_line(line.pk, by=office, last_on=last_on, reason="Asked to.", now=NOW)

        line.refresh_from_db()
        assert line.last_on == date(2027, 1, 31)


class TestThisAndLater:
    def test_the_line_ends_and_another_follows(self, line, office, trail):
        following = change_rule_from(
            line.pk, by=office, from_on=JANUARY, rule="FREQ=WEEKLY;INTERVAL=2;BYDAY=WE", now=NOW
        )

        line.refresh_from_db()
        assert (line.last_on, following.follows_id) == (date(2027, 1, 4), line.pk)
        assert [row["due_on"] for row in rows(line)] == [date(2026, 12, 1)]
        assert [row["due_on"] for row in rows(following)][:3] == [
            date(2027, 1, 6),
            date(2027, 1, 20),
            date(2027, 2, 3),
        ]
        assert (following.title, following.minutes) == (line.title, line.minutes)
        assert "line.rule_changed" in trail()

    def test_it_keeps_what_the_line_needs(self, office):
        kind = make_competence_kind()
        line = make_line(by=office, competences=[kind], price="80.00")

        following = change_rule_from(
            line.pk,
            by=office,
            from_on=JANUARY,
            rule="FREQ=WEEKLY;BYDAY=WE",
            minutes=30,
            days_after=1,
            now=NOW,
        )

        assert list(following.competences.all()) == [kind]
        assert (following.price, following.minutes, following.days_after) == (line.price, 30, 1)

    def test_a_planned_visit_moves_to_the_day_whose_place_it_takes(self, line, office):
        january = visit_of(line, JANUARY)

        following = change_rule_from(
            line.pk, by=office, from_on=JANUARY, rule="FREQ=MONTHLY;BYDAY=1TH", now=NOW
        )

        january.refresh_from_db()
        assert (january.line_id, january.due_on, january.version) == (
            following.pk,
            date(2027, 1, 7),
            2,
        )

    def test_a_booked_visit_takes_a_place_and_keeps_its_booking(self, line, office):
        """Else the client would be visited twice in three days."""
        january = booked(line, JANUARY, office)
        before = (january.booked_on, january.technician_id, january.due_on, january.version)

        following = change_rule_from(
            line.pk, by=office, from_on=JANUARY, rule="FREQ=MONTHLY;BYDAY=1TH", now=NOW
        )
        plan_due_visits(now=NOW)

        january.refresh_from_db()
        assert (
            january.booked_on,
            january.technician_id,
            january.due_on,
            january.version,
        ) == before
        assert january.line_id == following.pk
        days = [row["due_on"] for row in rows(following)]
        assert days[:2] == [JANUARY, date(2027, 2, 4)]

    def test_the_example_of_the_algorithm_page(self, line, office):
        """docs/algorithms/planning.md, by hand."""
        booked(line, date(2027, 2, 2), office)

        following = change_rule_from(
            line.pk, by=office, from_on=JANUARY, rule="FREQ=MONTHLY;BYDAY=1TH", now=NOW
        )

        assert [(row["occurrence_on"], row["due_on"]) for row in rows(following)][:3] == [
            (date(2027, 1, 7), date(2027, 1, 7)),
            (date(2027, 2, 4), date(2027, 2, 2)),
            (date(2027, 3, 4), date(2027, 3, 4)),
        ]

    def test_a_booked_visit_far_from_any_new_day_stays_beside_them(self, line, office):
        january = booked(line, JANUARY, office)

        following = change_rule_from(
            line.pk,
            by=office,
            from_on=JANUARY,
            rule="FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1",
            now=NOW,
        )

        january.refresh_from_db()
        assert (january.line_id, january.state) == (line.pk, "booked")
        assert [row["due_on"] for row in rows(following)] == [date(2027, 9, 1)]

    def test_a_visit_moved_by_hand_keeps_its_days(self, line, office):
        january = visit_of(line, JANUARY)
        by_hand = date(2027, 1, 8)
        move_visit(january.pk, by=office, due_on=by_hand, opens_on=by_hand, closes_on=by_hand)

        change_rule_from(
            line.pk, by=office, from_on=JANUARY, rule="FREQ=MONTHLY;BYDAY=1TH", now=NOW
        )

        january.refresh_from_db()
        assert (january.due_on, january.opens_on, january.closes_on) == (by_hand,) * 3

    @pytest.mark.parametrize("rule", ["FREQ=MONTHLY;BYDAY=1TH", "FREQ=WEEKLY;BYDAY=TU"])
    def test_what_was_made_is_never_touched(self, line, office, rule):
        """Closed, called off and missed visits stay on the line they were made for."""
        call_off_visit(visit_of(line, JANUARY).pk, by=office, reason="Closed for works.")
        february = booked(line, date(2027, 2, 2), office)
        Visit.objects.filter(pk=february.pk).update(
            state="closed", closed_at=NOW, seal="a" * 64, seal_number=1
        )
        made = Visit.objects.filter(state__in=["closed", "called_off"]).order_by("pk")
        before = list(made.values())

        change_rule_from(line.pk, by=office, from_on=JANUARY, rule=rule, now=NOW)
        plan_due_visits(now=NOW + timedelta(days=1))

        assert list(made.values()) == before

    def test_an_unbooked_visit_that_no_longer_occurs_is_withdrawn_by_the_next_sweep(
        self, line, office
    ):
        january = booked(line, JANUARY, office)
        change_rule_from(
            line.pk,
            by=office,
            from_on=JANUARY,
            rule="FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1",
            now=NOW,
        )

        unbook_visit(january.pk, by=office)
        plan_due_visits(now=NOW)

        assert not Visit.objects.filter(pk=january.pk).exists()

    def test_from_the_very_first_day_the_line_itself_changes(self, line, office):
        following = change_rule_from(
            line.pk,
            by=office,
            from_on=date(2026, 12, 1),
            rule="FREQ=MONTHLY;BYDAY=1TH",
            days_after=1,
            now=NOW,
        )

        assert following.pk == line.pk
        assert ServiceLine.objects.count() == 1
        assert [row["due_on"] for row in rows(line)][:2] == [date(2026, 12, 3), date(2027, 1, 7)]
        assert rows(line)[0]["closes_on"] == date(2026, 12, 4)

    def test_but_not_once_a_visit_was_made(self, line, office, trail):
        call_off_visit(visit_of(line, JANUARY).pk, by=office, reason="Closed for works.")
        before = rows(line), trail()

        with pytest.raises(Unusable, match="later day") as no:
            change_rule_from(
                line.pk,
                by=office,
                from_on=date(2026, 12, 1),
                rule="FREQ=MONTHLY;BYDAY=1TH",
                now=NOW,
            )

        assert no.value.facts["field"] == "from_on"
        assert (rows(line), trail()) == before

    def test_a_line_is_followed_once(self, line, office):
        change_rule_from(
            line.pk, by=office, from_on=JANUARY, rule="FREQ=MONTHLY;BYDAY=1TH", now=NOW
        )

        with pytest.raises(Refused, match="the line that follows"):
            change_rule_from(
                line.pk, by=office, from_on=JANUARY, rule="FREQ=MONTHLY;BYDAY=1FR", now=NOW
            )

        assert ServiceLine.objects.count() == 2

    @pytest.mark.parametrize(
        "rule",
        [
            "FREQ=MONTHLY;BYDAY=1TH",
            "FREQ=WEEKLY;BYDAY=TU",
            "FREQ=MONTHLY;INTERVAL=3;BYDAY=1TU",
            "FREQ=DAILY;INTERVAL=10",
        ],
    )
    def test_the_preview_says_what_then_happens(self, line, office, rule):
        """Kept, moved, withdrawn and new are counted on both sides."""
        booked(line, date(2027, 2, 2), office)
        before = {visit.pk: visit.due_on for visit in Visit.objects.all()}

        said = preview_rule_change(line, from_on=JANUARY, rule=rule, now=NOW)
        following = change_rule_from(line.pk, by=office, from_on=JANUARY, rule=rule, now=NOW)

        after = {visit.pk: visit.due_on for visit in Visit.objects.all()}
        assert {visit.pk for visit in said.withdrawn} == set(before) - set(after)
        assert {window.due_on for window in said.new} == {
            day for pk, day in after.items() if pk not in before
        }
        assert {visit.pk: window.due_on for visit, window in said.moved} == {
            visit.pk: after[visit.pk] for visit, _ in said.moved
        }
        assert [visit.due_on for visit, _ in said.kept] == [date(2027, 2, 2)]
        assert following.visits.count() == len(said.new) + len(said.moved) + sum(
            window is not None for _, window in said.kept
        )

    def test_the_preview_writes_nothing(self, line, trail):
        before = rows(line), trail(), ServiceLine.objects.count()

        preview_rule_change(line, from_on=JANUARY, rule="FREQ=WEEKLY;BYDAY=TU", now=NOW)

        assert (rows(line), trail(), ServiceLine.objects.count()) == before
