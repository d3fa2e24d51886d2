"""Who is told what of actions: worked out from the record, once, and never to the doer.

How long is waited is by the rule of the contract; there is no published norm for it.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from accounts.models import Branch, Letter, Notice, NoticeWish
from compliance.models import CorrectiveAction
from compliance.queries.telling import reminders_due, untold
from compliance.services.actions import change_action, price_action, reopen_action, report_done
from compliance.services.asking import ask_colleague
from compliance.services.messages import write_message
from compliance.services.telling import tell_people
from sites.models import Contract
from sites.services.grants import limit_manager
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.compliance import CARRY_ON, LASTING, decide, make_action
from tests.builders.sites import make_site
from tests.builders.visits import make_contract
from visits.models import WhoseMove

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
LONG_AGO = NOW - timedelta(days=400)
State = CorrectiveAction.State


@pytest.fixture
def site():
    return make_site(name="The Gannet")


@pytest.fixture
def petra(site):
    return make_manager(client=site.client, name="Petra Lund", here_since=LONG_AGO)


@pytest.fixture
def olu(site):
    return make_manager(client=site.client, name="Olu Bright", here_since=LONG_AGO)


@pytest.fixture
def desk(db):
    return make_office(name="Nora Tull", here_since=LONG_AGO)


@pytest.fixture
def put(site, desk):
    """Puts options to the client, an hour ago unless said."""

    def put_to_client(at=NOW - HOUR, asked=None, **facts):
        action = make_action(State.PRICED, site=site, by=desk, at=at, **facts)
        if asked:
            action.asked = asked
            action.save()
        return action

    return put_to_client


def told(kind: str) -> set[str]:
    return set(Notice.objects.filter(kind=kind).values_list("person__name", flat=True))


# --- what happened ------------------------------------------------------------------------------


def test_options_are_told_to_every_manager_of_the_site_and_by_letter_at_once(put, petra, olu):
    make_manager(name="Stranger", here_since=LONG_AGO)
    action = put(title="Seal the pipe chase")

    tell_people(now=NOW)

    assert told("decision_asked") == {"Petra Lund", "Olu Bright"}
    notice = Notice.objects.get(person=petra)
    assert notice.subject == "Waits for your decision: Seal the pipe chase, The Gannet"
    assert notice.path == action.get_absolute_url()
    assert set(Letter.objects.values_list("to", flat=True)) == {petra.email, olu.email}


def test_where_one_manager_is_asked_by_name_only_that_one_is_told(put, petra, olu):
    put(asked=petra)

    tell_people(now=NOW)

    assert told("decision_asked") == {"Petra Lund"}


def test_another_manager_who_is_asked_by_name_later_is_told_then(put, petra, olu):
    action = put(asked=petra)
    tell_people(now=NOW)
    action.asked = olu
    action.save()

    assert tell_people(now=NOW) == 1
    assert told("decision_asked") == {"Petra Lund", "Olu Bright"}


def test_who_is_asked_by_a_colleague_is_told_by_whom_once_and_the_office_is_not(put, petra, olu):
    action = put(at=NOW - 2 * HOUR)
    tell_people(now=NOW - 2 * HOUR)
    ask_colleague(action.pk, by=petra, person_id=olu.pk, note="You know the ovens.", at=NOW - HOUR)

    assert (tell_people(now=NOW), tell_people(now=NOW)) == (1, 0)
    latest = Notice.objects.order_by("-at").first()
    assert (latest.person, latest.kind) == (olu, "decision_asked")
    assert latest.subject.startswith("Petra Lund asks you to decide: ")
    assert "You know the ovens." in latest.text
    assert told("question") == set()


def test_who_is_asked_by_a_colleague_before_anybody_was_told_hears_of_it_once(put, petra, olu):
    action = put(at=NOW - 2 * HOUR)
    ask_colleague(action.pk, by=petra, person_id=olu.pk, at=NOW - HOUR)

    tell_people(now=NOW)

    assert Notice.objects.get(kind="decision_asked").person == olu

    decide(action, by=petra, at=NOW)
    tell_people(now=NOW + HOUR)
    assert "Olu Bright" in told("decided")


def test_if_the_one_who_is_asked_has_left_all_others_are(put, petra, olu):
    put(asked=petra)
    petra.is_active = False
    petra.save()

    tell_people(now=NOW)

    assert told("decision_asked") == {"Olu Bright"}


def test_new_options_are_told_anew_and_the_same_ones_are_not(put, petra, desk):
    action = put()
    assert (tell_people(now=NOW), tell_people(now=NOW)) == (1, 0)

    options = [LASTING, CARRY_ON, *(2 * [CARRY_ON])]
    price_action(action.pk, by=desk, options=options, at=NOW + HOUR)

    assert (tell_people(now=NOW + 2 * HOUR), tell_people(now=NOW + 2 * HOUR)) == (1, 0)


def test_changed_words_are_told_anew_however_long_ago_they_were_priced(put, petra, desk):
    action = put(at=NOW - 60 * DAY)
    assert tell_people(now=NOW) == 0, "older than fourteen days"

    with time_machine.travel(NOW - HOUR):
        change_action(
            action.pk,
            by=desk,
            kind=action.kind,
            title="Seal both pipe chases",
            detail="",
            whose_move=WhoseMove.US,
            due_on=action.due_on,
            internal_note="",
        )

    assert tell_people(now=NOW) == 1
    assert "Seal both pipe chases" in Notice.objects.get().subject


def test_a_note_of_the_offices_own_is_told_to_nobody(put, petra, desk):
    action = put(at=NOW - 60 * DAY)
    with time_machine.travel(NOW - HOUR):
        change_action(
            action.pk,
            by=desk,
            kind=action.kind,
            title=action.title,
            detail=action.detail,
            whose_move=WhoseMove.US,
            due_on=action.due_on,
            internal_note="Wants it cheaper",
        )

    assert tell_people(now=NOW) == 0


def test_a_question_goes_to_the_office_of_the_sites_branch(put, site, petra, desk):
    harbour, upriver = (Branch.objects.create(name=name) for name in ("Harbour", "Upriver"))
    site.branch = harbour
    site.save()
    for name, branch in (("Harbour desk", harbour), ("Upriver desk", upriver)):
        make_office(name=name, here_since=LONG_AGO).branches.set([branch])
    action = put()

    write_message(action.pk, by=petra, text="Which chase?", at=NOW - HOUR)
    tell_people(now=NOW)

    assert told("question") == {"Nora Tull", "Harbour desk"}
    notice = Notice.objects.filter(kind="question").first()
    assert (notice.text, notice.path) == ("Which chase?", f"{action.get_absolute_url()}#asked")


def test_an_answer_goes_to_whoever_asked_and_to_nobody_else(put, petra, olu, desk):
    action = put()
    write_message(action.pk, by=olu, text="Which chase?", at=NOW - 2 * HOUR)
    write_message(action.pk, by=desk, text="The one by the ovens.", at=NOW - HOUR)

    tell_people(now=NOW)

    assert told("answer") == {"Olu Bright"}


@pytest.mark.parametrize("by_name", [True, False])
def test_what_the_office_writes_unasked_goes_to_whoever_is_to_decide(
    put, petra, olu, desk, by_name
):
    action = put(asked=petra if by_name else None)
    write_message(action.pk, by=desk, text="The mason is free in April.", at=NOW - HOUR)

    tell_people(now=NOW)

    assert told("answer") == ({"Petra Lund"} if by_name else {"Petra Lund", "Olu Bright"})


def test_a_decision_is_told_to_the_office_and_to_who_need_not_decide_any_more(put, petra, olu):
    action = put()
    tell_people(now=NOW)
    decide(action, by=petra, declined=True, reason="Too dear.", at=NOW)

    tell_people(now=NOW + HOUR)

    assert told("decided") == {"Nora Tull", "Olu Bright"}
    assert Notice.objects.filter(kind="decided").first().text == "Too dear."


def test_a_decision_that_came_before_anybody_was_asked_is_the_offices_news_only(put, petra, olu):
    decide(put(), by=petra, at=NOW)

    tell_people(now=NOW + HOUR)

    assert (told("decided"), told("decision_asked")) == ({"Nora Tull"}, set())


def test_what_the_client_reports_done_is_told_to_the_office(site, petra, olu, desk):
    action = make_action(
        site=site, by=desk, kind="access", whose_move=WhoseMove.CLIENT, at=NOW - DAY
    )
    report_done(action.pk, by=petra, note="The key is at the bar.", at=NOW - HOUR)

    tell_people(now=NOW)

    assert told("reported_done") == {"Nora Tull"}
    assert "to be checked" in Notice.objects.get(kind="reported_done").subject


def test_what_we_report_done_is_told_to_the_managers_and_so_is_the_check(site, petra, desk):
    make_action(State.DONE, site=site, by=desk, manager=petra, at=NOW - HOUR)
    make_action(State.CHECKED, site=site, by=desk, manager=petra, at=NOW - HOUR)

    tell_people(now=NOW)

    assert (told("reported_done"), told("checked")) == ({"Petra Lund"}, {"Petra Lund"})
    assert Notice.objects.filter(kind="reported_done").count() == 1


def test_work_sent_back_and_reported_again_is_told_again(site, petra, desk):
    action = make_action(
        site=site, by=desk, kind="access", whose_move=WhoseMove.CLIENT, at=NOW - DAY
    )
    for hours in (3, 1):
        report_done(action.pk, by=petra, note="The key is there.", at=NOW - hours * HOUR)
        assert tell_people(now=NOW - hours * HOUR) >= 1
        reopen_action(action.pk, by=desk, reason="It is not.")

    assert Notice.objects.filter(kind="reported_done", person=desk).count() == 2


def test_what_is_newly_the_clients_move_is_told_to_its_managers(site, petra, desk):
    make_action(site=site, by=desk, kind="housekeeping", whose_move=WhoseMove.CLIENT, at=NOW - HOUR)
    make_action(site=site, by=desk, kind="housekeeping", whose_move=WhoseMove.US, at=NOW - HOUR)

    tell_people(now=NOW)

    assert Notice.objects.get().kind == "your_move"
    assert told("your_move") == {"Petra Lund"}


# --- to whom not --------------------------------------------------------------------------------


def test_nobody_is_told_of_what_they_did_themselves(put, petra, desk):
    action = put()
    write_message(action.pk, by=petra, text="Which chase?", at=NOW - HOUR)
    write_message(action.pk, by=desk, text="The one by the ovens.", at=NOW - HOUR)
    decide(action, by=petra, at=NOW)

    tell_people(now=NOW)

    assert set(Notice.objects.filter(person=petra).values_list("kind", flat=True)) == {"answer"}
    assert set(Notice.objects.filter(person=desk).values_list("kind", flat=True)) == {
        "question",
        "decided",
    }


@pytest.mark.parametrize(
    ("ago", "number"), [(timedelta(days=13, hours=23), 1), (timedelta(days=14), 0)]
)
def test_what_is_older_than_fourteen_days_is_told_to_nobody(put, petra, ago, number):
    """So that switching it on floods nobody. The days are ours."""
    put(at=NOW - ago - timedelta(minutes=1))

    assert tell_people(now=NOW) == number


def test_who_came_after_it_happened_has_not_joined_or_was_stopped_is_not_told(put, site):
    make_manager(client=site.client, here_since=NOW)
    make_manager(client=site.client, here_since=LONG_AGO, password=None)
    make_manager(client=site.client, here_since=LONG_AGO, is_active=False)
    elsewhere = make_manager(client=site.client, here_since=LONG_AGO)
    limit_manager(elsewhere.pk, by=make_office(), sites=[make_site(client=site.client)])
    make_technician(here_since=LONG_AGO)
    put()

    assert tell_people(now=NOW) == 0


# --- by the rule of the contract ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "every", "days", "number"),
    [
        pytest.param(None, None, 90, 0, id="no rule"),
        pytest.param(7, None, 6, 0, id="the day before"),
        pytest.param(7, None, 7, 1, id="on the day"),
        pytest.param(7, None, 90, 1, id="once only"),
        pytest.param(7, 3, 9, 1, id="not yet the second"),
        pytest.param(7, 3, 10, 2, id="the second"),
        pytest.param(7, 3, 13, 3, id="the third"),
        pytest.param(1, 1, 365, 365, id="every day of a year"),
    ],
)
def test_how_many_reminders_are_due(first, every, days, number):
    """By counting on the fingers; common practice, no source."""
    assert reminders_due(Contract(remind_days=first, remind_every_days=every), days) == number


def sweep_daily(days: int, start=NOW) -> None:
    for number in range(days + 1):
        for _ in range(2):
            tell_people(now=start + number * DAY)


def test_without_a_rule_nobody_is_reminded(put, site, petra, desk):
    make_contract(site, by=desk)
    put()

    sweep_daily(40)

    assert set(Notice.objects.values_list("kind", flat=True)) == {"decision_asked"}


def test_reminders_go_to_who_was_asked_each_once(put, site, petra, olu, desk):
    make_contract(site, by=desk, remind_days=7, remind_every_days=5)
    put(asked=petra)

    sweep_daily(17)

    assert told("decision_reminder") == {"Petra Lund"}
    assert Notice.objects.filter(kind="decision_reminder").count() == 3, "after 7, 12 and 17 days"
    assert (
        Notice.objects.filter(kind="decision_reminder").first().text
        == "You were asked on Tue 10 Mar 2026. Due by Tue 24 Mar 2026."
    )


def test_a_decision_ends_the_reminders(put, site, petra, desk):
    make_contract(site, by=desk, remind_days=7, remind_every_days=1)
    action = put()
    sweep_daily(8)
    decide(action, by=petra, at=NOW + 8 * DAY + HOUR)

    sweep_daily(20)

    assert Notice.objects.filter(kind="decision_reminder").count() == 2


def test_new_options_begin_the_count_anew(put, site, petra, desk):
    make_contract(site, by=desk, remind_days=7)
    action = put()
    sweep_daily(6)
    price_action(action.pk, by=desk, options=[LASTING, CARRY_ON, CARRY_ON], at=NOW + 6 * DAY)

    sweep_daily(12)
    assert told("decision_reminder") == set()

    sweep_daily(13)
    assert told("decision_reminder") == {"Petra Lund"}


def test_a_sweep_that_slept_makes_up_for_no_more_than_one_reminder(put, site, petra, desk):
    make_contract(site, by=desk, remind_days=7, remind_every_days=7)
    put()

    tell_people(now=NOW + 60 * DAY)
    tell_people(now=NOW + 60 * DAY)

    assert Notice.objects.filter(kind="decision_reminder").count() == 1


@pytest.mark.parametrize(
    ("zone", "before", "due"),
    [
        pytest.param("Europe/London", (2026, 4, 4, 6, 59), (2026, 4, 4, 7, 0), id="summer time"),
        pytest.param("Pacific/Auckland", (2026, 4, 3, 18, 59), (2026, 4, 3, 19, 0), id="Auckland"),
        pytest.param("America/New_York", (2026, 4, 4, 11, 59), (2026, 4, 4, 12, 0), id="New York"),
    ],
)
def test_days_are_the_sites_own_and_reminders_come_at_eight_by_its_clock(
    put, site, petra, desk, zone, before, due
):
    """Asked at 12:30 UTC on 28 March, of which Auckland makes 29 March; clocks change after it.

    In 2026 they do so on 29 March in Europe, on 8 March in New York and on 5 April in Auckland
    (IANA time zone database).
    """
    site.time_zone = zone
    site.save()
    days = 6 if zone == "Pacific/Auckland" else 7
    make_contract(site, by=desk, remind_days=days)
    put(at=datetime(2026, 3, 28, 12, 30, tzinfo=UTC))

    tell_people(now=datetime(*before, tzinfo=UTC))
    assert told("decision_reminder") == set()

    tell_people(now=datetime(*due, tzinfo=UTC))
    assert told("decision_reminder") == {"Petra Lund"}


def test_what_stays_undecided_is_passed_on_once_with_who_was_asked_when(
    put, site, petra, olu, desk
):
    make_contract(site, by=desk, escalate_days=14, escalate_to=olu)
    put(asked=petra, title="Seal the pipe chase")

    sweep_daily(13)
    assert told("decision_stuck") == set()
    sweep_daily(20)

    notice = Notice.objects.get(kind="decision_stuck")
    assert notice.person == olu
    assert notice.subject == "Not decided after 14 days: Seal the pipe chase, The Gannet"
    assert notice.text == "Asked on Tue 10 Mar 2026: Petra Lund. Due by Tue 24 Mar 2026."
    assert Letter.objects.filter(to=olu.email).count() == 1


def test_an_office_person_can_be_the_one_it_is_passed_on_to(put, site, petra, desk):
    make_contract(site, by=desk, escalate_days=14, escalate_to=desk)
    put()

    sweep_daily(14)

    assert told("decision_stuck") == {"Nora Tull"}


def test_where_that_person_has_left_it_is_passed_on_to_the_office(put, site, petra, olu, desk):
    make_contract(site, by=desk, escalate_days=14, escalate_to=olu)
    put()
    olu.is_active = False
    olu.save()

    sweep_daily(14)

    assert told("decision_stuck") == {"Nora Tull"}


def test_the_rule_is_that_of_the_newest_contract_in_force(put, site, petra, desk):
    make_contract(site, by=desk, remind_days=1, ends_on=date(2026, 3, 10))
    make_contract(site, by=desk, remind_days=2, starts_on=date(2026, 1, 5))
    make_contract(site, by=desk, remind_days=3, starts_on=date(2026, 1, 6))
    make_contract(site, by=desk, starts_on=date(2026, 1, 7))
    make_contract(site, by=desk, remind_days=1, starts_on=date(2027, 1, 1))
    put()

    sweep_daily(2)
    assert told("decision_reminder") == set()
    sweep_daily(3)
    assert told("decision_reminder") == {"Petra Lund"}


def test_a_rule_that_comes_late_brings_back_what_has_waited_for_long(put, site, petra, desk):
    put(at=NOW - 90 * DAY)
    assert tell_people(now=NOW) == 0

    make_contract(site, by=desk, remind_days=7, escalate_days=14, escalate_to=desk)
    tell_people(now=NOW)

    assert (told("decision_reminder"), told("decision_stuck")) == ({"Petra Lund"}, {"Nora Tull"})


# --- how and at what cost -----------------------------------------------------------------------


def test_it_comes_as_the_person_wishes(put, petra, olu):
    NoticeWish.objects.create(person=petra, kind="decision_asked", how="list")
    put()

    tell_people(now=NOW)

    assert dict(Notice.objects.values_list("person__name", "how")) == {
        "Petra Lund": "list",
        "Olu Bright": "at_once",
    }
    assert Letter.objects.get().to == olu.email


@pytest.mark.parametrize("number", [2, 20])
def test_what_is_untold_takes_as_many_queries_however_much_there_is(
    number, django_assert_num_queries, desk
):
    for _ in range(number):
        site = make_site()
        manager = make_manager(client=site.client, here_since=LONG_AGO)
        make_contract(site, by=desk, remind_days=1, escalate_days=2, escalate_to=desk)
        action = make_action(State.PRICED, site=site, by=desk, at=NOW - 3 * DAY)
        write_message(action.pk, by=manager, text="Which chase?", at=NOW - 2 * DAY)
        decide(
            make_action(State.PRICED, site=site, by=desk, at=NOW - 3 * DAY),
            by=manager,
            at=NOW - DAY,
        )

    with django_assert_num_queries(12):
        found = untold(NOW)

    assert len(found) == 5 * number


def test_nothing_to_tell_is_cheap_to_find_out(django_assert_num_queries):
    with django_assert_num_queries(4):
        assert untold(NOW) == []
