"""Readings that the office types for a day without a visit."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine
from django.urls import reverse

from accounts.models import TrailEntry
from accounts.refusals import Refused, WrongState
from sites.models import Monitor
from sites.services.sites import close_site
from tests.builders.accounts import make_office, make_technician
from tests.builders.sites import PLACED_ON, make_monitor, make_site, make_zone
from tests.builders.visits import local, make_visit
from visits.models import Reading, Visit
from visits.services.readings import enter_readings
from visits.services.recording import ReadingGiven, record_readings

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
DAY = date(2026, 11, 10)


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def monitor() -> Monitor:
    return make_monitor(make_zone(make_site()), number=7)


def enter(monitor: Monitor, *, on: date = DAY, back: bool = False, **told: Any) -> int:
    given = [] if back else [ReadingGiven(monitor_id=monitor.pk, **told)]
    return enter_readings(
        monitor.site_id,
        by=make_office(),
        read_on=on,
        readings=given,
        taken_back=[monitor.pk] if back else [],
        now=NOW,
    )


def counts_of(reading: Reading) -> dict[str, int]:
    return {one.pest.slug: one.count for one in reading.counts.all()}


def entered() -> list[dict[str, Any]]:
    """What the last entry on the trail tells."""
    return TrailEntry.objects.filter(verb="readings.entered").latest("pk").facts["readings"]


# --- what is written ------------------------------------------------------------------------------


def test_an_entry_is_a_reading_of_its_own_kind(monitor):
    assert (
        enter(monitor, counts={"german-cockroach": 3, "garden-ant": 0}, note=" By the sink ") == 1
    )

    reading = Reading.objects.get(monitor=monitor)
    assert (reading.source, reading.read_on, reading.visit) == ("hand", DAY, None)
    assert reading.stood_days == (DAY - PLACED_ON).days
    assert counts_of(reading) == {"german-cockroach": 3}
    assert entered() == [
        {
            "monitor": 7,
            "counts": {"german-cockroach": 3},
            "condition": "sound",
            "note": "By the sink",
        }
    ]


def test_a_second_entry_corrects_the_first_and_the_trail_keeps_both(monitor):
    enter(monitor, counts={"german-cockroach": 3}, note="Hall")

    assert enter(monitor, counts={"garden-ant": 1}, condition="damaged") == 1

    reading = Reading.objects.get(monitor=monitor)
    assert (reading.condition, reading.note, counts_of(reading)) == (
        "damaged",
        "",
        {"garden-ant": 1},
    )
    assert entered()[0]["instead_of"] == {
        "counts": {"german-cockroach": 3},
        "condition": "sound",
        "note": "Hall",
    }


def test_the_same_again_changes_nothing_and_leaves_no_entry(monitor):
    enter(monitor, counts={"german-cockroach": 3})

    assert enter(monitor, counts={"german-cockroach": 3}) == 0

    assert TrailEntry.objects.filter(verb="readings.entered").count() == 1


def test_an_entry_may_be_taken_back(monitor):
    enter(monitor, counts={"german-cockroach": 3})

    assert enter(monitor, back=True) == 1

    assert not Reading.objects.exists()
    assert entered() == [
        {
            "monitor": 7,
            "instead_of": {"counts": {"german-cockroach": 3}, "condition": "sound"},
        }
    ]


def test_days_stood_follow_from_the_other_entries_whichever_comes_first(monitor):
    enter(monitor, on=date(2026, 11, 15))
    enter(monitor, on=DAY)

    stood = dict(Reading.objects.values_list("read_on__day", "stood_days"))
    assert stood == {10: (DAY - PLACED_ON).days, 15: 5}


def test_a_visit_counts_since_the_entry(monitor):
    enter(monitor)
    visit = make_visit(monitor.site, state=Visit.State.UNDER_WAY, due_on=date(2026, 11, 18))
    (reading,) = record_readings(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        readings=[ReadingGiven(monitor_id=monitor.pk)],
    )

    assert reading.stood_days == 8


# --- what is refused ------------------------------------------------------------------------------


def test_what_a_visit_read_is_never_changed(monitor):
    visit = make_visit(monitor.site, state=Visit.State.UNDER_WAY, due_on=DAY)
    given = [ReadingGiven(monitor_id=monitor.pk, counts={"german-cockroach": 1})]
    record_readings(visit.pk, by=visit.technician, at=local(visit, 10), readings=given)

    with pytest.raises(Refused) as refused:
        enter(monitor, counts={"german-cockroach": 9})

    assert "A visit read it" in refused.value.facts["problems"][str(monitor.pk)]
    assert counts_of(Reading.objects.get(monitor=monitor)) == {"german-cockroach": 1}


def test_what_a_spreadsheet_told_is_never_changed(monitor):
    Reading.objects.create(monitor=monitor, read_on=DAY, source=Reading.Source.IMPORT)

    with pytest.raises(Refused) as refused:
        enter(monitor, counts={"german-cockroach": 9})

    assert "spreadsheet" in refused.value.facts["problems"][str(monitor.pk)]


@pytest.mark.parametrize(
    "told",
    [
        {"on": date(2026, 11, 21)},
        {"on": date(2026, 1, 4)},
        {"counts": {"unicorn": 1}},
        {"counts": {"german-cockroach": -1}},
        {"counts": {"german-cockroach": 1_000_001}},
        {"condition": "bored"},
        {"condition": "missing", "counts": {"german-cockroach": 1}},
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(monitor, told):
    with pytest.raises(Refused):
        enter(monitor, **told)

    assert not Reading.objects.exists()


def test_one_bad_row_keeps_all_others_from_being_written(monitor):
    elsewhere = make_monitor(make_zone(make_site()))
    given = [ReadingGiven(monitor_id=one.pk) for one in (monitor, elsewhere)]

    with pytest.raises(Refused) as refused:
        enter_readings(monitor.site_id, by=make_office(), read_on=DAY, readings=given, now=NOW)

    assert set(refused.value.facts["problems"]) == {str(elsewhere.pk)}
    assert not Reading.objects.exists()


def test_nothing_is_entered_at_a_closed_site(monitor):
    close_site(monitor.site_id, by=make_office(), on=DAY, reason="Sold.")

    with pytest.raises(WrongState):
        enter(monitor)


# --- the page -------------------------------------------------------------------------------------


def page_of(site: Any, **query: Any) -> str:
    return reverse("visits:readings_enter", args=[site.pk], query={"day": DAY, **query})


@pytest.fixture
def as_office(client):
    client.force_login(make_office())
    return client


def test_the_page_lists_standing_monitors_in_walking_order(as_office):
    site = make_site()
    last, first = make_zone(site, walk_order=2), make_zone(site, walk_order=1)
    make_monitor(last, number=1)
    make_monitor(first, number=9)
    gone = make_monitor(first, number=2)
    Monitor.objects.filter(pk=gone.pk).update(removed_on=date(2026, 11, 9))
    make_monitor(first, number=3, placed_on=date(2026, 11, 11))

    form = as_office.get(page_of(site)).context["form"]

    assert [row.monitor.number for row in form.rows()] == [9, 1]


def test_the_page_saves_what_was_typed_and_shows_it_again(as_office, monitor):
    typed = {
        "7-german-cockroach": "4",
        "7-other": "wasp",
        "7-other_count": "1",
        "7-note": "By the sink",
    }

    answer = as_office.post(page_of(monitor.site), typed)

    assert answer.status_code == 302
    reading = Reading.objects.get(monitor=monitor)
    assert counts_of(reading) == {"german-cockroach": 4, "wasp": 1}
    form = as_office.get(answer.url).context["form"]
    assert form["7-wasp"].value() == 1
    assert form["7-condition"].value() == "sound"
    again = {f"7-{name}": form[f"7-{name}"].value() for name in ("german-cockroach", "note")}
    as_office.post(page_of(monitor.site), {**again, "7-wasp": "1", "7-condition": "sound"})
    assert TrailEntry.objects.filter(verb="readings.entered").count() == 1


def test_a_condition_alone_says_that_nothing_was_caught_and_none_takes_it_back(as_office, monitor):
    as_office.post(page_of(monitor.site), {"7-condition": "sound"})
    assert Reading.objects.get(monitor=monitor).counts.count() == 0

    as_office.post(page_of(monitor.site), {"7-condition": ""})

    assert not Reading.objects.exists()


def test_errors_stand_beside_their_fields_and_nothing_typed_is_lost(as_office, monitor):
    typed = {"7-german-cockroach": "many", "7-other_count": "2", "7-note": "By the sink"}

    answer = as_office.post(page_of(monitor.site), typed)

    assert answer.status_code == 422
    form = answer.context["form"]
    assert set(form.errors) == {"7-german-cockroach", "7-other"}
    text = answer.content.decode()
    assert 'value="many"' in text
    assert 'value="By the sink"' in text
    assert not Reading.objects.exists()


def test_a_refusal_of_the_service_stands_beside_its_monitor(as_office, monitor):
    typed = {"7-condition": "missing", "7-german-cockroach": "2"}

    answer = as_office.post(page_of(monitor.site), typed)

    assert answer.status_code == 422
    assert "7-condition" in answer.context["form"].errors
    assert 'value="2"' in answer.content.decode()


@pytest.mark.parametrize("day", ["2026-11-21", "nonsense", "2026-02-30", "9999-12-31"])
def test_a_day_that_cannot_be_is_told_beside_its_field(as_office, monitor, day):
    answer = as_office.get(reverse("visits:readings_enter", args=[monitor.site_id]), {"day": day})

    assert answer.status_code == 422
    assert answer.context["asked"].errors


def test_long_sites_are_entered_fifty_at_a_time(as_office):
    site = make_site()
    zone = make_zone(site)
    for _ in range(51):
        make_monitor(zone)

    answer = as_office.post(page_of(site), {})

    assert answer.url.endswith(f"?day={DAY}&page=2")
    assert len(list(as_office.get(answer.url).context["form"].rows())) == 1


def test_only_the_office_is_shown_the_way_there(client, monitor):
    url = reverse("visits:readings_enter", args=[monitor.site_id])
    client.force_login(make_office())
    assert url in client.get(monitor.site.get_absolute_url()).content.decode()
    technician = make_technician()
    make_visit(monitor.site, technician=technician, state="booked", due_on=date(2026, 11, 23))
    client.force_login(technician)
    assert url not in client.get(monitor.site.get_absolute_url()).content.decode()
