"""An action from raised to checked by programs, with what each may see of it."""

import hashlib

import pytest

from compliance.models import CorrectiveAction, Decision, Flag
from tests.builders.accounts import PASSWORD

pytestmark = pytest.mark.django_db

OPTIONS = [
    {
        "kind": "lasting",
        "description": "Seal the chase with steel mesh.",
        "cost_once": "4800.00",
        "cost_monthly": "60.00",
        "life_years": 15,
        "remaining_risk": "Little.",
    },
    {
        "kind": "carry_on",
        "description": "Gel on every visit.",
        "cost_once": "0.00",
        "cost_monthly": "180.00",
        "remaining_risk": "They come back between visits.",
    },
]


def test_an_action_is_raised_priced_read_decided_done_and_checked(world, office, program):
    desk, manager = program(office), program(world.people["manager"])
    raised = desk.post(
        "/api/actions/",
        {
            "site": str(world["site"].pk),
            "zone": str(world["zone"].pk),
            "kind": "proofing",
            "whose_move": "us",
            "title": "Seal the chase",
        },
    )
    assert raised.status_code == 201, raised.json()
    path = f"/api/actions/{raised.json()['id']}"
    priced = desk.post(f"{path}/price/", {"options": OPTIONS, "seen_revision": 1})
    assert [one["cost_once"] for one in priced.json()["options"]] == ["4800.00", "0.00"]

    sheet = manager.get(f"{path}/sheet/").json()
    assert hashlib.sha256(sheet["text"].encode()).hexdigest() == sheet["hash"]
    decided = manager.post(
        f"{path}/decide/",
        {
            "revision": sheet["revision"],
            "shown_hash": sheet["hash"],
            "outcome": "go_ahead",
            "option": priced.json()["options"][0]["id"],
            "password": PASSWORD,
        },
    )
    assert decided.status_code == 200, decided.json()
    assert decided.json()["sign_off"]["method"] == "password"

    done = desk.post(f"{path}/done/", {"note": "Sealed.", "photos": [str(world["photo"].pk)]})
    assert done.json()["state"] == "done"
    checked = program(world.people["technician"]).post(f"{path}/check/", {"password": PASSWORD})
    assert checked.json()["state"] == "checked"
    signed = [one["meaning"] for one in manager.get(f"{path}/sign-offs/").json()]
    assert signed == ["go_ahead", "checked"]


def test_what_changed_meanwhile_is_not_signed(world, program):
    action = world["priced_action"]
    manager = program(world.people["manager"])
    sheet = manager.get(f"/api/actions/{action.pk}/sheet/").json()
    given = {"outcome": "declined", "reason": "Too dear.", "password": PASSWORD}

    answer = manager.post(
        f"/api/actions/{action.pk}/decide/",
        {**given, "revision": sheet["revision"], "shown_hash": "0" * 64},
    )

    assert (answer.status_code, answer.json()["code"]) == (409, "changed")
    assert not Decision.objects.filter(action=action).exists()


def test_a_wrong_password_signs_nothing(world, program):
    action = world["priced_action"]
    manager = program(world.people["manager"])
    sheet = manager.get(f"/api/actions/{action.pk}/sheet/").json()

    answer = manager.post(
        f"/api/actions/{action.pk}/decide/",
        {
            "revision": sheet["revision"],
            "shown_hash": sheet["hash"],
            "outcome": "declined",
            "reason": "Too dear.",
            "password": "not it",
        },
    )

    assert (answer.status_code, answer.json()["code"]) == (403, "wrong_password")
    assert CorrectiveAction.objects.get(pk=action.pk).state == "priced"


@pytest.mark.parametrize("role", ["office", "manager"])
def test_costs_are_told_to_the_office_and_the_client(world, office, program, role):
    person = {"office": office, **world.people}[role]

    answer = program(person).get(f"/api/actions/{world['priced_action'].pk}/").json()

    assert [one["cost_once"] for one in answer["options"]] == ["4800.00", "0.00"]
    assert (answer["internal_note"] is None) == (role == "manager")


@pytest.mark.parametrize("role", ["technician", "auditor"])
def test_costs_are_nobody_elses_business(world, program, role):
    client = program(world.people[role])

    answer = client.get(f"/api/actions/{world['priced_action'].pk}/").json()

    assert [one["cost_once"] for one in answer["options"]] == [None, None]
    assert answer["internal_note"] is None
    assert client.get(f"/api/actions/{world['priced_action'].pk}/sheet/").status_code == 403


def test_a_part_is_changed_and_the_rest_stays(world, office, program):
    action = world["raised_action"]

    answer = program(office).patch(f"/api/actions/{action.pk}/", {"title": "Mend the door"})

    assert answer.status_code == 200, answer.json()
    changed = CorrectiveAction.objects.get(pk=action.pk)
    assert (changed.title, changed.kind, changed.due_on, changed.internal_note) == (
        "Mend the door",
        action.kind,
        action.due_on,
        action.internal_note,
    )


def test_a_flag_is_acknowledged(world, office, program):
    flag = world["flag"]

    answer = program(office).post(f"/api/flags/{flag.pk}/acknowledge/", {"note": "Key is copied."})

    assert answer.json()["state"] == "acknowledged"
    assert Flag.objects.get(pk=flag.pk).acknowledged_by == office


def test_evidence_is_told_in_the_period_of_the_pass(world, program):
    answer = program(world.people["auditor"]).get(f"/api/evidence/{world['site'].pk}/").json()

    assert answer["period_from"] == world["pass"].period_from.isoformat()
    assert "Amberley" not in str([line["asks"] for line in answer["lines"]])
    assert {"missing", "current"} <= {line["standing"] for line in answer["lines"]}


def test_a_site_file_is_asked_for_and_says_how_far_it_is(world, program):
    client = program(world.people["manager"])
    asked = client.post(
        "/api/site-files/",
        {"site": str(world["site"].pk), "period_from": "2026-01-01", "period_to": "2026-02-01"},
    )
    assert (asked.status_code, asked.json()["state"]) == (201, "requested")

    answer = client.get(f"/api/site-files/{asked.json()['id']}/file/")

    assert (answer.status_code, answer.json()["code"]) == (409, "wrong_state")
