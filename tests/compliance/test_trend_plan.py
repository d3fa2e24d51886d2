"""The plan month by month: what stands in it, for whom, and at what cost."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from compliance.models import CountSeries, MonthCount, PlaceMonth
from compliance.queries.site_file_trends import trends_of
from compliance.queries.trend_plan import plan_months
from sites.models import Site, Zone
from sites.services.grants import issue_pass
from sites.services.monitors import mark_monitor
from sites.services.plans import add_plan
from sites.services.zones import draw_zone
from tests.builders.accounts import make_auditor, make_manager, make_office
from tests.builders.compliance import make_monthly_counts, make_photo_bytes
from tests.builders.sites import make_monitor, make_site, make_zone
from visits.models import Pest

pytestmark = pytest.mark.django_db

State = PlaceMonth.State
OCTOBER = date(2026, 10, 1)
SEPTEMBER = date(2026, 9, 1)


@pytest.fixture
def pest() -> Pest:
    return Pest.objects.get(slug="german-cockroach")


def month_of(
    place: Zone | Site, pest: Pest, month: date, count: int, days: int, **facts: Any
) -> PlaceMonth:
    """One judged month of a zone or a whole site."""
    zone = place if isinstance(place, Zone) else None
    return PlaceMonth.objects.create(
        site=place.site if isinstance(place, Zone) else place,
        zone=zone,
        pest=pest,
        month=month,
        **{
            "count": count,
            "half_days": 2 * days,
            "readings": 1 if days else 0,
            "state": State.CALM if days else State.NOT_READ,
            "words": "Said elsewhere.",
            **facts,
        },
    )


def counted(monitor: Any, pest: Pest, month: date, count: int, days: int) -> None:
    series, _ = CountSeries.objects.get_or_create(
        site=monitor.site, zone=monitor.zone, monitor=monitor, pest=pest
    )
    number = month.year * 12 + month.month - 1
    MonthCount.objects.create(
        series=series, month=number, count=count, half_days=2 * days, readings=1
    )


@pytest.fixture
def site(pest: Pest) -> Site:
    """Two zones, drawn, with a monitor each; October brings more to the kitchen."""
    office = make_office()
    site = make_site(name="Quay Hotel")
    kitchen, bar = make_zone(site, name="Kitchen"), make_zone(site, name="Bar")
    plan = add_plan(site.pk, by=office, title="Ground floor", data=make_photo_bytes())
    corners = [(0.1, 0.1), (0.5, 0.1), (0.5, 0.9), (0.1, 0.9)]
    draw_zone(kitchen.pk, by=office, plan_id=plan.pk, corners=corners)
    draw_zone(bar.pk, by=office, plan_id=plan.pk, corners=[(x + 0.45, y) for x, y in corners])
    for place, zone in enumerate((kitchen, bar)):
        monitor = make_monitor(zone)
        mark_monitor(monitor.pk, by=office, plan_id=plan.pk, x=0.3 + 0.45 * place, y=0.5)
        counted(monitor, pest, SEPTEMBER, 1, 31)
        if zone == kitchen:
            counted(monitor, pest, OCTOBER, 9, 30)
    month_of(kitchen, pest, SEPTEMBER, 1, 31)
    month_of(kitchen, pest, OCTOBER, 9, 30, state=State.ALARM)
    month_of(bar, pest, SEPTEMBER, 1, 31)
    month_of(bar, pest, OCTOBER, 0, 0)
    month_of(site, pest, SEPTEMBER, 2, 62)
    month_of(site, pest, OCTOBER, 9, 30, state=State.ALARM)
    return site


def page(client: Any, site: Site, **query: str) -> str:
    answer = client.get(reverse("compliance:trend_plan", args=[site.pk]), query)
    assert answer.status_code == 200
    return str(answer.content.decode())


def test_the_last_month_of_the_pest_with_most_is_shown_first(client, site):
    client.force_login(make_office())
    text = page(client, site)
    assert "German cockroach on the plan" in text
    words = "October 2026: 9 in 30 trap-days, 30 per 100 trap-days, more than usual."
    assert f"{words} More than usual in Kitchen." in text
    assert "30, more than usual" in text
    assert "tint-4 is-alarm" in text
    assert "tint-unread" in text.split("<table")[0].split('class="legend"')[0]


def test_another_month_is_an_address(client, site):
    client.force_login(make_office())
    text = page(client, site, month="2026-09")
    assert "September 2026: 2 in 62 trap-days, 3.2 per 100 trap-days, as usual." in text
    assert "month=2026-10" in text
    assert "month=2026-08" not in text


@pytest.mark.parametrize("query", [{"month": "soon"}, {"pest": "unicorn"}, {"plan": "none"}])
def test_what_is_unknown_gives_what_is_there(client, site, query):
    client.force_login(make_office())
    assert "October 2026: 9 in 30 trap-days" in page(client, site, **query)


def test_a_monitor_is_as_large_as_its_rate_and_says_it(client, site):
    client.force_login(make_office())
    text = page(client, site)
    assert "scale(1.75)" in text
    assert "scale(0.75)" in text
    assert "sticky trap, Kitchen: 9 in 30 trap-days" in text
    assert "sticky trap, Bar: not read" in text


def test_page_and_script_say_the_same(client, site, pest):
    client.force_login(make_office())
    text = page(client, site)
    sent = text.split('<script id="months" type="application/json">')[1].split("</script>")[0]
    months = json.loads(sent)
    assert [one["key"] for one in months] == ["2026-09", "2026-10"]
    for one in months:
        assert one["words"] in page(client, site, month=one["key"])
    shown = plan_months(site, make_office(), pest=pest.slug)
    assert shown is not None
    assert shown.for_script() == months


def test_a_site_without_a_plan_has_its_zones_in_a_table(client, pest):
    site = make_site()
    zone = make_zone(site, name="Cellar")
    month_of(zone, pest, OCTOBER, 3, 310)
    client.force_login(make_office())
    text = page(client, site)
    assert "This site has no plan on file" in text
    assert "3 in 310 trap-days" in text
    assert "Cellar" in text
    assert "October 2026: 3 in 310 trap-days, 0.97 per 100 trap-days, as usual." in text


def test_where_nothing_is_counted_the_page_says_so(client):
    client.force_login(make_office())
    assert "Nothing has been counted here yet" in page(client, make_site())


def test_a_month_between_in_which_nothing_was_read_is_shown_as_such(client, pest):
    zone = make_zone(make_site(), name="Cellar")
    month_of(zone, pest, date(2026, 8, 1), 3, 310)
    month_of(zone, pest, OCTOBER, 3, 310)
    client.force_login(make_office())
    assert "September 2026: not read." in page(client, zone.site, month="2026-09")


def test_an_auditor_sees_the_months_of_the_pass_only(client, site, pest):
    auditor, now = make_auditor(), timezone.now()
    issue_pass(
        auditor.pk,
        by=make_office(),
        sites=[site],
        period_from=date(2026, 9, 5),
        period_to=date(2026, 9, 20),
        valid_from=now - timedelta(days=1),
        valid_until=now + timedelta(days=30),
        purpose="Yearly audit",
    )
    client.force_login(auditor)
    text = page(client, site, month="2026-10")
    assert "September 2026: 2 in 62 trap-days" in text
    assert "October" not in text
    assert "9 in 30" not in text


def test_what_was_read_counted_and_judged_is_what_plan_and_paper_say(client):
    monitor = make_monitor(make_zone(make_site(), name="Cellar"), placed_on=date(2025, 1, 1))
    counts = [0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 14]
    make_monthly_counts(
        monitor,
        "german-cockroach",
        counts,
        last=date(2026, 10, 20),
        judged_at=datetime(2026, 11, 3, 9, 0, tzinfo=UTC),
    )
    shown = plan_months(monitor.site, make_office())
    assert shown is not None
    assert [one.caught.count for one in shown.months] == [*counts, 0]
    assert shown.months[-1].words == "November 2026: not read."
    last = shown.months[shown.place("")]
    assert [one.caught.count for one in last.monitors.values()] == [14]
    assert last.zones[0].is_alarm
    client.force_login(make_office())
    assert last.words in page(client, monitor.site)
    printed = trends_of(monitor.site, date(2025, 9, 1), date(2026, 10, 31))
    (place,) = printed.places
    assert [one.count for one in place.months] == counts
    assert place.months[-1].state == "alarm"
    assert printed.monitors == 1
    (alarm,) = printed.alarms
    assert alarm.look_first == ("Monitor 1: 14",)


def test_a_stranger_sees_no_plan(client, site):
    client.force_login(make_manager())
    answer = client.get(reverse("compliance:trend_plan", args=[site.pk]))
    assert answer.status_code == 404


def test_more_zones_and_monitors_cost_no_more(client, site, pest, django_assert_max_num_queries):
    office = make_office()
    with django_assert_max_num_queries(8):
        assert plan_months(site, office)
    for _ in range(4):
        zone = make_zone(site)
        month_of(zone, pest, OCTOBER, 2, 300)
        counted(make_monitor(zone), pest, OCTOBER, 2, 30)
    with django_assert_max_num_queries(8):
        shown = plan_months(site, office)
    assert shown is not None
    assert len(shown.months[-1].zones) == 6
