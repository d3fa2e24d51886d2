"""What was due against what was looked at: nothing is rounded up, nothing counted twice."""

from datetime import date, timedelta
from uuid import uuid4

import pytest

from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import local, make_visit
from visits.coverage import (
    Coverage,
    DueZone,
    Said,
    Tally,
    as_counts,
    coverage,
    from_counts,
)
from visits.queries.places import coverage_now
from visits.services.recording import (
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    record_finding,
    record_looks,
    record_not_reached,
    record_readings,
)

A, B, C, M, N, ZONE, EMPTY = (uuid4() for _ in range(7))
KITCHEN = DueZone(ZONE, "Kitchen", "kitchen", "within", checkpoints=(A, B, C), monitors=(M, N))


@pytest.mark.parametrize(
    ("said", "checkpoints", "monitors"),
    [
        pytest.param(Said(), Tally(3, 0, 0), Tally(2, 0, 0), id="nothing said"),
        pytest.param(
            Said(looked=frozenset({A, B, C}), read=frozenset({M, N})),
            Tally(3, 3, 0),
            Tally(2, 2, 0),
            id="everything",
        ),
        pytest.param(
            Said(looked=frozenset({A}), not_reached=frozenset({B, M})),
            Tally(3, 1, 1),
            Tally(2, 0, 1),
            id="some of each",
        ),
        pytest.param(
            Said(looked=frozenset({A}), read=frozenset({M}), not_reached=frozenset({ZONE})),
            Tally(3, 1, 2),
            Tally(2, 1, 1),
            id="the whole zone speaks for the rest",
        ),
        pytest.param(
            Said(looked=frozenset({A, uuid4()}), read=frozenset({uuid4()})),
            Tally(3, 1, 0),
            Tally(2, 0, 0),
            id="places that were not due add nothing",
        ),
        pytest.param(
            Said(looked=frozenset({A}), not_reached=frozenset({A})),
            Tally(3, 1, 0),
            Tally(2, 0, 0),
            id="looked at counts once",
        ),
    ],
)
def test_a_zone_is_counted(said, checkpoints, monitors):
    found = coverage([KITCHEN], said)

    assert (found.checkpoints, found.monitors) == (checkpoints, monitors)
    assert found.all.due == 5
    assert found.all.open == found.all.due - found.all.looked - found.all.not_reached


@pytest.mark.parametrize(
    ("tally", "percent"),
    [(Tally(), None), (Tally(3, 3), 100), (Tally(1000, 999), 99), (Tally(3, 2), 66), (Tally(3), 0)],
)
def test_the_share_is_never_rounded_up(tally, percent):
    assert tally.percent == percent


def test_zones_keep_their_walking_order():
    cellar = DueZone(EMPTY, "Cellar", "cellar", "within")

    assert [zone.name for zone in coverage([cellar, KITCHEN], Said()).zones] == [
        "Cellar",
        "Kitchen",
    ]


def test_the_totals_come_back_as_they_were_kept():
    found = coverage([KITCHEN], Said(looked=frozenset({A}), not_reached=frozenset({M})))

    kept = from_counts(as_counts(found))

    assert (kept.checkpoints, kept.monitors) == (found.checkpoints, found.monitors)
    assert from_counts({}) == Coverage()


# --- from the database ----------------------------------------------------------------------------


@pytest.fixture
def visit(office, technician):
    return make_visit(
        state="under_way",
        zones=1,
        by=office,
        technician=technician,
        due_on=date(2026, 11, 10),
    )


@pytest.mark.django_db
def test_only_what_stood_within_our_remit_on_the_day_is_due(visit):
    on = visit.booked_on
    zone = visit.site.zones.get()
    make_monitor(zone, placed_on=on - timedelta(1))
    make_monitor(zone, placed_on=on)  # placed on this visit: read on the next
    make_monitor(zone, removed_on=on)
    make_monitor(make_zone(visit.site, boundary="shared", checkpoints=False))
    make_monitor(make_zone(visit.site, boundary="outside"))
    make_zone(visit.site, retired_on=on)
    zone.checkpoints.filter(height="low").update(retired_on=on)
    zone.checkpoints.filter(height="reach").update(retired_on=on + timedelta(1))

    found = coverage_now(visit)

    assert (found.checkpoints, found.monitors) == (Tally(due=2), Tally(due=2))
    assert [zone.boundary for zone in found.zones].count("outside") == 1


@pytest.mark.django_db
def test_a_finding_looks_at_its_checkpoint_and_a_blocked_monitor_was_not_read(visit, technician):
    zone = visit.site.zones.get()
    low, reach, overhead = zone.checkpoints.order_by("walk_order")
    sound, blocked = make_monitor(zone), make_monitor(zone)
    at = {"by": technician, "at": local(visit, 9, 5)}

    record_looks(visit.pk, **at, checkpoint_ids=[low.pk])
    record_finding(
        visit.pk, **at, finding=FindingGiven(zone.pk, kind="signs", checkpoint_id=reach.pk)
    )
    record_not_reached(
        visit.pk, **at, not_reached=NotReachedGiven("height", "us", checkpoint_id=overhead.pk)
    )
    record_readings(
        visit.pk,
        **at,
        readings=[
            ReadingGiven(sound.pk, condition="missing"),
            ReadingGiven(blocked.pk, condition="blocked"),
        ],
    )

    found = coverage_now(visit)
    assert (found.checkpoints, found.monitors) == (Tally(3, 2, 1), Tally(2, 1, 1))
    assert found.all.open == 0


@pytest.mark.django_db
@pytest.mark.parametrize("zones", [2, 20])
def test_counting_costs_the_same_at_any_size(office, django_assert_num_queries, zones):
    visit = make_visit(make_site(zones=zones, monitors=2), state="under_way", by=office)

    with django_assert_num_queries(7):
        coverage_now(visit)
