"""How long actions stay open: what counts as closed, what leaves the count, and who sees whose."""

import csv
import xml.etree.ElementTree as ET
from datetime import date, timedelta
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from accounts.models import Role
from compliance.models import CorrectiveAction
from compliance.queries.ageing import (
    Age,
    ageing_of,
    ages,
    by_group,
    by_kind,
    curve_rows,
    spans_of,
)
from compliance.services.actions import check_action, raise_action, report_done, withdraw_action
from compliance.trends.duration import spans, still_open
from compliance.trends.duration_chart import described, open_chart
from tests.builders.accounts import (
    PASSWORD,
    make_auditor,
    make_client,
    make_office,
    make_person,
    make_technician,
)
from tests.builders.compliance import make_action
from tests.builders.sites import make_site

Kind = CorrectiveAction.Kind


def old(days: int, *, site, closed: bool = False, withdrawn: bool = False, kind=Kind.ADVICE):
    """An action that was open for so many days: to today, or to a month ago, when it ended."""
    office = make_office()
    ends = timezone.now() - timedelta(days=30) if closed or withdrawn else timezone.now()
    raised = ends - timedelta(days=days)
    action = raise_action(
        site.pk, by=office, at=raised, kind=kind, title=f"Open {days} days", whose_move="client"
    )
    if closed:
        report_done(action.pk, by=office, note="Done.", photo_ids=[], at=ends)
        check_action(action.pk, by=office, password=PASSWORD, at=ends)
    if withdrawn:
        withdraw_action(action.pk, by=office, reason="Raised twice.", at=ends)
    return action


def found(**facts):
    return ages(CorrectiveAction.objects.all(), now=timezone.now(), **facts)


# --- the figures --------------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_published_example_comes_out_of_actions_too():
    """The 21 remissions under 6-MP of Freireich EJ et al. 1963, Blood 21:699-716, as printed in
    many textbooks (S(6) = 0.857, S(10) = 0.753, S(22) = 0.538, median 23), weeks taken for days.
    Half of those that were only seen so long are open, the other half were withdrawn then."""
    site = make_site()
    for days in (6, 6, 6, 7, 10, 13, 16, 22, 23):
        old(days, site=site, closed=True)
    for number, days in enumerate((6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)):
        old(days, site=site, withdrawn=bool(number % 2))

    everything = found()

    one = ageing_of("All", everything)
    assert (one.raised, one.open, one.closed, one.left) == (21, 6, 9, 6)
    assert one.half == 23
    assert one.quarter == 13  # the share is 0.753 after 10 days and 0.690 after 13
    assert one.three_quarters is None
    curve = still_open(spans_of(everything))
    shares = dict(zip(curve.days.tolist(), curve.share.round(3).tolist(), strict=True))
    assert (shares[6], shares[10], shares[22], shares[23]) == (0.857, 0.753, 0.538, 0.448)


@pytest.mark.django_db
def test_what_the_client_turned_down_leaves_the_count_on_that_day_without_being_closed():
    at = timezone.now() - timedelta(days=40)
    make_action("decided", declined=True, at=at)

    [age] = found()

    assert (age.days, age.is_closed, age.is_open) == (0, False, False)
    assert ageing_of("All", [age]).left == 1


@pytest.mark.django_db
def test_days_are_whole_days_of_the_site():
    """Raised ten minutes before midnight in Auckland and checked ten minutes after: one day."""
    site = make_site(time_zone="Pacific/Auckland")
    office = make_office()
    zone = ZoneInfo("Pacific/Auckland")
    night = (timezone.now() - timedelta(days=9)).astimezone(zone).replace(hour=0, minute=0)
    action = raise_action(
        site.pk,
        by=office,
        at=night - timedelta(minutes=10),
        kind=Kind.ADVICE,
        title="Late",
        whose_move="client",
    )
    report_done(action.pk, by=office, note="Done.", photo_ids=[], at=night + timedelta(minutes=9))
    check_action(action.pk, by=office, password=PASSWORD, at=night + timedelta(minutes=10))

    assert [age.days for age in found()] == [1]


@pytest.mark.django_db
def test_overdue_is_what_is_open_past_its_day_and_not_reported_done():
    past = timezone.now().date() - timedelta(days=3)
    make_action("raised", due_on=past)
    make_action("done", due_on=past)
    make_action("decided", declined=True, due_on=past)
    make_action("raised", due_on=past + timedelta(days=30))

    one = ageing_of("All", found())

    assert (one.open, one.overdue) == (3, 1)


@pytest.mark.django_db
def test_it_is_told_by_kind_and_by_client_or_site():
    first, second = make_site(name="Amber Bakery"), make_site(name="Zinc Cellar")
    old(4, site=first, closed=True)
    old(8, site=second, kind=Kind.HOUSEKEEPING)
    old(9, site=second, kind=Kind.HOUSEKEEPING)

    assert [(name, len(members)) for name, members in by_kind(found())] == [
        ("Housekeeping", 2),
        ("Advice", 1),
    ]
    assert [(name, len(members)) for name, members in by_group(found(by_site=True))] == [
        ("Amber Bakery", 1),
        ("Zinc Cellar", 2),
    ]
    assert {name for name, _ in by_group(found())} == {first.client.name, second.client.name}
    assert len(found(kind=Kind.ADVICE)) == 1
    assert len(found(client=second.client)) == 2


@pytest.mark.django_db
def test_what_was_raised_before_the_period_is_not_counted():
    site = make_site()
    old(20, site=site)
    old(400, site=site)

    assert len(found(months=12)) == 1
    assert len(found(months=24)) == 2


def test_the_table_says_how_many_were_seen_for_so_long():
    """By hand: of four, one is closed after 5 days and one after 20; two are open at 10 and 40."""

    def age(days, closed):
        return Age("advice", (1, "x"), days, closed, not closed, False)

    several = [age(5, True), age(20, True), age(10, False), age(40, False)]
    seen = spans_of(several)

    rows = {row.days: row for row in curve_rows(still_open(seen), seen)}

    assert list(rows) == [7, 14, 30]
    assert (rows[7].seen, rows[7].share) == (3, 75.0)
    assert (rows[14].seen, rows[14].share) == (2, 75.0)
    assert (rows[30].seen, rows[30].share) == (1, 37.5)


# --- the picture --------------------------------------------------------------------------------


def test_the_picture_is_drawn_to_scale_and_says_what_it_shows():
    raised = date(2026, 1, 1)
    curve = still_open(
        spans(
            [(raised, raised + timedelta(days=10)), (raised, raised + timedelta(days=20))],
            raised + timedelta(days=20),
        )
    )

    root = ET.fromstring(open_chart(curve, longest=20, title="A < B", name="x"))

    words = "".join(root.itertext())
    assert "A < B" in words
    assert described(curve) in words
    assert "half within 10 days" in words
    ring = next(one for one in root.iter() if one.tag.endswith("circle"))
    assert float(ring.get("cx")) == pytest.approx(48 + (400 - 16 - 48) / 2)
    assert float(ring.get("cy")) == pytest.approx(26 + (240 - 42 - 26) / 2)


def test_where_nothing_is_closed_the_picture_says_that_too():
    raised = date(2026, 1, 1)
    curve = still_open(spans([(raised, None)], raised))

    assert described(curve) == "Nothing is closed so far; all of it is open still."
    assert "half within" not in open_chart(curve, longest=0, title="t", name="x")


# --- the page -----------------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_page_says_what_is_known_and_what_is_not_yet(client):
    site = make_site()
    old(6, site=site, closed=True)
    old(12, site=site)
    old(30, site=site)
    client.force_login(make_office())

    page = client.get(reverse("compliance:ageing")).text

    assert site.client.name in page
    assert "6 days" in page
    assert "not yet known" in page
    assert "Fewer than half are done so far." in page
    assert '<svg xmlns="http://www.w3.org/2000/svg"' in page


@pytest.mark.django_db
def test_a_client_manager_sees_their_own_sites_and_nobody_elses(client):
    mine, other = make_site(name="Amber Bakery"), make_site(name="Zinc Cellar")
    old(6, site=mine)
    old(6, site=other)
    client.force_login(make_person(Role.CLIENT_MANAGER, client=mine.client))

    page = client.get(reverse("compliance:ageing"))
    lines = client.get(reverse("compliance:ageing_csv"))

    assert "Amber Bakery" in page.text
    assert "Zinc Cellar" not in page.text
    assert "Zinc Cellar" not in b"".join(lines.streaming_content).decode()


@pytest.mark.django_db
@pytest.mark.parametrize("somebody", [make_technician, make_auditor])
def test_it_is_between_the_office_and_the_client(client, somebody):
    client.force_login(somebody())

    assert client.get(reverse("compliance:ageing")).status_code == 403
    assert client.get(reverse("compliance:ageing_csv")).status_code == 403


@pytest.mark.django_db
def test_the_table_leaves_the_house_as_csv(client):
    site = make_site()
    old(6, site=site, closed=True)
    old(12, site=site)
    client.force_login(make_office())

    answer = client.get(reverse("compliance:ageing_csv"), {"kind": "advice"})

    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(StringIO(text)))
    assert [row["by"] for row in rows] == ["all", "kind", "client"]
    assert rows[2]["name"] == site.client.name
    for row in rows:
        assert (row["raised"], row["open"], row["closed"]) == ("2", "1", "1")
        assert row["days to half closed"] == "6"
        assert row["days to three quarters closed"] == ""


@pytest.mark.django_db
def test_clients_are_paged_and_more_of_them_ask_no_more_of_the_database(client):
    client.force_login(make_office())
    address = reverse("compliance:ageing")
    old(3, site=make_site())
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for number in range(27):
        old(3, site=make_site(client=make_client(name=f"Client {number:02}")))

    with CaptureQueriesContext(connection) as many:
        first = client.get(address).text
    second = client.get(address, {"page": 2}).text

    assert len(many) == len(few)
    row = '<th scope="row">Client 26</th>'
    assert row not in first
    assert row in second


@pytest.mark.django_db
def test_a_filter_that_makes_no_sense_narrows_nothing(client):
    old(3, site=make_site())
    client.force_login(make_office())

    answer = client.get(
        reverse("compliance:ageing"), {"raised": "x", "kind": "y", "client": "z", "page": "q"}
    )

    assert answer.status_code == 200
    assert "Open now" in answer.text


@pytest.mark.django_db
def test_without_any_action_the_page_says_so(client):
    client.force_login(make_office())

    assert "No action fits these filters." in client.get(reverse("compliance:ageing")).text
