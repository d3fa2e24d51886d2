"""No page or operation asks the database more than thirty times, and none more for more records.

Every door of ``tests/doors.py`` that can be read is opened as each role: at a client with two of
everything, and at one of the same shape with ten times as many zones, monitors, visits, actions and
papers. A failure prints the statements that came on top.
"""

from collections import Counter
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.builders.accounts import make_office
from tests.builders.visits import make_competence_kind, make_product
from tests.builders.world import World, make_world
from tests.doors import DOORS
from tests.gate import ROLES, Caller, address, routes

pytestmark = [
    pytest.mark.django_db,
]

MOST_QUERIES = 30
# Papers and exports are laid out in full; health looks some things up once in a process.
LEFT_OUT = ("sites:export", "compliance:visit_report_pdf", "health")
# At least two of everything, so that every part of every page has something in it.
FEW, MANY = 2, 20


@pytest.mark.parametrize("role", ROLES)
def test_budgets(role):
    office = make_office(is_administrator=True)
    shared: dict[str, Any] = {
        "office": office,
        "kind": make_competence_kind(),
        "product": make_product(by=office),
    }
    few = make_world("Amberley", **shared, times=FEW)
    at_few = statements_at(role, few, office)

    many = make_world("Quillback", **shared, times=MANY)
    at_many = statements_at(role, many, office)

    too_many = {name: len(asked) for name, asked in at_many.items() if len(asked) > MOST_QUERIES}
    grown = {
        name: _on_top(at_few[name], at_many[name])
        for name in at_few
        if len(at_many[name]) != len(at_few[name])
    }
    assert not too_many, too_many
    assert not grown, "\n".join(
        f"{name}: {len(at_few[name])} queries at few, {len(at_many[name])} at many\n  "
        + "\n  ".join(more)
        for name, more in grown.items()
    )


def statements_at(role: str, world: World, office: Any) -> dict[str, list[str]]:
    """What each readable door asks of the database when this role opens it."""
    caller = Caller({"office": office, **world.people}[role])
    column = ROLES.index(role)
    caller.ask("GET", "/accounts/email/")  # what is looked up once in a process
    asked = {}
    for route in routes():
        door = DOORS.get(route.name)
        if door is None or "GET" not in door.answers or route.name.startswith(LEFT_OUT):
            continue
        if door.expected("GET", stranger=False)[column] != 200:
            continue
        path = address(route, world, door.at)
        with CaptureQueriesContext(connection) as captured:
            caller.ask("GET", path)
        asked[route.name] = [
            query["sql"]
            for query in captured.captured_queries
            if not query["sql"].startswith(("SAVEPOINT", "RELEASE", "ROLLBACK"))
        ]
    return asked


def _on_top(few: list[str], many: list[str]) -> list[str]:
    """The statements that were not there before, by their first words, and how often."""
    more = Counter(one[:240] for one in many) - Counter(one[:240] for one in few)
    return [f"{times} × {sql}" for sql, times in more.most_common(12)]
