"""Several decisions at one sitting: collected, shown as they are signed, signed by one password."""

import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.urls import reverse

from accounts.models import TrailEntry
from accounts.refusals import Changed, NotAllowed, Unusable, WrongState
from compliance.models import ActionOption, CorrectiveAction, Decision, SignOff
from compliance.queries.sheets import sheet_of, sheets_of
from compliance.queries.sign_offs import broken_sign_offs
from compliance.services.actions import OptionGiven, price_action
from compliance.services.asking import ask_colleague
from compliance.services.signing import PASSWORD as BY_PASSWORD
from compliance.services.signing import Proof, WrongPassword
from compliance.services.sittings import MOST_AT_ONCE, Answer, decide_several
from compliance.views.decisions import PER_PAGE
from sites.models import SiteGrant
from tests.builders.accounts import PASSWORD, make_manager
from tests.builders.compliance import CARRY_ON, LASTING, decide, make_action, make_photo
from tests.builders.sites import make_site
from tests.compliance.test_action_pages import show_passkey

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
NOTHING = OptionGiven(
    kind=ActionOption.Kind.NOTHING,
    description="Nothing is done.",
    cost_once=Decimal(0),
    cost_monthly=Decimal(0),
    remaining_risk="Cockroaches spread from the chase to the bakery.",
)


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


@pytest.fixture
def three(site, office):
    return [make_action("priced", site=site, by=office) for _ in range(3)]


def answer_to(action, *, declined=False, reason="", **changed):
    sheet = sheet_of(CorrectiveAction.objects.get(pk=action.pk))
    answer = Answer(
        action.pk,
        revision=sheet.action.revision,
        shown_hash=sheet.hash,
        outcome="declined" if declined else "go_ahead",
        option_id=None if declined else sheet.options[0].pk,
        reason=reason or ("Too dear this year." if declined else ""),
    )
    return replace(answer, **changed)


def put_anew(action, by):
    price_action(action.pk, by=by, options=[replace(LASTING, cost_once=Decimal(5000)), CARRY_ON])


# --- the service ----------------------------------------------------------------------------------


def test_each_answer_is_a_decision_and_a_sign_off_of_its_own(three, manager):
    first, second, third = three

    told = decide_several(
        [answer_to(first), answer_to(second, declined=True)],
        by=manager,
        password=PASSWORD,
        at=NOON,
    )

    assert [one.refused for one in told] == [None, None]
    assert [one.decision.outcome for one in told] == ["go_ahead", "declined"]
    signed = SignOff.objects.order_by("action__number")
    assert [one.action for one in signed] == [first, second]
    assert {(one.person, one.at, one.method) for one in signed} == {(manager, NOON, BY_PASSWORD)}
    shown = json.loads(signed[0].content)["shown"]
    assert shown["hash"] == sheet_of(first).hash
    entries = TrailEntry.objects.filter(verb="action.decided").order_by("number")
    assert [entry.facts["signed"] for entry in entries] == [one.content_hash for one in signed]
    third.refresh_from_db()
    assert third.state == "priced"
    assert list(broken_sign_offs()) == []


def test_what_moved_is_not_signed_and_hinders_none_of_the_others(three, manager, office):
    answers = [answer_to(action) for action in three]
    put_anew(three[1], office)
    decide(three[2], by=make_manager(client=manager.client), declined=True)

    told = decide_several(answers, by=manager, password=PASSWORD)

    assert [type(one.refused) for one in told] == [type(None), Changed, WrongState]
    assert Decision.objects.filter(sign_off__person=manager).count() == 1
    three[1].refresh_from_db()
    assert three[1].state == "priced"


def test_the_same_answers_sent_twice_are_the_same_decisions(three, manager):
    answers = [answer_to(three[0]), answer_to(three[1], declined=True)]

    first = decide_several(answers, by=manager, password=PASSWORD)
    second = decide_several(answers, by=manager, password=PASSWORD)

    assert [one.decision for one in first] == [one.decision for one in second]
    assert (Decision.objects.count(), SignOff.objects.count()) == (2, 2)


def test_a_wrong_password_signs_nothing_at_all(three, manager):
    with pytest.raises(WrongPassword):
        decide_several([answer_to(one) for one in three], by=manager, password="not it")

    assert not SignOff.objects.exists()


def test_one_refusal_of_a_person_is_told_for_each_action(three):
    told = decide_several(
        [answer_to(one) for one in three], by=make_manager(), proof=Proof(BY_PASSWORD)
    )

    assert {type(one.refused) for one in told} == {NotAllowed}
    assert not Decision.objects.exists()


def test_none_too_many_and_doubled_answers_are_refused(three, manager):
    answer = answer_to(three[0])
    other = answer_to(three[0], declined=True)
    for answers in ([], [answer, other], [answer] * (MOST_AT_ONCE + 1)):
        with pytest.raises(Unusable):
            decide_several(answers, by=manager, password=PASSWORD)
    assert not Decision.objects.exists()


def test_sheets_of_many_are_the_sheets_of_each_for_as_few_queries(
    three, office, django_assert_num_queries
):
    make_photo(three[0].site, by=office)
    actions = list(CorrectiveAction.objects.select_related("site__client", "zone", "visit"))

    with django_assert_num_queries(3):
        many = sheets_of(actions)

    assert [one.hash for one in many] == [sheet_of(action).hash for action in actions]


# --- the pages ------------------------------------------------------------------------------------

SITTING = "/compliance/decisions/"
SIGNING = "/compliance/decisions/sign/"


def filled(page, **answers):
    """What a page of the sitting sends: as it came, but for these answers, by the action's pk."""
    sent = {"action": []}
    for row in page.context["rows"]:
        form = row["form"]
        pk = str(form.sheet.action.pk)
        sent["action"].append(pk)
        for name in ("revision", "shown_hash", "answer", "reason"):
            sent[form.add_prefix(name)] = form[name].value() or ""
        sent |= {form.add_prefix(name): value for name, value in answers.get(pk, {}).items()}
    return sent


def option(action, position=0):
    return str(sheet_of(action).options[position].pk)


def collected(client, **answers):
    """Answer on the page, and open what is to be signed."""
    client.post(SITTING, filled(client.get(SITTING), **answers))
    return client.get(SIGNING)


def sign(client, page, password=PASSWORD):
    return client.post(SIGNING, {"answers": page.context["answers"], "password": password})


def said(client, answer):
    return [str(message) for message in client.get(answer.url).context["messages"]]


def test_nothing_is_chosen_before_and_later_is_no_answer(client, three, manager):
    client.force_login(manager)

    page = client.get(SITTING)
    radios = re.findall(r"<input[^>]*type=\"radio\"[^>]*>", page.content.decode())
    chosen = [one for one in radios if "checked" in one]
    assert len(radios) == 3 * 4
    assert len(chosen) == 3
    assert all('value="later"' in one for one in chosen)

    answer = client.post(SITTING, filled(page))
    assert answer.url == SIGNING
    assert client.get(SIGNING).url == SITTING
    assert not SignOff.objects.exists()


def test_each_action_shows_what_its_own_page_shows_in_short(client, site, office, manager):
    photo = make_photo(site, by=office)
    action = make_action(
        "priced", site=site, by=office, detail="A finger's width.", photo_ids=[photo.pk]
    )
    client.force_login(manager)

    page = client.get(SITTING).content.decode()

    for words in (
        action.title,
        "A finger&#x27;s width.",
        reverse("sites:photo", args=[photo.pk]),
        LASTING.description,
        "£4,800.00",
        "15 years",
        CARRY_ON.remaining_risk,
        "has paid for itself by the end of month",
        "Turn it down",
    ):
        assert words in page, words
    assert f'href="{action.get_absolute_url()}">All of it' in page


def test_what_is_signed_is_shown_in_words_and_then_signed_with_one_password(client, three, manager):
    client.force_login(manager)
    yes, no, later = three

    page = collected(
        client,
        **{
            str(yes.pk): {"answer": option(yes)},
            str(no.pk): {"answer": "decline", "reason": "Too dear this year."},
        },
    )
    shown = page.content.decode()
    assert later.title not in shown
    assert "1. Lasting work" in shown
    assert "Your reason: Too dear this year." in shown
    assert "orders the work described" in shown
    assert "declines the work and carries the risk described" in shown

    answer = sign(client, page)

    assert said(client, answer) == [
        f"Signed, 2 decided. {yes}: go ahead; {no}: turned down.",
    ]
    assert Decision.objects.get(action=yes).outcome == "go_ahead"
    assert Decision.objects.get(action=no).reason == "Too dear this year."
    assert not Decision.objects.filter(action=later).exists()
    assert client.get(SIGNING).url == SITTING, "nothing is kept that was signed"


def test_the_same_post_twice_is_answered_twice_and_signed_once(client, three, manager):
    client.force_login(manager)
    page = collected(client, **{str(three[0].pk): {"answer": option(three[0])}})

    answers = [sign(client, page), sign(client, page)]

    assert [answer.status_code for answer in answers] == [302, 302]
    assert SignOff.objects.count() == 1


def test_a_no_without_a_reason_is_asked_for_one_and_keeps_all_else(client, three, manager):
    client.force_login(manager)
    page = client.get(SITTING)

    answer = client.post(
        SITTING,
        filled(
            page,
            **{
                str(three[0].pk): {"answer": option(three[0], 1)},
                str(three[1].pk): {"answer": "decline"},
            },
        ),
    )

    assert answer.status_code == 422
    text = answer.content.decode()
    assert text.count("Say why you turn it down.") == 2  # in the summary and beside the field
    assert [row["form"]["answer"].value() for row in answer.context["rows"]][:2] == [
        option(three[0], 1),
        "decline",
    ]


def test_doing_nothing_knowingly_needs_a_reason_and_is_signed_as_a_no(
    client, site, office, manager
):
    action = make_action("priced", site=site, by=office, options=[LASTING, CARRY_ON, NOTHING])
    client.force_login(manager)
    nothing = {"answer": option(action, 2)}
    page = client.get(SITTING)
    assert client.post(SITTING, filled(page, **{str(action.pk): nothing})).status_code == 422

    signing = collected(client, **{str(action.pk): {**nothing, "reason": "The shop closes."}})
    assert "declines the work" in signing.content.decode()
    sign(client, signing)

    decision = Decision.objects.get()
    assert (decision.outcome, decision.option.kind) == ("declined", "nothing")


def test_one_passkey_serves_for_one_sitting_and_the_answers_outlast_the_way_to_it(
    client, rf, three, manager
):
    client.force_login(manager)
    collected(client, **{str(one.pk): {"answer": option(one)} for one in three[:2]})
    show_passkey(client, rf, manager)

    page = client.get(SIGNING)
    assert "You have just shown your passkey" in page.content.decode()
    sign(client, page, password="")
    assert [one.method for one in SignOff.objects.all()] == ["passkey", "passkey"]

    again = collected(client, **{str(three[2].pk): {"answer": option(three[2])}})
    assert sign(client, again, password="").status_code == 422
    assert SignOff.objects.count() == 2


def test_a_wrong_password_keeps_everything_and_signs_nothing(client, three, manager):
    client.force_login(manager)
    page = collected(client, **{str(three[0].pk): {"answer": option(three[0])}})

    answer = sign(client, page, password="not it")

    assert answer.status_code == 422
    assert "That is not your password" in answer.content.decode()
    assert answer.context["answers"] == page.context["answers"]
    assert not SignOff.objects.exists()
    assert sign(client, answer).status_code == 302
    assert SignOff.objects.count() == 1


def test_what_changed_before_signing_is_said_and_left_out(client, three, manager, office):
    client.force_login(manager)
    answers = {str(one.pk): {"answer": option(one)} for one in three[:2]}
    client.post(SITTING, filled(client.get(SITTING), **answers))
    put_anew(three[1], office)

    page = client.get(SIGNING)

    assert three[1].title not in json.dumps(page.context["answers"])
    assert len(page.context["rows"]) == 1
    assert "1 changed while you were reading: nothing is signed for it." in page.content.decode()


def test_what_changed_while_signing_is_reported_beside_what_was_signed(
    client, three, manager, office
):
    client.force_login(manager)
    page = collected(client, **{str(one.pk): {"answer": option(one)} for one in three})
    put_anew(three[1], office)

    told = said(client, sign(client, page))

    assert told[0].startswith("Signed, 2 decided.")
    assert told[1] == (f"1 changed while you were reading: nothing is signed for it. {three[1]}.")
    assert Decision.objects.count() == 2


def test_a_page_that_was_overtaken_asks_again(client, three, manager, office):
    client.force_login(manager)
    page = client.get(SITTING)
    put_anew(three[0], office)

    answer = client.post(SITTING, filled(page, **{str(three[0].pk): {"answer": option(three[0])}}))

    assert answer.status_code == 422
    assert "This changed while you were reading." in answer.content.decode()
    form = next(row["form"] for row in answer.context["rows"] if row["action"] == three[0])
    assert form["shown_hash"].value() == sheet_of(CorrectiveAction.objects.get(pk=three[0].pk)).hash


def test_what_a_colleague_decided_meanwhile_is_said(client, three, manager):
    client.force_login(manager)
    page = client.get(SITTING)
    decide(three[0], by=make_manager(client=manager.client))

    answer = client.post(SITTING, filled(page, **{str(three[1].pk): {"answer": option(three[1])}}))

    assert answer.url == SIGNING
    assert f"No longer to decide: {three[0]}." in client.get(SIGNING).content.decode()


def test_answers_are_kept_from_page_to_page(client, site, office, manager):
    actions = [make_action("priced", site=site, by=office) for _ in range(PER_PAGE + 1)]
    client.force_login(manager)

    page = client.get(SITTING)
    assert len(page.context["rows"]) == PER_PAGE
    first = page.context["rows"][0]["action"]
    sent = filled(page, **{str(first.pk): {"answer": option(first)}})
    answer = client.post(SITTING, {**sent, "go": "next"})
    assert answer.url == f"{SITTING}?page=2"
    second = client.get(answer.url)
    last = second.context["rows"][0]["action"]
    assert {first, last} < set(actions)
    client.post(answer.url, filled(second, **{str(last.pk): {"answer": option(last)}}))

    assert {row.sheet.action for row in client.get(SIGNING).context["rows"]} == {first, last}
    back = client.get(SITTING).context["rows"][0]["form"]
    assert back["answer"].value() == option(first)


def test_it_goes_site_by_site_and_can_be_narrowed_to_one(client, site, office, manager, three):
    annexe = make_site(client=site.client, name="A first name in the alphabet")
    there = make_action("priced", site=annexe, by=office)
    client.force_login(manager)

    sites = [row["site"] for row in client.get(SITTING).context["rows"]]
    assert sites == [annexe, site, site, site]
    narrowed = client.get(SITTING, {"site": annexe.pk})
    assert [row["action"] for row in narrowed.context["rows"]] == [there]


def test_what_a_colleague_is_asked_or_a_stranger_has_is_not_on_it(client, site, three, manager):
    colleague = make_manager(client=site.client)
    ask_colleague(three[0].pk, by=manager, person_id=colleague.pk)
    make_action("priced", title="Somebody else's leak")
    client.force_login(manager)

    page = client.get(SITTING)

    assert {row["action"] for row in page.context["rows"]} == set(three[1:])
    assert "1 more waits for colleagues" in page.content.decode()
    assert "leak" not in page.content.decode()


def test_nobody_answers_or_signs_for_a_site_that_is_not_theirs(client, site, three, manager):
    limited = make_manager(client=site.client)
    SiteGrant.objects.create(person=limited, site=make_site(client=site.client))
    client.force_login(manager)
    page = client.get(SITTING)
    sent = filled(page, **{str(three[0].pk): {"answer": option(three[0])}})
    answers = collected(client, **{str(three[0].pk): {"answer": option(three[0])}})
    client.force_login(limited)

    client.post(SITTING, sent)
    assert client.get(SIGNING).url == SITTING
    assert sign(client, answers).status_code == 404
    assert not SignOff.objects.exists()


@pytest.mark.parametrize("answers", ["", "nonsense", "[1]", "{}", '[{"action": "x"}]', "null"])
def test_answers_that_come_back_damaged_sign_nothing(client, manager, answers):
    client.force_login(manager)

    answer = client.post(SIGNING, {"answers": answers, "password": PASSWORD})

    assert answer.status_code in {409, 422}
    assert not SignOff.objects.exists()


def test_an_action_that_never_was_is_not_found(client, three, manager):
    client.force_login(manager)
    page = collected(client, **{str(three[0].pk): {"answer": option(three[0])}})
    strange = page.context["answers"].replace(str(three[0].pk), str(manager.pk))

    answer = client.post(SIGNING, {"answers": strange, "password": PASSWORD})

    assert answer.status_code == 404
    assert client.post(SITTING, {"action": "x"}).status_code == 404


@pytest.mark.parametrize("number", [2, 12])
def test_both_pages_cost_the_same_for_few_and_many(
    client, site, office, manager, number, django_assert_max_num_queries
):
    actions = [make_action("priced", site=site, by=office) for _ in range(number)]
    client.force_login(manager)
    for index in range(1, number // PER_PAGE + 2):
        address = f"{SITTING}?page={index}"
        with django_assert_max_num_queries(14):
            page = client.get(address)
        client.post(
            address,
            filled(
                page, **{str(one.pk): {"answer": "decline", "reason": "No."} for one in actions}
            ),
        )

    with django_assert_max_num_queries(12):
        page = client.get(SIGNING)

    assert len(page.context["rows"]) == number
