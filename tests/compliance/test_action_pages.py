"""Pages of actions: what each role sees and may send, and what a page costs."""

import csv
import io
import re
from datetime import date, timedelta

import pytest
from allauth.account.internal.flows.login import record_authentication
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from compliance.models import CorrectiveAction, Decision
from compliance.queries.sheets import sheet_of
from sites.models import SiteGrant
from tests.builders.accounts import PASSWORD, make_manager
from tests.builders.compliance import give_pass, make_action, make_photo_bytes
from tests.builders.sites import make_site
from tests.builders.visits import make_visit
from visits.models import WhoseMove

pytestmark = pytest.mark.django_db

State = CorrectiveAction.State
HOUSEKEEPING = {"kind": "housekeeping", "whose_move": WhoseMove.CLIENT}


@pytest.fixture
def site():
    return make_site(zones=1)


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


@pytest.fixture
def priced(site, office):
    return make_action(
        "priced", site=site, by=office, internal_note="The key is under the mat.", detail="Gaps."
    )


def decide_address(action):
    return reverse("compliance:action_decide", args=[action.pk])


def without_token(answer):
    """A page without its form token, which is new each time."""
    return re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", answer.content.decode())


def answer_to(action, **changed):
    sheet = sheet_of(CorrectiveAction.objects.get(pk=action.pk))
    return {
        "answer": str(sheet.options[0].pk),
        "reason": "",
        "password": PASSWORD,
        "revision": sheet.action.revision,
        "shown_hash": sheet.hash,
        "years": 5,
        **changed,
    }


# --- who sees what ------------------------------------------------------------------------------


def test_a_strangers_action_looks_like_no_action(client, priced):
    client.force_login(make_manager())

    hidden = client.get(priced.get_absolute_url())
    absent = client.get(reverse("compliance:action", args=["01a2105b-4a43-7e7f-a050-8b46c84ce484"]))

    assert (hidden.status_code, absent.status_code) == (404, 404)
    assert without_token(hidden) == without_token(absent)


@pytest.mark.parametrize(
    "step", ["change", "price", "decide", "done", "check", "reopen", "withdraw"]
)
def test_every_step_of_a_strangers_action_is_absent(client, priced, step):
    client.force_login(make_manager())

    address = reverse(f"compliance:action_{step}", args=[priced.pk])

    assert client.post(address, answer_to(priced)).status_code == 404


def test_the_client_never_sees_internal_notes(client, priced, manager, office):
    client.force_login(manager)
    theirs = client.get(priced.get_absolute_url()).content.decode()
    client.force_login(office)
    ours = client.get(priced.get_absolute_url()).content.decode()

    assert "under the mat" not in theirs
    assert "under the mat" in ours


@pytest.mark.parametrize(
    ("role", "shown"),
    [("office", True), ("manager", True), ("technician", False), ("auditor", False)],
)
def test_what_options_cost_is_the_offices_and_the_clients_business(
    client, site, office, manager, role, shown, request
):
    action = make_action("decided", site=site, by=office, manager=manager)
    person = request.getfixturevalue(role)
    if role == "technician":
        make_visit(site, state="booked", technician=person, due_on=date.today())
    if role == "auditor":
        give_pass(person, site, period_to=date.today())
    client.force_login(person)

    page = client.get(action.get_absolute_url()).content.decode()

    assert ("4,800.00" in page) is shown
    assert ("4800.00" in page) is shown
    assert action.sign_offs.get().content_hash in page


def test_only_the_client_is_asked_and_nothing_is_chosen_before(client, priced, manager, office):
    client.force_login(manager)
    asked = client.get(priced.get_absolute_url()).content.decode()
    client.force_login(office)
    not_asked = client.get(priced.get_absolute_url()).content.decode()

    radios = re.findall(r'<input[^>]*name="answer"[^>]*>', asked)
    assert len(radios) == 3, "two options and no"
    assert not [radio for radio in radios if "checked" in radio]
    assert 'name="answer"' not in not_asked


def test_the_list_holds_only_what_a_person_may_see(client, priced, manager):
    make_action(title="Somebody else's leak")
    client.force_login(manager)

    page = client.get(reverse("compliance:actions"))

    assert [action.pk for action in page.context["page"]] == [priced.pk]
    assert b"leak" not in page.content


def test_a_manager_limited_to_one_site_gets_no_other_in_list_filter_or_csv(
    client, priced, manager, site
):
    elsewhere = make_site(client=site.client, name="The hidden kitchen")
    make_action(site=elsewhere, title="Hidden work")
    SiteGrant.objects.create(person=manager, site=site)
    client.force_login(manager)

    page = client.get(reverse("compliance:actions")).content.decode()
    sheet = b"".join(client.get(reverse("compliance:actions_csv")).streaming_content).decode()

    assert not re.search(r"hidden (kitchen|work)", page + sheet, re.IGNORECASE)
    assert priced.title in page
    assert priced.title in sheet


# --- the list -----------------------------------------------------------------------------------


def test_the_list_is_narrowed_by_state_kind_site_and_day(client, office, site):
    raised = make_action(site=site, by=office, **HOUSEKEEPING)
    declined = make_action("decided", site=site, by=office, declined=True)
    late = make_action(by=office, at=timezone.now() - timedelta(days=30), kind="repair")
    client.force_login(office)

    def found(**query):
        page = client.get(reverse("compliance:actions"), query)
        return {action.pk for action in page.context["page"]}

    assert found() == {raised.pk, late.pk}
    assert found(state="declined") == {declined.pk}
    assert found(state="decided") == set()
    assert found(state="all") == {raised.pk, declined.pk, late.pk}
    assert found(kind="repair") == {late.pk}
    assert found(site=site.pk) == {raised.pk}
    assert found(overdue="on") == {late.pk}


def test_a_filter_that_makes_no_sense_is_said_and_narrows_nothing(client, office, priced):
    client.force_login(office)

    page = client.get(reverse("compliance:actions"), {"state": "perhaps", "site": "x"})

    assert page.status_code == 200
    assert [action.pk for action in page.context["page"]] == [priced.pk]
    assert page.context["form"].errors


def test_the_csv_is_the_list_and_runs_no_formula(client, office, site):
    make_action(site=site, by=office, title="=HYPERLINK(1)")
    client.force_login(office)

    answer = client.get(reverse("compliance:actions_csv"))
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))

    assert [row["title"] for row in rows] == ["'=HYPERLINK(1)"]
    assert (rows[0]["state"], rows[0]["site"]) == ("Raised", site.name)


@pytest.mark.parametrize("number", [2, 20])
def test_the_list_costs_the_same_for_few_and_many(
    client, office, site, number, django_assert_max_num_queries
):
    for _ in range(number):
        make_action(site=site, by=office)
    client.force_login(office)

    with django_assert_max_num_queries(9):
        client.get(reverse("compliance:actions"))


@pytest.mark.parametrize("steps", [1, 4])
def test_the_action_page_costs_the_same_for_short_and_long_stories(
    client, site, office, manager, steps, django_assert_max_num_queries
):
    action = make_action("done", site=site, by=office, manager=manager)
    for number in range(steps):
        action.shown_by.model.objects.create(
            action=action,
            moment="after",
            photo=make_action(
                "done", site=site, by=office, manager=manager, title=f"Other {number}"
            )
            .shown_by.first()
            .photo,
        )
    client.force_login(office)

    with django_assert_max_num_queries(14):
        client.get(action.get_absolute_url())


# --- deciding -----------------------------------------------------------------------------------


def test_the_client_orders_the_work(client, priced, manager):
    client.force_login(manager)

    answer = client.post(decide_address(priced), answer_to(priced), follow=True)

    decision = Decision.objects.get()
    assert (decision.outcome, decision.sign_off.method) == ("go_ahead", "password")
    assert "Signed: go ahead." in answer.content.decode()
    assert decision.sign_off.content_hash in answer.content.decode()


def test_the_client_turns_it_down_with_a_reason(client, priced, manager):
    client.force_login(manager)

    client.post(decide_address(priced), answer_to(priced, answer="decline", reason="Not now."))

    assert Decision.objects.get().reason == "Not now."


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"answer": ""}, "Choose one of the options, or turn the work down."),
        ({"answer": "decline", "reason": " "}, "Say why you turn it down."),
        ({"password": "wrong"}, "That is not your password. Nothing was signed."),
        ({"shown_hash": "0" * 64}, "This changed while you were reading."),
        ({"revision": 9}, "This changed while you were reading."),
    ],
)
def test_a_mistake_is_said_beside_the_form_and_what_was_typed_stays(
    client, priced, manager, changed, words
):
    client.force_login(manager)

    sent = answer_to(priced, **{"reason": "My long reason.", **changed})
    answer = client.post(decide_address(priced), sent)
    page = answer.content.decode()

    assert (answer.status_code, Decision.objects.count()) == (422, 0)
    assert words in page
    assert sent["reason"] in page
    assert "<title>Error: " in page
    assert PASSWORD not in page


def test_after_a_change_the_form_carries_what_stands_now(client, priced, manager):
    client.force_login(manager)
    stale = answer_to(priced, shown_hash="0" * 64)
    page = client.post(decide_address(priced), stale).content.decode()

    assert sheet_of(priced).hash in page
    assert "0" * 64 not in page


def test_the_horizon_that_was_looked_over_is_the_one_that_is_signed(client, priced, manager):
    client.force_login(manager)
    page = client.get(priced.get_absolute_url(), {"years": 10}).content.decode()
    ten = sheet_of(priced, years=10)

    assert ten.hash in page
    client.post(decide_address(priced), answer_to(priced, shown_hash=ten.hash, years=10))
    assert Decision.objects.count() == 1


def test_sending_the_form_twice_signs_once(client, priced, manager):
    client.force_login(manager)
    sent = answer_to(priced)

    client.post(decide_address(priced), sent)
    again = client.post(decide_address(priced), sent)

    assert (again.status_code, Decision.objects.count()) == (302, 1)


@pytest.mark.parametrize("role", ["office", "technician", "auditor"])
def test_nobody_else_can_send_the_form(client, priced, role, request):
    client.force_login(request.getfixturevalue(role))

    answer = client.post(decide_address(priced), answer_to(priced))

    assert answer.status_code in {403, 404}
    assert not Decision.objects.exists()


def test_a_passkey_shown_a_moment_ago_signs_once(client, rf, site, office, manager):
    first = make_action("priced", site=site, by=office)
    second = make_action("priced", site=site, by=office)
    client.force_login(manager)
    show_passkey(client, rf, manager)
    sent = answer_to(first)
    del sent["password"]

    client.post(decide_address(first), sent)
    refused = client.post(decide_address(second), {**answer_to(second), "password": ""})

    assert [d.sign_off.method for d in Decision.objects.all()] == ["passkey"]
    assert refused.status_code == 422


def show_passkey(client, rf, person):
    """Leave in the session what signing in again with a passkey leaves there."""
    session = client.session
    request = rf.get("/")
    request.session, request.user = session, person
    record_authentication(request, person, method="mfa", type="webauthn", reauthenticated=True)
    session.save()


# --- the office's steps -------------------------------------------------------------------------


def option(prefix, **changed):
    row = {
        "kind": "lasting",
        "description": "Seal it.",
        "cost_once": "4800",
        "cost_monthly": "60",
        "life_years": "",
        "remaining_risk": "Little.",
        **changed,
    }
    return {f"option-{prefix}-{name}": value for name, value in row.items()}


EMPTY_ROW = dict.fromkeys(
    ("description", "cost_once", "cost_monthly", "life_years", "remaining_risk"), ""
)
MANAGEMENT = {
    "option-TOTAL_FORMS": "4",
    "option-INITIAL_FORMS": "0",
    "option-MIN_NUM_FORMS": "2",
    "option-MAX_NUM_FORMS": "4",
}


def priced_form(action, second=None, **changed):
    return {
        **MANAGEMENT,
        "revision": action.revision,
        **option(0, **changed),
        **(second or option(1, kind="carry_on", cost_once="0", cost_monthly="180")),
        **option(2, **EMPTY_ROW),
        **option(3, kind="interim", **EMPTY_ROW),
    }


def test_the_office_puts_two_options_and_leaves_two_rows_empty(client, site, office):
    action = make_action(site=site, by=office)
    client.force_login(office)

    client.post(reverse("compliance:action_price", args=[action.pk]), priced_form(action))

    action.refresh_from_db()
    assert (action.state, action.options.count(), action.priced_by) == (State.PRICED, 2, office)


def test_a_price_that_is_no_number_is_said_beside_its_field(client, site, office):
    action = make_action(site=site, by=office)
    client.force_login(office)

    answer = client.post(
        reverse("compliance:action_price", args=[action.pk]),
        priced_form(action, cost_once="about 5000"),
    )

    page = answer.content.decode()
    assert (answer.status_code, action.options.count()) == (422, 0)
    assert "about 5000" in page
    assert "<title>Error: " in page


def test_one_sided_options_are_said_over_the_form(client, site, office):
    action = make_action(site=site, by=office)
    client.force_login(office)

    answer = client.post(
        reverse("compliance:action_price", args=[action.pk]), priced_form(action, option(1))
    )

    assert answer.status_code == 422
    assert "lasting work beside carrying on" in answer.content.decode()


def test_the_form_shows_the_options_that_stand(client, priced, office):
    client.force_login(office)

    page = client.get(reverse("compliance:action_price", args=[priced.pk])).content.decode()

    assert "Seal the pipe chase behind the ovens with steel mesh" in page
    assert 'value="4800.00"' in page


def test_the_office_raises_changes_and_withdraws(client, site, office):
    client.force_login(office)
    sent = {
        "title": "Move the racks",
        "kind": "housekeeping",
        "whose_move": "client",
        "due_on": "2026-12-24",
        "detail": "",
        "internal_note": "",
        "photos": SimpleUploadedFile("a.jpg", make_photo_bytes(), "image/jpeg"),
    }
    client.post(reverse("compliance:action_new", args=[site.pk]), sent)
    action = CorrectiveAction.objects.get()
    assert (action.title, action.shown_by.get().moment) == ("Move the racks", "before")

    changed = {**sent, "title": "Move the racks and mop"}
    del changed["photos"]
    client.post(reverse("compliance:action_change", args=[action.pk]), changed)
    action.refresh_from_db()
    assert action.title == "Move the racks and mop"

    client.post(
        reverse("compliance:action_withdraw", args=[action.pk]), {"reason": "Done long ago"}
    )
    action.refresh_from_db()
    assert (action.state, action.withdrawn_reason) == (State.WITHDRAWN, "Done long ago")


@pytest.mark.parametrize("step", ["change", "price", "withdraw"])
@pytest.mark.parametrize("role", ["manager"])
def test_the_offices_steps_are_not_the_clients(client, priced, role, step, request):
    client.force_login(request.getfixturevalue(role))

    assert client.get(reverse(f"compliance:action_{step}", args=[priced.pk])).status_code == 403


# --- done and checked ---------------------------------------------------------------------------


def test_the_client_reports_done_with_a_photo(client, site, office, manager):
    action = make_action(site=site, by=office, **HOUSEKEEPING)
    client.force_login(manager)
    photo = SimpleUploadedFile("after.jpg", make_photo_bytes(), "image/jpeg")

    client.post(
        reverse("compliance:action_done", args=[action.pk]), {"note": "Moved.", "photos": photo}
    )

    action.refresh_from_db()
    assert (action.state, action.shown_by.get().moment) == (State.DONE, "after")


@pytest.mark.parametrize(
    ("photo", "words"),
    [
        pytest.param(None, "Add a photo", id="none"),
        pytest.param(b"<svg onload=alert(1)>", "picture", id="no picture"),
    ],
)
def test_a_report_without_a_usable_photo_keeps_what_was_typed(
    client, site, office, manager, photo, words
):
    action = make_action(site=site, by=office, **HOUSEKEEPING)
    client.force_login(manager)
    sent = {"note": "Moved all five racks."}
    if photo:
        sent["photos"] = SimpleUploadedFile("after.jpg", photo, "image/jpeg")

    answer = client.post(reverse("compliance:action_done", args=[action.pk]), sent)

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Moved all five racks." in page
    assert words in page


def test_a_check_is_signed_and_work_is_sent_back(client, site, office, manager):
    action = make_action("done", site=site, by=office, manager=manager)
    client.force_login(office)

    wrong = client.post(
        reverse("compliance:action_check", args=[action.pk]), {"note": "", "password": "no"}
    )
    assert wrong.status_code == 422

    empty = client.post(reverse("compliance:action_reopen", args=[action.pk]), {"back-reason": ""})
    assert empty.status_code == 422

    client.post(
        reverse("compliance:action_reopen", args=[action.pk]), {"back-reason": "Still a gap."}
    )
    action.refresh_from_db()
    assert action.state == State.DECIDED


def test_a_step_out_of_turn_is_a_page_that_says_why(client, priced, office):
    client.force_login(office)

    answer = client.post(
        reverse("compliance:action_done", args=[priced.pk]), {"note": "Done already."}
    )

    assert answer.status_code == 409
    assert "waits for the client" in answer.content.decode().replace("&#x27;", "'")
