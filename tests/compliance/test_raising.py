"""What a closed visit asks for is raised once, whoever hears of it first."""

from datetime import UTC, date

import pytest

from accounts.models import TrailEntry
from accounts.sealing import digest
from compliance.models import CorrectiveAction
from compliance.queries.not_reached import visits_without_their_actions
from compliance.services.actions import (
    check_action,
    raise_actions_of_visit,
    raise_missing_actions,
    report_done,
    withdraw_action,
)
from sites.models import Site
from tests.builders.accounts import PASSWORD
from tests.builders.compliance import make_closed_visit, make_photo, make_photo_bytes
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import make_visit
from visits.models import Finding, NotReached, Visit, WhoseMove
from visits.services.recording import FindingGiven, NotReachedGiven, add_visit_photo

pytestmark = pytest.mark.django_db

JAN, FEB, MAR, APR = (date(2026, month, 10) for month in (1, 2, 3, 4))


@pytest.fixture
def site() -> Site:
    return make_site()


@pytest.fixture
def zone(site):
    return make_zone(site)


def gap(zone, **fields) -> FindingGiven:
    return FindingGiven(
        **{
            "zone_id": zone.pk,
            "kind": Finding.Kind.ENTRY_POINT,
            "remedy_kind": "proofing",
            "remedy": "Fit a bristle strip to the door",
            "whose_move": WhoseMove.US,
            "place": "Left leaf",
            "note": "A pencil goes under.",
            **fields,
        }
    )


def shut(whose_move=WhoseMove.CLIENT, **place) -> NotReachedGiven:
    return NotReachedGiven(
        reason=NotReached.Reason.LOCKED, whose_move=whose_move, note="Key with the tenant.", **place
    )


# --- findings -----------------------------------------------------------------------------------


def test_a_finding_with_a_remedy_becomes_an_action_with_its_words_and_photos(site, zone):
    photo = make_photo(site)
    visit = make_closed_visit(
        site, due_on=MAR, findings=[gap(zone, photo_ids=[photo.pk], urgency=Finding.Urgency.NOW)]
    )

    assert raise_actions_of_visit(visit.pk) == 1

    action = CorrectiveAction.objects.get()
    assert (action.title, action.kind, action.whose_move, action.zone, action.visit) == (
        "Fit a bristle strip to the door",
        "proofing",
        "us",
        zone,
        visit,
    )
    assert action.detail == f"Entry point in {zone.name}. Left leaf\nA pencil goes under."
    assert (action.raised_at, action.raised_by) == (visit.closed_at, visit.technician)
    assert action.due_on == date(2026, 3, 12), "urgent: two days"
    assert [shown.photo for shown in action.shown_by.all()] == [photo]
    entry = TrailEntry.objects.get(verb="action.raised")
    assert (entry.actor, entry.at) == (visit.technician, visit.closed_at)


@pytest.mark.parametrize(
    ("urgency", "due_on"),
    [("now", date(2026, 3, 12)), ("soon", date(2026, 3, 24)), ("low", date(2026, 4, 21))],
)
def test_what_is_urgent_is_due_sooner(site, zone, urgency, due_on):
    raise_actions_of_visit(
        make_closed_visit(site, due_on=MAR, findings=[gap(zone, urgency=urgency)]).pk
    )

    assert CorrectiveAction.objects.get().due_on == due_on


def test_days_are_counted_from_the_day_at_the_site():
    """Ten in the morning in Auckland is still the day before in UTC."""
    auckland = make_site(time_zone="Pacific/Auckland")
    visit = make_closed_visit(auckland, due_on=MAR, findings=[gap(make_zone(auckland))])
    assert visit.closed_at.astimezone(UTC).date() == date(2026, 3, 9)

    raise_actions_of_visit(visit.pk)

    assert CorrectiveAction.objects.get().due_on == date(2026, 3, 24)


def test_a_finding_without_a_remedy_asks_for_nothing(site, zone):
    bare = FindingGiven(zone_id=zone.pk, kind=Finding.Kind.SIGNS, note="Old droppings.")
    visit = make_closed_visit(site, due_on=MAR, findings=[bare])

    assert raise_actions_of_visit(visit.pk) == 0
    assert not visits_without_their_actions().exists()


def test_a_long_remedy_is_cut_at_a_word_and_kept_whole_in_the_detail(site, zone):
    remedy = "Close the gap " + "behind the third oven " * 12
    raise_actions_of_visit(
        make_closed_visit(site, due_on=MAR, findings=[gap(zone, remedy=remedy)]).pk
    )

    action = CorrectiveAction.objects.get()
    assert len(action.title) <= 160
    assert action.title.endswith("…")
    assert remedy.strip() in action.detail


def test_raising_twice_raises_once(site, zone):
    visit = make_closed_visit(site, due_on=MAR, findings=[gap(zone), gap(zone, place="Right")])

    assert (raise_actions_of_visit(visit.pk), raise_actions_of_visit(visit.pk)) == (2, 0)
    assert sorted(CorrectiveAction.objects.values_list("number", flat=True)) == [1, 2]


def test_the_sweep_finds_what_the_signal_lost(site, zone):
    make_closed_visit(site, due_on=FEB, findings=[gap(zone)])
    make_closed_visit(site, due_on=MAR, findings=[gap(zone)])

    assert (raise_missing_actions(), raise_missing_actions()) == (2, 0)
    assert not visits_without_their_actions().exists()


def test_closing_tells_and_the_actions_are_there(site, zone, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        make_closed_visit(site, due_on=MAR, findings=[gap(zone)])

    assert CorrectiveAction.objects.count() == 1


def test_a_visit_that_is_not_closed_raises_nothing(site):
    assert raise_actions_of_visit(make_visit(site, state=Visit.State.UNDER_WAY).pk) == 0


def test_a_photo_that_comes_later_is_put_beside_an_action_not_yet_priced(site, zone):
    data = make_photo_bytes()
    visit = make_closed_visit(site, due_on=MAR, findings=[gap(zone, awaits=[digest(data)])])
    raise_actions_of_visit(visit.pk)
    action = CorrectiveAction.objects.get()
    assert not action.shown_by.exists()

    Visit.objects.filter(pk=visit.pk).update(booked_on=date.today())  # its site opens to them again
    add_visit_photo(visit, by=visit.technician, data=data)
    raise_missing_actions()
    raise_missing_actions()

    assert action.shown_by.count() == 1
    assert TrailEntry.objects.filter(verb="action.photo_added").count() == 1


# --- not reached again and again ----------------------------------------------------------------


def places(zone):
    """Each sort of place that can be shut: a checkpoint, a monitor, a whole zone."""
    return {
        "checkpoint": {"checkpoint_id": zone.checkpoints.first().pk},
        "monitor": {"monitor_id": make_monitor(zone).pk},
        "zone": {"zone_id": zone.pk},
    }


@pytest.mark.parametrize("sort", ["checkpoint", "monitor", "zone"])
def test_the_second_time_running_asks_for_access(site, zone, sort):
    place = places(zone)[sort]
    first = make_closed_visit(site, due_on=JAN, not_reached=[shut(**place)])
    assert raise_actions_of_visit(first.pk) == 0

    second = make_closed_visit(site, due_on=FEB, not_reached=[shut(**place)])
    assert raise_actions_of_visit(second.pk) == 1

    action = CorrectiveAction.objects.get()
    assert (action.kind, action.whose_move, action.visit) == ("access", "client", second)
    assert action.title.startswith("Give access to ")
    assert "Locked" in action.detail
    assert "Key with the tenant." in action.detail


def test_an_open_request_is_not_made_twice_and_a_closed_one_is_made_again(
    site, zone, office, technician
):
    place = places(zone)["checkpoint"]
    for day in (JAN, FEB, MAR):
        make_closed_visit(site, due_on=day, not_reached=[shut(**place)])
        raise_missing_actions()
    action = CorrectiveAction.objects.get()

    report_done(action.pk, by=office, note="Key handed over.")
    check_action(action.pk, by=office, password=PASSWORD)
    assert raise_missing_actions() == 0, "what was asked before is not asked again"

    later = date(2027, 1, 12)
    make_closed_visit(site, due_on=later, not_reached=[shut(**place)])
    assert raise_missing_actions() == 1


def test_a_withdrawn_request_is_not_made_again_for_the_same_visits(site, zone, office):
    place = places(zone)["checkpoint"]
    for day in (JAN, FEB):
        make_closed_visit(site, due_on=day, not_reached=[shut(**place)])
    raise_missing_actions()

    withdraw_action(CorrectiveAction.objects.get().pk, by=office, reason="Moot: the lease ended.")

    assert raise_missing_actions() == 0


def test_a_place_that_was_looked_at_in_between_is_not_running(site, zone):
    checkpoint = zone.checkpoints.first()
    make_closed_visit(site, due_on=JAN, not_reached=[shut(checkpoint_id=checkpoint.pk)])
    make_closed_visit(site, due_on=FEB, looks=[checkpoint])
    make_closed_visit(site, due_on=MAR, not_reached=[shut(checkpoint_id=checkpoint.pk)])

    assert raise_missing_actions() == 0


def test_a_place_that_was_reached_since_needs_no_key(site, zone):
    checkpoint = zone.checkpoints.first()
    make_closed_visit(site, due_on=JAN, not_reached=[shut(checkpoint_id=checkpoint.pk)])
    make_closed_visit(site, due_on=FEB, not_reached=[shut(checkpoint_id=checkpoint.pk)])
    make_closed_visit(site, due_on=MAR, looks=[checkpoint])

    assert raise_missing_actions() == 0


def test_a_visit_that_never_tried_breaks_no_run(site, zone):
    """A call-out to the bar says nothing about the cellar."""
    checkpoint = zone.checkpoints.first()
    make_closed_visit(site, due_on=JAN, not_reached=[shut(checkpoint_id=checkpoint.pk)])
    make_closed_visit(site, due_on=FEB)
    make_closed_visit(site, due_on=MAR, not_reached=[shut(checkpoint_id=checkpoint.pk)])

    assert raise_missing_actions() == 1


def test_what_is_not_the_clients_move_is_not_asked_of_them(site, zone):
    place = places(zone)["checkpoint"]
    for day in (JAN, FEB, MAR):
        make_closed_visit(site, due_on=day, not_reached=[shut(WhoseMove.US, **place)])

    assert raise_missing_actions() == 0


def test_places_do_not_mix(site, zone):
    first, second = list(zone.checkpoints.order_by("pk"))[:2]
    make_closed_visit(site, due_on=JAN, not_reached=[shut(checkpoint_id=first.pk)])
    make_closed_visit(site, due_on=FEB, not_reached=[shut(checkpoint_id=second.pk)])

    assert raise_missing_actions() == 0


@pytest.mark.parametrize("number", [2, 12])
def test_looking_for_work_costs_one_query(site, zone, number, django_assert_num_queries):
    for index in range(number):
        make_closed_visit(site, due_on=date(2026, 1, 1 + index), findings=[gap(zone)])

    with django_assert_num_queries(1):
        assert len(visits_without_their_actions()) == number
