import re

import pytest
from allauth.account.models import EmailAddress
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.urls import reverse

from accounts.refusals import WrongState
from tests.builders.accounts import PASSWORD

OUTSIDE = [
    "account_login",
    "account_reset_password",
    "account_reset_password_done",
    "account_reset_password_from_key_done",
    "account_inactive",
    "account_email_verification_sent",
]
INSIDE = [
    "account_logout",
    "account_change_password",
    "account_reauthenticate",
    "account_email",
    "mfa_index",
    "mfa_activate_totp",
    "mfa_add_webauthn",
    "mfa_list_webauthn",
    "usersessions_list",
]


def assert_is_ours(html: str) -> None:
    """In the house's frame, with one heading, and nothing that a strict policy would block."""
    assert '<html lang="en-GB">' in html
    assert html.count("<h1") == 1
    assert 'id="main"' in html
    assert not re.search(r"\sstyle=|\son[a-z]+=", html)
    assert not re.search(r"<script(?![^>]*(src=|application/json))", html)


@pytest.mark.parametrize("name", OUTSIDE)
def test_pages_on_the_way_in_are_ours(client, db, name):
    assert_is_ours(client.get(reverse(name), follow=True).content.decode())


@pytest.mark.parametrize("name", INSIDE)
def test_pages_about_ones_own_sign_in_are_ours(client, office, name):
    client.post(reverse("account_login"), {"login": office.email, "password": PASSWORD})

    assert_is_ours(client.get(reverse(name), follow=True).content.decode())


def test_nobody_signs_up(client, db):
    page = client.get(reverse("account_signup"))

    assert "People are invited by the office" in page.content.decode()
    assert "<form" not in page.content.decode()


def test_nobody_swaps_their_own_address(client, office):
    client.force_login(office)

    page = client.post(
        reverse("account_email"), {"action_add": "", "email": "elsewhere@example.org"}
    )

    assert page.status_code == 405
    assert not EmailAddress.objects.filter(email="elsewhere@example.org").exists()


def test_too_many_tries_get_a_page_of_ours(client, db, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login": "1/m/ip"}

    pages = [client.post(reverse("account_login"), {"login": "a@b.test"}) for _ in range(2)]

    assert [page.status_code for page in pages] == [200, 429]
    assert_is_ours(pages[1].content.decode())


def test_a_dead_link_to_a_new_password_says_what_to_do(client, db):
    page = client.get(reverse("account_reset_password_from_key", args=["1", "nonsense"]))

    assert "This link no longer works" in page.content.decode()
    assert reverse("account_reset_password") in page.content.decode()


def test_a_wrong_password_is_said_on_top_and_in_the_title(client, office):
    page = client.post(reverse("account_login"), {"login": office.email, "password": "wrong"})

    html = " ".join(page.content.decode().split())
    assert "<title>Error: Sign in" in html
    assert "data-error-summary" in html


def test_a_refusal_says_what_stands_in_the_way(office):
    request = RequestFactory().get("/visits/1/")
    request.user = office

    page = render_to_string(
        "refused.html", {"error": WrongState("The visit is closed; it can be amended.")}, request
    )

    assert_is_ours(page)
    assert "The visit is closed; it can be amended." in page
    assert 'href="/visits/1/"' in page


@pytest.mark.parametrize("name", ["400", "403", "404", "429", "csrf_failure"])
def test_errors_have_pages_of_ours(office, name):
    request = RequestFactory().get("/")
    request.user = office

    assert_is_ours(render_to_string(f"{name}.html", {}, request))


def test_the_page_for_a_fault_of_ours_needs_neither_context_nor_database():
    page = render_to_string("500.html")

    assert_is_ours(page)
    assert "look before you send it again" in page
