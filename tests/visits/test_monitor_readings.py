"""What a monitor showed is read against the days it stood, on its page and its site's."""

from datetime import date

import pytest

from sites.services.sites import change_site
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import local, make_visit
from visits.models import Pest, Reading, ReadingCount
from visits.queries.monitor_readings import history_of, latest_catches
from visits.services.recording import record_not_reached, record_readings
from visits.services.writing import NotReachedGiven, ReadingGiven

pytestmark = pytest.mark.django_db


@pytest.fixture
def monitor():
    return make_monitor(make_zone(make_site()), placed_on=date(2026, 11, 10))


def under_way(monitor, day):
    return make_visit(monitor.site, state="under_way", due_on=day)


def past_reading(monitor, day, count=0):
    pest = Pest.objects.get_or_create(slug="test-beetle", defaults={"name": "Test beetle"})[0]
    reading = Reading.objects.create(monitor=monitor, source="import", read_on=day, stood_days=14)
    if count:
        ReadingCount.objects.create(reading=reading, pest=pest, count=count)
    return reading


def test_a_count_is_told_with_its_rate(monitor, office):
    past_reading(monitor, date(2026, 11, 20), count=7)

    (shown,) = history_of(office, monitor, 10)

    assert (shown.caught, shown.stood_days, shown.per_100) == ((("Test beetle", 7),), 14, 50.0)


def test_a_count_over_unknown_days_has_no_rate(monitor, office):
    reading = past_reading(monitor, date(2026, 11, 20), count=7)
    reading.stood_days = None
    reading.save()

    assert history_of(office, monitor, 10)[0].per_100 is None


@pytest.mark.parametrize(
    ("kind", "condition", "count", "rate"),
    [
        ("sticky", "sound", 7, 50.0),
        ("sticky", "full", 7, 50.0),
        ("sticky", "damaged", 7, None),
        ("snap_trap", "sound", 1, None),
        ("snap_trap", "sound", 0, 0.0),
    ],
)
def test_a_rate_is_told_where_the_trap_could_catch_on_all_its_days(
    monitor, office, kind, condition, count, rate
):
    monitor.kind = kind
    monitor.save()
    reading = past_reading(monitor, date(2026, 11, 20), count=count)
    reading.condition = condition
    reading.save()

    assert history_of(office, monitor, 10)[0].per_100 == rate


def test_what_could_not_be_read_stands_among_the_readings(monitor, office):
    past_reading(monitor, date(2026, 11, 11))
    visit = under_way(monitor, date(2026, 11, 20))
    record_not_reached(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        not_reached=NotReachedGiven(reason="locked", whose_move="client", monitor_id=monitor.pk),
    )

    unread, read = history_of(office, monitor, 10)

    assert (unread.on, unread.unread, read.unread) == (date(2026, 11, 20), "Locked", "")


def test_a_visit_under_way_is_nothing_to_the_client_yet(monitor):
    visit = under_way(monitor, date(2026, 11, 20))
    record_readings(
        visit.pk,
        by=visit.technician,
        at=local(visit, 10),
        readings=[ReadingGiven(monitor_id=monitor.pk)],
    )
    manager = make_manager(client=monitor.site.client)

    assert history_of(manager, monitor, 10) == []
    assert len(history_of(make_office(), monitor, 10)) == 1


def test_only_what_showed_something_is_a_catch(monitor, office):
    past_reading(monitor, date(2026, 11, 11))
    past_reading(monitor, date(2026, 11, 12), count=1)
    bait = past_reading(monitor, date(2026, 11, 13))
    Reading.objects.filter(pk=bait.pk).update(bait_taken="part")

    shown = latest_catches(office, monitor.site, 10)

    assert [one.on.day for one in shown] == [13, 12]


def test_a_strangers_readings_are_none(monitor):
    past_reading(monitor, date(2026, 11, 12), count=1)
    stranger = make_technician()

    assert history_of(stranger, monitor, 10) == []
    assert latest_catches(stranger, monitor.site, 10) == []


@pytest.mark.parametrize("readings", [2, 20])
def test_they_cost_the_same_for_few_and_many(monitor, office, readings, django_assert_num_queries):
    for day in range(1, readings + 1):
        past_reading(monitor, date(2026, 10, day), count=day)

    with django_assert_num_queries(3):
        history_of(office, monitor, 30)
    with django_assert_num_queries(2):
        latest_catches(office, monitor.site, 30)


def test_both_pages_show_them(monitor, office, client):
    past_reading(monitor, date(2026, 11, 12), count=7)
    change_site(monitor.site_id, by=office, name="Quayside Grand")
    client.force_login(office)

    for at in (f"/sites/monitors/{monitor.pk}/", f"/sites/{monitor.site_id}/"):
        words = client.get(at).content.decode()
        assert "Test beetle" in words
        assert "Per 100 trap-days" in words
        assert ">50<" in words
