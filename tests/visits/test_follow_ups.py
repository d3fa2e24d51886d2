"""Follow-ups: what a closed visit proposes, and what the office answers."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from accounts.models import Branch
from accounts.refusals import NotAllowed, Unusable, WrongState
from tests.builders.accounts import make_manager, make_office
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import local, make_product, make_visit, treatment_given
from visits.dosing.biology import follow_up_of
from visits.models import FollowUp, Visit
from visits.services.booking import book_visit, call_off_visit
from visits.services.closing import close_visit
from visits.services.follow_ups import accept_follow_up, accept_follow_ups, pass_over_follow_up
from visits.services.follow_ups_proposed import (
    pass_over_overtaken,
    propose_follow_ups,
    propose_follow_ups_of,
)
from visits.services.recording import ContactGiven, apply_treatment

pytestmark = pytest.mark.django_db

State = FollowUp.State
TREATED = date(2026, 12, 8)
NOW = datetime(2026, 12, 9, 12, 0, tzinfo=UTC)
ROACH = follow_up_of("german-cockroach", "cockroach")
RAT = follow_up_of("brown-rat", "rodent")
NOBODY = ContactGiven(no_signature_reason="Nobody was there.")


def treated(*targets: str, site=None, due_on: date = TREATED) -> Visit:
    """A closed visit on which these pests were treated."""
    visit = make_visit(site or make_site(), state=Visit.State.UNDER_WAY, due_on=due_on)
    zone = make_zone(visit.site)
    product = make_product()
    for target in targets:
        apply_treatment(
            visit.pk,
            by=visit.technician,
            at=local(visit, 9, 30),
            treatment=treatment_given(zone, product, target=target, started_at=local(visit, 9, 40)),
        )
    return close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=NOBODY,
    )


def proposal(**facts) -> FollowUp:
    """One proposed follow-up on German cockroaches."""
    visit = treated("german-cockroach", **facts)
    propose_follow_ups_of(visit.pk)
    return visit.follow_ups.get()


# --- proposing ------------------------------------------------------------------------------------


def test_a_visit_proposes_one_follow_up_for_each_pest_by_its_biology(trail):
    visit = treated("german-cockroach", "brown-rat", "german-cockroach")
    before = trail()

    assert propose_follow_ups_of(visit.pk) == 2

    assert {
        (one.pest.slug, one.first_on, one.by_on, one.state) for one in visit.follow_ups.all()
    } == {
        (
            slug,
            TREATED + timedelta(days=told.first_on_days),
            TREATED + timedelta(days=told.by_days),
            State.PROPOSED,
        )
        for slug, told in (("german-cockroach", ROACH), ("brown-rat", RAT))
    }
    assert trail() == [*before, "follow_ups.proposed"]


def test_closing_proposes_at_once(django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        visit = treated("german-cockroach")

    assert visit.follow_ups.get().state == State.PROPOSED


def test_proposing_twice_or_late_is_proposing_once(trail):
    visit = treated("german-cockroach")
    propose_follow_ups_of(visit.pk)
    before = trail()

    assert propose_follow_ups_of(visit.pk) == 0
    assert propose_follow_ups(now=NOW) == 0

    assert FollowUp.objects.count() == 1
    assert trail() == before


def test_the_sweep_finds_what_the_closing_left_undone():
    visit = treated("german-cockroach")
    make_visit(state=Visit.State.CLOSED, due_on=TREATED)

    assert propose_follow_ups(now=NOW) == 1
    assert FollowUp.objects.get().visit == visit


def test_the_sweep_leaves_what_closed_long_ago():
    treated("german-cockroach", due_on=TREATED - timedelta(days=70))

    assert propose_follow_ups(now=NOW) == 0
    assert not FollowUp.objects.exists()


def test_a_pest_whose_biology_asks_for_none_is_not_looked_for_again():
    assert follow_up_of("feral-pigeon", "bird") is None
    treated("feral-pigeon")

    assert propose_follow_ups(now=NOW) == 0
    assert not FollowUp.objects.exists()


def test_a_visit_under_way_proposes_nothing():
    visit = make_visit(state=Visit.State.UNDER_WAY)
    apply_treatment(
        visit.pk,
        by=visit.technician,
        at=local(visit, 9, 30),
        treatment=treatment_given(make_zone(visit.site), make_product()),
    )

    assert propose_follow_ups_of(visit.pk) == 0
    assert propose_follow_ups(now=NOW) == 0
    assert not FollowUp.objects.exists()


@pytest.mark.parametrize(("days", "kind", "needed"), [
    (0, "routine", False),
    (0, "proofing", True),
    (-1, "routine", True),
    (1, "routine", False),
])  # fmt: skip
def test_a_visit_that_falls_within_the_days_anyhow_makes_it_needless(days, kind, needed):
    """Counted from the first day; proofing looks for no pests."""
    visit = treated("german-cockroach")
    due_on = TREATED + timedelta(days=ROACH.first_on_days + days)
    make_visit(visit.site, kind=kind, due_on=due_on)

    propose_follow_ups_of(visit.pk)

    one = visit.follow_ups.get()
    assert one.state == (State.PROPOSED if needed else State.PASSED_OVER)
    if not needed:
        assert f"{due_on:%-d %b %Y}" in one.answer
        assert (one.answered_by, one.booked) == (None, None)


def test_the_day_of_a_booking_counts_rather_than_the_day_due():
    visit = treated("german-cockroach")
    first_on = TREATED + timedelta(days=ROACH.first_on_days)
    coming = make_visit(visit.site, kind="routine", due_on=first_on)
    book_visit(
        coming.pk,
        by=make_office(),
        technician=visit.technician,
        day=first_on - timedelta(days=2),
    )

    propose_follow_ups_of(visit.pk)

    assert visit.follow_ups.get().state == State.PROPOSED


def test_what_was_called_off_makes_nothing_needless():
    visit = treated("german-cockroach")
    due_on = TREATED + timedelta(days=ROACH.first_on_days)
    coming = make_visit(visit.site, kind="routine", due_on=due_on)
    call_off_visit(coming.pk, by=make_office(), reason="The site is shut.")

    propose_follow_ups_of(visit.pk)

    assert visit.follow_ups.get().state == State.PROPOSED


@pytest.mark.parametrize("pests", [1, 4])
def test_proposing_costs_the_same_for_one_pest_and_for_four(pests, django_assert_max_num_queries):
    slugs = ["german-cockroach", "brown-rat", "house-mouse", "house-fly"][:pests]
    visit = treated(*slugs)

    with django_assert_max_num_queries(14):
        assert propose_follow_ups_of(visit.pk) == pests


def looked_again(one: FollowUp, days: int, **facts) -> Visit:
    """A visit closed so many days after the follow-up's first day."""
    day = one.first_on + timedelta(days=days)
    return make_visit(one.visit.site, state=Visit.State.CLOSED, due_on=day, **facts)


def test_what_a_visit_looked_at_before_anybody_answered_is_passed_over(trail):
    one = proposal()
    visit = looked_again(one, ROACH.by_days)

    assert pass_over_overtaken() == 1
    assert pass_over_overtaken() == 0

    one.refresh_from_db()
    assert one.state == State.PASSED_OVER
    assert visit.get_kind_display().lower() in one.answer
    assert trail()[-1] == "follow_up.passed_over"


@pytest.mark.parametrize(
    ("days", "kind"),
    [(-1, Visit.Kind.ROUTINE), (1, Visit.Kind.PROOFING)],
    ids=["before its days", "by somebody who seals"],
)
def test_a_visit_that_looked_too_early_or_at_something_else_overtakes_nothing(days, kind):
    one = proposal()
    looked_again(one, days, kind=kind)

    assert pass_over_overtaken() == 0

    one.refresh_from_db()
    assert one.state == State.PROPOSED


# --- answering ------------------------------------------------------------------------------------


def test_accepting_puts_a_visit_within_the_days_on_the_plan(office, trail):
    one = proposal()
    before = trail()

    visit = accept_follow_up(one.pk, by=office, now=NOW).booked

    assert (visit.kind, visit.state, visit.follows) == ("follow_up", "planned", one.visit)
    assert (visit.opens_on, visit.due_on, visit.closes_on) == (
        one.first_on,
        one.first_on,
        one.by_on,
    )
    assert one.pest.name in visit.office_note
    one.refresh_from_db()
    assert (one.state, one.booked, one.answered_by) == (State.ACCEPTED, visit, office)
    assert trail() == [*before, "visit.added", "follow_up.accepted"]


def test_accepted_late_it_is_due_today_and_its_last_day_stands(office):
    one = proposal()
    late = datetime.combine(one.first_on + timedelta(days=1), NOW.timetz())

    visit = accept_follow_up(one.pk, by=office, now=late).booked

    assert (visit.due_on, visit.closes_on) == (one.first_on + timedelta(days=1), one.by_on)


def test_accepted_after_its_days_it_is_overdue_at_once(office):
    one = proposal()
    late = datetime.combine(one.by_on + timedelta(days=9), NOW.timetz())

    visit = accept_follow_up(one.pk, by=office, now=late).booked

    assert (visit.due_on, visit.closes_on) == (one.by_on, one.by_on)


def test_accepting_twice_is_accepting_once_and_somebody_else_is_told(office, trail):
    one = proposal()
    visit = accept_follow_up(one.pk, by=office).booked
    before = trail()

    assert accept_follow_up(one.pk, by=office).booked == visit
    other = make_office()
    with pytest.raises(WrongState, match=office.name):
        accept_follow_up(one.pk, by=other)
    with pytest.raises(WrongState, match="put it on the plan"):
        pass_over_follow_up(one.pk, by=other, reason="Too late.")

    assert Visit.objects.filter(kind="follow_up", follows=one.visit).count() == 1
    assert trail() == before


def test_two_pests_of_one_visit_share_the_follow_up_where_its_day_suits_both(office):
    visit = treated("german-cockroach", "american-cockroach")
    propose_follow_ups_of(visit.pk)
    first, second = visit.follow_ups.order_by("pk")
    overlap = max(first.first_on, second.first_on) <= min(first.by_on, second.by_on)
    assert overlap

    later = max(first, second, key=lambda one: one.first_on)
    other = first if later == second else second
    shared = accept_follow_up(later.pk, by=office).booked
    assert accept_follow_up(other.pk, by=office).booked == shared

    shared.refresh_from_db()
    assert first.pest.name in shared.office_note
    assert second.pest.name in shared.office_note
    assert shared.version == 2


def test_passing_over_keeps_the_reason(office, trail):
    one = proposal()
    before = trail()

    pass_over_follow_up(one.pk, by=office, reason="The kitchen is torn out that week.")
    pass_over_follow_up(one.pk, by=office, reason="The kitchen is torn out that week.")

    one.refresh_from_db()
    assert (one.state, one.answer, one.booked) == (
        State.PASSED_OVER,
        "The kitchen is torn out that week.",
        None,
    )
    assert trail() == [*before, "follow_up.passed_over"]
    with pytest.raises(WrongState, match="passed it over"):
        accept_follow_up(one.pk, by=office)


@pytest.mark.parametrize("reason", ["", "   ", "x" * 301])
def test_passing_over_wants_a_reason_that_fits(office, reason):
    one = proposal()

    with pytest.raises(Unusable):
        pass_over_follow_up(one.pk, by=office, reason=reason)

    one.refresh_from_db()
    assert one.state == State.PROPOSED


def test_nobody_but_the_office_of_the_branch_answers(technician):
    branch, other = Branch.objects.create(name="North"), Branch.objects.create(name="South")
    one = proposal(site=make_site(branch=branch))
    stranger = make_office()
    stranger.branches.set([other])

    for person in (technician, make_manager(client=one.visit.site.client), stranger):
        with pytest.raises(NotAllowed):
            accept_follow_up(one.pk, by=person)
        with pytest.raises(NotAllowed):
            pass_over_follow_up(one.pk, by=person, reason="No.")

    one.refresh_from_db()
    assert one.state == State.PROPOSED


def test_of_several_one_refusal_stops_no_other(office):
    first, second = proposal(), proposal()
    pass_over_follow_up(first.pk, by=make_office(), reason="Done already.")

    answers = accept_follow_ups([first.pk, second.pk], by=office)

    assert [(one.follow_up_id, one.refusal is None) for one in answers] == [
        (first.pk, False),
        (second.pk, True),
    ]
    assert answers[1].visit.follows == second.visit
    with pytest.raises(Unusable, match="at most 100"):
        accept_follow_ups([second.pk] * 101, by=office)


# --- pages ----------------------------------------------------------------------------------------


def test_one_tap_on_the_list_on_today_and_at_the_site_puts_it_on_the_plan(client, office):
    client.force_login(office)
    addresses = [
        reverse("visits:follow_ups"),
        reverse("compliance:today"),
    ]
    for address in addresses:
        one = proposal()
        accept = reverse("visits:follow_up_accept", args=[one.pk])
        assert accept in client.get(address).content.decode()
        assert accept in client.get(one.visit.site.get_absolute_url()).content.decode()

        answer = client.post(accept, {"next": address})

        assert (answer.status_code, answer["Location"]) == (302, address)
        assert accept not in client.get(address).content.decode()
        one.refresh_from_db()
        assert one.state == State.ACCEPTED


def test_the_way_back_never_leads_away(client, office):
    client.force_login(office)
    one = proposal()

    answer = client.post(
        reverse("visits:follow_up_accept", args=[one.pk]), {"next": "//elsewhere.example/"}
    )

    assert answer["Location"] == reverse("visits:follow_ups")


def test_the_ticked_ones_are_put_on_the_plan_together(client, office):
    client.force_login(office)
    first, second = proposal(), proposal()
    pass_over_follow_up(second.pk, by=make_office(), reason="Done already.")

    page = client.post(
        reverse("visits:follow_ups_accept"),
        {"follow_up": [str(first.pk), str(second.pk), "nonsense"]},
    ).content.decode()

    assert "1 of 2 put on the plan" in page
    assert "passed it over" in page
    first.refresh_from_db()
    assert first.state == State.ACCEPTED


def test_passing_over_on_its_page(client, office):
    client.force_login(office)
    one = proposal()
    address = reverse("visits:follow_up_pass_over", args=[one.pk])

    assert client.post(address, {"reason": ""}).status_code == 422
    assert client.post(address, {"reason": "Torn out."}).status_code == 302

    one.refresh_from_db()
    assert one.answer == "Torn out."
    page = client.get(reverse("visits:follow_ups"), {"state": "passed_over"}).content.decode()
    assert "Torn out." in page
    assert "Torn out." not in client.get(reverse("visits:follow_ups")).content.decode()


def test_the_list_as_a_file_says_the_same(client, office):
    client.force_login(office)
    one = proposal()

    answer = client.get(reverse("visits:follow_ups_csv"))

    body = b"".join(answer.streaming_content).decode()
    assert one.visit.site.name in body
    assert str(one.by_on) in body


def test_the_clients_manager_sees_an_accepted_follow_up_as_a_coming_visit(client, office):
    one = proposal(due_on=datetime.now(UTC).date())
    client.force_login(make_manager(client=one.visit.site.client))
    address = one.visit.site.get_absolute_url()
    before = client.get(address).content.decode()
    assert "Follow-up" not in before.split('id="visits"')[1].split("Past")[0]

    accept_follow_up(one.pk, by=office)

    after = client.get(address).content.decode()
    assert "Follow-up" in after.split('id="visits"')[1].split("Past")[0]
    assert "Follow-ups to answer" not in after
