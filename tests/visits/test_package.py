"""The day's package: which visits are in it, what it says of each, and what it costs."""

import gzip
import json
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from hashlib import sha256
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from accounts.models import User
from compliance.models import CorrectiveAction
from sites.models import Boundary, Site
from sites.services.contacts import add_contact
from sites.services.monitors import mark_monitor
from sites.services.plans import add_plan, retire_plan
from sites.services.sites import Opening, set_access_windows
from sites.services.zones import draw_zone
from tests.builders.accounts import make_office, make_technician
from tests.builders.compliance import (
    OPTIONS,
    make_action,
    make_closed_visit,
    make_photo_bytes,
)
from tests.builders.phone import Phone
from tests.builders.sites import make_site, make_zone
from tests.builders.visits import (
    local,
    make_product,
    make_visit,
    record_some_of_all,
    treatment_given,
)
from visits.models import ParkedOperation, Pest, Reading, Visit
from visits.queries.package import MOST_PARKED, package_of, tag_of
from visits.services.booking import book_visit, call_off_visit, take_call_out
from visits.services.closing import close_visit
from visits.services.recording import (
    ContactGiven,
    FindingGiven,
    NotReachedGiven,
    ReadingGiven,
    apply_treatment,
    record_readings,
)
from visits.services.sync import apply_operation

pytestmark = pytest.mark.django_db

TODAY = timezone.now().date()
ADDRESS = reverse("visits:package")


@pytest.fixture
def site() -> Site:
    return make_site(zones=2, monitors=1)


@pytest.fixture
def visit(site, office, technician) -> Visit:
    return make_visit(
        site, state="booked", by=office, technician=technician, due_on=TODAY, time=time(9, 30)
    )


@pytest.fixture
def signed_in(client, technician) -> Client:
    client.force_login(technician)
    return client


def packed(visit: Visit) -> dict[str, Any]:
    found = package_of(visit.technician, now=timezone.now(), visit_id=visit.pk)
    return found["visits"][0]


def named(technician: User, **asked: Any) -> list[str]:
    found = package_of(technician, now=timezone.now(), **asked)
    return [one["id"] for one in found["visits"]]


def ids(*visits: Visit) -> list[str]:
    return [str(one.pk) for one in visits]


# --- which visits ---------------------------------------------------------------------------------


def test_it_has_today_and_the_week_after_it(office, technician):
    days = {
        n: make_visit(state="booked", by=office, technician=technician, due_on=TODAY + timedelta(n))
        for n in (-1, 0, 7, 8)
    }
    begun = make_visit(
        state="under_way", by=office, technician=technician, due_on=TODAY - timedelta(3)
    )

    assert named(technician) == ids(begun, days[0], days[7])


def test_what_was_closed_or_called_off_is_in_it_for_its_own_day_only(office, technician):
    mine = {"by": office, "technician": technician}
    closed = [
        make_visit(state="closed", **mine, due_on=TODAY - timedelta(ago), time=time(8, 0))
        for ago in (1, 0)
    ]
    off = [
        make_visit(state="booked", **mine, due_on=TODAY + timedelta(ahead), time=time(9, 0))
        for ahead in (0, 1)
    ]
    for one in off:
        call_off_visit(one.pk, by=office, reason="Kitchen closed for refitting.")

    found = package_of(technician, now=timezone.now())["visits"]

    assert [(one["id"], one["state"]) for one in found] == [
        (str(closed[1].pk), "closed"),
        (str(off[0].pk), "called_off"),
    ]
    assert found[1]["state_reason"] == "Kitchen closed for refitting."
    assert found[0].keys() == found[1].keys()


@pytest.mark.parametrize("state", ["booked", "under_way", "closed"])
@pytest.mark.parametrize(("days", "open_to_them"), [(30, True), (40, False)], ids=["30", "40"])
def test_any_own_visit_can_be_asked_for_while_its_site_is_open_to_them(
    office, technician, state, days, open_to_them
):
    """A site is open for 31 days; what was begun and not closed stays, or it could never be."""
    ahead = days if state == "booked" else -days
    visit = make_visit(
        state=state, by=office, technician=technician, due_on=TODAY + timedelta(ahead)
    )

    expected = ids(visit) if open_to_them or state == "under_way" else []

    assert named(technician, visit_id=visit.pk) == expected


def test_it_has_nothing_of_other_technicians(visit, signed_in, office):
    other = make_visit(visit.site, state="booked", by=office, due_on=TODAY)

    answer = signed_in.get(ADDRESS)

    assert str(other.pk) not in answer.content.decode()
    assert signed_in.get(ADDRESS, {"visit": other.pk}).status_code == 404
    assert signed_in.get(ADDRESS, {"visit": "x"}).status_code == 404


def test_the_day_is_that_of_the_technicians_own_calendar(office):
    """At noon in London it is tomorrow on Kiritimati, fourteen hours ahead of UTC."""
    far = make_technician(time_zone="Pacific/Kiritimati")
    make_visit(state="booked", by=office, technician=far, due_on=date(2026, 12, 8))

    found = package_of(far, now=datetime(2026, 12, 8, 12, 0, tzinfo=UTC))

    assert found["today"] == "2026-12-09"
    assert found["visits"] == []
    assert found["person"] == {
        "id": str(far.pk),
        "name": far.name,
        "time_zone": "Pacific/Kiritimati",
    }


# --- what it says of a site -----------------------------------------------------------------------


def test_it_has_the_walk_in_order_with_the_last_readings(visit, site):
    monitor = site.monitors.order_by("number").first()
    Reading.objects.create(monitor=monitor, source="import", read_on=TODAY - timedelta(40))
    reading = Reading.objects.create(
        monitor=monitor, source="import", read_on=TODAY - timedelta(10)
    )
    reading.counts.create(pest=Pest.objects.get(slug="house-mouse"), count=2)
    make_zone(site, walk_order=9, boundary=Boundary.OUTSIDE, boundary_note="Next door's.")

    zones = packed(visit)["zones"]

    assert [place["height"] for place in zones[0]["checkpoints"]] == ["low", "reach", "overhead"]
    assert zones[0]["monitors"][0]["label_code"] == monitor.label_code
    assert zones[0]["monitors"][0]["last"]["words"] == "2 House mouse"
    assert zones[0]["monitors"][0]["last"]["read_on"] == str(TODAY - timedelta(10))
    assert zones[1]["monitors"][0]["last"] is None
    assert not any(place["due"] for place in zones[2]["checkpoints"])
    assert zones[2]["boundary_note"] == "Next door's."


def test_it_says_where_the_site_is_when_it_opens_and_whom_to_ask(office, technician):
    site = make_site(latitude=Decimal("49.40250"), longitude=Decimal("-4.60000"))
    for name, manages in (("Ana Prior", False), ("Zeno Hale", True)):
        add_contact(site.pk, by=office, name=name, is_premises_manager=manages)
    visit = make_visit(site, state="booked", by=office, technician=technician, due_on=TODAY)
    # Only now, as today may be another day of the week.
    openings = [Opening(2, time(6, 0), time(22, 0)), Opening(0, time(6, 0), time(22, 0))]
    set_access_windows(site.pk, by=office, windows=openings)

    told = packed(visit)["site"]

    assert (told["latitude"], told["longitude"]) == ("49.40250", "-4.60000")
    assert told["access_windows"] == ["Monday 06:00–22:00", "Wednesday 06:00–22:00"]
    assert [(one["name"], one["is_premises_manager"]) for one in told["contacts"]] == [
        ("Zeno Hale", True),
        ("Ana Prior", False),
    ]


def test_a_site_that_nobody_has_located_has_no_coordinates(visit):
    assert packed(visit)["site"]["latitude"] is None
    assert packed(visit)["site"]["longitude"] is None


def test_plans_come_with_marks_and_the_image_is_the_one_the_hash_names(visit, site, signed_in):
    office = make_office()
    old = add_plan(site.pk, by=office, title="Before the refit", data=make_photo_bytes())
    retire_plan(old.pk, by=office)
    plan = add_plan(site.pk, by=office, title="Ground floor", data=make_photo_bytes())
    drawn, _ = site.zones.order_by("walk_order")
    corners = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.5]]
    draw_zone(drawn.pk, by=office, plan_id=plan.pk, corners=[(x, y) for x, y in corners])
    mark_monitor(drawn.monitors.get().pk, by=office, plan_id=plan.pk, x=0.25, y=0.75)

    told = packed(visit)

    [shown] = told["plans"]
    image = b"".join(signed_in.get(shown["address"]).streaming_content)
    assert (shown["id"], shown["title"]) == (str(plan.pk), "Ground floor")
    assert (shown["width"], shown["height"]) == (plan.width, plan.height)
    assert shown["sha256"] == sha256(image).hexdigest()
    with_plan, without = told["zones"]
    assert (with_plan["plan"], with_plan["outline"]) == (str(plan.pk), corners)
    assert (without["plan"], without["outline"]) == (None, [])
    marked, unmarked = with_plan["monitors"][0], without["monitors"][0]
    assert (marked["plan"], marked["x"], marked["y"]) == (str(plan.pk), 0.25, 0.75)
    assert (unmarked["plan"], unmarked["x"], unmarked["y"]) == (None, None, None)


def test_open_actions_come_without_what_they_cost(visit, site, signed_in, office):
    zone = site.zones.first()
    make_action(
        "priced",
        site=site,
        by=office,
        title="Seal the pipe chase",
        due_on=TODAY + timedelta(9),
        zone_id=zone.pk,
    )
    CorrectiveAction.objects.update(internal_note="They never pay in time.")

    answer = signed_in.get(ADDRESS)

    assert answer.json()["visits"][0]["actions"] == [
        {
            "title": "Seal the pipe chase",
            "kind_words": "Proofing",
            "state_words": "Priced",
            "whose_move": "Us",
            "due_on": str(TODAY + timedelta(9)),
            "zone": zone.name,
        }
    ]
    words = answer.content.decode()
    for secret in ("cost", "price_", "4800", OPTIONS[0].description, "They never pay"):
        assert secret not in words


def test_it_names_the_likeliest_pest_of_each_group_first(technician):
    Pest.objects.create(slug="asian-cockroach", name="Asian cockroach", group=Pest.Group.COCKROACH)

    pests = package_of(technician, now=timezone.now())["pests"]

    roaches = [one["slug"] for one in pests if one["group"] == Pest.Group.COCKROACH]
    assert (roaches[0], roaches[-1]) == ("german-cockroach", "asian-cockroach")


# --- what it says of a visit ----------------------------------------------------------------------


def test_it_says_what_was_recorded_in_the_shapes_of_operations(site, office, technician):
    visit = make_visit(site, state="under_way", by=office, technician=technician, due_on=TODAY)
    record_some_of_all(visit)

    said = packed(visit)["said"]

    (reading,) = said["readings"].values()
    assert reading["counts"] == {"wasp": 1}
    (place, not_reached), *_ = said["not_reached"].items()
    assert place == f"zone/{not_reached['zone']}"
    (treatment,) = said["treatments"].values()
    assert Decimal(treatment["amount"]) == Decimal("2.5")
    assert "Licence valid that day" in treatment["missing"]
    for kind, words in (("reading.set", reading), ("treatment.set", treatment)):
        op = Phone(visit).op(kind)
        op["body"] = {key: value for key, value in words.items() if key not in {"at", "missing"}}
        assert apply_operation(op, by=technician)["verdict"] == "applied"


def test_a_call_out_says_what_was_reported_by_whom_and_by_when_to_be_there(
    site, office, technician
):
    at = timezone.now().replace(microsecond=0)
    call_out = take_call_out(
        site.pk, by=office, reported_at=at, problem="A mouse at the bar.", reported_by="Ana Prior"
    )
    book_visit(call_out.pk, by=office, technician=technician, day=site.day_of(at))

    told = packed(Visit.objects.get(pk=call_out.pk))

    assert (told["reported_problem"], told["reported_by"]) == ("A mouse at the bar.", "Ana Prior")
    assert datetime.fromisoformat(told["reported_at"]) == at
    assert datetime.fromisoformat(told["respond_by"]) == call_out.respond_by


def closed_earlier(site: Site, technician: User, *, ago: int, remedy: str) -> Visit:
    """A visit some days ago that left its first zone unreached and recommended something."""
    zone = site.zones.order_by("walk_order").first()
    return make_closed_visit(
        site,
        due_on=TODAY - timedelta(ago),
        technician=technician,
        not_reached=[NotReachedGiven("locked", "client", zone_id=zone.pk)],
        findings=[
            FindingGiven(
                zone.pk,
                kind="signs",
                remedy_kind="proofing",
                remedy=remedy,
                whose_move="client",
                place="Yard door",
            )
        ],
    )


def test_it_says_what_the_last_visit_left_open_and_who_made_it(visit, site):
    colleague = make_technician(name="Odile Marsh")
    closed_earlier(site, colleague, ago=30, remedy="Older.")
    last = closed_earlier(site, colleague, ago=2, remedy="Fit a bristle strip.")

    left = packed(visit)["left_open"]

    zone = site.zones.order_by("walk_order").first()
    assert left["by"] == "Odile Marsh"
    assert datetime.fromisoformat(left["closed_at"]) == last.closed_at
    assert left["not_reached"] == [
        {
            "zone": zone.name,
            "checkpoint": None,
            "monitor": None,
            "what": "The whole zone",
            "reason": "Locked",
            "whose_move": "The client",
        }
    ]
    assert left["remedies"] == [
        {
            "zone": zone.name,
            "place": "Yard door",
            "text": "Fit a bristle strip.",
            "whose_move": "The client",
        }
    ]


def test_the_first_visit_of_a_site_found_nothing_left_open(visit):
    assert packed(visit)["left_open"] == {
        "closed_at": None,
        "by": "",
        "not_reached": [],
        "remedies": [],
        "rodents": False,
    }


def test_a_closed_visit_tells_what_stood_before_it_and_the_next_what_it_left(
    site, office, technician
):
    """Two visits at one site on one day: neither may show its own work as what went before."""
    monitor = site.monitors.order_by("number").first()
    older = closed_earlier(site, technician, ago=5, remedy="Older.")
    first = make_visit(
        site, state="under_way", by=office, technician=technician, due_on=TODAY, time=time(8, 0)
    )
    record_readings(
        first.pk,
        by=technician,
        at=local(first, 9, 30),
        readings=[ReadingGiven(monitor.pk, counts={"house-mouse": 3})],
    )
    first = close_visit(
        first.pk,
        by=technician,
        at=local(first, 10),
        received_at=local(first, 10, 5),
        contact=ContactGiven(no_signature_reason="Nobody there.", summary="One trap was full."),
    )
    make_visit(
        site, state="booked", by=office, technician=technician, due_on=TODAY, time=time(15, 0)
    )

    morning, afternoon = package_of(technician, now=timezone.now())["visits"]

    def last_read(told: dict[str, Any]) -> Any:
        return told["zones"][0]["monitors"][0]["last"]

    assert datetime.fromisoformat(morning["left_open"]["closed_at"]) == older.closed_at
    assert datetime.fromisoformat(afternoon["left_open"]["closed_at"]) == first.closed_at
    assert last_read(morning) is None
    assert last_read(afternoon)["words"] == "3 House mouse"
    assert datetime.fromisoformat(morning["closed_at"]) == first.closed_at
    assert morning["said"]["contact"]["summary"] == "One trap was full."
    assert morning["minutes_on_site"] == first.minutes_on_site
    assert afternoon["closed_at"] is None


def test_a_reading_after_a_closed_visit_is_not_its_last_one(site, office, technician):
    monitor = site.monitors.order_by("number").first()
    closed = []
    for ago, count in ((20, 1), (10, 5), (3, 9)):
        visit = make_visit(
            site,
            state="under_way",
            by=office,
            technician=technician,
            due_on=TODAY - timedelta(ago),
        )
        record_readings(
            visit.pk,
            by=technician,
            at=local(visit, 9, 30),
            readings=[ReadingGiven(monitor.pk, counts={"wasp": count})],
        )
        closed.append(
            close_visit(
                visit.pk,
                by=technician,
                at=local(visit, 10),
                received_at=local(visit, 10, 5),
                contact=ContactGiven(no_signature_reason="Nobody there."),
            )
        )

    last = packed(closed[1])["zones"][0]["monitors"][0]["last"]

    assert last["counts"] == {"wasp": 1}


# --- what waits for the office --------------------------------------------------------------------


def parked_in(technician: User) -> list[dict[str, Any]]:
    return package_of(technician, now=timezone.now())["parked"]


def test_what_was_parked_is_told_to_who_recorded_it_until_it_is_settled(visit, technician):
    op = Phone(visit).op("look.add", checkpoint="no id")
    apply_operation(op, by=technician)
    kept = ParkedOperation.objects.get()

    [told] = parked_in(technician)

    assert told["id"] == str(kept.pk)
    assert told["operation"] == op["id"]
    assert told["site"] == visit.site.name
    assert told["reason"] == kept.reason
    assert datetime.fromisoformat(told["at"]) == kept.created_at
    assert parked_in(make_technician()) == []

    ParkedOperation.objects.update(settled_at=timezone.now())
    assert parked_in(technician) == []


def test_a_strangers_site_is_not_named_by_what_was_parked(office, technician):
    strange = make_visit(make_site(name="Halibut House"), state="booked", by=office, due_on=TODAY)
    apply_operation(Phone(strange).op("visit.start"), by=technician)

    [told] = parked_in(technician)

    assert told["site"] == ""
    assert "Halibut" not in json.dumps(told)


def test_no_more_are_told_than_a_page_can_show(visit, technician):
    phone = Phone(visit)
    for _ in range(MOST_PARKED + 1):
        apply_operation(phone.op("look.add", checkpoint="no id"), by=technician)

    assert len(parked_in(technician)) == MOST_PARKED


# --- asking again ---------------------------------------------------------------------------------


def test_a_phone_that_has_it_already_is_told_only_so(visit, signed_in):
    first = signed_in.get(ADDRESS)

    again = signed_in.get(ADDRESS, headers={"If-None-Match": first["ETag"]})

    assert (first.status_code, again.status_code) == (200, 304)
    assert again.content == b""
    assert again["ETag"] == first["ETag"]
    assert first["Cache-Control"] == again["Cache-Control"] == "private, no-store"


def test_any_change_sends_the_whole_again(visit, signed_in, office):
    tag = signed_in.get(ADDRESS)["ETag"]
    call_off_visit(visit.pk, by=office, reason="Flooded.")

    again = signed_in.get(ADDRESS, headers={"If-None-Match": tag})

    assert again.status_code == 200
    assert again["ETag"] != tag
    assert again.json()["visits"][0]["state"] == "called_off"


def test_the_tag_is_of_the_content_and_not_of_when_it_was_made(visit, technician):
    now = datetime.combine(TODAY, time(6, 0), tzinfo=UTC)
    one, other = (package_of(technician, now=now + timedelta(minutes=m)) for m in (0, 5))

    assert one["made_at"] != other["made_at"]
    assert tag_of(one) == tag_of(other)
    assert tag_of(one) != tag_of({**one, "today": "2020-01-01"})


def test_one_persons_tag_says_nothing_to_another(client):
    tags = set()
    for person in (make_technician(), make_technician()):
        client.force_login(person)
        tags.add(client.get(ADDRESS)["ETag"])

    assert len(tags) == 2


def test_it_is_sent_small_to_whom_can_read_it_so(visit, signed_in):
    plain = signed_in.get(ADDRESS)
    small = signed_in.get(ADDRESS, headers={"Accept-Encoding": "gzip"})

    assert not plain.has_header("Content-Encoding")
    assert small["Content-Encoding"] == "gzip"
    assert len(small.content) < len(plain.content) / 2
    unpacked = json.loads(gzip.decompress(small.content))
    assert unpacked["visits"] == plain.json()["visits"]
    assert small["ETag"] == plain["ETag"]


# --- what it costs --------------------------------------------------------------------------------


@pytest.fixture(params=[1, 20], ids=["two visits", "forty"])
def many(request, office, technician) -> int:
    """At so many sites two visits with something of everything, and one that was closed before."""
    product = make_product(by=office)
    mine: dict[str, Any] = {"by": office, "technician": technician}
    every_day = [Opening(day, time(6, 0), time(22, 0)) for day in range(7)]
    for n in range(request.param):
        site = make_site(zones=2, monitors=1 + n % 2)
        add_contact(site.pk, by=office, name="Ana Prior")
        set_access_windows(site.pk, by=office, windows=every_day)
        add_plan(site.pk, by=office, title="Ground floor", data=make_photo_bytes())
        make_action(site=site, by=office, zone_id=site.zones.first().pk)
        closed_earlier(site, technician, ago=14, remedy="Fit a bristle strip.")
        for ago in (7, 0):
            visit = make_visit(site, state="under_way", **mine, due_on=TODAY - timedelta(ago))
            record_some_of_all(visit, product=product)
        monitor = site.monitors.order_by("number").first()
        read = Reading.objects.create(
            monitor=monitor, source="import", read_on=TODAY - timedelta(60)
        )
        read.counts.create(pest=Pest.objects.get(slug="house-mouse"), count=n + 1)
        baited = treatment_given(
            monitor.zone,
            product,
            monitor_id=monitor.pk,
            method="bait_station",
            batch_number="",
            target="house-mouse",
            started_at=local(visit, 9, 40),
        )
        apply_treatment(visit.pk, by=technician, at=local(visit, 9, 40), treatment=baited)
        apply_operation(Phone(visit).op("look.add", checkpoint="no id"), by=technician)
    return request.param


def test_it_costs_the_same_for_more_visits(technician, many, django_assert_num_queries):
    with django_assert_num_queries(34):
        found = package_of(technician, now=timezone.now())

    assert len(found["visits"]) == 2 * many
    for told in found["visits"]:
        assert told["plans"]
        assert told["actions"]
        assert told["site"]["access_windows"]
        assert told["left_open"]["not_reached"]
        assert told["said"]["treatments"]
        assert told["treating"]["points"]
        assert told["zones"][0]["monitors"][0]["last"]["words"]
