"""Inviting, joining, stopping."""

import re
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from knox.models import AuthToken

from accounts.models import Invitation, Letter, Role, User
from accounts.refusals import NotAllowed, Refused, Unusable, WrongState
from accounts.services.people import (
    change_person,
    invite_again,
    invite_person,
    join,
    restore_person,
    stop_person,
)
from tests.builders.accounts import make_client, make_office, make_technician


def secret_of(person: User) -> str:
    letter = Letter.objects.filter(to=person.email).order_by("-pk").first()
    return re.search(r"/people/join/([^/\s]+)/", letter.text)[1]


@pytest.fixture
def invited(office) -> User:
    return invite_person("New@Example.org", by=office, name="New Person", role=Role.TECHNICIAN)


def test_an_invited_person_cannot_sign_in_before_joining(invited, client):
    assert invited.email == "new@example.org"
    assert not invited.has_usable_password()
    assert not client.login(email=invited.email, password="")


def test_the_link_in_the_letter_sets_a_password_once(invited, client, trail):
    secret = secret_of(invited)
    address = reverse("accounts:join", args=[secret])
    phrase = {"password": "quiet harbour lamp", "again": "quiet harbour lamp"}

    assert client.get(address).status_code == 200
    assert client.post(address, phrase).url == reverse("account_login")
    assert client.get(address).status_code == 410
    assert client.login(email=invited.email, password="quiet harbour lamp")
    assert trail() == ["person.invited", "person.joined"]


def test_only_the_hash_of_the_secret_is_kept(invited):
    assert secret_of(invited) not in Invitation.objects.get().secret_hash


@pytest.mark.parametrize(
    ("phrase", "again"),
    [("short", "short"), ("password123", "password123"), ("quiet harbour lamp", "other")],
    ids=["short", "common", "differ"],
)
def test_a_weak_or_mistyped_password_is_refused_beside_its_field(invited, client, phrase, again):
    address = reverse("accounts:join", args=[secret_of(invited)])

    answer = client.post(address, {"password": phrase, "again": again})

    assert answer.status_code == 422
    assert answer.context["form"].errors
    assert Invitation.objects.get().accepted_at is None


def test_a_new_link_ends_the_old_one(invited, office):
    old = secret_of(invited)
    invite_again(invited.pk, by=office)

    with pytest.raises(Refused, match="Ask for a new one"):
        join(old, password="quiet harbour lamp")
    assert join(secret_of(invited), password="quiet harbour lamp") == invited


def test_a_link_runs_out(invited):
    secret = secret_of(invited)
    Invitation.objects.update(expires_at=timezone.now() - timedelta(seconds=1))

    with pytest.raises(Refused):
        join(secret, password="quiet harbour lamp")


def test_the_same_address_is_not_invited_twice(invited, office):
    with pytest.raises(Unusable, match="already here"):
        invite_person("NEW@example.org", by=office, name="Twin", role=Role.OFFICE)

    assert User.objects.filter(email__iexact="new@example.org").count() == 1


def test_office_without_administration_may_invite_only_client_managers(db):
    plain = make_office()

    with pytest.raises(NotAllowed, match="administrator"):
        invite_person("t@example.org", by=plain, name="T", role=Role.TECHNICIAN)

    manager = invite_person(
        "m@example.org", by=plain, name="M", role=Role.CLIENT_MANAGER, client=make_client()
    )
    assert manager.is_client_manager


def test_a_manager_needs_a_client(office):
    with pytest.raises(Unusable, match="which client"):
        invite_person("m@example.org", by=office, name="M", role=Role.CLIENT_MANAGER)


def test_stopping_ends_open_sessions_and_tokens_at_once(office):
    technician = make_technician()
    browser = Browser()
    browser.force_login(technician)
    AuthToken.objects.create(user=technician)
    mine = reverse("accounts:my_competences")
    assert browser.get(mine).status_code == 200

    stop_person(technician.pk, by=office, reason="Left the company")

    assert browser.get(mine).status_code == 302
    assert not AuthToken.objects.exists()
    with pytest.raises(WrongState):
        stop_person(technician.pk, by=office, reason="Again")

    restore_person(technician.pk, by=office)
    technician.refresh_from_db()
    assert technician.is_active


def test_the_last_administrator_can_neither_be_stopped_nor_step_down(office):
    other = make_office(is_administrator=True)
    stop_person(other.pk, by=office, reason="Left")

    with pytest.raises(NotAllowed, match="yourself"):
        stop_person(office.pk, by=office, reason="Me")
    with pytest.raises(NotAllowed, match="last administrator"):
        change_person(office.pk, by=office, name=office.name, is_administrator=False)

    office.refresh_from_db()
    assert office.is_administrator


def test_a_change_says_what_it_was_and_what_it_is(office):
    technician = make_technician(name="Before")

    change_person(technician.pk, by=office, name="After")

    from accounts.models import TrailEntry

    assert TrailEntry.objects.get().facts["changed"]["name"] == ["Before", "After"]
