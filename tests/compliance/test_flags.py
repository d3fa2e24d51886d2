"""Flags come with their causes, stay while these last, and clear themselves."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse

from accounts.models import Branch, Company, Letter, TrailEntry
from accounts.refusals import NotAllowed, WrongState
from compliance.models import Flag
from compliance.queries.causes import causes_at
from compliance.services import flags
from compliance.services.actions import report_done
from compliance.services.flags import Reconciled, acknowledge_flag, reconcile_flags
from sites.models import Document, Monitor
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.compliance import decide, make_action, make_closed_visit
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import (
    local,
    look_everywhere,
    make_competence,
    make_competence_kind,
    make_product,
    make_visit,
    treatment_given,
)
from visits.models import NotReached, ParkedOperation, Treatment, Visit, WhoseMove
from visits.services.amendments import amend_visit
from visits.services.baiting import review_baiting
from visits.services.booking import book_visit, call_off_visit, take_call_out
from visits.services.closing import close_visit
from visits.services.follow_ups import accept_follow_up
from visits.services.follow_ups_proposed import propose_follow_ups_of
from visits.services.recording import (
    ContactGiven,
    NotReachedGiven,
    ReadingGiven,
    apply_treatment,
    record_readings,
    start_visit,
)
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import add_trap_sender, end_trap_sender

pytestmark = pytest.mark.django_db

Kind = Flag.Kind
NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
TODAY = date(2026, 3, 10)
NOBODY = ContactGiven(no_signature_reason="Nobody was there.")


def at_day(days: int) -> datetime:
    return NOON + timedelta(days=days)


def standing(kind: str = "") -> list[str]:
    """The kinds of flags that are not cleared, or those of one kind."""
    flags = Flag.objects.exclude(state=Flag.State.CLEARED)
    kinds = (flags.filter(kind=kind) if kind else flags).values_list("kind", flat=True)
    return sorted(kinds)


def only_flag() -> Flag:
    return Flag.objects.exclude(state=Flag.State.CLEARED).get()


# --- each cause, while it lasts and once it is gone ---------------------------------------------


def test_a_visit_is_late_the_day_after_its_window_and_not_before():
    visit = make_visit(due_on=TODAY - timedelta(days=3), state=Visit.State.BOOKED)
    assert visit.closes_on == TODAY

    reconcile_flags(now=NOON)
    assert standing() == []

    reconcile_flags(now=at_day(1))
    flag = only_flag()
    assert (flag.kind, flag.site, flag.late_since) == (
        Kind.VISIT_OVERDUE,
        visit.site,
        TODAY + timedelta(days=1),
    )
    assert flag.link == visit.get_absolute_url()
    assert str(visit.site) in flag.sentence

    call_off_visit(visit.pk, by=make_office(), reason="The kitchen is being rebuilt.")
    assert reconcile_flags(now=at_day(1)) == Reconciled(raised=0, cleared=1)
    assert Flag.objects.get().cleared_at == at_day(1)


@pytest.mark.parametrize(
    ("zone", "late"),
    [("Pacific/Auckland", True), ("Europe/London", False), ("America/Los_Angeles", False)],
)
def test_late_is_by_the_sites_own_calendar(zone, late):
    """At noon on 10 March in London it is already the 11th in Auckland."""
    make_visit(
        make_site(time_zone=zone), due_on=TODAY - timedelta(days=3), state=Visit.State.BOOKED
    )

    reconcile_flags(now=NOON)

    assert standing() == ([Kind.VISIT_OVERDUE] if late else [])


def test_a_visit_due_within_a_week_wants_somebody():
    visit = make_visit(due_on=TODAY + timedelta(days=11))
    assert visit.opens_on == TODAY + timedelta(days=8)
    reconcile_flags(now=NOON)
    assert standing() == []

    reconcile_flags(now=at_day(1))
    assert standing() == [Kind.VISIT_UNBOOKED]

    book_visit(visit.pk, by=make_office(), technician=make_technician(), day=visit.due_on)
    reconcile_flags(now=at_day(1))
    assert standing() == []


def test_a_call_out_is_late_to_the_minute_until_it_is_begun():
    visit = take_call_out(
        make_site().pk, by=make_office(), reported_at=NOON, problem="Rat seen", reported_by="Chef"
    )
    technician = make_technician()
    book_visit(visit.pk, by=make_office(), technician=technician, day=visit.due_on)

    reconcile_flags(now=visit.respond_by)
    assert standing() == []
    reconcile_flags(now=visit.respond_by + timedelta(minutes=1))
    assert standing() == [Kind.CALL_OUT_LATE]

    start_visit(visit.pk, by=technician, at=visit.respond_by + timedelta(minutes=5))
    reconcile_flags(now=visit.respond_by + timedelta(minutes=6))
    assert standing() == []


def test_an_action_past_its_day_is_late_until_it_is_done():
    action = make_action(at=NOON, kind="access", whose_move=WhoseMove.CLIENT, title="Key")
    assert action.due_on == TODAY + timedelta(days=14)

    reconcile_flags(now=at_day(14))
    assert standing() == []
    reconcile_flags(now=at_day(15))
    assert standing() == [Kind.ACTION_OVERDUE]
    assert "the client's move" in only_flag().sentence

    report_done(action.pk, by=make_office(), note="Here it is.")
    reconcile_flags(now=at_day(15))
    assert standing() == []


def test_work_that_was_turned_down_is_not_late():
    make_action("decided", at=NOON, declined=True)

    reconcile_flags(now=at_day(40))

    assert standing() == []


def test_a_decision_is_stale_after_two_weeks_until_it_is_made():
    action = make_action("priced", at=NOON, due_on=TODAY + timedelta(days=90))

    reconcile_flags(now=at_day(14))
    assert standing() == []
    reconcile_flags(now=at_day(15))
    assert standing() == [Kind.DECISION_STALE]

    decide(action, by=make_manager(client=action.site.client))
    reconcile_flags(now=at_day(15))
    assert standing() == []


def read(monitor, day, condition="sound"):
    """A round on which just this monitor was read, or none."""
    visit = make_visit(
        monitor.site, due_on=day, state=Visit.State.UNDER_WAY, kind=Visit.Kind.ROUTINE
    )
    record_readings(
        visit.pk,
        by=visit.technician,
        at=local(visit, 9, 30),
        readings=[ReadingGiven(monitor_id=monitor.pk, condition=condition)],
    )
    close_visit(visit.pk, by=visit.technician, at=local(visit, 10), contact=NOBODY)


def test_a_monitor_missed_on_two_rounds_running_is_unread():
    monitor = make_monitor(make_zone(make_site()))
    for month in (1, 2):
        make_closed_visit(monitor.site, due_on=date(2026, month, 20))
        reconcile_flags(now=datetime(2026, month, 21, tzinfo=UTC))
        assert standing(Kind.MONITOR_UNREAD) == [Kind.MONITOR_UNREAD] * (month - 1)

    read(monitor, date(2026, 3, 2))
    reconcile_flags(now=NOON)
    assert standing(Kind.MONITOR_UNREAD) == []


def test_monitors_of_one_zone_make_one_flag():
    zone = make_zone(make_site())
    make_monitor(zone), make_monitor(zone)
    make_monitor(make_zone(zone.site))
    for month in (1, 2):
        make_closed_visit(zone.site, due_on=date(2026, month, 20))

    reconcile_flags(now=NOON)

    flags = Flag.objects.filter(kind=Kind.MONITOR_UNREAD)
    assert sorted(flag.sentence.split(" not read")[0] for flag in flags) == [
        "Monitor 3 was",
        "Monitors 1, 2 were",
    ]


def test_a_blocked_monitor_was_not_read():
    monitor = make_monitor(make_zone(make_site()))
    for day in (date(2026, 1, 20), date(2026, 2, 20)):
        read(monitor, day, condition="blocked")

    reconcile_flags(now=NOON)

    assert standing(Kind.MONITOR_UNREAD) == [Kind.MONITOR_UNREAD]


def test_a_competence_is_flagged_for_sixty_days_until_it_is_renewed(technician):
    kind = make_competence_kind()
    make_competence(technician, kind, valid_until=TODAY + timedelta(days=61))
    reconcile_flags(now=NOON)
    assert standing() == []

    reconcile_flags(now=at_day(1))
    assert standing() == [Kind.COMPETENCE_EXPIRING]

    make_competence(technician, kind, valid_until=TODAY + timedelta(days=400))
    reconcile_flags(now=at_day(1))
    assert standing() == []


def test_a_lapsed_competence_is_flagged_only_while_work_is_booked(technician):
    make_competence(technician, make_competence_kind(), valid_until=TODAY - timedelta(days=1))
    reconcile_flags(now=NOON)
    assert standing(Kind.COMPETENCE_EXPIRING) == []

    make_visit(due_on=TODAY + timedelta(days=2), state=Visit.State.BOOKED, technician=technician)
    reconcile_flags(now=NOON)
    flag = Flag.objects.get(kind=Kind.COMPETENCE_EXPIRING)
    assert "lapsed on" in flag.sentence
    assert "1 visit is booked after that" in flag.sentence


@pytest.mark.parametrize("home", ["site", "client", "company"])
def test_a_paper_is_flagged_for_sixty_days_until_a_newer_one_replaces_it(home, office):
    site = make_site()
    homes = {"site": {"site": site}, "client": {"client": site.client}, "company": {}}
    facts = {
        "kind": Document.Kind.INSURANCE,
        "title": "Liability",
        "file": "x.pdf",
        "mime": "application/pdf",
        "size": 1,
        "sha256": "0" * 64,
        "uploaded_by": office,
        **homes[home],
    }
    paper = Document.objects.create(**facts, expires_on=TODAY + timedelta(days=61))
    reconcile_flags(now=NOON)
    assert standing() == []

    reconcile_flags(now=at_day(1))
    assert standing() == [Kind.DOCUMENT_EXPIRING]

    Document.objects.create(**facts, replaces=paper, expires_on=TODAY + timedelta(days=400))
    reconcile_flags(now=at_day(1))
    assert standing() == []


def test_a_place_not_reached_twice_running_is_flagged_until_it_is_reached():
    zone = make_zone(make_site())
    place = zone.checkpoints.first()
    shut = NotReachedGiven(
        reason=NotReached.Reason.LOCKED,
        whose_move=WhoseMove.THIRD_PARTY,
        checkpoint_id=place.pk,
    )
    make_closed_visit(zone.site, due_on=date(2026, 1, 10), not_reached=[shut])
    reconcile_flags(now=NOON)
    assert standing(Kind.NOT_REACHED_AGAIN) == []

    make_closed_visit(zone.site, due_on=date(2026, 2, 10), not_reached=[shut])
    reconcile_flags(now=NOON)
    flag = Flag.objects.get(kind=Kind.NOT_REACHED_AGAIN)
    assert place.label in flag.sentence
    assert "2 visits running" in flag.sentence

    make_closed_visit(zone.site, due_on=date(2026, 3, 9), looks=[place])
    reconcile_flags(now=NOON)
    assert standing(Kind.NOT_REACHED_AGAIN) == []


def test_a_record_to_place_is_flagged_until_it_is_settled(technician):
    parked = ParkedOperation.objects.create(
        operation_id="01a2105b-4a43-7e7f-a050-8b46c84ce484",
        person=technician,
        sent={},
        content_hash="0" * 64,
        reason="The visit was called off.",
        code="called_off",
    )
    reconcile_flags(now=NOON)
    assert standing() == [Kind.TO_PLACE]

    ParkedOperation.objects.filter(pk=parked.pk).update(settled_at=NOON)
    reconcile_flags(now=NOON)
    assert standing() == []


def test_what_is_placed_together_is_one_flag():
    technician = make_technician()
    for number in range(9):
        ParkedOperation.objects.create(
            operation_id=uuid4(),
            person=technician,
            sent={"visit": "01a2105b-4a43-7e7f-a050-8b46c84ce484"},
            content_hash=str(number) * 64,
            reason="Loaded from a file that was saved on the phone.",
            code="by_file" if number < 7 else "changed_elsewhere",
        )

    reconcile_flags(now=NOON)

    sentences = sorted(Flag.objects.values_list("sentence", flat=True))
    assert len(sentences) == 3
    assert sentences[0].startswith(f"7 records of {technician} wait to be placed: Loaded")


def test_a_visit_begun_a_day_ago_and_not_closed_is_flagged():
    visit = make_visit(due_on=TODAY, state=Visit.State.UNDER_WAY)
    reconcile_flags(now=visit.started_at + timedelta(hours=24))
    assert standing() == []

    reconcile_flags(now=visit.started_at + timedelta(hours=25))
    assert standing() == [Kind.RECORD_LATE]
    assert "never closed" in only_flag().sentence

    look_everywhere(visit)
    close_visit(
        visit.pk,
        by=visit.technician,
        at=visit.started_at + timedelta(hours=1),
        received_at=visit.started_at + timedelta(hours=25),
        contact=NOBODY,
    )
    reconcile_flags(now=visit.started_at + timedelta(hours=25))
    assert standing() == []


def test_a_closing_that_came_two_days_late_is_flagged_for_two_weeks():
    visit = make_visit(due_on=TODAY, state=Visit.State.UNDER_WAY)
    closed_at = local(visit, 10)
    close_visit(
        visit.pk,
        by=visit.technician,
        at=closed_at,
        received_at=closed_at + timedelta(hours=49),
        contact=NOBODY,
    )

    reconcile_flags(now=closed_at + timedelta(days=13))
    assert standing() == [Kind.RECORD_LATE]
    assert "reached us only on" in only_flag().sentence

    reconcile_flags(now=closed_at + timedelta(days=15))
    assert standing() == []


def test_a_treatment_without_a_licence_is_flagged():
    site = make_site()
    zone = make_zone(site)
    visit = make_visit(site, due_on=TODAY, state=Visit.State.UNDER_WAY)
    given = treatment_given(zone, make_product(), started_at=local(visit, 9, 15))
    apply_treatment(visit.pk, by=visit.technician, at=local(visit, 9, 30), treatment=given)
    close_visit(visit.pk, by=visit.technician, at=local(visit, 10), contact=NOBODY)
    assert Treatment.objects.get().applicator_licence == ""
    Visit.objects.filter(pk=visit.pk).update(received_at=local(visit, 10))

    reconcile_flags(now=NOON)

    assert standing() == [Kind.RECORD_LATE]
    assert "without the applicator's licence" in only_flag().sentence


@pytest.fixture
def treated() -> Visit:
    """A closed visit of somebody with a licence; its treatment's record leaves nothing unsaid."""
    Company.objects.create(name="Fennimore & Tull", address="4 Quay Street")
    site = make_site()
    technician = make_technician()
    make_competence(technician, make_competence_kind(), valid_from=date(2020, 1, 1), number="P-1")
    visit = make_visit(site, due_on=TODAY, state=Visit.State.UNDER_WAY, technician=technician)
    given = treatment_given(make_zone(site), make_product(), started_at=local(visit, 9, 15))
    apply_treatment(visit.pk, by=technician, at=local(visit, 9, 30), treatment=given)
    close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 10),
        received_at=local(visit, 10),
        contact=NOBODY,
    )
    return visit


def test_a_whole_record_made_in_time_is_no_reason_for_a_flag(treated):
    reconcile_flags(now=NOON)

    assert Kind.RECORD_LATE not in standing()


def test_a_record_that_leaves_something_unsaid_is_flagged_until_it_is_amended(treated, office):
    unsaid = ["batch_number", "equipment", "area_size", "precautions_given"]
    treated.treatments.update(is_incomplete=True, unsaid=unsaid)

    reconcile_flags(now=NOON)
    sentence = Flag.objects.get(kind=Kind.RECORD_LATE).sentence
    amend_visit(
        treated.pk, by=office, about="Batch", correction="L2611, gun, 12 points.", reason="Asked."
    )
    reconcile_flags(now=NOON)

    assert "without its batch or lot, equipment, size of what was treated and 1 more" in sentence
    assert Kind.RECORD_LATE not in standing()


def test_a_record_made_after_its_deadline_is_flagged_for_two_weeks(treated):
    treated.treatments.update(made_late=True)

    reconcile_flags(now=NOON)
    assert "made after its deadline" in Flag.objects.get(kind=Kind.RECORD_LATE).sentence

    reconcile_flags(now=NOON + timedelta(days=15))
    assert Kind.RECORD_LATE not in standing()


def test_a_letter_that_was_given_up_is_flagged_for_two_weeks():
    Letter.objects.create(
        key="k", to="a@example.org", subject="S", text="T", next_attempt_at=NOON, given_up_at=NOON
    )

    reconcile_flags(now=at_day(13))
    assert standing() == [Kind.JOB_FAILED]
    reconcile_flags(now=at_day(15))
    assert standing() == []


# --- keeping in step ----------------------------------------------------------------------------


@pytest.fixture
def late_visit():
    return make_visit(due_on=TODAY - timedelta(days=10), state=Visit.State.BOOKED)


def test_reconciling_twice_changes_nothing_more(late_visit, trail):
    assert reconcile_flags(now=NOON) == Reconciled(raised=1, cleared=0)
    told = trail()

    assert reconcile_flags(now=NOON) == Reconciled(raised=0, cleared=0)
    assert trail() == told
    entry = TrailEntry.objects.get(verb="flags.reconciled")
    assert entry.facts == {"raised": {"visit_overdue": 1}, "cleared": {}}


def test_a_flag_that_another_run_raised_meanwhile_is_not_doubled(late_visit):
    """Both runs saw no flag and both write one; the database settles whose row stands."""
    for _ in range(2):
        cause = next(iter(causes_at(NOON)))
        flags._write([flags._flag_of(cause)], [], [], NOON)

    assert standing() == [Kind.VISIT_OVERDUE]


def test_the_words_follow_the_cause(late_visit):
    reconcile_flags(now=NOON)
    before = only_flag()
    late_visit.site.name = "The renamed kitchen"
    late_visit.site.save()

    reconcile_flags(now=NOON)

    after = only_flag()
    assert (after.pk, "The renamed kitchen" in after.sentence) == (before.pk, True)


def test_an_acknowledged_flag_stays_until_its_cause_is_gone_and_may_come_again(late_visit, office):
    reconcile_flags(now=NOON)
    acknowledge_flag(only_flag().pk, by=office, note="Van is in repair.")

    reconcile_flags(now=at_day(1))
    assert only_flag().state == Flag.State.ACKNOWLEDGED

    Visit.objects.filter(pk=late_visit.pk).update(closes_on=date(2026, 12, 31))
    reconcile_flags(now=at_day(1))
    assert standing() == []

    Visit.objects.filter(pk=late_visit.pk).update(closes_on=late_visit.closes_on)
    reconcile_flags(now=at_day(2))
    assert only_flag().state == Flag.State.OPEN
    assert Flag.objects.count() == 2


def test_acknowledging_is_the_offices_and_once(late_visit, office, technician):
    reconcile_flags(now=NOON)
    flag = only_flag()

    for person in (technician, make_manager()):
        with pytest.raises(NotAllowed):
            acknowledge_flag(flag.pk, by=person, note="Seen.")
    acknowledge_flag(flag.pk, by=office, note="Seen.")
    acknowledge_flag(flag.pk, by=office, note="Seen. ")
    with pytest.raises(WrongState, match="has acknowledged"):
        acknowledge_flag(flag.pk, by=make_office(), note="Me too.")

    Flag.objects.filter(pk=flag.pk).update(state="cleared", cleared_at=NOON)
    with pytest.raises(WrongState, match="cleared itself"):
        acknowledge_flag(flag.pk, by=office, note="Late.")


@pytest.mark.parametrize("number", [2, 10])
def test_reconciling_costs_the_same_for_few_and_many(number, django_assert_num_queries):
    """Flags, zones, company and nineteen causes; then one insert, one update and the trail."""
    technician = make_technician()
    for index in range(number):
        make_visit(due_on=TODAY - timedelta(days=10), state=Visit.State.BOOKED)
        make_action(at=NOON - timedelta(days=40), kind="advice", whose_move=WhoseMove.CLIENT)
        make_monitor(make_zone(make_site()))
        make_competence(
            technician, make_competence_kind(), valid_until=TODAY + timedelta(days=index)
        )

    with django_assert_num_queries(34):
        assert reconcile_flags(now=NOON).raised == number * 3


# --- electronic traps ---------------------------------------------------------------------------


def test_traps_that_fell_silent_are_one_flag_a_site_until_they_are_heard_of_or_let_go():
    monitor = make_monitor(make_zone(make_site()), number=7, placed_on=date(2026, 1, 1))
    other = make_monitor(monitor.zone, number=8, placed_on=date(2026, 1, 1))
    office = make_office()
    sender = add_trap_sender(monitor.site_id, by=office, name="Attic gateway").sender

    def heard(*monitors: Monitor, day: date) -> None:
        told = [
            {
                "id": f"{one.number}-{day}",
                "monitor": str(one.pk),
                "from": f"{day - timedelta(days=1)}T00:00:00+00:00",
                "at": f"{day}T00:00:00+00:00",
                "counts": {},
            }
            for one in monitors
        ]
        now = NOON + (day - TODAY)
        answers = take_reports(sender.pk, told, now=now)
        assert [one for one in answers if one["verdict"] != "applied"] == []

    heard(monitor, other, day=TODAY)
    reconcile_flags(now=at_day(2))
    assert standing(Kind.TRAP_SILENT) == []

    reconcile_flags(now=at_day(4))
    flag = only_flag()
    assert flag.sentence.endswith(
        "2 electronic traps have been silent since Tue 10 Mar 2026 or later: number 7, 8."
    )
    assert flag.link == reverse("visits:traps", args=[monitor.site_id])

    heard(monitor, day=TODAY + timedelta(days=4))
    reconcile_flags(now=at_day(5))
    assert only_flag().sentence.endswith(
        "1 electronic trap has been silent since Tue 10 Mar 2026 or later: number 8."
    )

    end_trap_sender(sender.pk, by=office)
    reconcile_flags(now=at_day(5))
    assert standing(Kind.TRAP_SILENT) == []


# --- treatments, bait and follow-ups ------------------------------------------------------------


def applied(*, zone=None, product=None, day=TODAY, close=True, **facts) -> Visit:
    """A visit on a day on which something was applied; closed by ten."""
    zone = zone or make_zone(make_site(), kind="kitchen")
    visit = make_visit(zone.site, state=Visit.State.UNDER_WAY, due_on=day)
    at = local(visit, 9, 30)
    apply_treatment(
        visit.pk,
        by=visit.technician,
        at=at,
        treatment=treatment_given(zone, product or make_product(), started_at=at, **facts),
    )
    if close:
        close_visit(
            visit.pk,
            by=visit.technician,
            at=local(visit, 10),
            received_at=local(visit, 10, 5),
            contact=NOBODY,
        )
    return visit


def test_a_treatment_against_its_label_stands_until_the_office_has_answered():
    visit = applied(product=make_product(methods=["spot"]))
    applied(product=make_product(methods=["gel"]))

    reconcile_flags(now=NOON)
    flag = Flag.objects.get(kind=Kind.AGAINST_LABEL)
    assert (flag.site, flag.late_since) == (visit.site, TODAY)
    assert "The label does not name this method." in flag.sentence
    assert flag.link.startswith(visit.get_absolute_url())

    reconcile_flags(now=at_day(400))
    assert standing(Kind.AGAINST_LABEL) == [Kind.AGAINST_LABEL]

    acknowledge_flag(flag.pk, by=make_office(), note="Talked to the technician.")
    reconcile_flags(now=at_day(400))
    assert standing(Kind.AGAINST_LABEL) == []
    reconcile_flags(now=at_day(401))
    assert Flag.objects.filter(kind=Kind.AGAINST_LABEL).count() == 1


@pytest.mark.parametrize(("days", "stays"), [(29, True), (31, False)])
def test_an_answered_one_stays_in_sight_for_thirty_days_and_never_comes_back(days, stays):
    applied(product=make_product(methods=["spot"]))
    reconcile_flags(now=NOON)
    flag = Flag.objects.get(kind=Kind.AGAINST_LABEL)
    acknowledge_flag(flag.pk, by=make_office(), note="Talked to the technician.")

    reconcile_flags(now=at_day(days))

    flag.refresh_from_db()
    assert (flag.state == Flag.State.ACKNOWLEDGED) is stays
    reconcile_flags(now=at_day(days))
    assert Flag.objects.filter(kind=Kind.AGAINST_LABEL).count() == 1


def test_a_warning_alone_and_a_visit_under_way_are_no_cause():
    product = make_product(methods=["spot"])
    applied(product=product, close=False)
    applied(product=make_product(methods=["gel"]))
    assert Treatment.objects.exclude(against_label=[]).exists()

    reconcile_flags(now=NOON)

    assert standing(Kind.AGAINST_LABEL) == []


def test_several_treatments_of_a_visit_against_the_label_are_one_flag():
    zone = make_zone(make_site(), kind="kitchen")
    visit = applied(zone=zone, product=make_product(methods=["spot"]), close=False)
    apply_treatment(
        visit.pk,
        by=visit.technician,
        at=local(visit, 9, 45),
        treatment=treatment_given(
            zone, make_product(methods=["spot"]), started_at=local(visit, 9, 45)
        ),
    )
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=NOBODY,
    )

    reconcile_flags(now=NOON)

    flag = Flag.objects.get(kind=Kind.AGAINST_LABEL)
    assert "2 treatments of that visit" in flag.sentence


def test_bait_past_its_review_day_is_late_until_it_is_reviewed_or_lifted():
    zone = make_zone(make_site(), kind="waste")
    station = make_monitor(zone, kind="bait_station")
    applied(
        zone=zone,
        product=make_product(formulation="bait_block"),
        monitor_id=station.pk,
        method="bait_station",
        target="brown-rat",
        amount=Decimal(40),
    )
    reconcile_flags(now=at_day(35))
    assert standing(Kind.BAIT_REVIEW) == []

    reconcile_flags(now=at_day(36))
    flag = Flag.objects.get(kind=Kind.BAIT_REVIEW)
    assert (flag.site, flag.late_since) == (zone.site, TODAY + timedelta(days=36))
    assert "nobody has said why it goes on" in flag.sentence

    review_baiting(
        zone.site_id, by=make_office(), outcome="go_on", cause="Fresh burrows.", at=at_day(36)
    )
    reconcile_flags(now=at_day(37))
    assert standing(Kind.BAIT_REVIEW) == []
    reconcile_flags(now=at_day(72))
    assert standing(Kind.BAIT_REVIEW) == [Kind.BAIT_REVIEW]


def test_a_follow_up_is_flagged_from_three_days_before_it_until_it_is_answered():
    visit = applied(product=make_product())
    propose_follow_ups_of(visit.pk)
    one = visit.follow_ups.get()
    near = (one.first_on - TODAY).days - 3

    reconcile_flags(now=at_day(near - 1))
    assert standing(Kind.FOLLOW_UP_OPEN) == []

    reconcile_flags(now=at_day(near))
    flag = Flag.objects.get(kind=Kind.FOLLOW_UP_OPEN)
    assert (flag.site, flag.late_since) == (visit.site, one.first_on)

    accept_follow_up(one.pk, by=make_office(), now=at_day(near))
    reconcile_flags(now=at_day(near))
    assert standing(Kind.FOLLOW_UP_OPEN) == []


# --- pages --------------------------------------------------------------------------------------


def test_the_office_sees_late_things_first_and_acknowledges_one(client, office, late_visit):
    make_visit(due_on=TODAY - timedelta(days=20), state=Visit.State.BOOKED)
    reconcile_flags(now=NOON)
    client.force_login(office)

    page = client.get(reverse("compliance:flags"))
    days = [flag.late_since for flag in page.context["page"]]
    assert days == sorted(days)

    flag = page.context["page"][0]
    answer = client.post(
        reverse("compliance:flag_acknowledge", args=[flag.pk]), {"note": "On it."}, follow=True
    )
    assert "On it." in answer.content.decode()
    flag.refresh_from_db()
    assert (flag.state, flag.acknowledged_by) == (Flag.State.ACKNOWLEDGED, office)


def test_flags_are_narrowed_by_group_kind_and_state(client, office, late_visit):
    make_action("priced", at=NOON, due_on=date(2026, 12, 1))
    reconcile_flags(now=at_day(15))
    client.force_login(office)

    def kinds(**query):
        page = client.get(reverse("compliance:flags"), query)
        return sorted(flag.kind for flag in page.context["page"])

    assert kinds() == [Kind.DECISION_STALE, Kind.VISIT_OVERDUE]
    assert kinds(group="late") == [Kind.VISIT_OVERDUE]
    assert kinds(kind="decision_stale") == [Kind.DECISION_STALE]
    assert kinds(state="cleared") == []
    assert kinds(group="nonsense") == [Kind.DECISION_STALE, Kind.VISIT_OVERDUE]


@pytest.mark.parametrize("role", ["technician", "manager", "auditor"])
@pytest.mark.parametrize("page", ["flags", "flags_csv", "today"])
def test_flags_are_the_offices_own(client, role, page, request):
    client.force_login(request.getfixturevalue(role))

    assert client.get(reverse(f"compliance:{page}")).status_code == 403


def test_a_branchs_office_does_not_see_another_branchs_flag(client):
    north, south = Branch.objects.create(name="North"), Branch.objects.create(name="South")
    make_visit(make_site(branch=north), due_on=TODAY - timedelta(days=10), state=Visit.State.BOOKED)
    reconcile_flags(now=NOON)
    person = make_office()
    person.branches.add(south)
    client.force_login(person)

    address = reverse("compliance:flag_acknowledge", args=[only_flag().pk])

    assert list(client.get(reverse("compliance:flags")).context["page"]) == []
    assert client.get(address).status_code == 404
    assert client.post(address, {"note": "Mine."}).status_code == 404
