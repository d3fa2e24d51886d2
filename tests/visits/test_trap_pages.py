"""Where the office lets senders of electronic traps in, and sees what they said."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.urls import reverse

from accounts.models import TrailEntry
from accounts.refusals import Refused, WrongState
from compliance.queries.site_file_devices import device_months
from sites.models import Monitor
from sites.services.sites import close_site
from tests.builders.accounts import make_office
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.visits.test_trap_reports import report
from visits.models import Reading, TrapSender
from visits.queries.monitor_readings import history_of
from visits.services.trap_reports import take_reports
from visits.services.trap_senders import (
    MOST_SENDERS,
    add_trap_sender,
    end_trap_sender,
    renew_trap_token,
)

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def monitor() -> Monitor:
    return make_monitor(make_zone(make_site()), number=7)


@pytest.fixture
def as_office(client):
    client.force_login(make_office())
    return client


def test_a_token_is_shown_once_and_kept_as_a_hash(as_office, monitor):
    url = reverse("visits:traps", args=[monitor.site_id])

    answer = as_office.post(url, {"name": "Attic gateway"})

    token = answer.context["made"].token
    assert token in answer.content.decode()
    assert answer.headers["Cache-Control"].startswith("max-age=0, no-cache, no-store")
    assert token not in as_office.get(url).content.decode()
    assert token not in str(list(TrapSender.objects.values()))
    entry = TrailEntry.objects.get(verb="trap_sender.added")
    assert entry.stream_id == f"site:{monitor.site_id}"
    assert token not in str(entry.facts)


def test_a_name_is_there_once_among_those_that_work(as_office, monitor):
    url = reverse("visits:traps", args=[monitor.site_id])
    made = add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")

    answer = as_office.post(url, {"name": "Attic gateway"})
    assert answer.status_code == 422
    assert "has a sender of this name" in answer.content.decode()

    end_trap_sender(made.sender.pk, by=make_office())
    assert as_office.post(url, {"name": "Attic gateway"}).status_code == 200


def test_a_site_has_only_so_many_senders_and_none_once_closed(monitor):
    for number in range(MOST_SENDERS):
        add_trap_sender(monitor.site_id, by=make_office(), name=f"Gateway {number}")
    with pytest.raises(Refused):
        add_trap_sender(monitor.site_id, by=make_office(), name="One more")

    close_site(monitor.site_id, by=make_office(), on=date(2026, 11, 1), reason="Sold.")
    with pytest.raises(WrongState):
        add_trap_sender(monitor.site_id, by=make_office(), name="Another")


def test_another_token_is_shown_once_too_and_an_ended_sender_gets_none(as_office, monitor):
    made = add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")
    url = reverse("visits:trap_sender", args=[made.sender.pk])

    answer = as_office.post(url)

    fresh = answer.context["made"].token
    assert fresh != made.token
    assert fresh in answer.content.decode()
    as_office.post(reverse("visits:trap_sender_end", args=[made.sender.pk]))
    as_office.post(reverse("visits:trap_sender_end", args=[made.sender.pk]))
    assert TrailEntry.objects.filter(verb="trap_sender.ended").count() == 1
    with pytest.raises(WrongState):
        renew_trap_token(made.sender.pk, by=make_office())


def test_a_trap_that_was_not_heard_of_for_three_days_is_silent(as_office, monitor):
    well = make_monitor(monitor.zone, number=8)
    never = make_monitor(monitor.zone, number=9)
    made = add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")
    take_reports(
        made.sender.pk,
        [report(well, 18, id="a", battery=15), report(monitor, 16, battery=80)],
        now=NOW,
    )

    answer = as_office.get(reverse("visits:traps", args=[monitor.site_id]))

    shown = {one.monitor.number: one for one in answer.context["shown"]}
    assert list(shown) == [7, 8]
    assert (shown[7].silent_days, shown[7].battery_is_low) == (3, False)
    assert (shown[8].silent_days, shown[8].battery_is_low) == (0, True)
    assert never.number not in shown


def test_refused_reports_are_read_and_tried_again(as_office, monitor):
    made = add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")
    Monitor.objects.filter(pk=monitor.pk).update(placed_on=date(2026, 11, 10))
    take_reports(made.sender.pk, [report(monitor, 3)], now=NOW)
    url = reverse("visits:trap_sender", args=[made.sender.pk])
    assert "stands there only since" in as_office.get(url).content.decode()

    again = reverse("visits:trap_reports_again", args=[made.sender.pk])
    as_office.post(again)
    assert not Reading.objects.exists()
    Monitor.objects.filter(pk=monitor.pk).update(placed_on=date(2026, 11, 1))
    as_office.post(again)

    assert Reading.objects.get().monitor == monitor
    assert as_office.get(url).context["page"].paginator.count == 0


def test_the_page_of_a_monitor_leaves_out_what_its_device_says_of_quiet_days(as_office, monitor):
    made = add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")
    reports = [
        report(monitor, 16, counts={"house-mouse": 1}),
        report(monitor, 17),
        report(monitor, 18, condition="damaged"),
        report(monitor, 19),
    ]
    take_reports(made.sender.pk, reports, now=NOW)

    shown = history_of(make_office(), monitor, 10)

    assert [one.on.day for one in shown] == [18, 16]
    assert {one.source_words for one in shown} == {"Electronic trap"}
    text = as_office.get(reverse("sites:monitor", args=[monitor.pk])).content.decode()
    assert "It reports by itself, last up to Thu 19 Nov 2026" in text


def test_a_site_file_tells_of_devices_month_by_month(monitor):
    made = add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")
    reports = [report(monitor, day, counts={"house-mouse": 1}) for day in range(1, 18)]
    october = {"from": "2026-10-30T00:00:00Z", "at": "2026-10-31T00:00:00Z"}
    reports += [report(monitor, 18, condition="blocked"), report(monitor, 20, id="o", **october)]
    take_reports(made.sender.pk, reports, now=NOW)

    told = device_months(monitor.site, date(2026, 1, 1), date(2026, 12, 31))

    assert [(one.day, one.counts, one.condition_code, one.note) for one in told] == [
        (date(2026, 10, 30), (), "sound", "reported on 1 day"),
        (
            date(2026, 11, 18),
            (("House mouse", 17),),
            "sound",
            "reported on 18 days; blocked on 1",
        ),
    ]
    assert device_months(monitor.site, date(2026, 1, 1), date(2026, 9, 30)) == []
