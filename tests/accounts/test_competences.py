"""Competences count on the days they are valid."""

from datetime import date

import pytest

from accounts.models import CompetenceKind
from accounts.refusals import NotAllowed, Unusable, WrongState
from accounts.services.competences import (
    add_competence,
    add_competence_kind,
    change_competence,
    withdraw_competence,
)
from tests.builders.accounts import make_auditor, make_manager, make_office


@pytest.fixture
def licence(office, technician):
    kind = add_competence_kind("Rodent control", by=office)
    return add_competence(
        technician.pk,
        by=office,
        kind=kind,
        number="R-1",
        valid_from=date(2026, 1, 1),
        valid_until=date(2026, 12, 31),
    )


@pytest.mark.parametrize(
    ("day", "valid"),
    [
        (date(2025, 12, 31), False),
        (date(2026, 1, 1), True),
        (date(2026, 12, 31), True),
        (date(2027, 1, 1), False),
    ],
)
def test_both_ends_are_inclusive(licence, day, valid):
    assert licence.is_valid_on(day) is valid


def test_a_withdrawn_one_stops_counting_that_day(licence, office, trail):
    withdraw_competence(licence.pk, by=office, on=date(2026, 6, 1), reason="Lapsed early")

    licence.refresh_from_db()
    assert licence.is_valid_on(date(2026, 5, 31))
    assert not licence.is_valid_on(date(2026, 6, 1))
    assert trail()[-1] == "competence.withdrawn"
    with pytest.raises(WrongState):
        change_competence(
            licence.pk, by=office, number="R-2", valid_from=date(2026, 1, 1), valid_until=None
        )


def test_only_technicians_and_the_office_hold_them(office):
    kind = add_competence_kind("Rodent control", by=office)

    held = add_competence(make_office().pk, by=office, kind=kind, valid_from=date(2026, 1, 1))
    assert held.kind == kind
    for person in (make_manager(), make_auditor()):
        with pytest.raises(Unusable):
            add_competence(person.pk, by=office, kind=kind, valid_from=date(2026, 1, 1))


def test_a_kind_is_named_once_whatever_its_capitals(office):
    add_competence_kind("Rodent control", by=office)

    with pytest.raises(Unusable, match="already on the list"):
        add_competence_kind("RODENT CONTROL", by=office)
    assert CompetenceKind.objects.count() == 1


def test_technicians_may_not_license_themselves(technician, licence):
    with pytest.raises(NotAllowed):
        change_competence(
            licence.pk, by=technician, number="", valid_from=date(2026, 1, 1), valid_until=None
        )
