"""Programs that sign in with a token, and something for them to ask about."""

from collections.abc import Callable
from typing import Any

import pytest
from knox.models import AuthToken
from rest_framework.test import APIClient

from accounts.models import User
from tests.builders.visits import make_competence_kind, make_product
from tests.builders.world import World, make_world


@pytest.fixture
def world(office) -> World:
    return make_world(
        "Amberley", office=office, kind=make_competence_kind(), product=make_product(by=office)
    )


@pytest.fixture
def other(office, world) -> World:
    """A client of the same shape, and a stranger."""
    return make_world("Quillback", office=office, kind=world["kind"], product=world["product"])


@pytest.fixture
def program() -> Callable[[User], Any]:
    """A program of a person's, by a token of theirs."""

    def signed_in(person: User) -> APIClient:
        _, text = AuthToken.objects.create(user=person)
        client = APIClient()
        client.default_format = "json"
        client.credentials(HTTP_AUTHORIZATION=f"Token {text}")
        return client

    return signed_in
