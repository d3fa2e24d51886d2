"""Where findings are on the plan, as the report of a visit draws it."""

from datetime import date

import pytest

from sites.services.plans import add_plan, retire_plan
from sites.services.zones import draw_zone
from tests.builders.accounts import make_manager
from tests.builders.compliance import make_photo_bytes
from tests.builders.sites import make_site
from tests.builders.visits import local, make_visit
from visits.models import Visit
from visits.queries.report import report_of
from visits.services.closing import close_visit
from visits.services.recording import ContactGiven, FindingGiven, record_finding

pytestmark = pytest.mark.django_db

LATER, EARLIER = date(2026, 12, 8), date(2020, 3, 3)  # than the plan is put on file
CORNERS = [(0.1, 0.2), (0.5, 0.2), (0.5, 0.8)]


@pytest.fixture
def site(office):
    """Two zones on a plan of 40 by 30, and one on none."""
    return drawn_site(office, zones=3)


def drawn_site(office, *, zones: int):
    """All zones but the last on one plan."""
    site = make_site(zones=zones)
    plan = add_plan(site.pk, by=office, title="Ground floor", data=make_photo_bytes())
    for zone in site.zones.order_by("walk_order")[: zones - 1]:
        draw_zone(zone.pk, by=office, plan_id=plan.pk, corners=CORNERS)
    return site


def visited(site, office, technician, *, due_on=LATER) -> Visit:
    """In each zone something was found, with its place; in the first also something without."""
    visit = make_visit(site, state="under_way", by=office, technician=technician, due_on=due_on)
    zones = list(site.zones.order_by("walk_order"))
    for n, zone in enumerate([zones[0], *zones]):
        placed = {"x": 0.25, "y": 0.5} if n else {}
        record_finding(
            visit.pk,
            by=technician,
            at=local(visit, 10, n),
            finding=FindingGiven(zone_id=zone.pk, kind="harbourage", **placed),
        )
    close_visit(
        visit.pk,
        by=technician,
        at=local(visit, 11),
        contact=ContactGiven(no_signature_reason="Nobody there."),
    )
    visit.refresh_from_db()
    return visit


def test_findings_with_a_place_are_numbered_pins_on_the_plan(site, office, technician):
    report = report_of(visited(site, office, technician), for_whom=office)

    (drawn,) = report.plans
    assert (drawn.plan.title, drawn.width, drawn.height) == ("Ground floor", 800, 600)
    assert [(spot.number, spot.x, spot.y) for spot in drawn.spots] == [(2, 200, 300), (3, 200, 300)]
    assert drawn.outlines == ["80.0,120.0 400.0,120.0 400.0,480.0"] * 2
    assert [one.get("spot") for one in report.record["findings"]] == [None, 2, 3, None]


def test_whoever_reads_the_report_sees_them(client, site, office, technician):
    visit = visited(site, office, technician)
    client.force_login(make_manager(client=site.client))

    words = client.get(visit.get_absolute_url()).content.decode()

    assert "Places of findings: 2 3" in words
    assert "number 2 on the plan" in words
    assert "number 1 on the plan" not in words


def test_a_plan_that_was_put_on_file_afterwards_shows_no_places(site, office, technician):
    assert report_of(visited(site, office, technician, due_on=EARLIER), for_whom=office).plans == []


def test_a_plan_that_was_put_out_of_use_shows_none_either(site, office, technician):
    visit = visited(site, office, technician)
    retire_plan(site.plans.get().pk, by=office)

    assert report_of(visit, for_whom=office).plans == []


@pytest.mark.parametrize("zones", [2, 12])
def test_plans_cost_the_same_for_more(office, technician, zones, django_assert_max_num_queries):
    visit = visited(drawn_site(office, zones=zones), office, technician)

    with django_assert_max_num_queries(18):
        assert report_of(visit, for_whom=office).plans
