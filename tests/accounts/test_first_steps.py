"""The first person of an installation is made on the machine itself."""

import io

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from accounts.models import User
from tests.builders.accounts import make_office


@pytest.fixture
def typed(monkeypatch):
    return lambda text: monkeypatch.setattr("sys.stdin", io.StringIO(text))


def test_an_administrator_can_sign_in_at_once(db, typed, client, trail):
    typed("a long enough phrase\n")
    call_command("add_administrator", "Ada@Example.org", name="Ada Quill", stdout=io.StringIO())

    person = User.objects.get()
    assert (person.email, person.role, person.is_administrator) == (
        "ada@example.org",
        "office",
        True,
    )
    assert person.check_password("a long enough phrase")
    assert trail() == ["administrator.added"]


@pytest.mark.parametrize(
    ("email", "password", "said"),
    [
        ("ada@example.org", "short", "too short"),
        ("ada@example.org", "", "too short"),
        ("not an address", "a long enough phrase", "valid email"),
        ("taken@example.org", "a long enough phrase", "already here"),
    ],
    ids=["short password", "no password", "no address", "taken address"],
)
def test_what_cannot_be_used_is_said_and_nobody_is_added(db, typed, trail, email, password, said):
    make_office(email="taken@example.org")
    typed(f"{password}\n")

    with pytest.raises(CommandError, match=said):
        call_command("add_administrator", email, name="Ada Quill")

    assert User.objects.count() == 1
    assert trail() == []
