"""People and clients for tests."""

from itertools import count
from typing import Any

from accounts.models import Client, Role, User

PASSWORD = "a long enough phrase"

_numbers = count(1)


def make_client(**fields: Any) -> Client:
    n = next(_numbers)
    return Client.objects.create(**{"reference": f"C{n}", "name": f"Client {n}", **fields})


def make_person(role: str = Role.OFFICE, **fields: Any) -> User:
    n = next(_numbers)
    if role == Role.CLIENT_MANAGER and "client" not in fields:
        fields["client"] = make_client()
    here_since = fields.pop("here_since", None)
    defaults = {"email": f"person{n}@example.org", "name": f"Person {n}", "password": PASSWORD}
    person = User.objects.create_user(**{**defaults, "role": role, **fields})
    if here_since:
        person.created_at = here_since
        person.save(update_fields=["created_at"])
    return person


def make_office(**fields: Any) -> User:
    return make_person(Role.OFFICE, **fields)


def make_technician(**fields: Any) -> User:
    return make_person(Role.TECHNICIAN, **fields)


def make_manager(**fields: Any) -> User:
    return make_person(Role.CLIENT_MANAGER, **fields)


def make_auditor(**fields: Any) -> User:
    return make_person(Role.AUDITOR, **fields)
