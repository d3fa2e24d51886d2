"""What somebody might try with a decision: forge it, send it again, change it afterwards.

Either it is refused and nothing is signed, or ``verify_decisions`` says what is no longer so. Rows
are changed behind the services' backs here, as somebody with the database in hand could.
"""

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction
from django.forms import model_to_dict
from django.urls import reverse

from accounts.models import TrailEntry
from accounts.refusals import Changed, Refused, Unusable, WrongState
from accounts.sealing import canonical, digest
from compliance.models import ActionOption, CorrectiveAction, Decision, SignOff
from compliance.queries.sheets import sheet_of
from compliance.queries.sign_offs import broken_sign_offs
from compliance.services.actions import price_action, report_done
from compliance.services.signing import WrongPassword
from compliance.services.sittings import Answer, decide_several
from tests.builders.accounts import PASSWORD, make_manager, make_office
from tests.builders.compliance import CARRY_ON, LASTING, decide, make_action
from tests.builders.sites import make_site
from tests.faults.test_compliance_races import answer_of, at_once, refusals

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


@pytest.fixture
def priced(site):
    return make_action("priced", site=site)


def price_anew(action):
    dearer = replace(LASTING, cost_once=Decimal(5200))
    price_action(action.pk, by=make_office(), options=[dearer, CARRY_ON])
    return CorrectiveAction.objects.get(pk=action.pk)


def nothing_is_signed():
    signed = (SignOff.objects.exists(), Decision.objects.exists())
    told = TrailEntry.objects.filter(verb="action.decided").exists()
    return not (any(signed) or told)


def troubles():
    return [one.trouble for one in broken_sign_offs()]


def verified():
    """Whether the command is content; it must say no in so many words and by how it ends."""
    try:
        call_command("verify_decisions")
    except CommandError as error:
        return "not stand" not in str(error)
    return True


# --- refused --------------------------------------------------------------------------------------


def test_the_hash_of_another_sheet_is_refused(site, priced, manager):
    other = make_action("priced", site=site)

    for wrong in (sheet_of(other).hash, sheet_of(priced, years=9).hash, "0" * 64, ""):
        with pytest.raises(Changed):
            decide(priced, by=manager, shown_hash=wrong)
    assert nothing_is_signed()


def test_an_option_of_another_action_or_revision_is_refused(site, priced, manager):
    other = make_action("priced", site=site)
    old = priced.options.first().pk
    anew = price_anew(priced)

    for strange in (other.options.first().pk, old):
        with pytest.raises(Unusable):
            decide(anew, by=manager, option_id=strange)
    assert nothing_is_signed()


def test_an_answer_to_one_revision_is_no_answer_to_the_next(priced, manager):
    sheet = sheet_of(priced)
    read = {"revision": 1, "shown_hash": sheet.hash, "option_id": sheet.options[0].pk}
    price_anew(priced)

    with pytest.raises(Changed):
        decide(priced, by=manager, **read)
    with pytest.raises(Refused):
        decide(priced, by=manager, **{**read, "revision": 2})
    assert nothing_is_signed()


def test_an_answer_to_one_action_is_no_answer_to_its_twin(site, priced, manager):
    twin = make_action("priced", site=site, title=priced.title, due_on=priced.due_on)
    sheet = sheet_of(priced)
    replayed = Answer(twin.pk, 1, sheet.hash, "go_ahead", sheet.options[0].pk)

    told = decide_several([replayed], by=manager, password=PASSWORD)

    assert isinstance(told[0].refused, Changed)
    assert nothing_is_signed()


def test_a_page_replayed_for_another_action_signs_nothing(client, site, priced, manager):
    twin = make_action("priced", site=site, title=priced.title)
    sheet = sheet_of(priced)
    answer = {
        "action": str(twin.pk),
        "answer": str(sheet.options[0].pk),
        "reason": "",
        "revision": 1,
        "shown_hash": sheet.hash,
    }
    client.force_login(manager)

    client.post(
        reverse("compliance:decisions_sign"),
        {"answers": json.dumps([answer]), "password": PASSWORD},
    )

    assert nothing_is_signed()


def test_a_wrong_password_leaves_nothing_behind(priced, manager):
    with pytest.raises(WrongPassword):
        decide(priced, by=manager, password="not it")

    priced.refresh_from_db()
    assert nothing_is_signed()
    assert (priced.state, priced.decided_at) == ("priced", None)


def test_the_database_keeps_a_second_decision_of_one_revision_out(priced, manager):
    first = decide(priced, by=manager)

    with pytest.raises(IntegrityError), transaction.atomic():
        Decision.objects.create(
            action=priced, revision=1, outcome="declined", reason="No.", sign_off=first.sign_off
        )


def test_the_same_post_twice_is_one_decision_and_another_answer_is_refused(priced, manager):
    first = decide(priced, by=manager)
    sheet = sheet_of(priced)
    same = {"revision": 1, "shown_hash": sheet.hash, "option_id": sheet.options[0].pk}

    assert decide(priced, by=manager, **same) == first
    with pytest.raises(WrongState, match="already decided"):
        decide(priced, by=manager, declined=True)
    assert SignOff.objects.count() == 1
    assert verified()


def test_two_managers_at_once_at_a_sitting_make_one_decision_of_each_action(site):
    actions = [make_action("priced", site=site) for _ in range(3)]
    people = [make_manager(client=site.client) for _ in range(2)]

    def sitting(person, order):
        sheets = [sheet_of(CorrectiveAction.objects.get(pk=one.pk)) for one in order]
        answers = [
            Answer(one.action.pk, 1, one.hash, "go_ahead", one.options[0].pk) for one in sheets
        ]
        return lambda: decide_several(answers, by=person, password=PASSWORD)

    both = at_once(sitting(people[0], actions), sitting(people[1], actions[::-1]))

    told = [one for answers in both for one in answers]
    assert len([one for one in told if one.decision]) == 3
    assert {type(one.refused) for one in told if one.refused} == {WrongState}
    assert (Decision.objects.count(), SignOff.objects.count()) == (3, 3)
    assert verified()


def test_a_sitting_and_a_page_at_once_make_one_decision(priced, manager):
    sheet = sheet_of(priced)
    no = Answer(priced.pk, 1, sheet.hash, "declined", None, "Too dear.")
    other = make_manager(client=manager.client)

    page, sitting = at_once(
        answer_of(other, priced), lambda: decide_several([no], by=manager, password=PASSWORD)
    )

    assert len(refusals([page, sitting[0].refused])) == 1
    assert Decision.objects.count() == 1
    assert verified()


# --- found ----------------------------------------------------------------------------------------


def altered(sign_off, **answer):
    """The signed text with another answer in it."""
    content = json.loads(sign_off.content)
    content["answer"] |= answer
    return canonical(content)


def forge_text(decision):
    text = altered(decision.sign_off, reason="I never said so.")
    SignOff.objects.filter(pk=decision.sign_off_id).update(content=text)


def forge_hash(decision):
    SignOff.objects.filter(pk=decision.sign_off_id).update(content_hash="f" * 64)


def forge_text_and_hash(decision):
    text = altered(decision.sign_off, reason="I never said so.")
    signed = SignOff.objects.filter(pk=decision.sign_off_id)
    signed.update(content=text, content_hash=digest(text))


def forge_text_hash_and_decision(decision):
    text = altered(decision.sign_off, reason="I never said so.")
    signed = SignOff.objects.filter(pk=decision.sign_off_id)
    signed.update(content=text, content_hash=digest(text))
    Decision.objects.filter(pk=decision.pk).update(reason="I never said so.")


def forge_what_was_shown(decision):
    content = json.loads(decision.sign_off.content)
    content["shown"]["facts"]["options"][0]["cost_once"] = "1.00"
    text = canonical(content)
    signed = SignOff.objects.filter(pk=decision.sign_off_id)
    signed.update(content=text, content_hash=digest(text))


def forge_the_option(decision):
    other = decision.action.options.exclude(pk=decision.option_id).get()
    Decision.objects.filter(pk=decision.pk).update(option=other)


def forge_the_outcome(decision):
    Decision.objects.filter(pk=decision.pk).update(outcome="declined", reason="No.", option=None)


def forge_the_reason(decision):
    Decision.objects.filter(pk=decision.pk).update(reason="Cheapest.")


def forge_the_revision(decision):
    Decision.objects.filter(pk=decision.pk).update(revision=2)


def forge_the_action(decision):
    other = make_action("priced", site=decision.action.site)
    Decision.objects.filter(pk=decision.pk).update(action=other)


def forge_the_signer(decision):
    SignOff.objects.filter(pk=decision.sign_off_id).update(person_name="Somebody Else")


def forge_the_method(decision):
    SignOff.objects.filter(pk=decision.sign_off_id).update(method="passkey")


def forge_how_it_stands(decision):
    CorrectiveAction.objects.filter(pk=decision.action_id).update(declined=True)


def take_the_decision_away(decision):
    decision.delete()


def take_all_of_it_away(decision):
    decision.delete()
    SignOff.objects.filter(pk=decision.sign_off_id).delete()


FORGERIES = {
    forge_text: "no longer fits its hash",
    forge_hash: "no longer fits its hash",
    forge_text_and_hash: "no longer the one that was signed",
    forge_text_hash_and_decision: "trail does not tell of it once",
    forge_what_was_shown: "does not fit the hash that was signed for it",
    forge_the_option: "no longer the one that was signed",
    forge_the_outcome: "no longer the one that was signed",
    forge_the_reason: "no longer the one that was signed",
    forge_the_revision: "no longer the one that was signed",
    forge_the_action: "no longer the one that was signed",
    forge_the_signer: "no longer what was signed",
    forge_the_method: "how the person was known",
    forge_how_it_stands: "does not stand as it was decided",
    take_the_decision_away: "The decision that was signed is gone.",
    take_all_of_it_away: "The signature that the trail tells of is gone.",
}


@pytest.mark.parametrize("forge", FORGERIES, ids=lambda forge: forge.__name__)
def test_what_is_changed_afterwards_is_found(priced, manager, forge):
    decision = decide(priced, by=manager)
    assert verified()

    forge(decision)

    assert FORGERIES[forge] in troubles()[0]
    assert not verified()


def test_a_signature_moved_to_another_action_is_found(site, priced, manager):
    decision = decide(priced, by=manager)
    other = make_action("priced", site=site)

    SignOff.objects.filter(pk=decision.sign_off_id).update(action=other)

    assert "signed for another action" in troubles()[0]


def test_a_signature_that_was_made_up_is_found(priced, manager):
    """Somebody who knows the text and can hash it still has no entry of the trail."""
    signed = decide(priced, by=manager).sign_off
    other = make_action("priced", site=priced.site)
    sheet = sheet_of(other)
    content = json.loads(signed.content)
    content["shown"] = json.loads(sheet.text) | {"hash": sheet.hash}
    content["answer"]["option"] = str(sheet.options[0].pk)
    text = canonical(content)
    made_up = model_to_dict(signed, exclude=["id"])
    forged = SignOff(**{**made_up, "site": other.site, "action": other, "person": manager})
    forged.content, forged.content_hash = text, digest(text)
    forged.save()
    Decision.objects.create(
        action=other, revision=1, outcome="go_ahead", option=sheet.options[0], sign_off=forged
    )
    CorrectiveAction.objects.filter(pk=other.pk).update(state="decided", decided_at=signed.at)

    assert troubles() == ["The trail does not tell of it once, with the same hash."]


def test_everything_that_is_signed_in_the_life_of_an_action_stands(site, manager):
    make_action("checked", site=site)
    theirs = make_action("raised", site=site, kind="access", title="Key", whose_move="client")
    report_done(theirs.pk, by=manager, note="The key hangs at reception.")
    declined = make_action("decided", site=site, declined=True)
    decide(price_anew(declined), by=manager)
    ranged = replace(LASTING, cost_once_low=Decimal(4000), cost_once_high=Decimal(6000))
    drawn = make_action("priced", site=site, options=[ranged, CARRY_ON])
    decide(drawn, by=manager, shown_hash=sheet_of(drawn, years=3).hash, years=3)

    assert SignOff.objects.count() == 6
    assert troubles() == []


def test_withdrawing_or_pricing_anew_leaves_an_old_signature_standing(priced, manager):
    decide(priced, by=manager, declined=True)
    assert ActionOption.objects.filter(action=priced, withdrawn_at=None).count() == 2

    price_anew(priced)

    assert verified()
