"""Zones are walked in order; each begins with the places usually looked at in its kind."""

from datetime import date
from uuid import uuid4

import pytest

from accounts.refusals import Changed, Unusable, WrongState
from sites.keeping import Taken
from sites.models import Height, SitePlan, Zone
from sites.services.zones import (
    add_checkpoint,
    add_zone,
    bring_back_zone,
    change_checkpoint,
    change_zone,
    draw_zone,
    order_zones,
    retire_checkpoint,
    retire_zone,
)
from sites.starting_checkpoints import STARTING_CHECKPOINTS, starting_places
from tests.builders.sites import make_monitor, make_site, make_zone

pytestmark = pytest.mark.django_db
SQUARE = [(0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)]


def make_plan(site):
    return SitePlan.objects.create(
        site=site, title="Ground floor", mime="image/png", sha256="0" * 64, width=800, height=600
    )


def walk_of(site):
    zones = site.zones.filter(retired_on=None).order_by("walk_order", "pk")
    return [zone.name for zone in zones]


class TestTheStartingSet:
    @pytest.mark.parametrize("kind", Zone.Kind.values)
    def test_every_kind_has_places_at_all_three_heights(self, kind):
        heights = [height for height, _ in starting_places(kind)]

        assert set(heights) == set(Height.values)
        assert heights == sorted(heights, key=Height.values.index)

    @pytest.mark.parametrize("kind", Zone.Kind.values)
    def test_no_place_is_named_twice_and_each_fits_its_field(self, kind):
        labels = [label.casefold() for _, label in starting_places(kind)]

        assert len(set(labels)) == len(labels)
        assert max(map(len, labels)) <= 120

    def test_no_kind_is_forgotten(self):
        assert set(STARTING_CHECKPOINTS) == set(Zone.Kind.values)

    # Where German cockroaches harbour. Common practice, no source.
    @pytest.mark.parametrize(
        "words",
        [
            "castors",
            "motor housings",
            "dispensers",
            "shelf and wall",
            "hollow legs",
            "gauge plates",
        ],
    )
    def test_a_kitchen_is_looked_at_where_cockroaches_harbour(self, words):
        labels = " ".join(label.lower() for _, label in starting_places(Zone.Kind.KITCHEN))

        assert words in labels

    # What a perimeter is treated and looked at for. Common practice, no source.
    @pytest.mark.parametrize("words", ["thresholds", "roller doors", "lights", "brickwork"])
    def test_a_perimeter_is_looked_at_where_pests_enter(self, words):
        labels = " ".join(label.lower() for _, label in starting_places(Zone.Kind.PERIMETER))

        assert words in labels


class TestZones:
    def test_a_zone_comes_last_with_its_kinds_places(self, office, trail):
        site = make_site(zones=1)
        told = trail()

        zone = add_zone(site.pk, by=office, name="Main kitchen", kind=Zone.Kind.KITCHEN)

        assert walk_of(site)[-1] == "Main kitchen"
        assert [(one.height, one.label) for one in zone.checkpoints.order_by("walk_order")] == (
            starting_places(Zone.Kind.KITCHEN)
        )
        assert trail() == [*told, "zone.added"]

    def test_it_may_bring_its_own_places(self, office):
        zone = add_zone(
            make_site().pk, by=office, name="Bar", kind="bar", places=[("low", "Under the cooler")]
        )

        assert [one.label for one in zone.checkpoints.all()] == ["Under the cooler"]

    @pytest.mark.parametrize(
        "places",
        [
            [("low", "Twice"), ("reach", "twice")],
            [("sideways", "A place")],
            [("low", "  ")],
            [("low", "x" * 121)],
        ],
        ids=["twice", "no height", "no words", "too many words"],
    )
    def test_places_that_make_no_sense_are_refused_with_the_zone(self, office, places):
        site = make_site()

        with pytest.raises(Unusable):
            add_zone(site.pk, by=office, name="Bar", kind="bar", places=places)

        assert not site.zones.exists()

    def test_a_name_is_used_once_at_a_site(self, office):
        site = make_site()
        add_zone(site.pk, by=office, name="Kitchen", kind="kitchen")

        with pytest.raises(Taken, match="a zone with this name"):
            add_zone(site.pk, by=office, name="KITCHEN", kind="kitchen")

    def test_a_closed_site_gets_none(self, office):
        site = make_site(closed_on=date(2026, 1, 1))

        with pytest.raises(WrongState):
            add_zone(site.pk, by=office, name="Kitchen", kind="kitchen")

    def test_a_boundary_is_changed(self, office, trail):
        zone = make_zone(make_site())
        told = trail()

        change_zone(zone.pk, by=office, boundary="shared", boundary_note="The roof is the owner's.")

        zone.refresh_from_db()
        assert (zone.boundary, trail()) == ("shared", [*told, "zone.changed"])


class TestTheWalk:
    def test_it_is_put_in_order(self, office, trail):
        site = make_site()
        first, second, third = (make_zone(site, name=name) for name in ("A", "B", "C"))
        told = trail()

        order_zones(site.pk, by=office, zone_ids=[third.pk, first.pk, second.pk])

        assert walk_of(site) == ["C", "A", "B"]
        assert trail() == [*told, "zones.ordered"]

    def test_the_same_order_again_leaves_no_entry(self, office, trail):
        site = make_site(zones=2)
        told = trail()

        order_zones(site.pk, by=office, zone_ids=[zone.pk for zone in site.zones.order_by("pk")])

        assert trail() == told

    def test_an_order_of_other_zones_than_there_are_is_refused(self, office):
        site = make_site(zones=2)
        one, two = site.zones.order_by("walk_order")

        for ids in ([one.pk], [one.pk, two.pk, uuid4()], [one.pk, one.pk]):
            with pytest.raises(Changed, match="have changed meanwhile"):
                order_zones(site.pk, by=office, zone_ids=ids)

    def test_a_zone_goes_off_the_walk_and_comes_back_to_its_place(self, office, trail):
        site = make_site()
        for name in "ABC":
            make_zone(site, name=name)
        told, zone = trail(), site.zones.get(name="B")

        retire_zone(zone.pk, by=office, reason="Walled up")
        assert walk_of(site) == ["A", "C"]
        bring_back_zone(zone.pk, by=office)

        assert walk_of(site) == ["A", "B", "C"]
        assert trail() == [*told, "zone.retired", "zone.brought_back"]

    def test_a_zone_with_monitors_stays(self, office):
        zone = make_zone(make_site())
        make_monitor(zone)

        with pytest.raises(WrongState, match="still has 1 monitor;"):
            retire_zone(zone.pk, by=office, reason="Walled up")

    def test_what_is_done_is_not_done_twice(self, office):
        zone = make_zone(make_site())
        with pytest.raises(WrongState, match="on the walk already"):
            bring_back_zone(zone.pk, by=office)
        retire_zone(zone.pk, by=office, reason="Walled up")

        with pytest.raises(WrongState, match="was retired"):
            retire_zone(zone.pk, by=office, reason="Walled up")


class TestCheckpoints:
    def test_one_is_added_last_at_its_height(self, office, trail):
        zone = make_zone(make_site())
        told = trail()

        added = add_checkpoint(zone.pk, by=office, height="low", label="Under the fryer")

        low = zone.checkpoints.filter(height="low").order_by("walk_order")
        assert (low.last(), trail()) == (added, [*told, "checkpoint.added"])

    def test_one_is_changed_and_retired(self, office, trail):
        place = make_zone(make_site()).checkpoints.first()
        told = trail()

        change_checkpoint(place.pk, by=office, label="Behind the fryer")
        retire_checkpoint(place.pk, by=office)

        place.refresh_from_db()
        assert (place.label, place.retired_on is None) == ("Behind the fryer", False)
        assert trail() == [*told, "checkpoint.changed", "checkpoint.retired"]

    def test_the_words_of_a_retired_one_bring_it_back(self, office):
        """Its past stays with it, and the words stand once in the zone."""
        zone = make_zone(make_site())
        place = add_checkpoint(zone.pk, by=office, height="low", label="Under the fryer")
        retire_checkpoint(place.pk, by=office)

        again = add_checkpoint(zone.pk, by=office, height="reach", label="under the fryer")

        assert (again.pk, again.height, again.retired_on) == (place.pk, "reach", None)

    def test_the_words_of_one_on_the_walk_are_taken(self, office):
        zone = make_zone(make_site())
        add_checkpoint(zone.pk, by=office, height="low", label="Under the fryer")

        with pytest.raises(Taken, match="a checkpoint with these words"):
            add_checkpoint(zone.pk, by=office, height="reach", label="Under the FRYER")


class TestDrawing:
    def test_an_outline_is_drawn_and_taken_away(self, office, trail):
        zone = make_zone(make_site())
        plan, told = make_plan(zone.site), trail()

        draw_zone(zone.pk, by=office, plan_id=plan.pk, corners=SQUARE)
        zone.refresh_from_db()
        assert (zone.plan, zone.outline[1]) == (plan, [0.9, 0.1])

        draw_zone(zone.pk, by=office, plan_id=None)
        zone.refresh_from_db()
        assert (zone.plan, zone.outline) == (None, [])
        assert trail() == [*told, "zone.placed", "zone.placed"]

    @pytest.mark.parametrize(
        "corners",
        [SQUARE[:2], SQUARE * 16, [*SQUARE, (1.01, 0.5)], [*SQUARE, (0.5, -0.1)]],
        ids=["two corners", "sixty-four", "beyond the edge", "above the edge"],
    )
    def test_an_outline_that_is_none_is_refused(self, office, corners):
        zone = make_zone(make_site())

        with pytest.raises(Unusable):
            draw_zone(zone.pk, by=office, plan_id=make_plan(zone.site).pk, corners=corners)

    def test_the_plan_of_another_site_is_refused_like_none(self, office):
        zone = make_zone(make_site())
        other = make_plan(make_site())

        for plan_id in (other.pk, uuid4()):
            with pytest.raises(Unusable, match="no such plan"):
                draw_zone(zone.pk, by=office, plan_id=plan_id, corners=SQUARE)
