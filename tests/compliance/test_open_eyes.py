"""What the client has before them when they decide: ranges, effects, terms, a no, answers."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable, WrongState
from compliance.economics.turning import turning_points
from compliance.models import ActionMessage, ActionOption, CorrectiveAction, Flag, MoneyTerms
from compliance.queries.actions import story_of
from compliance.queries.money_terms import terms_in_force
from compliance.queries.sheets import percent, sheet_of, spread_rows, turn_in_words
from compliance.services.actions import OptionGiven, price_action, withdraw_action
from compliance.services.flags import reconcile_flags
from compliance.services.messages import write_message
from compliance.services.money_terms import TermsGiven, set_money_terms
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import CARRY_ON, LASTING, decide, make_action
from tests.builders.sites import make_site

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
SIX = TermsGiven(Decimal("0.06"), Decimal("0.02"), 7, "The bank's letter of January")
NOTHING = OptionGiven(
    kind=ActionOption.Kind.NOTHING,
    description="Nothing is done.",
    cost_once=Decimal(0),
    cost_monthly=Decimal(0),
    remaining_risk="Cockroaches spread from the chase to the bakery.",
)
RANGED = replace(
    LASTING,
    cost_once_low=Decimal(4000),
    cost_once_high=Decimal(6000),
    life_years_low=10,
    life_years_high=20,
    effect_percent=80,
    effect_basis="assumption",
    effect_words="The chase is the only way in that was found.",
)


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def office():
    return make_office()


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


@pytest.fixture
def raised(site, office):
    return make_action("raised", site=site, by=office)


def put(action, *options, by):
    price_action(action.pk, by=by, options=options)
    return CorrectiveAction.objects.get(pk=action.pk)


# --- ranges, effects and terms --------------------------------------------------------------------


@pytest.mark.parametrize(
    "half",
    [
        {"cost_once_low": 10},
        {"cost_once_high": 90},
        {"cost_monthly_low": 1},
        {"cost_monthly_high": 90},
        {"life_years": 5, "life_years_low": 3},
        {"life_years_low": 3, "life_years_high": 7},
        {"effect_basis": "assumption"},
        {"effect_percent": 80},
    ],
)
def test_the_database_keeps_no_half_of_a_range_or_of_an_effect(raised, half):
    whole = {"kind": "lasting", "description": "Seal it.", "cost_once": 50, "cost_monthly": 5}

    with pytest.raises(IntegrityError), transaction.atomic():
        ActionOption.objects.create(action=raised, position=1, **whole, **half)

    assert ActionOption.objects.create(action=raised, position=1, **whole)


def test_ranges_and_effects_are_kept_shown_and_part_of_what_is_signed(raised, office, manager):
    priced = put(raised, RANGED, CARRY_ON, by=office)
    sheet = sheet_of(priced)

    facts = sheet.facts["options"][0]
    assert facts["ranges"] == {
        "cost_once": [Decimal("4000.00"), Decimal("6000.00")],
        "life_years": [10, 20],
    }
    assert facts["effect"]["percent"] == 80
    assert "assumption" in facts["effect"]["basis"]
    rows = spread_rows(sheet)
    assert rows[0].p10 < rows[0].p50 < rows[0].p90
    assert rows[1].p10 == rows[1].p90

    signed = json.loads(decide(priced, by=manager).sign_off.content)["shown"]
    assert signed["facts"]["options"][0]["effect"]["words"] == RANGED.effect_words
    assert signed["figures"]["spread"]["draws"] == 2000


def test_the_same_sheet_is_drawn_the_same_and_another_revision_anew(raised, office):
    priced = put(raised, RANGED, CARRY_ON, by=office)
    assert sheet_of(priced).spread == sheet_of(priced).spread
    anew = put(priced, RANGED, replace(CARRY_ON, cost_monthly=Decimal(190)), by=office)
    assert sheet_of(anew).spread.seed != sheet_of(priced).spread.seed


def test_values_without_ranges_are_not_drawn(raised, office):
    assert sheet_of(put(raised, LASTING, CARRY_ON, by=office)).spread is None
    assert spread_rows(sheet_of(raised)) == []


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"cost_once_low": Decimal(1)}, "lowest, likely and highest"),
        ({"cost_once_low": Decimal(5000), "cost_once_high": Decimal(6000)}, "comes first"),
        ({"cost_once_low": Decimal(-1), "cost_once_high": Decimal(6000)}, "comes first"),
        ({"life_years_low": 0, "life_years_high": 20}, "comes first"),
        ({"life_years": None, "life_years_low": 1, "life_years_high": 2}, "lowest, likely"),
        ({"life_years": 0}, "from 1 to 50"),
        ({"effect_percent": 80}, "stands on"),
        ({"effect_basis": "assumption"}, "stands on"),
        ({"effect_percent": 101, "effect_basis": "assumption"}, "from 0 to 100"),
        ({"effect_percent": 80, "effect_basis": "assumption"}, "Say why so much"),
        ({"effect_percent": 80, "effect_basis": "hearsay"}, "stands on"),
        ({"kind": "nothing"}, "costs nothing"),
    ],
)
def test_an_option_that_does_not_add_up_is_refused(raised, office, changed, words):
    with pytest.raises(Unusable, match=words):
        put(raised, replace(LASTING, **changed), LASTING, CARRY_ON, by=office)
    raised.refresh_from_db()
    assert (raised.state, ActionOption.objects.count()) == ("raised", 0)


def test_terms_are_kept_with_what_was_priced_under_them(raised, office):
    assert terms_in_force() == (5, Decimal(0), Decimal(0))
    priced = put(raised, LASTING, CARRY_ON, by=office)
    set_money_terms(SIX, by=office)
    assert sheet_of(CorrectiveAction.objects.get(pk=priced.pk)).terms.yearly_rate == 0

    anew = put(priced, LASTING, CARRY_ON, by=office)
    assert anew.revision == priced.revision + 1
    assert (anew.horizon_years, anew.yearly_rate, anew.yearly_growth) == (
        7,
        Decimal("0.06"),
        Decimal("0.02"),
    )
    sheet = sheet_of(anew)
    assert sheet.terms.years == 7
    assert sheet.today.lines[0].total < sheet.comparison.lines[0].total
    assert put(anew, LASTING, CARRY_ON, by=office).revision == anew.revision


def test_the_same_terms_again_are_set_once(office):
    set_money_terms(SIX, by=office)
    set_money_terms(SIX, by=office)
    assert MoneyTerms.objects.count() == 1
    assert TrailEntry.objects.filter(verb="money_terms.set").count() == 1


@pytest.mark.parametrize(
    "changed",
    [
        {"yearly_rate": Decimal("0.51")},
        {"yearly_growth": Decimal("-0.11")},
        {"years": 11},
        {"years": 0},
        {"basis": " "},
    ],
)
def test_terms_that_make_no_sense_are_refused(office, changed):
    with pytest.raises(Unusable):
        set_money_terms(replace(SIX, **changed), by=office)
    assert not MoneyTerms.objects.exists()


def test_only_the_office_sets_terms(manager):
    for person in (manager, make_technician(), make_auditor()):
        with pytest.raises(NotAllowed):
            set_money_terms(SIX, by=person)


def test_the_page_of_the_terms_sets_and_lists_them(client, office):
    client.force_login(office)
    address = reverse("compliance:money_terms")
    sent = {"yearly_rate": "6", "yearly_growth": "2.5", "years": "7", "basis": "The bank"}
    assert client.post(address, {**sent, "years": "11"}).status_code == 422
    assert client.post(address, sent).status_code == 302
    assert terms_in_force() == (7, Decimal("0.06"), Decimal("0.025"))
    page = client.get(address).content.decode()
    assert "2.5 %" in page
    assert "The bank" in page


def test_what_would_turn_it_is_said_in_words(raised, office):
    sheet = sheet_of(put(raised, LASTING, CARRY_ON, by=office))
    said = [turn_in_words(turn, sheet) for turn in sheet.turns]
    assert said[0] == (
        "If “2. Carry on treating” cost GBP 140.00 each month or less, “2. Carry on treating” "
        "would cost least."
    )
    assert all(line.endswith("would cost least.") for line in said)
    lives = put(raised, replace(LASTING, life_years=6), CARRY_ON, by=office)
    sheet = sheet_of(lives)
    words = " ".join(turn_in_words(turn, sheet) for turn in turning_points(sheet.ways, sheet.terms))
    assert "If “1. Lasting work” lasted 59 months" in words
    assert "Looked at over 3 years" in words
    assert "With interest from 18.8 % a year" in words


def test_doing_nothing_is_not_weighed_by_a_price_of_nothing(raised, office):
    """It would always look the cheapest, for what it risks has no price."""
    with_it = sheet_of(put(raised, LASTING, NOTHING, CARRY_ON, by=office))
    assert [line.way.key for line in with_it.comparison.lines] == [
        str(with_it.options[0].pk),
        str(with_it.options[2].pk),
    ]
    assert with_it.comparison.break_even.month == 40


def test_a_percentage_is_told_without_nils():
    assert [percent(Decimal(one)) for one in ("0.0600", "0.025", "0", "-0.1")] == [
        "6 %",
        "2.5 %",
        "0 %",
        "-10 %",
    ]


def test_the_page_shows_all_of_it(client, raised, office, manager):
    set_money_terms(SIX, by=office)
    priced = put(raised, RANGED, CARRY_ON, NOTHING, by=office)
    client.force_login(manager)
    page = client.get(priced.get_absolute_url()).content.decode()
    for words in (
        "at 6 % interest a year and prices that grow by 2 % a year",
        "Expected to save 80 %",
        "An assumption of the office",
        "A tenth of the draws lies below",
        "What would have to be otherwise",
        "In today&#x27;s money",
        "Do nothing, knowingly",
    ):
        assert words in page
    assert "checked" not in page.split('id="decide"')[1].split("</form>")[0], "nothing is chosen"


def test_no_answer_is_chosen_for_whoever_prices_either(client, raised, office):
    client.force_login(office)
    page = client.get(reverse("compliance:action_price", args=[raised.pk])).content.decode()
    assert "Ranges, and the effect you expect" in page
    sent = {
        "revision": "1",
        "option-TOTAL_FORMS": "4",
        "option-INITIAL_FORMS": "0",
        "option-0-kind": "lasting",
        "option-0-description": "Seal it",
        "option-0-cost_once": "4800",
        "option-0-cost_monthly": "60",
        "option-0-remaining_risk": "Little",
        "option-0-cost_once_low": "5000",
        "option-0-cost_once_high": "6000",
        "option-1-kind": "carry_on",
        "option-1-description": "Gel",
        "option-1-cost_once": "0",
        "option-1-cost_monthly": "180",
        "option-1-remaining_risk": "Much",
        "option-2-kind": "interim",
        "option-3-kind": "nothing",
    }
    address = reverse("compliance:action_price", args=[raised.pk])
    answer = client.post(address, sent)
    assert answer.status_code == 422
    assert "comes first" in answer.content.decode()
    assert "Seal it" in answer.content.decode()
    assert client.post(address, {**sent, "option-0-cost_once_low": "4000"}).status_code == 302
    assert raised.options.get(position=1).cost_once_low == 4000


def test_an_option_that_is_left_alone_stays_when_others_are_priced_anew(client, raised, office):
    priced = put(raised, LASTING, CARRY_ON, NOTHING, by=office)
    client.force_login(office)
    address = reverse("compliance:action_price", args=[priced.pk])
    formset = client.get(address).context["options"]
    sent = {
        "revision": str(priced.revision),
        "option-TOTAL_FORMS": "4",
        "option-INITIAL_FORMS": "0",
        **{
            field.html_name: "" if field.value() is None else str(field.value())
            for form in formset
            for field in form
        },
        "option-0-cost_once": "5100",
    }
    assert client.post(address, sent).status_code == 302
    kinds = priced.options.filter(withdrawn_at=None).order_by("position")
    assert list(kinds.values_list("kind", flat=True)) == ["lasting", "carry_on", "nothing"]


# --- doing nothing, knowingly ---------------------------------------------------------------------


def test_doing_nothing_is_a_no_with_its_reason_and_its_risk(raised, office, manager):
    priced = put(raised, LASTING, CARRY_ON, NOTHING, by=office)
    nothing = priced.options.get(kind="nothing")
    with pytest.raises(Unusable, match="Say why nothing"):
        decide(priced, by=manager, option_id=nothing.pk)

    decision = decide(priced, by=manager, option_id=nothing.pk, reason="The lease ends.")
    again = decide(priced, by=manager, option_id=nothing.pk, reason="The lease ends.")

    priced.refresh_from_db()
    assert decision == again
    assert (decision.outcome, decision.option, priced.declined) == ("declined", nothing, True)
    assert decision.sign_off.meaning == "declines"


def test_doing_nothing_on_the_page_asks_for_the_reason(client, raised, office, manager):
    priced = put(raised, LASTING, CARRY_ON, NOTHING, by=office)
    client.force_login(manager)
    sheet = sheet_of(priced)
    sent = {
        "answer": str(sheet.options[2].pk),
        "reason": "",
        "password": "x",
        "revision": sheet.action.revision,
        "shown_hash": sheet.hash,
        "years": sheet.terms.years,
    }
    answer = client.post(reverse("compliance:action_decide", args=[priced.pk]), sent)
    assert answer.status_code == 422
    assert "Say why you turn it down" in answer.content.decode()


# --- signed before sheets said so much ------------------------------------------------------------


def test_what_sheets_did_not_say_then_is_no_change_since(raised, office, manager):
    priced = put(raised, LASTING, CARRY_ON, by=office)
    sign_off = decide(priced, by=manager).sign_off
    text = json.loads(sign_off.content)
    for option in text["shown"]["facts"]["options"]:
        del option["ranges"], option["effect"]
    del text["shown"]["facts"]["terms"]
    older = json.dumps(text, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    sign_off.content, sign_off.content_hash = older, _sha(older)
    sign_off.save()
    sheet = sheet_of(CorrectiveAction.objects.get(pk=priced.pk))
    assert story_of(sheet).signed[0].trouble == ""

    ActionOption.objects.filter(kind="lasting").update(cost_once=Decimal(1))
    sheet = sheet_of(CorrectiveAction.objects.get(pk=priced.pk))
    assert "changed since" in story_of(sheet).signed[0].trouble


def _sha(text):
    from accounts.sealing import digest

    return digest(text)


# --- questions and answers ------------------------------------------------------------------------


def flagged():
    reconcile_flags()
    standing = Flag.objects.filter(kind=Flag.Kind.QUESTION_OPEN, state="open")
    return list(standing.values_list("subject", flat=True))


def test_a_question_waits_with_a_flag_until_it_is_answered(raised, office, manager):
    priced = put(raised, LASTING, CARRY_ON, by=office)
    write_message(priced.pk, by=manager, text="Does the sealing survive the deep clean?")
    assert flagged() == [f"action:{priced.pk}"]
    write_message(priced.pk, by=office, text="Yes: mesh and mortar.")
    assert flagged() == []
    assert TrailEntry.objects.filter(verb="action.written", target_id=str(priced.pk)).count() == 2


def test_the_same_words_sent_twice_are_one_message(raised, manager):
    for seconds in (0, 30):
        write_message(raised.pk, by=manager, text="Why?", at=NOON + timedelta(seconds=seconds))
    write_message(raised.pk, by=manager, text="Why?", at=NOON + timedelta(hours=1))
    assert ActionMessage.objects.count() == 2


@pytest.mark.parametrize("text", ["", "  ", "x" * 2001])
def test_a_message_says_something_and_not_too_much(raised, manager, text):
    with pytest.raises(Unusable):
        write_message(raised.pk, by=manager, text=text)


def test_only_the_client_and_the_office_write(raised):
    for person in (make_technician(), make_auditor(), make_manager()):
        with pytest.raises(NotAllowed):
            write_message(raised.pk, by=person, text="Hello")
    assert not ActionMessage.objects.exists()


def test_nothing_is_asked_about_what_is_over(raised, office, manager):
    withdraw_action(raised.pk, by=office, reason="Raised twice.")
    with pytest.raises(WrongState):
        write_message(raised.pk, by=manager, text="Why?")


def test_the_thread_stands_on_the_page_of_both_and_of_nobody_else(client, raised, office, manager):
    client.force_login(manager)
    address = reverse("compliance:action_write", args=[raised.pk])
    assert client.post(address, {"text": " "}).status_code == 422
    sent = client.post(address, {"text": "Does it <b>survive</b> the deep clean?"})
    assert sent.status_code == 302
    for reader in (manager, office):
        client.force_login(reader)
        page = client.get(raised.get_absolute_url()).content.decode()
        assert "Does it &lt;b&gt;survive&lt;/b&gt; the deep clean?" in page
    client.force_login(make_manager())
    assert client.get(address).status_code == 404
