"""What electronic traps report: each report once, each by itself, and no day counted twice."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable
from sites.models import Monitor
from tests.builders.accounts import make_office
from tests.builders.sites import make_monitor, make_site, make_zone
from tests.builders.visits import local, make_visit
from visits.models import Reading, TrapReport, Visit
from visits.services.recording import ReadingGiven, record_readings
from visits.services.trap_reports import MOST_KEPT, judge_again, take_reports
from visits.services.trap_senders import add_trap_sender, end_trap_sender, renew_trap_token
from visits.services.writing import locked, unwrite_reading

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
ADDRESS = "/api/trap-reports/"


@pytest.fixture(autouse=True)
def _at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def monitor() -> Monitor:
    return make_monitor(make_zone(make_site(time_zone="Europe/London")), kind="snap_trap")


@pytest.fixture
def made(monitor):
    return add_trap_sender(monitor.site_id, by=make_office(), name="Attic gateway")


def report(monitor: Any, day: int, **told: Any) -> dict[str, Any]:
    """What a trap says of one whole day of November 2026."""
    return {
        "id": f"{day}",
        "monitor": str(getattr(monitor, "pk", monitor)),
        "from": f"2026-11-{day:02}T00:00:00+00:00",
        "at": f"2026-11-{day + 1:02}T00:00:00+00:00",
        "counts": {},
        **told,
    }


def take(made: Any, *reports: Any) -> list[dict[str, Any]]:
    return take_reports(made.sender.pk, reports, now=NOW)


def stood(monitor: Monitor, source: str = Reading.Source.DEVICE) -> dict[int, int | None]:
    """Days stood by the day of November on which it was read."""
    readings = Reading.objects.filter(monitor=monitor, source=source)
    return {one.read_on.day: one.stood_days for one in readings.order_by("read_on")}


def read_on_visit(monitor: Monitor, day: int, **told: Any) -> Reading:
    visit = make_visit(monitor.site, state=Visit.State.UNDER_WAY, due_on=date(2026, 11, day))
    given = ReadingGiven(monitor_id=monitor.pk, **told)
    (reading,) = record_readings(
        visit.pk, by=visit.technician, at=local(visit, 10), readings=[given]
    )
    return reading


# --- one report -----------------------------------------------------------------------------------


def test_a_report_becomes_the_reading_of_its_day(monitor, made):
    (answer,) = take(made, report(monitor, 3, counts={"house-mouse": 1}, note="Sprung at night"))

    assert answer["verdict"] == "applied"
    assert not answer["again"]
    assert answer["facts"] == {"monitor": str(monitor.pk), "read_on": "2026-11-03"}
    reading = Reading.objects.get(monitor=monitor)
    assert (reading.source, reading.read_on, reading.stood_days) == ("device", date(2026, 11, 3), 1)
    assert [(one.pest.slug, one.count) for one in reading.counts.all()] == [("house-mouse", 1)]
    assert reading.note == "Sprung at night"


def test_a_label_names_a_monitor_in_whatever_capitals(monitor, made):
    (answer,) = take(made, report(monitor.label_code.lower(), 3))

    assert answer["verdict"] == "applied"


def test_reports_of_a_day_add_up_whichever_comes_first(monitor, made):
    night = report(monitor, 3, id="night", counts={"house-mouse": 2})
    night["at"] = "2026-11-03T06:00:00+00:00"
    day = report(monitor, 3, id="day", counts={"house-mouse": 1, "brown-rat": 1})
    day["from"] = night["at"]

    take(made, day)
    take(made, night)

    reading = Reading.objects.get(monitor=monitor)
    assert {one.pest.slug: one.count for one in reading.counts.all()} == {
        "house-mouse": 3,
        "brown-rat": 1,
    }
    assert reading.stood_days == 1


def test_the_day_is_that_of_the_site(made, monitor):
    monitor.site.time_zone = "Pacific/Auckland"
    monitor.site.save()
    told = {"from": "2026-11-02T12:00:00Z", "at": "2026-11-03T12:00:00Z"}

    (answer,) = take(made, report(monitor, 3, **told))

    assert answer["facts"]["read_on"] == "2026-11-04"


def test_one_entry_on_the_trail_tells_of_a_batch(monitor, made):
    take(made, report(monitor, 3, counts={"house-mouse": 1}), report(monitor, 4), {"id": "x"})

    entry = TrailEntry.objects.get(verb="trap_reports.taken")
    assert entry.stream_id == f"site:{monitor.site_id}"
    assert entry.facts["reports"] == 2
    assert [one["counts"] for one in entry.facts["readings"]] == [{"house-mouse": 1}, {}]


# --- once for ever --------------------------------------------------------------------------------


def test_the_same_report_again_gets_the_same_answer_and_changes_nothing(monitor, made):
    said = report(monitor, 3, counts={"house-mouse": 1})

    first, in_the_same_batch = take(made, said, dict(said))
    (later,) = take(made, said)

    assert in_the_same_batch == later == {**first, "again": True}
    assert Reading.objects.get(monitor=monitor).counts.get().count == 1
    assert TrapReport.objects.count() == 1


def test_an_id_with_other_content_is_refused_and_kept(monitor, made):
    take(made, report(monitor, 3, counts={"house-mouse": 1}))

    (answer,) = take(made, report(monitor, 3, counts={"house-mouse": 5}))
    (once_more,) = take(made, report(monitor, 3, counts={"house-mouse": 5}))

    assert answer["code"] == "other_content"
    assert answer["facts"] == {"kept": True}
    assert once_more == {**answer, "again": True}
    assert Reading.objects.get(monitor=monitor).counts.get().count == 1
    assert json.loads(TrapReport.objects.get(state="refused").sent)["counts"] == {"house-mouse": 5}


def test_the_ids_of_two_senders_are_their_own(monitor, made):
    other = add_trap_sender(monitor.site_id, by=make_office(), name="Cellar gateway")

    take(made, report(monitor, 3, counts={"house-mouse": 1}))
    (answer,) = take(other, report(monitor, 3, counts={"house-mouse": 2}))

    assert answer["verdict"] == "applied"
    assert Reading.objects.get(monitor=monitor).counts.get().count == 3
    assert stood(monitor) == {3: 1}


# --- refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"id": ""}, "malformed"),
        ({"id": 7}, "malformed"),
        ({"id": "=" + "0" * 64}, "malformed"),
        ({"monitor": 7}, "unknown_monitor"),
        ({"monitor": "NO-SUCH-LABEL"}, "unknown_monitor"),
        ({"monitor": "\x00"}, "unknown_monitor"),
        ({"monitor": None}, "malformed"),
        ({"from": "2026-11-03"}, "malformed"),
        ({"from": "2026-11-03T00:00:00"}, "malformed"),
        ({"from": "2026-11-05T00:00:00Z"}, "malformed"),
        ({"from": "0001-01-01T00:00:00+14:00"}, "malformed"),
        ({"from": "2026-13-03T00:00:00Z"}, "malformed"),
        ({"from": "2026-09-03T00:00:00Z"}, "too_long"),
        ({"at": "2026-11-20T12:06:00Z"}, "still_to_come"),
        ({"from": "2025-12-30T00:00:00Z", "at": "2025-12-31T00:00:00Z"}, "before_it_was_placed"),
        ({"counts": []}, "malformed"),
        ({"counts": {"house-mouse": -1}}, "malformed"),
        ({"counts": {"house-mouse": True}}, "malformed"),
        ({"counts": {"house-mouse": 1.5}}, "malformed"),
        ({"counts": {"house-mouse": 10**9}}, "malformed"),
        ({"counts": {"unicorn": 1}}, "unknown_pest"),
        ({"counts": {"\ud800\x00": 1}}, "unknown_pest"),
        ({"counts": {f"pest-{n}": 1 for n in range(21)}}, "malformed"),
        ({"condition": "bored"}, "malformed"),
        ({"condition": ["sound"]}, "malformed"),
        ({"battery": 101}, "malformed"),
        ({"battery": "full"}, "malformed"),
        ({"note": "x" * 501}, "malformed"),
        ({"note": "\x00"}, "malformed"),
        ({"weather": "fair"}, "malformed"),
        ({"\ud800": "fair"}, "malformed"),
    ],
)
def test_what_cannot_be_applied_is_refused_with_a_sentence_and_kept(monitor, made, told, code):
    good = report(monitor, 5)

    refused, applied = take(made, {**report(monitor, 3), **told}, good)

    assert (refused["verdict"], refused["code"]) == ("refused", code)
    assert refused["message"].endswith((".", "?"))
    assert refused["facts"]["kept"]
    assert json.dumps(refused, ensure_ascii=False).encode()
    assert applied["verdict"] == "applied"
    assert stood(monitor) == {5: 1}
    assert TrapReport.objects.get(state="refused").message == refused["message"]


@pytest.mark.parametrize("nonsense", [None, 7, "text", [], [[1]], {}])
def test_what_is_no_report_is_refused_and_kept(made, nonsense):
    (answer,) = take(made, nonsense)

    assert (answer["id"], answer["verdict"]) == (None, "refused")
    assert TrapReport.objects.get().sent == json.dumps(nonsense)


def test_a_monitor_of_another_site_is_as_unknown_as_none(made):
    elsewhere = make_monitor(make_zone(make_site()))

    theirs, none = take(made, report(elsewhere, 3), report("2" * 16, 3, id="b"))

    assert {**theirs, "id": "b"} == none


def test_a_monitor_that_was_removed_reports_no_more(monitor, made):
    Monitor.objects.filter(pk=monitor.pk).update(removed_on=date(2026, 11, 3))

    last, after = take(made, report(monitor, 3), report(monitor, 4))

    assert last["verdict"] == "applied"
    assert after["code"] == "after_it_was_removed"


def test_what_stood_in_the_way_may_go_and_the_same_report_is_applied(monitor, made):
    Monitor.objects.filter(pk=monitor.pk).update(placed_on=date(2026, 11, 10))
    assert take(made, report(monitor, 3))[0]["code"] == "before_it_was_placed"
    Monitor.objects.filter(pk=monitor.pk).update(placed_on=date(2026, 11, 1))

    office = make_office()
    assert judge_again(made.sender.pk, by=office, now=NOW) == 1

    assert stood(monitor) == {3: 1}
    assert take(made, report(monitor, 3))[0] == {
        "id": "3",
        "verdict": "applied",
        "again": True,
        "code": "",
        "message": "",
        "facts": {"monitor": str(monitor.pk), "read_on": "2026-11-03"},
    }
    assert TrailEntry.objects.get(verb="trap_reports.taken").actor == office


def test_refused_reports_are_kept_up_to_a_bound(made):
    for first in range(0, MOST_KEPT - 2, 199):
        take(made, *({"id": f"{n}"} for n in range(first, min(first + 199, MOST_KEPT - 2))))

    answers = take(made, *({"id": f"last-{n}"} for n in range(4)))

    assert [one["facts"]["kept"] for one in answers] == [True, True, False, False]
    assert TrapReport.objects.count() == MOST_KEPT


def test_more_than_two_hundred_at_once_are_refused_together(made):
    with pytest.raises(Unusable):
        take(made, *range(201))

    assert not TrapReport.objects.exists()


# --- no day twice ---------------------------------------------------------------------------------


def test_days_without_a_report_are_not_made_up(monitor, made):
    take(made, report(monitor, 3), report(monitor, 7))

    assert stood(monitor) == {3: 1, 7: 1}


def test_reports_that_overlap_share_the_days(monitor, made):
    long = report(monitor, 7, id="long")
    long["from"] = "2026-11-03T00:00:00+00:00"

    take(made, long)
    take(made, report(monitor, 4), report(monitor, 5))

    assert stood(monitor) == {4: 1, 5: 1, 7: 3}


def test_what_a_person_counts_stands_and_the_device_speaks_for_the_days_since(monitor, made):
    take(made, *(report(monitor, day, counts={"house-mouse": 1}) for day in range(3, 12)))
    assert sum(stood(monitor).values()) == 9

    reading = read_on_visit(monitor, 8, counts={"house-mouse": 6})

    assert reading.stood_days == (date(2026, 11, 8) - monitor.placed_on).days
    assert stood(monitor) == {**dict.fromkeys(range(3, 9), 0), 9: 1, 10: 1, 11: 1}


def test_it_makes_no_difference_whether_device_or_visit_comes_first(monitor, made):
    read_on_visit(monitor, 8, counts={"house-mouse": 6})

    take(made, *(report(monitor, day) for day in (11, 3, 9, 8)))

    assert stood(monitor) == {3: 0, 8: 0, 9: 1, 11: 1}
    assert stood(monitor, "visit") == {8: (date(2026, 11, 8) - monitor.placed_on).days}


def test_a_second_visit_counts_since_the_first_whatever_devices_say(monitor, made):
    read_on_visit(monitor, 2)
    take(made, *(report(monitor, day) for day in range(3, 13)))

    reading = read_on_visit(monitor, 12)

    assert reading.stood_days == 10
    assert set(stood(monitor).values()) == {0}


def test_a_monitor_that_nobody_could_see_leaves_its_days_to_the_device(monitor, made):
    take(made, report(monitor, 3))

    read_on_visit(monitor, 8, condition="blocked")

    assert stood(monitor) == {3: 1}


def test_a_reading_taken_back_gives_the_days_back(monitor, made):
    take(made, report(monitor, 3))
    visit = read_on_visit(monitor, 8).visit
    assert stood(monitor) == {3: 0}

    unwrite_reading(
        locked(visit.pk), by=visit.technician, at=local(visit, 11), monitor_id=monitor.pk
    )

    assert stood(monitor) == {3: 1}


def test_a_full_batch_costs_no_more_queries_than_one(made, monitor, django_assert_max_num_queries):
    take(made, report(monitor, 1))
    zone = monitor.zone
    others = [make_monitor(zone) for _ in range(10)]
    batch = [
        report(one, day, id=f"{one.number}-{day}", counts={"house-mouse": 1})
        for one in others
        for day in range(2, 19)
    ]

    with django_assert_max_num_queries(30):
        answers = take(made, *batch)

    assert {one["verdict"] for one in answers} == {"applied"}
    assert Reading.objects.filter(source="device").count() == 171


# --- the sender -----------------------------------------------------------------------------------


def post(client, token: str, body: Any, keyword: str = "Trap"):
    return client.post(
        ADDRESS,
        body,
        content_type="application/json",
        headers={"authorization": f"{keyword} {token}"},
    )


def test_a_sender_reports_with_its_token_and_nothing_else_is_open_to_it(client, monitor, made):
    answer = post(client, made.token, {"reports": [report(monitor, 3)]})

    assert answer.status_code == 200
    assert answer.json()["answers"][0]["verdict"] == "applied"
    made.sender.refresh_from_db()
    assert made.sender.heard_at == NOW
    assert made.token not in str(vars(made.sender))
    for keyword in ("Trap", "Token"):
        told = client.get("/api/sites/", headers={"authorization": f"{keyword} {made.token}"})
        assert told.status_code == 401


def test_people_do_not_report_for_traps(client, monitor):
    client.force_login(make_office(is_administrator=True))

    answer = client.post(ADDRESS, {"reports": []}, content_type="application/json")

    assert answer.status_code == 401
    assert answer.json()["code"] == "not_signed_in"


@pytest.mark.parametrize("token", ["", "trap_", "trap_wrong", "\xff", "x" * 5000])
def test_a_wrong_token_is_told_so(client, made, token):
    assert post(client, token, {"reports": []}).status_code == 401


def test_an_ended_sender_and_an_old_token_report_no_more(client, made):
    renewed = renew_trap_token(made.sender.pk, by=make_office())
    assert post(client, made.token, {"reports": []}).status_code == 401
    assert post(client, renewed.token, {"reports": []}).status_code == 200

    end_trap_sender(made.sender.pk, by=make_office())

    assert post(client, renewed.token, {"reports": []}).status_code == 401
    with pytest.raises(NotAllowed):
        take(made)


@pytest.mark.parametrize("body", ["[]", "{}", '{"reports": {}}', "nonsense", "[" * 100_000])
def test_a_body_that_is_no_batch_is_refused_whole(client, made, body):
    assert post(client, made.token, body).status_code in {400, 422}


def test_too_much_at_once_is_refused_unread(client, made):
    answer = post(client, made.token, {"reports": ["x" * 600_000]})

    assert answer.status_code == 422
    assert answer.json()["code"] == "too_large"


def test_a_sender_may_report_so_often_a_minute(client, made):
    answers = [post(client, made.token, {"reports": []}).status_code for _ in range(61)]

    assert answers == [200] * 60 + [429]


def test_a_report_that_came_late_by_months_is_taken(monitor, made):
    late = report(monitor, 3)
    late["from"] = (NOW - timedelta(days=200)).isoformat()
    late["at"] = (NOW - timedelta(days=199)).isoformat()

    (answer,) = take(made, late)

    assert answer["facts"]["read_on"] == "2026-05-05"
