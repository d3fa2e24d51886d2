"""Programs sign in with a token; a browser's session needs the page's own token as well."""

from datetime import timedelta

import pytest
from django.test import Client as Browser
from rest_framework.test import APIClient
from rest_framework.throttling import UserRateThrottle

from accounts.services.people import stop_person
from accounts.services.tokens import issue_token, revoke_token

pytestmark = pytest.mark.django_db


def with_token(text: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {text}")
    return client


def test_a_token_says_who_calls(manager):
    _, text = issue_token(manager, days=30)

    answer = with_token(text).get("/api/me/")

    assert (answer.status_code, answer.json()["email"]) == (200, manager.email)


@pytest.mark.parametrize("text", ["", "x" * 64, "\u00e9"])
def test_without_a_good_token_nothing_is_told(text, db):
    answer = with_token(text.encode().decode("latin-1")).get("/api/me/")

    assert answer.status_code == 401
    assert answer.json() == {
        "code": "not_signed_in",
        "message": answer.json()["message"],
        "facts": {},
    }


def test_a_token_ends_when_it_is_ended(manager):
    token, text = issue_token(manager, days=30)

    revoke_token(token.token_key, by=manager)

    assert with_token(text).get("/api/me/").status_code == 401


def test_a_token_ends_on_its_day(manager):
    token, text = issue_token(manager, days=30)
    token.expiry -= timedelta(days=31)
    token.save(update_fields=["expiry"])

    assert with_token(text).get("/api/me/").status_code == 401


def test_a_token_ends_with_its_person(manager, office):
    _, text = issue_token(manager, days=30)

    stop_person(manager.pk, by=office, reason="Left the client.")

    assert with_token(text).get("/api/me/").status_code == 401


def test_a_session_changes_nothing_without_the_pages_token(office):
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(office)

    answer = browser.post("/api/clients/", {}, content_type="application/json")

    assert answer.status_code == 403
    assert answer.json()["code"] == "not_allowed"


def test_a_session_may_read(office):
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(office)

    assert browser.get("/api/clients/").status_code == 200


def test_who_asks_too_often_is_told_to_wait(manager, program, monkeypatch):
    monkeypatch.setattr(UserRateThrottle, "rate", "2/min", raising=False)
    client = program(manager)
    assert [client.get("/api/me/").status_code for _ in range(2)] == [200, 200]

    answer = client.get("/api/me/")

    assert (answer.status_code, answer.json()["code"]) == (429, "throttled")
    assert int(answer["Retry-After"]) > 0


@pytest.mark.parametrize("path", ["/api/schema/", "/api/docs/"])
def test_what_can_be_asked_is_for_people_who_are_signed_in(path, db):
    assert APIClient().get(path).status_code == 401
