"""The technician says what was looked at, read, found, treated and not reached."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Refused, Unusable, WrongState
from sites.models import Checkpoint, Monitor, Zone
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.compliance import make_photo
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import (
    local,
    make_competence,
    make_competence_kind,
    make_product,
    make_visit,
    treatment_given,
)
from visits.models import (
    Finding,
    Look,
    NotReached,
    Pest,
    Reading,
    ReadingCount,
    Treatment,
    Visit,
)
from visits.services import recording
from visits.services.booking import call_off_visit
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    apply_treatment,
    record_finding,
    record_looks,
    record_not_reached,
    record_readings,
    remove_finding,
    remove_look,
    remove_not_reached,
    remove_reading,
    remove_treatment,
    set_contact,
    start_visit,
)
from visits.services.writing import Unknown

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(office, technician) -> Visit:
    return make_visit(state="under_way", zones=2, monitors=2, by=office, technician=technician)


@pytest.fixture
def say(visit, technician):
    """Calls a verb on the visit as its technician, a minute later each time."""
    minute = iter(range(1, 60))

    def said(verb, **given):
        at = given.pop("at", None) or local(visit, 9, next(minute))
        return verb(visit.pk, by=technician, at=at, **given)

    return said


def zones_of(visit) -> list[Zone]:
    return list(visit.site.zones.order_by("walk_order", "pk"))


def a_checkpoint(visit) -> Checkpoint:
    return Checkpoint.objects.filter(zone__site=visit.site).order_by("pk").first()


def a_monitor(visit) -> Monitor:
    return visit.site.monitors.order_by("number").first()


def a_finding(place: Checkpoint, **facts) -> FindingGiven:
    return FindingGiven(
        **{"zone_id": place.zone_id, "checkpoint_id": place.pk, "kind": "signs", **facts}
    )


def locked_door(**place) -> NotReachedGiven:
    return NotReachedGiven(reason="locked", whose_move="client", **place)


def stands(visit) -> tuple:
    """What a refusal must leave as it was."""
    visit.refresh_from_db()
    rows = [Look, Reading, ReadingCount, Finding, NotReached, Treatment, TrailEntry]
    return visit.state, visit.version, visit.started_at, *(one.objects.count() for one in rows)


# --- starting -------------------------------------------------------------------------------------


def test_a_booked_visit_goes_under_way_by_the_clock_of_its_technician(office, technician, trail):
    visit = make_visit(state="booked", by=office, technician=technician)
    at = local(visit, 8, 55)

    start_visit(visit.pk, by=technician, at=at)

    visit.refresh_from_db()
    assert (visit.state, visit.started_at) == ("under_way", at)
    assert TrailEntry.objects.get(verb="visit.started").at == at


def test_starting_twice_changes_nothing(visit, say):
    before = stands(visit)

    say(start_visit, at=local(visit, 9, 30))

    assert stands(visit) == before


def test_a_start_that_comes_late_sets_the_clock_back_to_the_tap(visit, say):
    say(start_visit, at=local(visit, 8, 40))

    visit.refresh_from_db()
    assert visit.started_at == local(visit, 8, 40)


def test_a_record_on_a_booked_visit_starts_it(office, technician, trail):
    visit = make_visit(state="booked", zones=1, by=office, technician=technician)

    record_looks(
        visit.pk, by=technician, at=local(visit, 9), checkpoint_ids=[a_checkpoint(visit).pk]
    )

    visit.refresh_from_db()
    assert (visit.state, visit.started_at) == ("under_way", local(visit, 9))
    assert trail()[-2:] == ["visit.started", "visit.recorded"]


# --- the last word stands -------------------------------------------------------------------------


def words_at(visit, place: Checkpoint) -> list[str]:
    """What the visit says of a checkpoint."""
    return [
        word
        for word, rows in (
            ("look", Look.objects),
            ("finding", Finding.objects),
            ("not reached", NotReached.objects),
        )
        for _ in rows.filter(visit=visit, checkpoint=place)
    ]


SAYINGS = {
    "look": lambda place: (record_looks, {"checkpoint_ids": [place.pk]}),
    "finding": lambda place: (record_finding, {"finding": a_finding(place)}),
    "not reached": lambda place: (
        record_not_reached,
        {"not_reached": locked_door(checkpoint_id=place.pk)},
    ),
}


@pytest.mark.parametrize("last", SAYINGS)
@pytest.mark.parametrize("first", SAYINGS)
def test_the_last_word_on_a_checkpoint_stands(visit, say, first, last):
    place = a_checkpoint(visit)
    for word in (first, last):
        verb, given = SAYINGS[word](place)
        say(verb, **given)

    told = TrailEntry.objects.filter(verb="visit.recorded").latest("pk").facts
    if first == last == "finding":
        assert words_at(visit, place) == ["finding", "finding"]  # two things seen in one place
    else:
        assert words_at(visit, place) == [last]
    assert ("replaced" in told) == (first != last)


def test_a_reading_takes_not_reached_off_its_monitor_and_the_other_way_round(visit, say):
    monitor = a_monitor(visit)
    say(record_not_reached, not_reached=locked_door(monitor_id=monitor.pk))

    say(record_readings, readings=[ReadingGiven(monitor.pk)])
    assert not NotReached.objects.exists()

    say(record_not_reached, not_reached=locked_door(monitor_id=monitor.pk))
    assert not Reading.objects.exists()


def test_a_zone_not_reached_leaves_what_was_said_of_places_in_it(visit, say):
    place = a_checkpoint(visit)
    say(record_looks, checkpoint_ids=[place.pk])

    say(record_not_reached, not_reached=locked_door(zone_id=place.zone_id))

    assert words_at(visit, place) == ["look"]
    assert NotReached.objects.get().zone_id == place.zone_id


def test_saying_the_same_again_changes_what_was_said_and_adds_no_row(visit, say):
    place, monitor = a_checkpoint(visit), a_monitor(visit)
    for _ in range(2):
        say(record_looks, checkpoint_ids=[place.pk])
        say(record_readings, readings=[ReadingGiven(monitor.pk, counts={"german-cockroach": 3})])
        say(record_not_reached, not_reached=locked_door(zone_id=place.zone_id))

    assert (Look.objects.count(), Reading.objects.count(), ReadingCount.objects.count()) == (
        1,
        1,
        1,
    )
    assert NotReached.objects.count() == 1


def test_every_word_can_be_taken_back(visit, say, technician):
    zone, place, monitor = zones_of(visit)[1], a_checkpoint(visit), a_monitor(visit)
    product = make_product()
    say(record_looks, checkpoint_ids=[place.pk])
    say(record_readings, readings=[ReadingGiven(monitor.pk, counts={"house-mouse": 1})])
    finding = say(record_finding, finding=FindingGiven(zone_id=zone.pk, kind="harbourage"))
    say(record_not_reached, not_reached=locked_door(zone_id=zone.pk))
    treatment = say(apply_treatment, treatment=treatment_given(zone, product))

    assert say(remove_look, checkpoint_id=place.pk)
    assert say(remove_reading, monitor_id=monitor.pk)
    assert say(remove_finding, finding_id=finding.pk)
    assert say(remove_not_reached, zone_id=zone.pk)
    assert say(remove_treatment, treatment_id=treatment.pk)

    assert stands(visit)[3:9] == (0, 0, 0, 0, 0, 0)


def test_taking_back_what_was_never_said_changes_nothing(visit, say):
    before = stands(visit)

    assert not say(remove_look, checkpoint_id=a_checkpoint(visit).pk)
    assert not say(remove_finding, finding_id=uuid4())

    assert stands(visit) == before


# --- readings -------------------------------------------------------------------------------------


def test_a_reading_counts_its_days_from_the_reading_before(visit, say):
    monitor = a_monitor(visit)
    Reading.objects.create(monitor=monitor, source="import", read_on=date(2026, 11, 24))

    (reading,) = say(
        record_readings,
        readings=[ReadingGiven(monitor.pk, counts={"german-cockroach": 4, "house-mouse": 0})],
    )

    assert (reading.read_on, reading.stood_days) == (date(2026, 12, 8), 14)
    assert list(reading.counts.values_list("pest__slug", "count")) == [("german-cockroach", 4)]


def test_a_first_reading_counts_its_days_from_the_placing(visit, say):
    monitor = a_monitor(visit)  # placed on 5 January

    (reading,) = say(record_readings, readings=[ReadingGiven(monitor.pk)])

    assert reading.stood_days == (date(2026, 12, 8) - date(2026, 1, 5)).days


def test_a_phone_whose_clock_is_before_the_placing_gives_no_days(visit, say):
    monitor = a_monitor(visit)

    (reading,) = say(
        record_readings, readings=[ReadingGiven(monitor.pk)], at=local(visit, 9) - timedelta(600)
    )

    assert reading.stood_days is None


def test_a_reading_is_of_the_day_on_the_sites_own_calendar(office, technician):
    """Eight in the evening in London is already the next morning in Auckland."""
    site = make_site(zones=1, monitors=1, time_zone="Pacific/Auckland")
    visit = make_visit(site, state="booked", by=office, technician=technician)
    evening = datetime(2026, 12, 8, 20, 0, tzinfo=ZoneInfo("Europe/London"))

    (reading,) = record_readings(
        visit.pk, by=technician, at=evening, readings=[ReadingGiven(a_monitor(visit).pk)]
    )

    assert reading.read_on == date(2026, 12, 9)


def test_a_reading_of_another_sites_monitor_is_refused(visit, say):
    stranger = make_monitor(make_zone(make_site()))
    before = stands(visit)

    with pytest.raises(Unknown, match="does not stand at this site"):
        say(record_readings, readings=[ReadingGiven(stranger.pk)])

    assert stands(visit) == before


def test_an_unknown_pest_is_named(visit, say):
    with pytest.raises(Unknown, match="no pest “kraken”"):
        say(record_readings, readings=[ReadingGiven(a_monitor(visit).pk, counts={"kraken": 1})])


def test_many_readings_cost_as_many_queries_as_two(
    office, technician, django_assert_max_num_queries
):
    for monitors in (2, 20):
        visit = make_visit(
            state="under_way", zones=1, monitors=monitors, by=office, technician=technician
        )
        given = [
            ReadingGiven(one, counts={"german-cockroach": 1})
            for one in visit.site.monitors.values_list("pk", flat=True)
        ]
        with django_assert_max_num_queries(18):
            record_readings(visit.pk, by=technician, at=local(visit, 9, 5), readings=given)


# --- findings -------------------------------------------------------------------------------------


def test_a_finding_keeps_its_photos_in_order_and_its_remedy(visit, say, technician):
    place = a_checkpoint(visit)
    photos = [make_photo(visit.site), make_photo(visit.site)]

    finding = say(
        record_finding,
        finding=a_finding(
            place,
            kind="entry_point",
            pest="house-mouse",
            remedy_kind="proofing",
            remedy="Fit a bristle strip.",
            whose_move="client",
            photo_ids=[photos[1].pk, photos[0].pk],
        ),
    )

    finding.refresh_from_db()
    assert (finding.height, finding.pest.slug) == (place.height, "house-mouse")
    shown = finding.shown_by.order_by("position").values_list("photo_id", flat=True)
    assert list(shown) == [photos[1].pk, photos[0].pk]


def test_the_same_id_changes_the_finding(visit, say):
    place, finding_id = a_checkpoint(visit), uuid4()
    say(record_finding, finding=a_finding(place, note="Some"), finding_id=finding_id)

    say(record_finding, finding=a_finding(place, note="Many"), finding_id=finding_id)

    assert [(one.pk, one.note) for one in Finding.objects.all()] == [(finding_id, "Many")]


def test_a_remedy_without_an_owner_is_refused(visit, say):
    with pytest.raises(Unusable, match="whose move"):
        say(record_finding, finding=a_finding(a_checkpoint(visit), remedy_kind="proofing"))

    assert not Finding.objects.exists()


def test_an_id_of_another_visits_finding_is_refused(visit, say, office, technician):
    other = make_visit(state="under_way", zones=1, by=office, technician=technician)
    taken = record_finding(
        other.pk,
        by=technician,
        at=local(other, 9),
        finding=FindingGiven(zone_id=zones_of(other)[0].pk, kind="signs"),
    )

    with pytest.raises(Refused, match="Another visit"):
        say(record_finding, finding=a_finding(a_checkpoint(visit)), finding_id=taken.pk)

    taken.refresh_from_db()
    assert taken.visit_id == other.pk


def test_a_photo_of_another_site_is_refused(visit, say):
    with pytest.raises(Unknown, match="photo"):
        say(
            record_finding,
            finding=a_finding(a_checkpoint(visit), photo_ids=[make_photo(make_site()).pk]),
        )


@pytest.mark.parametrize("wrong", ["zone", "checkpoint"])
def test_a_place_of_another_site_is_refused(visit, say, wrong):
    stranger = make_zone(make_site())
    given = (
        FindingGiven(zone_id=stranger.pk, kind="signs")
        if wrong == "zone"
        else FindingGiven(
            zone_id=zones_of(visit)[0].pk,
            checkpoint_id=stranger.checkpoints.first().pk,
            kind="signs",
        )
    )

    with pytest.raises(Unknown):
        say(record_finding, finding=given)

    assert not Finding.objects.exists()


# --- treatments -----------------------------------------------------------------------------------


def test_a_treatment_keeps_product_and_licence_as_they_stood_that_day(visit, say, technician):
    kind = make_competence_kind(name="Pest control licence")
    make_competence(technician, kind, number="PM-104")
    make_competence(technician, kind, number="PM-99", valid_until=date(2026, 12, 7))
    product = make_product(name="Test gel Q")

    treatment = say(apply_treatment, treatment=treatment_given(zones_of(visit)[0], product))
    product.name = "Renamed"
    product.save()

    treatment.refresh_from_db()
    assert treatment.product_name == "Test gel Q"
    assert treatment.applicator_name == technician.name
    assert treatment.applicator_licence == "Pest control licence PM-104"
    assert (treatment.unit, treatment.re_entry) == ("g", product.label.re_entry)


def test_a_lapsed_licence_and_a_withdrawn_product_do_not_hide_what_was_done(visit, say):
    product = make_product(authorised_until=date(2020, 1, 1))
    product.withdrawn_on = date(2021, 1, 1)
    product.save()

    treatment = say(apply_treatment, treatment=treatment_given(zones_of(visit)[0], product))

    assert treatment.applicator_licence == ""


def test_treatments_are_numbered_by_when_they_began(visit, say):
    zone, product = zones_of(visit)[0], make_product()
    for minute in (30, 10, 20):
        say(
            apply_treatment,
            treatment=treatment_given(
                zone, product, place=f"at {minute}", started_at=local(visit, 9, minute)
            ),
        )

    in_order = Treatment.objects.order_by("position").values_list("position", "place")
    assert list(in_order) == [(1, "at 10"), (2, "at 20"), (3, "at 30")]


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        ({"amount": Decimal(0)}, "how much product"),
        ({"amount": Decimal("1.23456")}, "Amount"),
        ({"area": Decimal(3), "area_unit": ""}, "unit"),
        ({"method": "shouting"}, "Method"),
        ({"target": "kraken"}, "no pest"),
        ({"place": "x" * 201}, "Place"),
    ],
    ids=["nothing used", "five decimals", "area without unit", "method", "pest", "long place"],
)
def test_what_cannot_be_true_of_a_treatment_is_refused(visit, say, facts, says):
    given = treatment_given(zones_of(visit)[0], make_product(), **facts)
    before = stands(visit)

    with pytest.raises(Refused, match=says):
        say(apply_treatment, treatment=given)

    assert stands(visit) == before


def test_a_treatment_that_ends_before_it_begins_is_refused(visit, say):
    given = treatment_given(
        zones_of(visit)[0], make_product(), finished_at=local(visit, 1), place="Oven"
    )

    with pytest.raises(Unusable, match="before it began"):
        say(apply_treatment, treatment=given)


# --- who may, and when ----------------------------------------------------------------------------

CALLS = {
    "start_visit": lambda visit: {},
    "record_looks": lambda visit: {"checkpoint_ids": [a_checkpoint(visit).pk]},
    "remove_look": lambda visit: {"checkpoint_id": a_checkpoint(visit).pk},
    "record_readings": lambda visit: {"readings": [ReadingGiven(a_monitor(visit).pk)]},
    "remove_reading": lambda visit: {"monitor_id": a_monitor(visit).pk},
    "record_finding": lambda visit: {"finding": a_finding(a_checkpoint(visit))},
    "remove_finding": lambda visit: {"finding_id": uuid4()},
    "record_not_reached": lambda visit: {
        "not_reached": locked_door(monitor_id=a_monitor(visit).pk)
    },
    "remove_not_reached": lambda visit: {"monitor_id": a_monitor(visit).pk},
    "apply_treatment": lambda visit: {
        "treatment": treatment_given(zones_of(visit)[0], make_product())
    },
    "remove_treatment": lambda visit: {"treatment_id": uuid4()},
    "set_contact": lambda visit: {"contact": ContactGiven(contact_name="Ana Prior")},
}


@pytest.mark.parametrize("name", CALLS)
@pytest.mark.parametrize("person", [make_office, make_technician, make_manager])
def test_nobody_else_writes_on_a_technicians_visit(visit, name, person):
    given, stranger = CALLS[name](visit), person()
    before = stands(visit)

    with pytest.raises(NotAllowed):
        getattr(recording, name)(visit.pk, by=stranger, at=local(visit, 9, 50), **given)

    assert stands(visit) == before


@pytest.mark.parametrize("name", CALLS)
def test_nothing_is_written_on_a_closed_visit(office, technician, name):
    visit = make_visit(state="closed", zones=1, monitors=1, by=office, technician=technician)
    given = CALLS[name](visit)
    before = stands(visit)

    with pytest.raises(WrongState, match="closed and sealed") as refusal:
        getattr(recording, name)(visit.pk, by=technician, at=local(visit, 11), **given)

    assert refusal.value.code == "visit_closed"
    assert stands(visit) == before


def test_nothing_is_written_on_a_visit_that_was_called_off(office, technician):
    visit = make_visit(state="booked", zones=1, by=office, technician=technician)
    call_off_visit(visit.pk, by=office, reason="The site is shut.")

    with pytest.raises(WrongState, match="called this visit off"):
        record_looks(
            visit.pk, by=technician, at=local(visit, 9), checkpoint_ids=[a_checkpoint(visit).pk]
        )


def test_every_write_leaves_one_entry_and_one_version(visit, say, trail):
    before, entries = visit.version, len(trail())

    say(record_looks, checkpoint_ids=[a_checkpoint(visit).pk])
    say(set_contact, contact=ContactGiven(contact_name="Ana Prior"))

    visit.refresh_from_db()
    assert visit.version == before + 2
    assert trail()[entries:] == ["visit.recorded", "visit.recorded"]


def test_the_usual_pests_are_on_file():
    assert Pest.objects.filter(slug="german-cockroach", group="cockroach").exists()
