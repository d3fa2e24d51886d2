"""Contracts, service lines and visits for tests, each reached through the services."""

from datetime import date, time, timedelta
from itertools import count
from typing import Any

from accounts.models import Competence, CompetenceKind, User
from sites.models import Contract, Site
from sites.services.contracts import add_contract
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import make_site
from visits.models import Visit
from visits.services.booking import add_visit, book_visit

_numbers = count(1)


def make_contract(site: Site | None = None, *, by: User | None = None, **fields: Any) -> Contract:
    """A contract without an end."""
    facts = {"number": f"K{next(_numbers)}", "starts_on": date(2026, 1, 1), **fields}
    return add_contract((site or make_site()).pk, by=by or make_office(), **facts)


def make_competence_kind(**fields: Any) -> CompetenceKind:
    return CompetenceKind.objects.create(**{"name": f"Certificate {next(_numbers)}", **fields})


def make_competence(person: User, kind: CompetenceKind, **fields: Any) -> Competence:
    defaults = {"person": person, "kind": kind, "valid_from": date(2026, 1, 1)}
    return Competence.objects.create(**{**defaults, **fields})


def make_visit(
    site: Site | None = None,
    *,
    state: str = Visit.State.PLANNED,
    by: User | None = None,
    technician: User | None = None,
    due_on: date = date(2026, 12, 8),
    time: time | None = None,
    **fields: Any,
) -> Visit:
    """A visit without a service line, three days of tolerance either way."""
    by = by or make_office()
    facts = {
        "kind": Visit.Kind.FOLLOW_UP,
        "opens_on": due_on - timedelta(days=3),
        "closes_on": due_on + timedelta(days=3),
        **fields,
    }
    visit = add_visit((site or make_site()).pk, by=by, due_on=due_on, **facts)
    if state == Visit.State.PLANNED:
        return visit
    return book_visit(
        visit.pk, by=by, technician=technician or make_technician(), day=due_on, time=time
    )
