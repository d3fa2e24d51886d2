"""Monitors are placed, marked, moved and removed; a number is used once at a site, for ever."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from accounts.models import TrailEntry
from accounts.refusals import Unusable, WrongState
from sites.keeping import Taken
from sites.models import Monitor, SitePlan
from sites.services.monitors import (
    change_monitor,
    mark_monitor,
    move_monitor,
    place_monitor,
    place_monitors,
    print_labels,
    remove_monitor,
)
from sites.services.zones import retire_zone
from tests.builders.sites import PLACED_ON, make_monitor, make_site, make_zone

pytestmark = pytest.mark.django_db
STICKY = Monitor.Kind.STICKY


@pytest.fixture
def zone():
    return make_zone(make_site())


def numbers_of(site):
    return list(site.monitors.order_by("number").values_list("number", flat=True))


class TestPlacing:
    def test_without_a_number_it_gets_the_next(self, office, zone, trail):
        make_monitor(zone, number=7)
        told = trail()

        placed = place_monitor(zone.pk, by=office, kind=STICKY, placed_on=PLACED_ON)

        assert (placed.number, placed.zone, trail()) == (8, zone, [*told, "monitor.placed"])

    def test_a_run_is_placed_in_one_go(self, office, zone, trail):
        told = trail()

        placed = place_monitors(
            zone.pk, by=office, kind=STICKY, placed_on=PLACED_ON, how_many=3, first_number=10
        )

        assert [one.number for one in placed] == numbers_of(zone.site) == [10, 11, 12]
        assert len({one.label_code for one in placed}) == 3
        assert trail() == [*told, "monitors.placed"]

    def test_a_run_with_a_number_in_the_way_places_none(self, office, zone, trail):
        make_monitor(zone, number=11)
        told = trail()

        with pytest.raises(Taken, match=r"monitor 11\. A number is used once") as refusal:
            place_monitors(
                zone.pk, by=office, kind=STICKY, placed_on=PLACED_ON, how_many=3, first_number=10
            )

        assert refusal.value.facts["taken"] == [11]
        assert (numbers_of(zone.site), trail()) == ([11], told)

    def test_the_number_of_a_removed_one_stays_taken(self, office, zone):
        gone = make_monitor(zone, number=4)
        remove_monitor(gone.pk, by=office, on=PLACED_ON, reason="Crushed")

        with pytest.raises(Taken, match="5 is free"):
            place_monitor(zone.pk, by=office, kind=STICKY, placed_on=PLACED_ON, number=4)

    def test_another_site_counts_for_itself(self, office, zone):
        make_monitor(zone, number=4)
        elsewhere = make_zone(make_site())

        assert place_monitor(elsewhere.pk, by=office, kind=STICKY, placed_on=PLACED_ON, number=4).pk

    @pytest.mark.parametrize("how_many", [0, 201])
    def test_a_run_has_sensible_ends(self, office, zone, how_many):
        with pytest.raises(Unusable, match="1 to 200"):
            place_monitors(zone.pk, by=office, kind=STICKY, placed_on=PLACED_ON, how_many=how_many)

    @pytest.mark.parametrize("facts", [{"kind": "gadget"}, {"number": 0}])
    def test_what_is_no_monitor_is_refused(self, office, zone, facts):
        with pytest.raises(Unusable):
            place_monitor(zone.pk, by=office, **{"kind": STICKY, "placed_on": PLACED_ON, **facts})

        assert not Monitor.objects.exists()

    def test_none_is_placed_tomorrow(self, office, zone):
        tomorrow = zone.site.day_of(timezone.now()) + timedelta(days=1)

        with pytest.raises(Unusable, match="has not come yet"):
            place_monitor(zone.pk, by=office, kind=STICKY, placed_on=tomorrow)

    def test_none_is_placed_off_the_walk(self, office, zone):
        retire_zone(zone.pk, by=office, reason="Walled up")

        with pytest.raises(WrongState, match="bring it back first"):
            place_monitor(zone.pk, by=office, kind=STICKY, placed_on=PLACED_ON)


class TestMoving:
    def test_it_stands_elsewhere_and_leaves_the_plan(self, office, zone, trail):
        monitor = make_monitor(zone, place="Under the sink")
        plan = make_plan(zone.site)
        mark_monitor(monitor.pk, by=office, plan_id=plan.pk, x=0.5, y=0.25)
        bar, told = make_zone(zone.site, name="Bar"), trail()

        move_monitor(monitor.pk, by=office, zone_id=bar.pk, place="Behind the cooler")

        monitor.refresh_from_db()
        assert (monitor.zone, monitor.place, monitor.plan, monitor.x) == (
            bar,
            "Behind the cooler",
            None,
            None,
        )
        changed = TrailEntry.objects.get(verb="monitor.moved").facts["changed"]
        assert changed["zone"] == [zone.name, "Bar"]
        assert trail() == [*told, "monitor.moved"]

    def test_where_it_stands_already_is_no_move(self, office, zone, trail):
        monitor = make_monitor(zone, place="Under the sink")
        told = trail()

        move_monitor(monitor.pk, by=office, zone_id=zone.pk, place="Under the sink")

        assert trail() == told

    def test_it_does_not_move_to_another_site(self, office, zone):
        monitor = make_monitor(zone)

        with pytest.raises(Unusable, match="another site"):
            move_monitor(monitor.pk, by=office, zone_id=make_zone(make_site()).pk, place="")

    def test_a_removed_one_does_not_move(self, office, zone):
        monitor = make_monitor(zone, removed_on=date(2026, 2, 1))

        with pytest.raises(WrongState, match="was removed on 1 Feb 2026"):
            move_monitor(monitor.pk, by=office, zone_id=zone.pk, place="Elsewhere")


def make_plan(site):
    return SitePlan.objects.create(
        site=site, title="Ground floor", mime="image/png", sha256="0" * 64, width=800, height=600
    )


class TestMarking:
    def test_a_mark_comes_and_goes(self, office, zone, trail):
        monitor, plan = make_monitor(zone), make_plan(zone.site)
        told = trail()

        mark_monitor(monitor.pk, by=office, plan_id=plan.pk, x=0.5, y=0.123456)
        monitor.refresh_from_db()
        assert (monitor.plan, monitor.x, monitor.y) == (plan, 0.5, 0.1235)

        mark_monitor(monitor.pk, by=office, plan_id=None)
        monitor.refresh_from_db()
        assert (monitor.plan, monitor.x, monitor.y) == (None, None, None)
        assert trail() == [*told, "monitor.marked", "monitor.marked"]

    @pytest.mark.parametrize(("x", "y"), [(1.2, 0.5), (0.5, -0.1), (float("nan"), 0.5)])
    def test_a_mark_beside_the_plan_is_refused(self, office, zone, x, y):
        monitor = make_monitor(zone)

        with pytest.raises(Unusable, match="outside the plan"):
            mark_monitor(monitor.pk, by=office, plan_id=make_plan(zone.site).pk, x=x, y=y)

    def test_the_plan_of_another_site_is_refused(self, office, zone):
        with pytest.raises(Unusable, match="no such plan"):
            mark_monitor(
                make_monitor(zone).pk, by=office, plan_id=make_plan(make_site()).pk, x=0.5, y=0.5
            )


class TestCorrecting:
    def test_what_was_wrong_is_told_with_old_and_new(self, office, zone):
        monitor = make_monitor(zone, number=1)

        change_monitor(monitor.pk, by=office, number=2, kind=Monitor.Kind.INDICATOR)

        facts = TrailEntry.objects.get(verb="monitor.changed").facts
        assert facts == {"changed": {"number": [1, 2], "kind": ["sticky", "indicator"]}}

    def test_a_number_in_use_is_taken(self, office, zone):
        make_monitor(zone, number=1)
        other = make_monitor(zone, number=2)

        with pytest.raises(Taken):
            change_monitor(other.pk, by=office, number=1)


class TestRemoving:
    def test_it_no_longer_stands_and_the_reason_is_told(self, office, zone):
        monitor = make_monitor(zone)

        remove_monitor(monitor.pk, by=office, on=date(2026, 3, 1), reason="Area rebuilt")

        monitor.refresh_from_db()
        assert monitor.removed_on == date(2026, 3, 1)
        facts = TrailEntry.objects.get(verb="monitor.removed").facts
        assert facts == {"on": "2026-03-01", "reason": "Area rebuilt"}

    def test_it_is_not_removed_before_it_was_placed(self, office, zone):
        with pytest.raises(Unusable, match="removed before it is placed"):
            remove_monitor(make_monitor(zone).pk, by=office, on=date(2025, 1, 1), reason="Wrong")

    def test_it_is_not_removed_twice(self, office, zone):
        monitor = make_monitor(zone)
        remove_monitor(monitor.pk, by=office, on=date(2026, 3, 1), reason="Area rebuilt")

        with pytest.raises(WrongState, match="was removed"):
            remove_monitor(monitor.pk, by=office, on=date(2026, 3, 2), reason="Again")


class TestLabels:
    def test_the_chosen_ones_come_by_number_and_it_is_told(self, office, zone, trail):
        second, first = make_monitor(zone, number=2), make_monitor(zone, number=1)
        told = trail()

        chosen = print_labels(zone.site_id, by=office, monitor_ids=[second.pk, first.pk])

        assert (chosen, trail()) == ([first, second], [*told, "labels.printed"])

    def test_none_that_stands_elsewhere_or_no_longer_is_printed(self, office, zone):
        elsewhere = make_monitor(make_zone(make_site()))
        gone = make_monitor(zone, removed_on=date(2026, 3, 1))

        for ids in ([], [elsewhere.pk], [gone.pk]):
            with pytest.raises(Unusable, match="stand at this site"):
                print_labels(zone.site_id, by=office, monitor_ids=ids)
