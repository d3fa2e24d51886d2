"""Proofing to its checked end: gaps in millimetres, visits until it is done, checks in time."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from accounts.refusals import Unusable, WrongState
from compliance.models import ActionPhoto, CorrectiveAction, Flag, PastWorkVisit, SealedGap
from compliance.package_parts import open_actions
from compliance.queries.actions import story_of
from compliance.queries.sheets import sheet_of
from compliance.services.actions import (
    check_action,
    price_action,
    raise_actions_of_visit,
    reopen_action,
    report_done,
)
from compliance.services.flags import reconcile_flags
from compliance.services.gaps import GapGiven
from compliance.services.ordered_work import plan_ordered_work
from tests.builders.accounts import PASSWORD, make_manager
from tests.builders.compliance import (
    CARRY_ON,
    LASTING,
    OPTIONS,
    decide,
    make_action,
    make_closed_visit,
    make_photo,
    make_photo_bytes,
)
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import make_visit
from visits.models import Finding, Visit, WhoseMove
from visits.services.booking import book_visit, call_off_visit, miss_visit
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, FindingGiven, start_visit

pytestmark = pytest.mark.django_db

State = CorrectiveAction.State
DOOR = GapGiven("Under the dock door", "Bristle strip", Decimal(20), Decimal(5), "rat")
DAY = date(2026, 3, 10)


@pytest.fixture
def site():
    return make_site(zones=1)


@pytest.fixture
def manager(site):
    return make_manager(client=site.client)


def ordered_against(pest, *, site, office, manager, whose_move=WhoseMove.US):
    """Proofing that the client ordered after a finding of this pest."""
    visit = make_closed_visit(
        site,
        due_on=DAY,
        findings=[
            FindingGiven(
                zone_id=make_zone(site).pk,
                kind=Finding.Kind.ENTRY_POINT,
                pest=pest,
                remedy_kind="proofing",
                remedy="Close it",
                whose_move=whose_move,
            )
        ],
    )
    raise_actions_of_visit(visit.pk)
    action = CorrectiveAction.objects.get(visit=visit)
    price_action(action.pk, by=office, options=OPTIONS)
    decide(action, by=manager)
    return CorrectiveAction.objects.get(pk=action.pk)


@pytest.fixture
def against_mice(site, office, manager):
    return ordered_against("house-mouse", site=site, office=office, manager=manager)


def uploaded():
    return SimpleUploadedFile("photo.png", make_photo_bytes(), "image/png")


def report(action, *gaps, by, **told):
    given = {"note": "Closed.", "photo_ids": [make_photo(action.site, by=by).pk], **told}
    return report_done(action.pk, by=by, gaps=gaps, **given)


# --- gaps ---------------------------------------------------------------------------------------


def test_closed_gaps_stand_with_the_work_and_on_the_trail(site, office, manager, trail):
    action = ordered_against("brown-rat", site=site, office=office, manager=manager)
    report(action, DOOR, by=office)

    gap = SealedGap.objects.get(action=action)
    assert (gap.attempt, gap.before_mm, gap.after_mm, gap.risk) == (1, 20, 5, "rat")
    assert str(gap) == "Under the dock door: 20 mm, now 5 mm, Bristle strip"
    assert trail()[-1] == "action.done"


@pytest.mark.parametrize(
    ("pest", "risk", "after", "fits"),
    [
        # Limits: tests/outside/test_gaps.py, which names their source.
        ("house-mouse", "mouse", "6", True),
        ("house-mouse", "mouse", "6.1", False),
        ("house-mouse", "mouse", "6.04", False),
        ("brown-rat", "rat", "12", True),
        ("brown-rat", "rat", "12.1", False),
        ("house-mouse", "rat", "12", False),
        ("house-mouse", "other", "7", False),
        ("brown-rat", "mouse", "7", False),
        ("german-cockroach", "other", "15", True),
        ("german-cockroach", "mouse", "7", False),
    ],
)
def test_no_gap_is_left_that_its_pest_or_the_one_found_passes(
    pest, risk, after, fits, site, office, manager
):
    action = ordered_against(pest, site=site, office=office, manager=manager)
    gap = replace(DOOR, risk=risk, after_mm=Decimal(after))

    if fits:
        assert report(action, gap, by=office).state == State.DONE
        return
    with pytest.raises(Unusable, match=r"Under the dock door: .* is left\. Where (mice|rats)"):
        report(action, gap, by=office)
    action.refresh_from_db()
    assert (action.state, SealedGap.objects.count()) == (State.DECIDED, 0)


def test_our_proofing_against_rodents_names_its_gaps(against_mice, office):
    with pytest.raises(Unusable, match="which gaps were closed"):
        report(against_mice, by=office)

    assert report(against_mice, replace(DOOR, risk="mouse"), by=office).state == State.DONE


def test_proofing_against_others_and_that_of_the_client_may_name_none(site, office, manager):
    ours = ordered_against("german-cockroach", site=site, office=office, manager=manager)
    theirs = ordered_against(
        "house-mouse", site=site, office=office, manager=manager, whose_move=WhoseMove.CLIENT
    )

    assert report(ours, by=office).state == State.DONE
    assert report(theirs, by=manager).state == State.DONE


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"place": " "}, "where it is"),
        ({"material": ""}, "what closes it"),
        ({"after_mm": Decimal(21)}, "no more than before"),
        ({"after_mm": Decimal(-1)}, "no more than before"),
        ({"before_mm": Decimal(0), "after_mm": Decimal(0)}, "more than nothing"),
        ({"risk": "wolf"}, "whom it is to keep out"),
        ({"place": "x" * 161}, "160"),
    ],
)
def test_half_a_gap_is_refused(changed, sentence, site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager)

    with pytest.raises(Unusable, match=sentence):
        report(action, replace(DOOR, **changed), by=office)

    assert SealedGap.objects.count() == 0


@pytest.mark.parametrize(
    "widths", [{"risk": "mouse", "after_mm": 7}, {"risk": "rat", "after_mm": 13}, {"after_mm": 30}]
)
def test_the_database_keeps_out_what_no_service_would_write(widths, site, office, manager):
    action = make_action("done", site=site, by=office, manager=manager)
    facts = {"place": "Door", "material": "Strip", "before_mm": 20, "risk": "other", **widths}

    with pytest.raises(IntegrityError), transaction.atomic():
        SealedGap.objects.create(action=action, attempt=1, position=1, **facts)


def test_the_same_report_twice_is_one_and_one_with_other_gaps_is_refused(against_mice, office):
    mouse = replace(DOOR, risk="mouse")
    photo = make_photo(against_mice.site, by=office).pk
    for _ in range(2):
        report(against_mice, mouse, by=office, photo_ids=[photo])
    assert SealedGap.objects.count() == 1

    with pytest.raises(WrongState, match="nothing to report"):
        report(against_mice, replace(mouse, after_mm=Decimal(2)), by=office, photo_ids=[photo])


def test_work_done_again_keeps_the_gaps_of_both_reports_and_wants_a_new_photo(
    against_mice, office, technician
):
    mouse = replace(DOOR, risk="mouse")
    photo = make_photo(against_mice.site, by=office).pk
    report(against_mice, mouse, by=office, photo_ids=[photo])
    reopen_action(against_mice.pk, by=technician, reason="The strip hangs loose.")

    with pytest.raises(Unusable, match="new photo"):
        report(against_mice, mouse, by=office, photo_ids=[photo])
    report(against_mice, replace(mouse, after_mm=Decimal(1)), by=office)

    kept = SealedGap.objects.order_by("attempt").values_list("attempt", "after_mm")
    assert list(kept) == [(1, 5), (2, 1)]


# --- pages --------------------------------------------------------------------------------------


def rows(*filled, **told):
    """A posted report with these gaps in its first rows; the rest are left as they were shown."""
    posted = {"gap-TOTAL_FORMS": 12, "gap-INITIAL_FORMS": 0, "note": "Closed.", **told}
    for number in range(12):
        gap = filled[number] if number < len(filled) else {"risk": "mouse"}
        posted |= {f"gap-{number}-{name}": value for name, value in gap.items()}
    return posted


HOLE = {
    "place": "Pipe behind the range",
    "material": "Mesh and mortar",
    "before_mm": "35",
    "after_mm": "0",
    "risk": "mouse",
}


def test_the_report_page_takes_gaps_and_photos_from_before_and_after(
    client, against_mice, technician
):
    today = timezone.now().date()
    make_visit(against_mice.site, state="booked", technician=technician, due_on=today)
    client.force_login(technician)
    address = reverse("compliance:action_done", args=[against_mice.pk])

    page = client.get(address).content.decode()
    assert "Where mice are a risk, as here, none may stay wider than 6 mm." in page
    assert "Seal the pipe chase behind the ovens" in page
    answer = client.post(
        address,
        rows(
            HOLE,
            HOLE | {"place": "Door"},
            photos=uploaded(),
            start_photos=uploaded(),
        ),
    )

    assert answer.status_code == 302
    assert [gap.place for gap in SealedGap.objects.order_by("position")] == [HOLE["place"], "Door"]
    moments = ActionPhoto.objects.filter(action=against_mice).values_list("moment", flat=True)
    assert sorted(moments) == ["after", "start"]
    shown = client.get(against_mice.get_absolute_url()).content.decode()
    assert "Mesh and mortar" in shown
    assert "35 mm" in shown


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"after_mm": "7"}, "7 mm is left. Where mice are a risk"),
        ({"after_mm": "wide"}, "Enter a number"),
        ({"material": ""}, "This field is required"),
    ],
)
def test_a_gap_that_cannot_be_reported_says_why_and_keeps_what_was_typed(
    client, against_mice, office, wrong, says
):
    client.force_login(office)
    address = reverse("compliance:action_done", args=[against_mice.pk])

    answer = client.post(address, rows(HOLE | wrong, photos=uploaded()))

    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    assert HOLE["place"] in page
    assert SealedGap.objects.count() == 0


# --- visits until it is done --------------------------------------------------------------------


def made(visit, *, technician, office, at=None):
    """The planned visit, made and closed."""
    at = at or timezone.now()
    book_visit(visit.pk, by=office, technician=technician, day=visit.site.day_of(at))
    start_visit(visit.pk, by=technician, at=at)
    return close_visit(
        visit.pk,
        by=technician,
        at=at + timedelta(minutes=1),
        received_at=at + timedelta(minutes=1),
        contact=ContactGiven(no_signature_reason="Nobody of the premises was there."),
    )


def work_visit_of(action) -> Visit:
    visit = CorrectiveAction.objects.get(pk=action.pk).work_visit
    assert visit is not None
    return visit


def test_work_sent_back_after_its_visit_gets_another_visit_and_keeps_the_first(
    site, office, technician, manager
):
    action = make_action("decided", site=site, by=office, manager=manager)
    plan_ordered_work()
    began: datetime = timezone.now()
    first = made(work_visit_of(action), technician=technician, office=office, at=began)
    assert plan_ordered_work() == 0
    report(action, by=technician, at=began + timedelta(minutes=2))
    reopen_action(action.pk, by=office, reason="One side is open.", at=began + timedelta(minutes=3))

    assert (plan_ordered_work(), plan_ordered_work()) == (1, 0)

    second = work_visit_of(action)
    assert second != first
    assert list(PastWorkVisit.objects.values_list("visit", flat=True)) == [first.pk]
    assert "Lasting work: Seal the pipe chase" in second.office_note
    assert "Sent back: One side is open." in second.office_note


def test_work_sent_back_before_its_visit_is_over_keeps_that_visit(
    site, office, technician, manager
):
    action = make_action("decided", site=site, by=office, manager=manager)
    plan_ordered_work()
    report(action, by=office)
    reopen_action(action.pk, by=office, reason="One side is open.")

    assert plan_ordered_work() == 0


@pytest.mark.parametrize("verb", [call_off_visit, miss_visit])
def test_a_visit_called_off_or_missed_makes_place_for_another(verb, site, office, manager):
    action = make_action("decided", site=site, by=office, manager=manager)
    plan_ordered_work()
    first = work_visit_of(action)
    verb(first.pk, by=office, reason="The fitter is ill.")

    assert (plan_ordered_work(), plan_ordered_work()) == (1, 0)

    assert work_visit_of(action) != first
    assert PastWorkVisit.objects.get(action=action).visit == first


@pytest.mark.parametrize(
    ("kind", "whose_move", "planned"),
    [
        ("repair", WhoseMove.US, 1),
        ("housekeeping", WhoseMove.US, 1),
        ("advice", WhoseMove.US, 0),
        ("repair", WhoseMove.CLIENT, 0),
        ("repair", WhoseMove.THIRD_PARTY, 0),
    ],
)
def test_ordered_work_on_the_premises_gets_a_visit_where_it_is_ours(
    kind, whose_move, planned, site, office, manager
):
    action = make_action(site=site, by=office, kind=kind, whose_move=whose_move)
    price_action(action.pk, by=office, options=[LASTING, CARRY_ON])
    decide(action, by=manager)

    assert plan_ordered_work() == planned


def test_the_page_of_the_visit_shows_its_job_and_leads_to_the_report(
    client, site, office, technician, manager
):
    action = make_action("decided", site=site, by=office, manager=manager)
    plan_ordered_work()
    visit = work_visit_of(action)
    report_address = reverse("compliance:action_done", args=[action.pk])
    client.force_login(office)
    assert "Seal the pipe chase behind the ovens" in client.get(visit.get_absolute_url()).text

    made(visit, technician=technician, office=office)
    client.force_login(technician)
    assert report_address in client.get(visit.get_absolute_url()).text
    report(action, by=technician)
    assert report_address not in client.get(visit.get_absolute_url()).text

    client.force_login(manager)
    accept_address = reverse("compliance:action_accept", args=[action.pk])
    assert accept_address in client.get(visit.get_absolute_url()).text


# --- checks that are due ------------------------------------------------------------------------


def test_finished_work_is_named_to_the_technician_and_on_the_next_round(
    client, site, office, technician, manager
):
    action = make_action("done", site=site, by=office, manager=manager)
    today = timezone.now().date()
    visit = make_visit(site, state="booked", kind="routine", technician=technician, due_on=today)
    told = open_actions(technician, {site.pk})[site.pk]
    assert [one["state_words"] for one in told] == ["Done: check it on this visit"]

    check_address = reverse("compliance:action_check", args=[action.pk])
    for person in (office, technician):
        client.force_login(person)
        assert check_address in client.get(visit.get_absolute_url()).text
        assert "1 finished job to check" in client.get(site.get_absolute_url()).text
    client.force_login(manager)
    assert "to check on the next round" not in client.get(site.get_absolute_url()).text

    check_action(action.pk, by=technician, password=PASSWORD)
    assert check_address not in client.get(visit.get_absolute_url()).text


@pytest.mark.parametrize(
    ("kind", "day", "missed"),
    [
        ("routine", date(2026, 3, 20), True),
        ("survey", date(2026, 3, 20), True),
        ("follow_up", date(2026, 3, 20), False),
        ("routine", date(2026, 3, 9), False),
    ],
    ids=["a round", "a survey", "not a round", "before the work"],
)
def test_a_round_that_passes_finished_work_unchecked_is_flagged(
    kind, day, missed, site, office, manager
):
    at = datetime(2026, 3, 10, 12, tzinfo=site.zone_info)
    action = make_action("done", site=site, by=office, manager=manager, at=at)
    make_closed_visit(site, due_on=day, kind=kind)
    now = datetime(2026, 3, 21, 12, tzinfo=site.zone_info)
    flags = Flag.objects.filter(kind=Flag.Kind.CHECK_MISSED).exclude(state="cleared")

    reconcile_flags(now=now)

    assert flags.count() == missed
    if missed:
        assert "not checked on the round of" in flags.get().sentence
        check_action(action.pk, by=office, password=PASSWORD)
        reconcile_flags(now=now)
        assert flags.count() == 0


def test_the_same_check_twice_is_one_and_another_one_is_refused(site, office, manager):
    action = make_action("done", site=site, by=office, manager=manager)
    for _ in range(2):
        check_action(action.pk, by=office, note="Whole.", password=PASSWORD)

    with pytest.raises(WrongState, match="checked already"):
        check_action(action.pk, by=office, note="Loose at one end.", password=PASSWORD)

    action.refresh_from_db()
    assert (action.check_note, action.sign_offs.filter(meaning="checked").count()) == ("Whole.", 1)


def test_a_report_changed_after_it_was_signed_shows_as_altered(against_mice, office):
    report(against_mice, replace(DOOR, risk="mouse"), by=office)
    check_action(against_mice.pk, by=office, password=PASSWORD)

    def trouble():
        action = CorrectiveAction.objects.get(pk=against_mice.pk)
        return [one.trouble for one in story_of(sheet_of(action)).signed if not one.decision]

    assert trouble() == [""]
    SealedGap.objects.update(after_mm=1)
    assert trouble() == ["The report has been changed since this was signed."]
