"""Two people, or two workers, at the same moment: one of them is first, and nothing is doubled."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from threading import Barrier
from typing import Any

import pytest
from django.db import connections
from django.utils import timezone

from accounts.models import Letter, TrailEntry
from accounts.refusals import Refused, WrongState
from compliance.models import CorrectiveAction, Decision, Digest, Flag, SignOff
from compliance.queries.sheets import sheet_of
from compliance.queries.work import done_facts, done_hash
from compliance.services.acceptance import accept_work
from compliance.services.actions import (
    decide_action,
    raise_action,
    raise_actions_of_visit,
    reopen_action,
    report_done,
)
from compliance.services.digests import send_digests
from compliance.services.flags import acknowledge_flag, reconcile_flags
from compliance.services.looks import record_looks
from compliance.services.ordered_work import plan_ordered_work
from compliance.services.signing import Proof
from tests.builders.accounts import PASSWORD, make_auditor, make_manager, make_office
from tests.builders.compliance import give_pass, make_action, make_closed_visit
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import make_visit
from visits.models import Finding, Visit, WhoseMove
from visits.services.recording import FindingGiven

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*doings: Callable[[], Any]) -> list[Any]:
    """Do these at the same moment, each on a connection of its own; refusals are answers too."""
    start = Barrier(len(doings))

    def do(doing: Callable[[], Any]) -> Any:
        try:
            start.wait(timeout=10)
            return doing()
        except Refused as refused:
            return refused
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(doings)) as pool:
        return list(pool.map(do, doings))


def refusals(answers: Sequence[Any]) -> list[type]:
    return [type(answer) for answer in answers if isinstance(answer, Refused)]


def answer_of(person, action, **answer) -> Callable[[], Any]:
    """What a page that was read before the race sends."""
    sheet = sheet_of(CorrectiveAction.objects.get(pk=action.pk))
    sent = {
        "revision": sheet.action.revision,
        "shown_hash": sheet.hash,
        "outcome": "go_ahead",
        "option_id": sheet.options[0].pk,
        "password": PASSWORD,
        **answer,
    }
    return lambda: decide_action(action.pk, by=person, **sent)


def test_two_managers_sign_at_once_and_one_is_told_that_it_is_decided():
    action = make_action("priced")
    client = action.site.client
    yes = answer_of(make_manager(client=client), action)
    no = answer_of(
        make_manager(client=client), action, outcome="declined", option_id=None, reason="Too dear."
    )

    answers = at_once(yes, no)

    assert refusals(answers) == [WrongState]
    assert (Decision.objects.count(), SignOff.objects.count()) == (1, 1)
    assert TrailEntry.objects.filter(verb="action.decided").count() == 1


def test_a_double_press_signs_once_and_both_presses_are_answered():
    action = make_action("priced")
    press = answer_of(make_manager(client=action.site.client), action)

    answers = at_once(*[press] * 4)

    assert refusals(answers) == []
    assert {answer.pk for answer in answers} == {Decision.objects.get().pk}


def test_actions_raised_at_once_take_numbers_one_after_another():
    site, office = make_site(), make_office()

    at_once(
        *[
            lambda: raise_action(
                site.pk, by=office, kind="advice", title="Shut the bins", whose_move="client"
            )
        ]
        * 5
    )

    numbers = CorrectiveAction.objects.order_by("number").values_list("number", flat=True)
    assert list(numbers) == [1, 2, 3, 4, 5]


def test_the_signal_and_the_sweep_raise_each_finding_once():
    site = make_site()
    zone = make_zone(site)
    gap = FindingGiven(
        zone_id=zone.pk,
        kind=Finding.Kind.ENTRY_POINT,
        remedy_kind="proofing",
        remedy="Close it",
        whose_move=WhoseMove.US,
    )
    visit = make_closed_visit(site, due_on=date(2026, 3, 10), findings=[gap, gap, gap])
    CorrectiveAction.objects.all().delete()

    raised = at_once(*[lambda: raise_actions_of_visit(visit.pk)] * 4)

    assert (sum(raised), CorrectiveAction.objects.count()) == (3, 3)


def test_an_ordered_job_gets_one_visit_from_two_workers():
    action = make_action("decided")

    assert sum(at_once(*[plan_ordered_work] * 3)) == 1
    assert Visit.objects.filter(site=action.site).count() == 1


def test_a_report_pressed_twice_is_one_report():
    site = make_site()
    action = make_action(site=site, kind="access", whose_move=WhoseMove.CLIENT, title="Key")
    manager = make_manager(client=site.client)

    answers = at_once(*[lambda: report_done(action.pk, by=manager, note="At reception.")] * 3)

    assert refusals(answers) == []
    assert SignOff.objects.count() == 1


def test_an_acceptance_pressed_twice_is_one_and_never_stands_beside_a_refusal():
    site = make_site()
    manager = make_manager(client=site.client)
    done = make_action("done", site=site, manager=manager)
    other = make_action("done", site=site, manager=manager)

    def accept(action):
        shown = done_hash(done_facts(CorrectiveAction.objects.get(pk=action.pk)))
        return lambda: accept_work(action.pk, by=manager, shown_hash=shown, proof=Proof("password"))

    assert refusals(at_once(*[accept(done)] * 3)) == []
    at_once(accept(other), lambda: reopen_action(other.pk, by=manager, reason="Not whole."))

    assert SignOff.objects.filter(action=done, meaning=SignOff.Meaning.ACCEPTS).count() == 1
    other.refresh_from_db()
    assert (other.accepted_at is None) == (other.state == CorrectiveAction.State.DECIDED)


def test_flags_reconciled_by_two_workers_stand_once():
    for _ in range(3):
        make_visit(due_on=timezone.now().date() - timedelta(days=20), state=Visit.State.BOOKED)

    at_once(*[reconcile_flags] * 4)

    assert Flag.objects.exclude(state=Flag.State.CLEARED).count() == 3


def test_a_flag_is_acknowledged_by_one_of_two():
    make_visit(due_on=timezone.now().date() - timedelta(days=20), state=Visit.State.BOOKED)
    reconcile_flags()
    flag = Flag.objects.get()
    first, second = make_office(), make_office()

    answers = at_once(
        lambda: acknowledge_flag(flag.pk, by=first, note="Mine."),
        lambda: acknowledge_flag(flag.pk, by=second, note="Mine."),
    )

    assert refusals(answers) == [WrongState]


def test_summaries_written_by_two_workers_are_one_letter_each():
    manager = make_manager()
    make_action("priced", site=make_site(client=manager.client))
    evening = timezone.now().replace(hour=22)

    written = at_once(*[lambda: send_digests(now=evening)] * 4)

    assert sum(written) == Letter.objects.filter(to=manager.email).count() == 1
    assert Digest.objects.filter(person=manager).count() == 1


def test_two_pages_opened_at_once_are_one_look():
    auditor, site = make_auditor(), make_site()
    give_pass(auditor, site)

    at_once(*[lambda: record_looks([site.pk], by=auditor)] * 3)

    assert TrailEntry.objects.filter(verb="site.viewed").count() == 1
