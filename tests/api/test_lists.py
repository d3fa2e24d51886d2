"""Lists are filtered, paged, and never longer than a page may be."""

from uuid import uuid4

import pytest

from tests.builders.accounts import make_client

pytestmark = pytest.mark.django_db


def ids(answer) -> set[str]:
    assert answer.status_code == 200, answer.json()
    return {row["id"] for row in answer.json()["results"]}


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("state=priced", {"priced"}),
        ("state__in=decided,done&declined=false", {"decided", "done"}),
        ("declined=true", {"declined"}),
        ("kind=advice&whose_move=client", {"theirs"}),
    ],
)
def test_actions_by_state_kind_and_whose_move(world, office, program, asked, found):
    answer = program(office).get(f"/api/actions/?{asked}")

    assert ids(answer) == {str(world[f"{name}_action"].pk) for name in found}


def test_actions_by_site_and_day(world, other, office, program):
    late = world["priced_action"]

    answer = program(office).get(f"/api/actions/?site={world['site'].pk}&due_on__lte={late.due_on}")

    assert ids(answer) == {str(late.pk)}


def test_visits_by_state_and_site(world, other, office, program):
    answer = program(office).get(f"/api/visits/?state=under_way&site={world['site'].pk}")

    assert ids(answer) == {str(world["under_way"].pk)}


@pytest.mark.parametrize(
    "asked",
    ["actions/?state=undone", "actions/?site=x", "visits/?due_on__gte=soon", "flags/?kind=odd"],
)
def test_a_filter_that_makes_no_sense_is_an_error_of_its_own(office, program, asked):
    answer = program(office).get(f"/api/{asked}")

    assert (answer.status_code, answer.json()["code"]) == (400, "invalid")
    assert len(answer.json()["facts"]["fields"]) == 1


def test_pages_follow_one_another_without_gap_or_double(office, program):
    made = {str(make_client().pk) for _ in range(7)}
    client = program(office)

    pages = [client.get(f"/api/clients/?page_size=3&page={number}") for number in (1, 2, 3)]

    assert [len(page.json()["results"]) for page in pages] == [3, 3, 1]
    assert set().union(*map(ids, pages)) == made


def test_no_page_is_longer_than_two_hundred(office, program):
    for _ in range(201):
        make_client()

    answer = program(office).get("/api/clients/?page_size=100000")

    assert (answer.json()["count"], len(answer.json()["results"])) == (201, 200)


@pytest.mark.parametrize("page", ["0", "9", "-1", "x", "9" * 40])
def test_a_page_that_is_not_there_is_absent(office, program, page):
    make_client()

    answer = program(office).get(f"/api/clients/?page={page}")

    assert (answer.status_code, answer.json()["code"]) == (404, "not_found")


def test_a_list_holds_what_its_reader_may_see_and_counts_no_more(world, other, program):
    answer = program(world.people["manager"]).get("/api/sites/")

    assert (answer.json()["count"], ids(answer)) == (1, {str(world["site"].pk)})


@pytest.mark.parametrize(
    "asked", ["sites/?client=", "visits/?site=", "actions/?site__client=", "monitors/?zone="]
)
def test_a_filter_does_not_tell_whether_a_hidden_record_exists(world, other, program, asked):
    name = asked.removesuffix("=").rpartition("?")[2].rpartition("__")[2]
    client = program(world.people["manager"])

    hidden = client.get(f"/api/{asked}{other[name].pk}")
    absent = client.get(f"/api/{asked}{uuid4()}")

    assert (hidden.status_code, hidden.content) == (absent.status_code, absent.content)
    assert hidden.json()["count"] == 0


@pytest.mark.parametrize(
    "instant",
    ["0680-07-25T18:17:21-16:12", "0001-01-01T00:00:00+14:00", "2026-01-01T00:00:00Z"],
)
def test_an_instant_may_have_any_offset(office, client, instant):
    """PostgreSQL itself refuses offsets of sixteen hours and more."""
    client.force_login(office)

    answer = client.get("/api/treatments/", {"started_at__gte": instant})

    assert answer.status_code == 200


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("", 3),
        ("state=open&pest__slug=german-cockroach", 3),
        ("zone__isnull=true", 1),
        ("state=explained", 0),
        ("pest__slug=house-mouse", 0),
        ("month__lte=2020-01-01", 0),
    ],
)
def test_alarms_by_state_pest_place_and_month(world, other, office, program, asked, found):
    """The world's site has two zones that rose, and rose as a whole."""
    answer = program(office).get(f"/api/alarms/?site={world['site'].pk}&{asked}")

    assert len(ids(answer)) == found


def test_an_alarm_tells_where_to_look_first_and_what_was_compared(world, program):
    alarm = world["alarm"]

    told = program(world.people["manager"]).get(f"/api/alarms/{alarm.pk}/").json()

    assert (told["pest"], told["words"]) == ("german-cockroach", alarm.words)
    assert told["pointers"][0]["count"] == 20
    assert {"monitor", "count", "expected"} == set(told["pointers"][0])


def test_trends_tell_each_place_in_each_month_with_its_rate(world, other, program):
    month, zone = world["alarm"].month, world["alarm"].zone_id

    answer = program(world.people["manager"]).get(f"/api/trends/?month={month}&zone={zone}")

    (row,) = [one for one in answer.json()["results"] if one["pest"] == "german-cockroach"]
    assert (row["count"], row["state"]) == (20, "alarm")
    assert row["per_100"] == pytest.approx(100 * 20 / row["trap_days"])
    assert str(other["site"].pk) not in answer.content.decode()


@pytest.mark.parametrize("asked", ["trends/?state=calmer", "trends/?month=soon", "alarms/?site=x"])
def test_a_trend_filter_that_makes_no_sense_is_an_error(office, program, asked):
    assert program(office).get(f"/api/{asked}").status_code == 400
