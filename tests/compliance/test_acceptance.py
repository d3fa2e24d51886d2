"""The client accepts finished work, or does not: signed under what was reported of it."""

import json
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.models import TrailEntry
from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from compliance.models import CorrectiveAction, SignOff
from compliance.queries.actions import story_of
from compliance.queries.sheets import sheet_of
from compliance.queries.site_file import site_file_of
from compliance.queries.work import done_facts, done_hash
from compliance.services.acceptance import accept_work
from compliance.services.actions import check_action, reopen_action, report_done
from compliance.services.signing import WrongPassword, is_whole
from tests.builders.accounts import PASSWORD, make_manager
from tests.builders.compliance import make_action, make_photo
from tests.builders.sites import make_site
from visits.models import WhoseMove

pytestmark = pytest.mark.django_db

State = CorrectiveAction.State
ACCEPTS = SignOff.Meaning.ACCEPTS


@pytest.fixture
def site():
    return make_site(zones=1)


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


@pytest.fixture
def done(site, office, manager):
    return make_action("done", site=site, by=office, manager=manager)


def hash_of(action):
    return done_hash(done_facts(CorrectiveAction.objects.get(pk=action.pk)))


def accept(action, *, by, **changed):
    given = {"shown_hash": hash_of(action), "password": PASSWORD, **changed}
    return accept_work(action.pk, by=by, **given)


def signed(action):
    return list(action.sign_offs.filter(meaning=ACCEPTS))


def test_an_acceptance_is_signed_under_what_was_reported(done, manager, trail):
    action = accept(done, by=manager)

    (sign_off,) = signed(action)
    assert (action.state, action.accepted_by) == (State.DONE, manager)
    assert json.loads(sign_off.content)["done"]["note"] == done.done_note
    assert is_whole(sign_off)
    assert trail()[-1] == "action.accepted"


@pytest.mark.parametrize("first", ["check", "acceptance"])
def test_acceptance_and_our_check_come_in_either_order(first, done, manager, technician):
    steps = [
        lambda: check_action(done.pk, by=technician, password=PASSWORD),
        lambda: accept(done, by=manager),
    ]
    for step in steps if first == "check" else reversed(steps):
        step()

    done.refresh_from_db()
    assert (done.state, done.accepted_by) == (State.CHECKED, manager)
    story = story_of(sheet_of(done))
    assert [(one.trouble, one.superseded) for one in story.signed] == [("", False)] * 3


def test_the_same_acceptance_twice_is_one(done, manager):
    accept(done, by=manager)
    accept(done, by=manager)

    assert len(signed(done)) == 1


def test_a_second_manager_is_told_who_accepted(done, site, manager):
    accept(done, by=manager)

    with pytest.raises(WrongState, match=f"{manager.name} has already accepted"):
        accept(done, by=make_manager(client=site.client))


@pytest.mark.parametrize(
    ("changed", "refusal"),
    [({"password": "wrong"}, WrongPassword), ({"shown_hash": "0" * 64}, Changed)],
    ids=["another's password", "another report"],
)
def test_what_was_not_read_or_not_proven_is_not_signed(done, manager, changed, refusal):
    entries = TrailEntry.objects.count()

    with pytest.raises(refusal):
        accept(done, by=manager, **changed)

    done.refresh_from_db()
    assert (done.accepted_at, signed(done), TrailEntry.objects.count()) == (None, [], entries)


@pytest.mark.parametrize("who", ["office", "technician", "stranger"])
def test_nobody_accepts_for_the_client(who, done, office, technician):
    person = {"office": office, "technician": technician, "stranger": make_manager()}[who]

    with pytest.raises(NotAllowed):
        accept(done, by=person)


def test_what_is_not_done_and_what_is_not_ours_cannot_be_accepted(site, office, manager):
    decided = make_action("decided", site=site, by=office, manager=manager)
    advice = make_action("done", site=site, by=office, kind="advice")
    theirs = make_action(
        "done", site=site, by=office, kind="housekeeping", whose_move=WhoseMove.CLIENT
    )

    for action in (decided, advice):
        with pytest.raises(WrongState, match="only work on the premises that was reported done"):
            accept(action, by=manager)
    with pytest.raises(NotAllowed, match="not ours"):
        accept(theirs, by=manager)


@pytest.mark.parametrize("checked", [False, True], ids=["reported", "checked"])
def test_a_client_who_does_not_accept_sends_the_work_back(checked, done, manager, technician):
    if checked:
        check_action(done.pk, by=technician, password=PASSWORD)

    reopen_action(done.pk, by=manager, reason="The collar is missing.")

    done.refresh_from_db()
    assert (done.state, done.attempt) == (State.DECIDED, 2)
    assert (done.done_at, done.checked_at, done.checked_by) == (None, None, None)
    assert done.reopened_reason == "The collar is missing."


def test_what_was_accepted_is_not_sent_back_by_the_client(done, manager, office):
    accept(done, by=manager)

    with pytest.raises(WrongState, match="has accepted this work"):
        reopen_action(done.pk, by=manager, reason="On second thoughts.")

    reopen_action(done.pk, by=office, reason="It came loose.")
    done.refresh_from_db()
    assert (done.state, done.accepted_at) == (State.DECIDED, None)


def test_the_client_sends_back_nothing_that_is_theirs_and_gives_a_reason(done, site, office):
    manager = make_manager(client=site.client)
    theirs = make_action(
        "done", site=site, by=office, kind="housekeeping", whose_move=WhoseMove.CLIENT
    )

    with pytest.raises(NotAllowed):
        reopen_action(theirs.pk, by=manager, reason="No.")
    with pytest.raises(Unusable):
        reopen_action(done.pk, by=manager, reason=" ")


def test_an_acceptance_of_work_sent_back_is_superseded_and_the_new_report_asks_again(
    done, manager, office
):
    accept(done, by=manager)
    reopen_action(done.pk, by=office, reason="It came loose.")
    report_done(
        done.pk, by=office, note="Fixed anew.", photo_ids=[make_photo(done.site, by=office).pk]
    )
    done.refresh_from_db()
    story = story_of(sheet_of(done))
    by_meaning = {one.sign_off.meaning: one for one in story.signed}
    assert by_meaning[ACCEPTS].superseded
    assert by_meaning[ACCEPTS].trouble == ""

    accept(done, by=manager)
    assert len(signed(done)) == 2


# --- pages and papers ---------------------------------------------------------------------------


def test_the_manager_accepts_on_the_page_and_everybody_reads_it(client, done, manager, office):
    client.force_login(manager)
    address = reverse("compliance:action_accept", args=[done.pk])
    assert address in client.get(done.get_absolute_url()).text

    answer = client.post(address, {"shown_hash": hash_of(done), "password": PASSWORD})

    assert answer.status_code == 302
    shown = client.get(done.get_absolute_url()).text
    assert address not in shown
    assert "Accepted by the client" in shown
    assert "Accepts the work described as finished" in shown


def test_the_page_that_accepts_also_sends_back(client, done, manager):
    client.force_login(manager)
    address = reverse("compliance:action_reopen", args=[done.pk])
    refused = client.post(address, {"back-reason": ""})
    assert refused.status_code == 422
    assert "Accept the work" in refused.text

    assert client.post(address, {"back-reason": "The collar is missing."}).status_code == 302
    assert "Sent back" in client.get(done.get_absolute_url()).text


def test_a_wrong_password_signs_nothing(client, done, manager):
    client.force_login(manager)
    address = reverse("compliance:action_accept", args=[done.pk])

    answer = client.post(address, {"shown_hash": hash_of(done), "password": "wrong"})

    assert answer.status_code == 422
    assert signed(done) == []


def test_the_site_file_carries_the_acceptance(done, manager, office):
    accept(done, by=manager)
    today = done.site.day_of(timezone.now())

    gathered = site_file_of(
        done.site,
        first=today - timedelta(days=7),
        last=today,
        by=office,
        role=office.role,
        now=timezone.now(),
    )

    (action,) = gathered.file.actions
    assert (action.accepted_by, action.attempt) == (manager.name, 1)
    assert "Accepts the work described as finished" in [one.meaning for one in action.sign_offs]
