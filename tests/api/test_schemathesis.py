"""Whatever the schema allows to be asked, and what it does not, is answered and never an error.

Requests are made up from the schema by Schemathesis, the same ones every time.
"""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, Verbosity, given, seed, settings
from knox.models import AuthToken

from config.wsgi import application

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.filterwarnings("ignore"),
]

EXAMPLES = 6


def operations_of_schema() -> list[Any]:
    schema = schemathesis.openapi.from_dict(SchemaGenerator().get_schema(public=True))
    schema.app = application
    return [found.ok() for found in schema.get_all_operations()]


OPERATIONS = operations_of_schema()


@pytest.fixture(autouse=True)
def _one_connection() -> Iterator[None]:
    """A server lets its connection go between requests; the test's own transaction is in it."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.mark.parametrize("role", ["office", "manager"])
def test_nothing_that_can_be_asked_is_an_error(role, world, office):
    _, text = AuthToken.objects.create(user={"office": office, **world.people}[role])
    faults: dict[str, int] = {}

    for operation in OPERATIONS:
        ask_around(operation, world, {"Authorization": f"Token {text}"}, faults)

    assert faults == {}


def ask_around(operation: Any, world: Any, headers: dict[str, str], faults: dict[str, int]) -> None:
    """A few made-up requests of one operation, half of them at a record that is there."""
    known = _record_at(operation.path, world)
    turn = iter(range(10_000))

    @seed(20261125)
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        verbosity=Verbosity.quiet,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        if known and next(turn) % 2 == 0:
            case.path_parameters = dict.fromkeys(case.path_parameters or {}, known)
        with transaction.atomic():
            response = case.call(headers=headers)
            transaction.set_rollback(True)
        if response.status_code >= 500:
            faults[f"{operation.method} {operation.path}"] = response.status_code

    ask()


def _record_at(path: str, world: Any) -> str | None:
    """The identifier of a record of the kind that an address asks for."""
    names = {
        "actions": "priced_action",
        "breaches": "breach",
        "evidence": "site",
        "flags": "flag",
        "parked": "parked",
        "people": "manager",
        "service-lines": "line",
        "site-files": "site_file",
        "visits": "booked",
    }
    room = path.removeprefix("/api/").split("/")[0]
    name = names.get(room, room.removesuffix("es") if room == "passes" else room.rstrip("s"))
    found = {**world.records, **world.people}.get(name)
    return str(found.pk) if found is not None and isinstance(found.pk, UUID | int) else None
