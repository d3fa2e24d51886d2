"""Thresholds are set and ended; what reaches them is found once, followed up and answered."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.models import Branch, TrailEntry
from accounts.refusals import NotAllowed, Unusable, WrongState
from compliance import tasks
from compliance.models import ActionThreshold, Breach, CorrectiveAction
from compliance.receivers import keep_usual_thresholds
from compliance.services.actions import withdraw_action
from compliance.services.thresholds import (
    ThresholdGiven,
    answer_breach,
    change_threshold,
    end_threshold,
    find_breaches,
    set_threshold,
)
from sites.models import Monitor, Site
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.thresholds import catch, count_month, make_threshold, pest
from tests.builders.visits import local, look_everywhere, make_contract, make_visit
from visits.models import Reading, Visit
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, ReadingGiven, record_readings

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
TODAY = date(2026, 3, 10)
EVER = date(2020, 1, 1)
State = Breach.State


@pytest.fixture(autouse=True)
def _no_usual_thresholds():
    """Only what a test sets is there."""
    ActionThreshold.objects.all().delete()


@pytest.fixture
def boss():
    return make_office(is_administrator=True)


@pytest.fixture
def trap():
    site = make_site()
    Site.objects.filter(pk=site.pk).update(branch=Branch.objects.create(name="Here"))
    return make_monitor(make_zone(site))


def given(**fields) -> ThresholdGiven:
    facts = {"name": "Any mouse", "per": "reading", "least": Decimal(1), "group": "rodent"}
    return ThresholdGiven(**{**facts, **fields})


def told(verb: str) -> int:
    return TrailEntry.objects.filter(verb=verb).count()


# --- set and ended ------------------------------------------------------------------------------


def test_the_office_sets_a_threshold_for_a_site_and_the_trail_says_so(trap):
    office = make_office()
    made = set_threshold(given(site_id=trap.site_id, zone_id=trap.zone_id), by=office, at=NOON)

    assert (made.begins_on, made.ended_on, made.set_by) == (TODAY, None, office)
    entry = TrailEntry.objects.get(verb="threshold.set")
    assert entry.stream.key == f"site:{trap.site_id}"
    assert entry.facts["name"] == "Any mouse"


def test_a_threshold_of_the_whole_company_is_an_administrators(boss):
    with pytest.raises(NotAllowed, match="administrator"):
        set_threshold(given(), by=make_office())
    made = set_threshold(given(), by=boss)
    with pytest.raises(NotAllowed, match="administrator"):
        end_threshold(made.pk, by=make_office())
    with pytest.raises(NotAllowed, match="administrator"):
        change_threshold(made.pk, given(), by=make_office())


@pytest.mark.parametrize("make", [make_technician, make_manager])
def test_nobody_else_sets_thresholds(make, trap):
    with pytest.raises(NotAllowed):
        set_threshold(given(site_id=trap.site_id), by=make())
    with pytest.raises(NotAllowed):
        set_threshold(given(), by=make())


def test_the_office_of_another_branch_sets_none_here(trap):
    planner = make_office()
    planner.branches.set([Branch.objects.create(name="Elsewhere")])
    with pytest.raises(Site.DoesNotExist):
        set_threshold(given(site_id=trap.site_id), by=planner)
    made = set_threshold(given(site_id=trap.site_id), by=make_office())
    with pytest.raises(ActionThreshold.DoesNotExist):
        end_threshold(made.pk, by=planner)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"name": "  "}, "name"),
        ({"name": "x" * 121}, "name"),
        ({"least": Decimal(0)}, "least"),
        ({"least": Decimal("1.5")}, "least"),
        ({"least": Decimal("0.005"), "per": "zone_month"}, "least"),
        ({"least": Decimal(1_000_000)}, "least"),
        ({"group": "dragons"}, "group"),
        ({"zone_kinds": ["dungeon"]}, "zone_kinds"),
    ],
)
def test_what_no_threshold_can_be_is_refused(boss, fields, field):
    with pytest.raises(Unusable) as refused:
        set_threshold(given(**fields), by=boss)
    assert refused.value.facts["field"] == field


def test_one_pest_or_a_group_and_one_zone_or_kinds_of_zones(boss, trap):
    with pytest.raises(Unusable, match="not both"):
        set_threshold(given(pest_id=pest().pk), by=boss)
    where = {"site_id": trap.site_id, "zone_id": trap.zone_id, "zone_kinds": ["kitchen"]}
    with pytest.raises(Unusable, match="not both"):
        set_threshold(given(**where), by=boss)


def test_zone_and_contract_are_the_sites_own(boss, trap):
    other = make_monitor(make_zone(make_site()))
    contract = make_contract(other.site)
    with pytest.raises(Unusable, match="zone belongs to another site"):
        set_threshold(given(site_id=trap.site_id, zone_id=other.zone_id), by=boss)
    with pytest.raises(Unusable, match="contract belongs to another site"):
        set_threshold(given(site_id=trap.site_id, contract_id=contract.pk), by=boss)
    with pytest.raises(Unusable, match="zone belongs to another site"):
        set_threshold(given(zone_id=trap.zone_id), by=boss)


def test_a_threshold_begins_no_earlier_than_readings_are_looked_at(boss):
    far = TODAY - timedelta(days=62)
    assert set_threshold(given(), by=boss, begins_on=far, at=NOON).begins_on == far
    with pytest.raises(Unusable, match="62 days"):
        set_threshold(given(), by=boss, begins_on=far - timedelta(days=1), at=NOON)


def test_ended_twice_is_ended_once(boss):
    made = set_threshold(given(), by=boss, at=NOON)
    assert end_threshold(made.pk, by=boss, at=NOON).ended_on == TODAY
    later = end_threshold(made.pk, by=boss, at=NOON + timedelta(days=3))
    assert later.ended_on == TODAY
    assert told("threshold.ended") == 1


def test_one_that_has_not_begun_is_ended_on_its_first_day(boss):
    soon = TODAY + timedelta(days=5)
    made = set_threshold(given(), by=boss, begins_on=soon, at=NOON)
    assert end_threshold(made.pk, by=boss, at=NOON).ended_on == soon


def test_a_change_is_an_end_and_another_in_its_place(boss, trap):
    old = set_threshold(given(site_id=trap.site_id), by=boss, at=NOON - timedelta(days=9))
    new = change_threshold(old.pk, given(site_id=trap.site_id, least=Decimal(3)), by=boss, at=NOON)

    old.refresh_from_db()
    assert (old.least, old.ended_on) == (1, TODAY)
    assert (new.least, new.begins_on) == (3, TODAY)
    assert TrailEntry.objects.filter(verb="threshold.set").last().facts["instead_of"] == str(old.pk)
    with pytest.raises(WrongState, match="ended"):
        change_threshold(old.pk, given(site_id=trap.site_id), by=boss, at=NOON)


def test_a_change_that_cannot_be_leaves_the_old_one(boss, trap):
    old = set_threshold(given(site_id=trap.site_id), by=boss, at=NOON)
    with pytest.raises(Unusable):
        change_threshold(old.pk, given(site_id=trap.site_id, name=""), by=boss, at=NOON)
    with pytest.raises(Unusable, match="stays where"):
        change_threshold(old.pk, given(), by=boss, at=NOON)
    old.refresh_from_db()
    assert old.ended_on is None


def test_the_usual_ones_come_once_and_do_not_come_back(boss):
    class Sender:
        label = "compliance"

    keep_usual_thresholds(Sender, using="default")
    names = ["Any German cockroach in a food room", "Any rodent"]
    assert sorted(one.name for one in ActionThreshold.objects.all()) == names
    cockroach = ActionThreshold.objects.get(name=names[0])
    assert cockroach.pest.slug == "german-cockroach"
    assert {"kitchen", "cellar"} <= set(cockroach.zone_kinds)

    end_threshold(cockroach.pk, by=boss)
    keep_usual_thresholds(Sender, using="default")
    assert ActionThreshold.objects.count() == 2


# --- found --------------------------------------------------------------------------------------


def test_a_reading_that_reaches_a_threshold_is_a_breach_once(trap):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY, 2)

    assert find_breaches(now=NOON) == 1
    breach = Breach.objects.get()
    assert (breach.site, breach.zone, breach.monitor) == (trap.site, trap.zone, trap)
    assert (breach.count, breach.half_days, breach.on) == (2, 60, TODAY)
    assert breach.words == ("Action threshold reached, Any mouse: 2 at one reading; to act from 1.")
    assert find_breaches(now=NOON) == 0
    assert (Breach.objects.count(), told("breach.reached")) == (1, 1)


def test_the_command_and_the_task_find_them(trap, capsys, time_machine):
    time_machine.move_to(NOON)
    make_threshold(begins_on=EVER)
    catch(trap, TODAY)
    call_command("find_breaches")
    assert capsys.readouterr().out == "1 thresholds newly reached.\n"
    assert tasks.find_breaches() == 0


@pytest.mark.parametrize("condition", [Reading.Condition.MISSING, Reading.Condition.BLOCKED])
def test_where_nobody_could_count_nothing_is_reached(trap, condition):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY, condition=condition)
    assert find_breaches(now=NOON) == 0


def test_a_full_trap_and_unknown_days_reach_it_too(trap):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY, condition=Reading.Condition.FULL, stood_days=None)
    assert find_breaches(now=NOON) == 1
    breach = Breach.objects.get()
    assert (breach.at_least, breach.half_days) == (True, 0)
    assert "at least 1" in breach.words


def test_a_sprung_trap_stood_for_half_its_days():
    trap = make_monitor(make_zone(make_site()), kind=Monitor.Kind.SNAP_TRAP)
    make_threshold(begins_on=EVER)
    catch(trap, TODAY)
    find_breaches(now=NOON)
    assert Breach.objects.get().half_days == 30


@pytest.mark.parametrize(("days", "found"), [(62, 1), (63, 0)])
def test_what_is_older_than_62_days_is_history(trap, days, found):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY - timedelta(days=days))
    assert find_breaches(now=NOON) == found


@pytest.mark.parametrize(("day", "found"), [(1, 1), (0, 0)])
def test_it_holds_from_its_first_day(trap, day, found):
    make_threshold(begins_on=TODAY)
    catch(trap, TODAY - timedelta(days=1) + timedelta(days=day))
    assert find_breaches(now=NOON) == found


def test_a_visit_counts_once_it_is_closed():
    visit = make_visit(state=Visit.State.UNDER_WAY, due_on=TODAY, zones=1, monitors=1)
    trap = visit.site.monitors.get()
    make_threshold(begins_on=EVER)
    read(visit, trap, 1)
    assert find_breaches(now=NOON) == 0
    close(visit)
    assert find_breaches(now=NOON) == 1


def read(visit: Visit, trap: Monitor, count: int) -> None:
    look_everywhere(visit)
    record_readings(
        visit.pk,
        by=visit.technician,
        at=local(visit, 9, 30),
        readings=[ReadingGiven(monitor_id=trap.pk, counts={"house-mouse": count})],
    )


def close(visit: Visit) -> None:
    close_visit(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        received_at=local(visit, 10, 5),
        contact=ContactGiven(no_signature_reason="Nobody was there."),
    )


def test_only_its_own_zone_pest_and_group_reach_it(trap):
    other = make_monitor(make_zone(trap.site))
    make_threshold(trap.zone, begins_on=EVER, group="rodent")
    for monitor, slug in [(trap, "brown-rat"), (trap, "fruit-fly"), (other, "house-mouse")]:
        catch(monitor, TODAY, 5, slug=slug)
    assert find_breaches(now=NOON) == 1
    assert Breach.objects.get().pest.slug == "brown-rat"


def test_two_readings_of_one_day_are_one_breach_with_the_larger_count(trap):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY, 1)
    visit = make_visit(trap.site, state=Visit.State.UNDER_WAY, due_on=TODAY)
    read(visit, trap, 4)
    close(visit)
    assert find_breaches(now=NOON) == 1
    assert Breach.objects.get().count == 4


def test_corrected_readings_correct_a_breach_or_take_it_back_and_it_may_return(trap):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY, 5)
    find_breaches(now=NOON)

    catch(trap, TODAY, 2)
    assert find_breaches(now=NOON) == 0
    assert Breach.objects.get().count == 2
    assert "2 at one reading" in Breach.objects.get().words

    catch(trap, TODAY, 0)
    find_breaches(now=NOON)
    assert Breach.objects.get().state == State.GONE
    find_breaches(now=NOON)
    assert (told("breach.corrected"), told("breach.gone")) == (1, 1)

    catch(trap, TODAY, 3)
    find_breaches(now=NOON)
    breach = Breach.objects.get()
    assert (breach.state, breach.count) == (State.OPEN, 3)


def test_an_open_breach_of_long_ago_is_still_looked_at(trap):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY)
    find_breaches(now=NOON)
    later = NOON + timedelta(days=200)
    find_breaches(now=later)
    assert Breach.objects.get().state == State.OPEN
    catch(trap, TODAY, 0)
    find_breaches(now=later)
    assert Breach.objects.get().state == State.GONE


def test_what_was_breached_stays_so_when_the_threshold_is_ended(trap, boss):
    threshold = make_threshold(begins_on=EVER)
    catch(trap, TODAY)
    find_breaches(now=NOON)
    end_threshold(threshold.pk, by=boss, at=NOON + timedelta(days=1))
    find_breaches(now=NOON + timedelta(days=100))
    assert Breach.objects.get().state == State.OPEN


def test_a_month_of_a_zone_counts_once_it_is_over():
    zone = make_zone(make_site())
    traps = [make_monitor(zone), make_monitor(zone)]
    fields = {"per": "zone_month", "least": Decimal(10), "pest_id": pest("fruit-fly").pk}
    make_threshold(zone, begins_on=EVER, name="Flies", **fields)
    for trap, count in zip(traps, (12, 0), strict=True):
        count_month(trap, date(2026, 2, 1), count, half_days=120)
    count_month(traps[0], date(2026, 3, 1), 90, half_days=20)

    assert find_breaches(now=NOON) == 1
    breach = Breach.objects.get()
    assert (breach.on, breach.monitor, breach.count) == (date(2026, 2, 1), None, 12)
    assert breach.words == (
        "Action threshold reached, Flies: 10 per 100 trap-days (12 in 120); to act from 10."
    )
    count_month(traps[1], date(2026, 2, 1), 0, half_days=122)
    find_breaches(now=NOON)
    assert Breach.objects.get().state == State.GONE


def test_months_end_with_the_window_and_open_ones_are_looked_at_still():
    trap = make_monitor(make_zone(make_site()))
    fields = {"per": "zone_month", "least": Decimal(1), "pest_id": pest("fruit-fly").pk}
    make_threshold(begins_on=EVER, **fields)
    for month in (date(2025, 12, 1), date(2026, 1, 1)):
        count_month(trap, month, 12, half_days=120)
    assert find_breaches(now=NOON) == 1
    assert find_breaches(now=NOON + timedelta(days=200)) == 0
    assert Breach.objects.get().state == State.OPEN
    count_month(trap, date(2026, 1, 1), 0, half_days=120)
    find_breaches(now=NOON + timedelta(days=200))
    assert Breach.objects.get().state == State.GONE


def test_finding_costs_the_same_however_much_there_is():
    make_threshold(begins_on=EVER)
    zone_months = {"per": "zone_month", "pest_id": pest("fruit-fly").pk}
    make_threshold(begins_on=EVER, **zone_months)
    costs = []
    for _ in range(2):
        for _ in range(1 if not costs else 6):
            trap = make_monitor(make_zone(make_site()))
            for days in range(1 if not costs else 5):
                catch(trap, TODAY - timedelta(days=days))
            count_month(trap, date(2026, 2, 1), 50, half_days=60)
        # The chains of the trail have begun; only what is found is counted.
        with CaptureQueriesContext(
            connection,
        ) as cost:
            find_breaches(now=NOON)
        costs.append(len(cost))
    assert costs[0] == costs[1] <= 22
    assert Breach.objects.count() == 1 + 1 + 30 + 6


# --- followed up --------------------------------------------------------------------------------


def test_one_action_for_each_pest_and_zone_while_it_is_open(trap, boss):
    make_threshold(begins_on=EVER, then="action")
    other = make_monitor(make_zone(trap.site))
    for monitor, days in [(trap, 3), (trap, 2), (other, 2)]:
        catch(monitor, TODAY - timedelta(days=days))
    find_breaches(now=NOON)

    actions = list(CorrectiveAction.objects.order_by("number"))
    assert [one.zone for one in actions] == [trap.zone, other.zone]
    assert actions[0].kind == CorrectiveAction.Kind.TREATMENT_FOLLOW_UP
    assert actions[0].title == f"House mouse in {trap.zone}: action threshold reached"
    assert actions[0].detail.count("Action threshold reached") == 2
    assert actions[0].raised_by is None

    catch(trap, TODAY)
    find_breaches(now=NOON)
    assert CorrectiveAction.objects.count() == 2
    assert Breach.objects.filter(action=actions[0]).count() == 3

    withdraw_action(actions[0].pk, by=boss, reason="Asked for twice.")
    catch(trap, TODAY + timedelta(days=1))
    find_breaches(now=NOON + timedelta(days=1))
    assert CorrectiveAction.objects.count() == 3


def test_a_follow_up_is_planned_for_the_site_and_looks_for_all(trap):
    make_threshold(begins_on=EVER, then="follow_up")
    catch(trap, TODAY)
    find_breaches(now=NOON)

    visit = Visit.objects.get()
    assert (visit.kind, visit.state) == (Visit.Kind.FOLLOW_UP, Visit.State.PLANNED)
    assert (visit.opens_on, visit.due_on) == (TODAY, TODAY + timedelta(days=7))
    assert f"Look again for House mouse in {trap.zone}." in visit.office_note

    other = make_monitor(make_zone(trap.site))
    catch(other, TODAY)
    catch(trap, TODAY - timedelta(days=1))
    find_breaches(now=NOON)
    visit = Visit.objects.get()
    assert visit.office_note.count("Look again") == 2
    assert Breach.objects.filter(follow_up=visit).count() == 3


def test_a_flag_alone_raises_nothing_and_a_closed_site_gets_nothing(trap, boss):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY)
    find_breaches(now=NOON)
    assert not CorrectiveAction.objects.exists()
    assert not Visit.objects.exists()

    shut = make_monitor(make_zone(make_site()))
    make_threshold(begins_on=EVER, then="action")
    catch(shut, TODAY)
    Site.objects.filter(pk__in=[shut.site_id, trap.site_id]).update(closed_on=TODAY)
    find_breaches(now=NOON)
    assert not CorrectiveAction.objects.exists()


# --- answered -----------------------------------------------------------------------------------


@pytest.fixture
def breach(trap):
    make_threshold(begins_on=EVER)
    catch(trap, TODAY)
    catch(trap, TODAY - timedelta(days=1))
    find_breaches(now=NOON)
    return Breach.objects.get(on=TODAY)


def test_the_office_says_what_was_done_once(breach):
    office = make_office()
    answer_breach(breach.pk, by=office, answer=" The door was closed. ", at=NOON)
    answer_breach(breach.pk, by=office, answer="The door was closed.", at=NOON)

    breach.refresh_from_db()
    assert (breach.state, breach.answer) == (State.ANSWERED, "The door was closed.")
    assert (breach.answered_by, breach.answered_at) == (office, NOON)
    assert told("breach.answered") == 1
    assert Breach.objects.filter(state=State.OPEN).count() == 1
    with pytest.raises(WrongState, match="answered this already"):
        answer_breach(breach.pk, by=make_office(), answer="Something else.")


def test_one_answer_may_stand_for_all_of_the_pest_in_the_zone(breach):
    assert len(answer_breach(breach.pk, by=make_office(), answer="Done.", with_the_rest=True)) == 2
    assert not Breach.objects.filter(state=State.OPEN).exists()


def test_an_answer_stays_when_the_readings_are_corrected(breach, trap):
    answer_breach(breach.pk, by=make_office(), answer="Done.")
    catch(trap, TODAY, 0)
    find_breaches(now=NOON)
    breach.refresh_from_db()
    assert breach.state == State.ANSWERED


def test_a_breach_that_is_gone_needs_no_answer(breach, trap):
    catch(trap, TODAY, 0)
    find_breaches(now=NOON)
    with pytest.raises(WrongState, match="corrected"):
        answer_breach(breach.pk, by=make_office(), answer="Done.")


@pytest.mark.parametrize("answer", ["  ", "x" * 301])
def test_an_answer_is_said_in_a_few_words(breach, answer):
    with pytest.raises(Unusable):
        answer_breach(breach.pk, by=make_office(), answer=answer)


def test_only_the_office_of_the_branch_answers(breach):
    planner = make_office()
    planner.branches.set([Branch.objects.create(name="Elsewhere")])
    for person in (planner, make_technician(), make_manager(client=breach.site.client)):
        with pytest.raises(NotAllowed):
            answer_breach(breach.pk, by=person, answer="Done.")
