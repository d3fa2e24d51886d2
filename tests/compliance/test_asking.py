"""Asking one of a client's managers to decide: who may, who may be asked, whom it waits for."""

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable, WrongState
from compliance.models import ActionMessage, CorrectiveAction, Flag
from compliance.queries.asked import who_is_asked
from compliance.queries.client import asked_of_colleagues, to_decide
from compliance.services.actions import price_action
from compliance.services.asking import ask_colleague, ask_nobody
from compliance.services.flags import reconcile_flags
from compliance.services.messages import write_message
from sites.models import SiteGrant
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import OPTIONS, decide, give_pass, make_action
from tests.builders.sites import make_site

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def manager(site):
    return make_manager(client=site.client, name="Ana Prior")


@pytest.fixture
def colleague(site):
    return make_manager(client=site.client, name="Ben Oduya")


@pytest.fixture
def priced(site):
    return make_action("priced", site=site)


def again(action):
    return CorrectiveAction.objects.get(pk=action.pk)


def waiting(person):
    return [action.pk for action in to_decide(person, timezone.now()).actions]


# --- who asks whom --------------------------------------------------------------------------------


@pytest.mark.parametrize("who", ["manager", "office"])
def test_a_colleague_is_asked_with_a_note_that_stands_in_the_thread(
    priced, colleague, who, request
):
    by = request.getfixturevalue(who)

    ask_colleague(priced.pk, by=by, person_id=colleague.pk, note="You know that oven.", at=NOON)

    message = ActionMessage.objects.get()
    assert again(priced).asked == colleague
    assert message.text == "Ben Oduya is asked to decide this.\nYou know that oven."
    assert (message.by, message.at, message.asks) == (by, NOON, colleague)
    told = TrailEntry.objects.get(verb="action.asked")
    assert (told.at, told.facts["person"]) == (NOON, str(colleague.pk))
    assert told.facts["message"] == str(message.pk)


def test_asking_twice_in_the_same_words_is_asking_once(priced, manager, colleague):
    for _ in range(2):
        ask_colleague(priced.pk, by=manager, person_id=colleague.pk, note="Please.")

    assert ActionMessage.objects.count() == 1
    assert TrailEntry.objects.filter(verb="action.asked").count() == 1


def test_it_is_taken_back_and_twice_is_once(priced, manager, colleague):
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)

    for _ in range(2):
        ask_nobody(priced.pk, by=colleague)

    assert again(priced).asked is None
    told = TrailEntry.objects.get(verb="action.asked_nobody")
    assert (told.actor, told.facts["was"]) == (colleague, str(colleague.pk))


def test_only_managers_of_the_site_and_the_office_say_who_is_asked(priced, site, colleague):
    limited = make_manager(client=site.client)
    SiteGrant.objects.create(person=limited, site=make_site(client=site.client))
    auditor = make_auditor()
    give_pass(auditor, site)

    for stranger in (limited, make_manager(), make_technician(), auditor):
        with pytest.raises(NotAllowed):
            ask_colleague(priced.pk, by=stranger, person_id=colleague.pk)
        with pytest.raises(NotAllowed):
            ask_nobody(priced.pk, by=stranger)
    assert again(priced).asked is None
    assert not ActionMessage.objects.exists()


def test_nobody_but_another_manager_who_sees_the_site_can_be_asked(priced, site, manager):
    limited = make_manager(client=site.client)
    SiteGrant.objects.create(person=limited, site=make_site(client=site.client))
    invited = make_manager(client=site.client)
    invited.set_unusable_password()
    invited.save()
    stopped = make_manager(client=site.client, is_active=False)

    for nobody in (limited, invited, stopped, make_manager(), make_office(), manager):
        with pytest.raises(Unusable):
            ask_colleague(priced.pk, by=manager, person_id=nobody.pk)
    assert again(priced).asked is None


def test_a_note_keeps_within_bounds(priced, manager, colleague):
    with pytest.raises(Unusable, match="under 1,000"):
        ask_colleague(priced.pk, by=manager, person_id=colleague.pk, note="a" * 1001)
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk, note="a" * 1000)


@pytest.mark.parametrize("state", ["raised", "decided", "withdrawn"])
def test_nobody_is_asked_about_what_does_not_wait_for_a_decision(site, manager, colleague, state):
    action = make_action(state, site=site)

    with pytest.raises(WrongState):
        ask_colleague(action.pk, by=manager, person_id=colleague.pk)


# --- whom it waits for ----------------------------------------------------------------------------


def test_what_a_colleague_is_asked_waits_for_them_and_may_still_be_decided_by_anybody(
    priced, site, manager, colleague
):
    other = make_action("priced", site=site)
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)

    assert waiting(manager) == [other.pk]
    assert set(waiting(colleague)) == {priced.pk, other.pk}
    assert (asked_of_colleagues(manager), asked_of_colleagues(colleague)) == (1, 0)

    decide(priced, by=manager)

    assert again(priced).asked is None
    assert (again(priced).state, asked_of_colleagues(manager)) == ("decided", 0)


@pytest.mark.parametrize("why", ["stopped", "limited", "moved"])
def test_who_may_no_longer_decide_counts_as_nobody(priced, site, manager, colleague, why):
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)
    if why == "stopped":
        colleague.is_active = False
        colleague.save()
    if why == "limited":
        SiteGrant.objects.create(person=colleague, site=make_site(client=site.client))
    if why == "moved":
        colleague.client = make_site().client
        colleague.save()

    assert who_is_asked(again(priced)) is None
    assert waiting(manager) == [priced.pk]
    assert asked_of_colleagues(manager) == 0


def test_a_manager_given_just_this_site_counts(priced, site, manager, colleague):
    SiteGrant.objects.create(person=colleague, site=site)
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)

    assert who_is_asked(again(priced)) == colleague
    assert waiting(manager) == []


def test_priced_anew_it_still_waits_for_whoever_was_asked(priced, office, manager, colleague):
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)
    price_action(priced.pk, by=office, options=OPTIONS[::-1])

    assert again(priced).revision == 2
    assert who_is_asked(again(priced)) == colleague


def test_asking_a_colleague_is_no_question_to_the_office_and_answers_none(
    priced, office, manager, colleague
):
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk, note="What do you say?")
    reconcile_flags()
    assert not Flag.objects.filter(kind=Flag.Kind.QUESTION_OPEN).exists()

    write_message(priced.pk, by=manager, text="How long does it last?")
    at = timezone.now() + timedelta(minutes=5)
    ask_colleague(priced.pk, by=office, person_id=manager.pk, note="As you said.", at=at)
    reconcile_flags()
    assert Flag.objects.filter(kind=Flag.Kind.QUESTION_OPEN).count() == 1


# --- the pages ------------------------------------------------------------------------------------


def test_the_form_offers_the_clients_other_managers_and_nobody_elses(
    client, priced, site, manager, colleague
):
    make_manager(name="Strange Person")
    limited = make_manager(client=site.client, name="Elsewhere Only")
    SiteGrant.objects.create(person=limited, site=make_site(client=site.client))
    client.force_login(manager)
    address = reverse("compliance:action_ask", args=[priced.pk])

    page = client.get(address)
    assert list(page.context["form"].fields["person"].queryset) == [colleague]
    assert b"Strange Person" not in page.content
    assert b"Elsewhere Only" not in page.content

    assert client.post(address, {"person": limited.pk}).status_code == 422
    answer = client.post(address, {"person": colleague.pk, "note": "Please."})
    assert answer.url == priced.get_absolute_url()
    assert again(priced).asked == colleague


def test_lists_and_pages_say_whom_it_waits_for(client, priced, site, office, manager, colleague):
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)
    other = make_action("priced", site=site)
    auditor = make_auditor()
    give_pass(auditor, site, period_to=timezone.now().date())

    def seen(person):
        client.force_login(person)
        listed = client.get(reverse("compliance:actions"), {"state": "priced"}).content.decode()
        return listed, client.get(priced.get_absolute_url()).content.decode()

    listed, page = seen(manager)
    assert (listed.count("Waits for you"), listed.count("Waits for Ben Oduya")) == (1, 1)
    assert "Ben Oduya is asked to decide this. Any manager of this site still may." in page
    listed, page = seen(colleague)
    assert listed.count("Waits for you") == 2
    assert "You are asked to decide this." in page
    listed, page = seen(office)
    assert ("Waits for you" in listed, "Waits for Ben Oduya" in listed) == (False, True)
    listed, page = seen(auditor)
    assert other.title in listed
    assert "Ben Oduya" not in listed + page
    assert "is asked to decide" not in page


def test_the_first_page_counts_what_waits_for_me_or_nobody_and_names_the_rest(
    client, priced, site, manager, colleague
):
    for _ in range(2):
        make_action("priced", site=site)
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)
    client.force_login(manager)

    page = client.get(reverse("compliance:your_sites")).content.decode()

    assert "All 2 at one sitting" in page
    assert "1 more waits for colleagues who are asked to decide." in page


def test_nobody_in_particular_is_asked_again_from_the_page(client, priced, manager, colleague):
    ask_colleague(priced.pk, by=manager, person_id=colleague.pk)
    client.force_login(manager)

    asked = client.get(reverse("compliance:action_ask", args=[priced.pk])).content.decode()
    assert "Ben Oduya is asked now." in asked
    client.post(reverse("compliance:action_ask_nobody", args=[priced.pk]))

    assert again(priced).asked is None


def test_what_is_decided_has_no_page_to_ask_about(client, site, manager):
    decided = make_action("decided", site=site)
    client.force_login(manager)

    assert client.get(reverse("compliance:action_ask", args=[decided.pk])).status_code == 409


def test_where_nobody_can_be_asked_there_is_no_form_but_a_way_back(client, priced, manager):
    client.force_login(manager)

    page = client.get(reverse("compliance:action_ask", args=[priced.pk])).content.decode()

    assert "There is nobody else to ask" in page
    assert "Ask them to decide" not in page
    assert "Back to the action" in page
