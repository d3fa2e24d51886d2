"""The life of an action: who may move it, from where to where, and what stays on record."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from accounts.models import Role, TrailEntry
from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from accounts.sealing import canonical, digest
from compliance.models import ActionOption, CorrectiveAction, Decision, SignOff
from compliance.queries.sheets import sheet_of
from compliance.services import actions as verbs
from compliance.services.actions import (
    change_action,
    check_action,
    decide_action,
    price_action,
    raise_action,
    reopen_action,
    report_done,
    withdraw_action,
)
from compliance.services.ordered_work import plan_ordered_work
from compliance.services.signing import TooManyTries, WrongPassword, is_whole
from sites.models import SiteGrant
from tests.builders.accounts import (
    PASSWORD,
    make_auditor,
    make_manager,
    make_technician,
)
from tests.builders.compliance import (
    CARRY_ON,
    LASTING,
    OPTIONS,
    decide,
    make_action,
    make_photo,
)
from tests.builders.sites import make_site, make_zone
from visits.models import Visit, WhoseMove

pytestmark = pytest.mark.django_db

State = CorrectiveAction.State
Kind = CorrectiveAction.Kind
NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


def stands(action):
    """What a refusal must leave as it was."""
    fresh = CorrectiveAction.objects.get(pk=action.pk)
    return (
        fresh.state,
        fresh.revision,
        fresh.declined,
        fresh.options.count(),
        fresh.decisions.count(),
        fresh.sign_offs.count(),
        TrailEntry.objects.count(),
    )


# --- raised by hand -----------------------------------------------------------------------------


def test_actions_count_within_their_site(site, office):
    first = make_action(site=site, by=office)
    second = make_action(site=site, by=office)
    elsewhere = make_action(by=office)

    assert (first.number, second.number, elsewhere.number) == (1, 2, 1)


def test_an_action_is_due_two_weeks_on_by_the_sites_own_calendar(office):
    """Half past eleven at night in London is already the next day in Auckland."""
    auckland = make_site(time_zone="Pacific/Auckland")
    late = datetime(2026, 3, 10, 23, 30, tzinfo=UTC)

    action = make_action(site=auckland, by=office, at=late)

    assert action.due_on == date(2026, 3, 25)


def test_an_action_needs_words(site, office):
    with pytest.raises(Unusable, match="what must change"):
        make_action(site=site, by=office, title="   ")

    assert not CorrectiveAction.objects.exists()


def test_a_zone_of_another_site_is_refused(site, office):
    with pytest.raises(Unusable, match="another site"):
        make_action(site=site, by=office, zone_id=make_zone(make_site()).pk)


def test_a_photo_of_another_site_is_refused(site, office):
    with pytest.raises(Unusable, match="another site"):
        make_action(site=site, by=office, photo_ids=[make_photo(make_site(), by=office).pk])


@pytest.mark.parametrize("role", [make_technician, make_auditor, make_manager])
def test_only_the_office_raises_by_hand(site, role):
    with pytest.raises(NotAllowed):
        raise_action(
            site.pk, by=role(), kind=Kind.ADVICE, title="Move bins", whose_move=WhoseMove.CLIENT
        )


# --- the state machine, as a table --------------------------------------------------------------

HOUSEKEEPING = {"kind": Kind.HOUSEKEEPING, "whose_move": WhoseMove.CLIENT}
VERBS = {
    "price": lambda action, who: price_action(action.pk, by=who["office"], options=OPTIONS),
    "decide": lambda action, who: decide(action, by=who["another manager"], declined=True),
    "done": lambda action, who: report_done(
        action.pk,
        by=who["office"],
        note="Done.",
        photo_ids=[make_photo(action.site, by=who["office"]).pk],
    ),
    "check": lambda action, who: check_action(action.pk, by=who["technician"], password=PASSWORD),
    "reopen": lambda action, who: reopen_action(action.pk, by=who["office"], reason="Not tight."),
    "withdraw": lambda action, who: withdraw_action(
        action.pk, by=who["office"], reason="Not needed."
    ),
}
# What each verb makes of each state; None is a refusal.
PROOFING_TABLE = {
    "raised": {"price": "priced", "withdraw": "withdrawn"},
    "priced": {"price": "priced", "decide": "decided", "withdraw": "withdrawn"},
    "decided": {"done": "done", "price": "decided", "withdraw": "withdrawn"},
    "declined": {"price": "decided", "withdraw": "withdrawn"},
    "done": {"check": "checked", "reopen": "decided", "withdraw": "withdrawn"},
    "checked": {},
    "withdrawn": {},
}


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize("state", PROOFING_TABLE)
def test_each_verb_from_each_state(state, verb, site, office, technician, manager):
    """Pricing with the very options that are there changes nothing, also once decided."""
    declined = state == "declined"
    action = make_action(
        "decided" if declined else state, site=site, by=office, manager=manager, declined=declined
    )
    who = {
        "office": office,
        "technician": technician,
        "another manager": make_manager(client=site.client),
    }
    before = stands(action)
    wanted = PROOFING_TABLE[state].get(verb)

    if wanted:
        VERBS[verb](action, who)
        action.refresh_from_db()
        assert action.state == wanted
    else:
        with pytest.raises(WrongState, match=rf"Action {action.number}|already decided"):
            VERBS[verb](action, who)
        assert stands(action)[:6] == before[:6]


def test_what_is_the_clients_move_needs_no_price(site, office, manager):
    action = make_action(site=site, by=office, **HOUSEKEEPING)

    report_done(
        action.pk,
        by=manager,
        note="Racks moved off the wall.",
        photo_ids=[make_photo(site, by=office).pk],
    )

    action.refresh_from_db()
    assert (action.state, action.done_by) == (State.DONE, manager)


def test_our_own_proofing_cannot_be_done_before_it_is_decided(site, office):
    action = make_action(site=site, by=office)

    with pytest.raises(WrongState, match="the office prices it, then the client decides"):
        report_done(action.pk, by=office, note="Done.")


def test_work_that_was_turned_down_is_not_reported_done(site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager, declined=True)

    with pytest.raises(WrongState, match="turned down"):
        report_done(action.pk, by=office, note="Done anyway.")


# --- priced -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "words"),
    [
        pytest.param([LASTING], "2 to 4", id="one"),
        pytest.param([LASTING, CARRY_ON] * 2 + [CARRY_ON], "2 to 4", id="five"),
        pytest.param([LASTING, LASTING], "beside carrying on", id="no carrying on"),
        pytest.param([CARRY_ON, CARRY_ON], "beside carrying on", id="nothing lasting"),
        pytest.param(
            [replace(LASTING, cost_once=Decimal("-1")), CARRY_ON], "never less", id="negative"
        ),
        pytest.param([replace(LASTING, life_years=0), CARRY_ON], "1 to 50", id="no life"),
        pytest.param([replace(LASTING, description=" "), CARRY_ON], "Describe", id="no words"),
        pytest.param([replace(LASTING, remaining_risk=""), CARRY_ON], "at risk", id="no risk"),
        pytest.param([replace(LASTING, kind="other"), CARRY_ON], "lasting work", id="kind"),
    ],
)
def test_options_that_are_no_choice_are_refused(site, office, options, words):
    action = make_action(site=site, by=office)
    before = stands(action)

    with pytest.raises(Unusable, match=words):
        price_action(action.pk, by=office, options=options)

    assert stands(action) == before


def test_the_first_price_keeps_the_revision_and_the_next_one_grows_it(site, office):
    action = make_action("priced", site=site, by=office)
    assert action.revision == 1

    cheaper = replace(LASTING, cost_once=Decimal("4500"))
    action = price_action(action.pk, by=office, options=[cheaper, CARRY_ON])

    assert action.revision == 2
    assert [o.cost_once for o in action.options.filter(withdrawn_at=None).order_by("position")] == [
        Decimal("4500"),
        Decimal("0"),
    ]
    assert action.options.count() == 4, "the old options stay on record"


def test_the_same_options_again_change_nothing(site, office, trail):
    action = make_action("priced", site=site, by=office)
    before, told = stands(action), trail()

    price_action(action.pk, by=office, options=OPTIONS)

    assert (stands(action), trail()) == (before, told)


def test_pricing_over_somebody_elses_options_is_refused(site, office):
    action = make_action("priced", site=site, by=office)
    price_action(action.pk, by=office, options=[CARRY_ON, LASTING])

    with pytest.raises(Changed, match="meanwhile"):
        price_action(action.pk, by=office, options=OPTIONS, seen_revision=1)


def test_new_options_ask_again_and_the_old_decision_stays(site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager, declined=True)

    price_action(
        action.pk, by=office, options=[replace(LASTING, cost_once=Decimal("3900")), CARRY_ON]
    )

    action.refresh_from_db()
    assert (action.state, action.declined, action.decided_at, action.revision) == (
        State.PRICED,
        False,
        None,
        2,
    )
    assert [(d.revision, d.outcome) for d in action.decisions.all()] == [(1, "declined")]

    decide(action, by=manager)

    assert sorted((d.revision, d.outcome) for d in action.decisions.all()) == [
        (1, "declined"),
        (2, "go_ahead"),
    ]


@pytest.mark.parametrize("maker", [make_technician, make_auditor, make_manager])
def test_only_the_office_prices(site, office, maker):
    action = make_action(site=site, by=office)

    with pytest.raises(NotAllowed):
        price_action(action.pk, by=maker(), options=OPTIONS)


def test_changed_words_are_a_new_revision_of_what_the_client_reads(site, office):
    action = make_action("priced", site=site, by=office)
    words = {
        "kind": action.kind,
        "detail": action.detail,
        "whose_move": action.whose_move,
        "due_on": action.due_on,
        "internal_note": "",
    }

    change_action(action.pk, by=office, title="Seal the chase and the floor", **words)

    action.refresh_from_db()
    assert (action.revision, action.title) == (2, "Seal the chase and the floor")


def test_an_internal_note_is_no_new_revision_and_may_come_after_the_decision(site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager)
    words = {
        "kind": action.kind,
        "title": action.title,
        "detail": action.detail,
        "whose_move": action.whose_move,
        "due_on": action.due_on,
    }

    change_action(action.pk, by=office, internal_note="Ask for the key first.", **words)
    action.refresh_from_db()
    assert (action.revision, action.internal_note) == (1, "Ask for the key first.")

    with pytest.raises(WrongState, match="its words stay"):
        change_action(action.pk, by=office, internal_note="", **{**words, "title": "Another job"})


# --- decided ------------------------------------------------------------------------------------


def test_a_go_ahead_is_signed_with_what_was_shown(site, office, manager):
    action = make_action("priced", site=site, by=office)
    sheet = sheet_of(action)

    decision = decide(action, by=manager, at=NOON)

    sign_off = decision.sign_off
    signed = json.loads(sign_off.content)
    assert (sign_off.person, sign_off.person_name, sign_off.at, sign_off.zone, sign_off.method) == (
        manager,
        manager.name,
        NOON,
        "Europe/London",
        "password",
    )
    assert sign_off.content_hash == digest(sign_off.content)
    shown = signed["shown"]
    read = canonical({"facts": shown["facts"], "figures": shown["figures"]})
    assert digest(read) == shown["hash"] == sheet.hash, "anybody can repeat it"
    assert signed["shown"]["facts"]["options"][0]["cost_once"] == "4800.00"
    assert signed["answer"] == {
        "outcome": "go_ahead",
        "option": str(sheet.options[0].pk),
        "reason": "",
    }
    assert signed["meaning"] == "Orders the work described"
    entry = TrailEntry.objects.get(verb="action.decided")
    assert entry.facts["signed"] == sign_off.content_hash


def test_no_is_as_good_an_answer_as_yes(site, office, manager):
    action = make_action("priced", site=site, by=office)

    decision = decide(action, by=manager, declined=True, reason="The lease ends in May.")

    action.refresh_from_db()
    assert (action.state, action.declined, decision.reason) == (
        State.DECIDED,
        True,
        "The lease ends in May.",
    )
    assert decision.sign_off.meaning == SignOff.Meaning.DECLINES


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"outcome": "declined", "option_id": None, "reason": "  "}, "Say why"),
        ({"option_id": None}, "Choose the option"),
        ({"option_id": uuid4()}, "not among"),
        ({"outcome": "perhaps"}, "Go ahead with an option, or turn it down"),
    ],
)
def test_an_answer_without_an_option_or_a_reason_is_refused(site, office, manager, changed, words):
    action = make_action("priced", site=site, by=office)
    before = stands(action)

    with pytest.raises(Unusable, match=words):
        decide(action, by=manager, **changed)

    assert stands(action) == before


def test_what_changed_while_it_was_read_is_not_signed(site, office, manager):
    action = make_action("priced", site=site, by=office)
    read = sheet_of(action)
    price_action(action.pk, by=office, options=[replace(LASTING, cost_once=Decimal(9)), CARRY_ON])
    before = stands(action)

    with pytest.raises(Changed, match="changed while you were reading"):
        decide_action(
            action.pk,
            by=manager,
            revision=read.action.revision,
            shown_hash=read.hash,
            outcome="go_ahead",
            option_id=read.options[0].pk,
            password=PASSWORD,
        )

    assert stands(action) == before


@pytest.mark.parametrize("changed", [{"shown_hash": "0" * 64}, {"revision": 7}, {"years": 4}])
def test_another_hash_revision_or_horizon_is_not_what_was_shown(site, office, manager, changed):
    action = make_action("priced", site=site, by=office)
    before = stands(action)

    with pytest.raises(Changed):
        decide(action, by=manager, **changed)

    assert stands(action) == before


def test_the_years_looked_at_are_part_of_what_is_signed(site, office, manager):
    action = make_action("priced", site=site, by=office)
    ten = sheet_of(action, years=10)

    decision = decide(action, by=manager, shown_hash=ten.hash, years=10)

    assert json.loads(decision.sign_off.content)["shown"]["figures"]["years"] == 10


def test_a_wrong_password_signs_nothing(site, office, manager):
    action = make_action("priced", site=site, by=office)
    before = stands(action)

    with pytest.raises(WrongPassword):
        decide(action, by=manager, password="not the phrase")

    assert stands(action) == before


def test_after_five_wrong_passwords_the_right_one_is_refused_too(site, office, manager):
    action = make_action("priced", site=site, by=office)
    for _ in range(5):
        with pytest.raises(WrongPassword):
            decide(action, by=manager, password="not the phrase")

    with pytest.raises(TooManyTries):
        decide(action, by=manager)

    other = make_manager(client=site.client)
    assert decide(action, by=other).sign_off.person == other


def test_the_same_answer_twice_is_one_decision(site, office, manager, trail):
    action = make_action("priced", site=site, by=office)
    first = decide(action, by=manager)
    told = trail()

    second = decide(action, by=manager)

    assert (second, Decision.objects.count(), SignOff.objects.count()) == (first, 1, 1)
    assert trail() == told


def test_another_answer_after_the_first_is_refused(site, office, manager):
    action = make_action("priced", site=site, by=office)
    decide(action, by=manager)

    with pytest.raises(WrongState, match="already decided this: go ahead"):
        decide(action, by=make_manager(client=site.client), declined=True)


def test_only_the_manager_of_the_client_decides(site, office, technician, auditor):
    action = make_action("priced", site=site, by=office)
    before = stands(action)

    for person in (office, technician, auditor, make_manager()):
        with pytest.raises(NotAllowed):
            decide(action, by=person)

    assert stands(action) == before


def test_a_manager_limited_to_other_sites_does_not_decide(site, office, manager):
    action = make_action("priced", site=site, by=office)
    SiteGrant.objects.create(person=manager, site=make_site(client=site.client))

    with pytest.raises(NotAllowed, match="not one of yours"):
        decide(action, by=manager)


def test_a_signature_for_one_action_does_not_fit_another(site, office, manager):
    """A captured form, sent to the action beside it, signs nothing."""
    first = make_action("priced", site=site, by=office)
    second = make_action("priced", site=site, by=office)

    with pytest.raises(Changed):
        decide(second, by=manager, shown_hash=sheet_of(first).hash)


def test_a_text_that_was_altered_no_longer_fits_its_hash(site, office, manager):
    sign_off = decide(make_action("priced", site=site, by=office), by=manager).sign_off
    assert is_whole(sign_off)

    sign_off.content = sign_off.content.replace("4800.00", "480.00")

    assert not is_whole(sign_off)


# --- done and checked ---------------------------------------------------------------------------


def test_finished_proofing_is_shown_by_a_photo(site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager)
    before = stands(action)

    with pytest.raises(Unusable, match="photo"):
        report_done(action.pk, by=office, note="Sealed.")

    assert stands(action) == before


def test_access_can_be_reported_without_a_photo(site, office, manager):
    action = make_action(
        site=site, by=office, kind=Kind.ACCESS, whose_move=WhoseMove.CLIENT, title="Plant room key"
    )

    assert report_done(action.pk, by=manager, note="Key at reception.").state == State.DONE


def test_a_clients_report_is_signed_and_ours_is_not(site, office, manager):
    theirs = make_action(
        site=site, by=office, kind=Kind.ACCESS, whose_move=WhoseMove.CLIENT, title="Plant room key"
    )
    ours = make_action(
        site=site, by=office, kind=Kind.ADVICE, whose_move=WhoseMove.US, title="Show the chef"
    )

    report_done(theirs.pk, by=manager, note="Key at reception.")
    report_done(ours.pk, by=office, note="Shown.")

    sign_off = SignOff.objects.get()
    assert (sign_off.action, sign_off.meaning, sign_off.method) == (
        theirs,
        SignOff.Meaning.CONFIRMS_DONE,
        "signed_in",
    )


def test_a_client_does_not_report_our_work(site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager)

    with pytest.raises(NotAllowed, match="This work is ours"):
        report_done(action.pk, by=manager, note="I saw it.")


def test_a_stranger_and_an_auditor_report_nothing(site, office, auditor):
    action = make_action(site=site, by=office, **HOUSEKEEPING)

    for person in (make_manager(), auditor):
        with pytest.raises(NotAllowed):
            report_done(action.pk, by=person, note="Done.")


def test_the_same_report_twice_is_one(site, office, manager, trail):
    action = make_action(
        site=site, by=office, kind=Kind.ACCESS, whose_move=WhoseMove.CLIENT, title="Plant room key"
    )
    report_done(action.pk, by=manager, note="Key at reception.")
    told = trail()

    report_done(action.pk, by=manager, note="Key at reception. ")

    assert (trail(), SignOff.objects.count()) == (told, 1)


def test_a_check_is_signed_by_whoever_looked(site, office, technician, manager):
    action = make_action("done", site=site, by=office, manager=manager)

    check_action(action.pk, by=technician, note="Tight all round.", password=PASSWORD)

    action.refresh_from_db()
    sign_off = SignOff.objects.get(meaning=SignOff.Meaning.CHECKED)
    assert (action.state, action.checked_by, action.check_note) == (
        State.CHECKED,
        technician,
        "Tight all round.",
    )
    assert json.loads(sign_off.content)["done"]["photos_after"]


@pytest.mark.parametrize("maker", [make_auditor, make_manager])
def test_only_a_technician_or_the_office_checks(site, office, maker):
    action = make_action("done", site=site, by=office)

    with pytest.raises(NotAllowed):
        check_action(action.pk, by=maker(), password=PASSWORD)
    with pytest.raises(NotAllowed):
        reopen_action(action.pk, by=maker(), reason="No.")


def test_a_check_with_a_wrong_password_changes_nothing(site, office, technician):
    action = make_action("done", site=site, by=office)
    before = stands(action)

    with pytest.raises(WrongPassword):
        check_action(action.pk, by=technician, password="not the phrase")

    assert stands(action) == before


def test_the_same_check_twice_is_one(site, office, technician, trail):
    action = make_action("done", site=site, by=office)
    check_action(action.pk, by=technician, password=PASSWORD)
    told = trail()

    check_action(action.pk, by=technician, password=PASSWORD)

    assert trail() == told


def test_work_sent_back_keeps_its_decision_and_its_story(site, office, technician, manager):
    action = make_action("done", site=site, by=office, manager=manager)

    reopen_action(action.pk, by=technician, reason="A gap is left by the drain.")

    action.refresh_from_db()
    told = TrailEntry.objects.get(verb="action.reopened")
    assert (action.state, action.done_at, action.done_note) == (State.DECIDED, None, "")
    assert told.facts["reason"] == "A gap is left by the drain."
    assert told.facts["old"]["done_note"] == "Sealed and photographed."


def test_work_without_a_decision_goes_back_to_raised(site, office):
    action = make_action("done", site=site, by=office, **HOUSEKEEPING)

    assert reopen_action(action.pk, by=office, reason="Not clean.").state == State.RAISED


def test_sending_back_and_withdrawing_want_a_reason(site, office):
    action = make_action("done", site=site, by=office)
    before = stands(action)

    with pytest.raises(Unusable, match="still to be done"):
        reopen_action(action.pk, by=office, reason=" ")
    with pytest.raises(Unusable, match="why it is withdrawn"):
        withdraw_action(action.pk, by=office, reason="")
    with pytest.raises(Unusable, match="300"):
        withdraw_action(action.pk, by=office, reason="x" * 301)

    assert stands(action) == before


# --- ordered work becomes a visit ---------------------------------------------------------------


def test_an_ordered_job_gets_one_visit_however_often_it_is_looked_at(site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager)

    assert (plan_ordered_work(), plan_ordered_work()) == (1, 0)

    action.refresh_from_db()
    visit = Visit.objects.get(site=site)
    assert (action.work_visit, visit.kind, visit.state) == (
        visit,
        Visit.Kind.PROOFING,
        Visit.State.PLANNED,
    )


@pytest.mark.parametrize("case", ["declined", "carry on", "only priced", "not proofing"])
def test_nothing_is_planned_where_no_proofing_was_ordered(case, site, office, manager):
    if case == "declined":
        make_action("decided", site=site, by=office, manager=manager, declined=True)
    elif case == "carry on":
        action = make_action("priced", site=site, by=office)
        carry_on = action.options.get(kind=ActionOption.Kind.CARRY_ON)
        decide(action, by=manager, option_id=carry_on.pk)
    elif case == "only priced":
        make_action("priced", site=site, by=office)
    else:
        make_action(site=site, by=office, **HOUSEKEEPING)

    assert plan_ordered_work() == 0


def test_an_older_order_to_carry_on_does_not_hide_a_newer_one(site, office, manager):
    action = make_action("priced", site=site, by=office)
    decide(action, by=manager, option_id=action.options.get(kind=ActionOption.Kind.CARRY_ON).pk)
    price_action(action.pk, by=office, options=[replace(LASTING, cost_once=Decimal(1)), CARRY_ON])
    decide(action, by=manager)

    assert plan_ordered_work() == 1


def test_every_step_is_on_the_trail_of_the_site(site, office, technician, manager, trail):
    action = make_action("done", site=site, by=office, manager=manager)
    check_action(action.pk, by=technician, password=PASSWORD)

    told = [verb for verb in trail() if verb.startswith("action.")]
    assert told == [
        "action.raised",
        "action.priced",
        "action.decided",
        "action.done",
        "action.checked",
    ]
    entries = TrailEntry.objects.filter(verb__startswith="action.")
    assert {entry.stream_id for entry in entries} == {f"site:{site.pk}"}


def test_steps_of_the_past_keep_their_own_time(site, office):
    at = NOON - timedelta(days=100)

    action = make_action("checked", site=site, by=office, at=at)

    assert (action.raised_at, action.checked_at) == (at, at + timedelta(minutes=4))
    assert verbs.needs_decision(action)
    assert action.sign_offs.filter(person__role=Role.OFFICE).count() == 1
